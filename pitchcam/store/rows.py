"""The record as plain rows, one per thread; a photo or part without a thread has one row too."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from typing import Any

from pitchcam.store.entries import Entry

#: Quantities of the contract that get two columns, value and standard uncertainty (k = 1), with
#: the decimals that tables show: a tenth of the smallest uncertainty met, or finer.
QUANTITIES: Mapping[str, int] = {
    "pitch_mm": 5, "tpi": 4, "major_mm": 4, "pitch_diameter_mm": 4, "minor_mm": 4,
    "angle_deg": 3, "taper": 5, "diameter_station_mm": 3,
}  # fmt: skip


@dataclass(frozen=True, kw_only=True, slots=True)
class ThreadRow:
    """One line of every table. ``name`` is what a person said it is, else the verdict's name."""

    id: str
    photo: str
    part: int | None
    thread: int | None
    status: str
    name: str
    designation: str
    standard: str
    probability: float | None
    quantities: Mapping[str, tuple[float, float]]
    gender: str
    starts: int | None
    turns: float | None
    candidates: str
    same_geometry: str
    next_step: str
    warnings: str
    corrected_by: str
    corrected_why: str
    sha256: str
    settings_key: str

    @property
    def settled(self) -> bool:
        """Whether the part can go to its bin: named by the measurement or by a person."""
        return bool(self.name)

    def flat(self) -> dict[str, Any]:
        """Return the row as column -> value, in the order of the columns; None where empty."""
        out: dict[str, Any] = {}
        for column in fields(self):
            if column.name != "quantities":
                out[column.name] = getattr(self, column.name)
                continue
            for quantity, decimals in QUANTITIES.items():
                value, u = self.quantities.get(quantity, (None, None))
                out[quantity] = None if value is None else round(value, decimals)
                out[f"u_{quantity}"] = None if u is None else round(u, decimals)
        for key, decimals in (("probability", 4), ("turns", 2)):
            if out[key] is not None:
                out[key] = round(out[key], decimals)
        return out


def entry_rows(entry: Entry, *, photo: str | None = None) -> list[ThreadRow]:
    """Return the rows of one record: one per thread, part without thread, or photo without part.

    Parameters
    ----------
    entry
        The record.
    photo
        The name to show for the photo; by default the first of those it was seen under.
    """
    shown = entry.name if photo is None else photo
    document = entry.outcome.document
    if document is None or not document.get("parts"):
        return [_empty_row(entry, shown, entry.id, None)]
    rows = []
    for part in document["parts"]:
        if not part["threads"]:
            rows.append(_empty_row(entry, shown, f"{entry.id}-{part['id']}", part["id"]))
        for number, thread in enumerate(part["threads"], 1):
            rows.append(_thread_row(entry, shown, part["id"], number, thread))
    return rows


def _warnings(entry: Entry, part: int | None) -> list[Mapping[str, str]]:
    """Return the warnings that concern a part: all but those that name another one."""
    found = list((entry.outcome.document or {}).get("warnings", ()))
    if part is None:
        return found
    own = [w for w in found if part in _names_of_parts(w["message"])]
    return own + [w for w in found if not _names_of_parts(w["message"])]


def _names_of_parts(message: str) -> set[int]:
    return {int(number) for number in re.findall(r"\bpart (\d+)", message)}


def _correction(entry: Entry, row_id: str) -> tuple[str, str, str]:
    made = entry.corrections.get(row_id)
    return ("", "", "") if made is None else (made.designation, made.who, made.why)


def _empty_row(entry: Entry, photo: str, row_id: str, part: int | None) -> ThreadRow:
    """Return the row of a photo or part that gave no thread: why, and what to do."""
    outcome, warnings = entry.outcome, _warnings(entry, part)
    name, who, why = _correction(entry, row_id)
    codes = [outcome.code] if outcome.code else [w["code"] for w in warnings]
    step = outcome.reason
    if not step:
        # The first warning is the part's own where it has one; the rest concern the whole photo.
        step = "; ".join(f"{w['message']}: {w['advice']}" for w in warnings[:1])
    elif not outcome.lasting:
        step = f"to be tried again: {step}"
    return ThreadRow(
        id=row_id, photo=photo, part=part, thread=None,
        status="unreadable" if outcome.status == "measured" else outcome.status,
        name=name, designation="", standard="", probability=None, quantities={}, gender="",
        starts=None, turns=None, candidates="", same_geometry="",
        next_step=step or "no thread was found on this part", warnings=" ".join(codes),
        corrected_by=who, corrected_why=why,
        sha256=entry.sha256, settings_key=entry.settings_key,
    )  # fmt: skip


def _thread_row(
    entry: Entry, photo: str, part: int, number: int, thread: Mapping[str, Any]
) -> ThreadRow:
    row_id = f"{entry.id}-{part}.{number}"
    verdict, warnings = thread["verdict"], _warnings(entry, part)
    corrected, who, why = _correction(entry, row_id)
    step = verdict.get("next_step") or ""
    if not step and verdict["status"] != "named":
        step = "; ".join(w["advice"] for w in warnings)
    return ThreadRow(
        id=row_id, photo=photo, part=part, thread=number, status=verdict["status"],
        name=corrected or verdict["designation"] or "",
        designation=verdict["designation"] or "", standard=verdict["standard"] or "",
        probability=verdict["probability"], quantities=dict(_quantities(thread)),
        gender=thread.get("gender", ""), starts=thread.get("starts"), turns=thread.get("turns"),
        candidates="; ".join(
            f"{c['designation']} {c['probability']:.3f}" for c in verdict["candidates"]
        ),
        same_geometry="; ".join(verdict["same_geometry"]), next_step=step,
        warnings=" ".join(w["code"] for w in warnings), corrected_by=who, corrected_why=why,
        sha256=entry.sha256, settings_key=entry.settings_key,
    )  # fmt: skip


def _quantities(thread: Mapping[str, Any]) -> Iterator[tuple[str, tuple[float, float]]]:
    for quantity in QUANTITIES:
        got = thread.get(quantity)
        if got is not None:
            yield quantity, (got["value"], got["u"])
