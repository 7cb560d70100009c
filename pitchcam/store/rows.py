"""The record as plain rows, one per thread; a photo or part without a thread has one row too."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from pitchcam.frozen import dataclass
from pitchcam.records import Flag, ThreadResult, u_stated
from pitchcam.records.rows import QUANTITIES, candidates_cell, quantities_of
from pitchcam.store.entries import Entry


@dataclass(frozen=True, kw_only=True, slots=True)
class ThreadRow:
    """One line of every table. ``name`` is what a person said it is, else the verdict's name.

    ``u_stated`` stands in no table: what a doubted reference leaves of the lengths, as a share.
    """

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
    u_stated: float = 0.0

    @property
    def settled(self) -> bool:
        """Whether the part can go to its bin: named by the measurement or by a person."""
        return bool(self.name)

    def flat(self) -> dict[str, Any]:
        """Return the row as column -> value, in the order of the columns; None where empty."""
        out: dict[str, Any] = {}
        for column in fields(self):
            if column.name == "u_stated":
                continue
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
    measured = entry.outcome.measurement
    if measured is None or not measured.parts:
        warnings = () if measured is None else measured.warnings
        return [_empty_row(entry, shown, entry.id, None, warnings)]
    rows = []
    for part in measured.parts:
        warnings = measured.warnings_of(part.id)
        if not part.threads:
            rows.append(_empty_row(entry, shown, f"{entry.id}-{part.id}", part.id, warnings))
        for number, thread in enumerate(part.threads, 1):
            rows.append(_thread_row(entry, shown, (part.id, number), thread, warnings))
    return rows


def _correction(entry: Entry, row_id: str) -> tuple[str, str, str]:
    made = entry.corrections.get(row_id)
    return ("", "", "") if made is None else (made.designation, made.who, made.why)


def _empty_row(
    entry: Entry, photo: str, row_id: str, part: int | None, warnings: tuple[Flag, ...]
) -> ThreadRow:
    """Return the row of a photo or part that gave no thread: why, and what to do."""
    outcome = entry.outcome
    name, who, why = _correction(entry, row_id)
    codes = [outcome.code] if outcome.code else [w.code for w in warnings]
    step = outcome.reason
    if not step:
        # The first warning is the part's own where it has one; the rest concern the whole photo.
        step = "; ".join(f"{w.message}: {w.advice}" for w in warnings[:1])
    elif not outcome.lasting:
        step = f"to be tried again: {step}"
    return ThreadRow(
        id=row_id,
        photo=photo,
        part=part,
        thread=None,
        status="unreadable" if outcome.status == "measured" else outcome.status,
        name=name,
        designation="",
        standard="",
        probability=None,
        quantities={},
        gender="",
        starts=None,
        turns=None,
        candidates="",
        same_geometry="",
        next_step=step or "no thread was found on this part",
        warnings=" ".join(codes),
        corrected_by=who,
        corrected_why=why,
        sha256=entry.sha256,
        settings_key=entry.settings_key,
    )


def _thread_row(
    entry: Entry,
    photo: str,
    place: tuple[int, int],
    thread: ThreadResult,
    warnings: tuple[Flag, ...],
) -> ThreadRow:
    part, number = place
    row_id = f"{entry.id}-{part}.{number}"
    verdict, reading = thread.verdict, thread.reading
    corrected, who, why = _correction(entry, row_id)
    step = verdict.next_step or ""
    if not step and verdict.status != "named":
        step = "; ".join(w.advice for w in warnings)
    return ThreadRow(
        id=row_id,
        photo=photo,
        part=part,
        thread=number,
        status=verdict.status,
        name=corrected or verdict.designation or "",
        designation=verdict.designation or "",
        standard=verdict.standard or "",
        probability=verdict.probability,
        quantities={name: (q.value, q.u) for name, q in quantities_of(reading)},
        gender=reading.gender,
        starts=reading.starts,
        turns=thread.turns,
        candidates=candidates_cell(verdict),
        same_geometry="; ".join(verdict.same_geometry),
        next_step=step,
        warnings=" ".join(w.code for w in warnings),
        corrected_by=who,
        corrected_why=why,
        sha256=entry.sha256,
        settings_key=entry.settings_key,
        u_stated=u_stated(thread),
    )
