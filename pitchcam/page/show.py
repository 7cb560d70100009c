"""An answer as the page shows it: from the record's document, with what was drawn of it."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pitchcam.frozen import dataclass
from pitchcam.page import calls
from pitchcam.records import MM_PER_INCH, ThreadResult
from pitchcam.report import verdicts, words
from pitchcam.store.entries import Correction, Entry
from pitchcam.store.rows import entry_rows
from pitchcam.units import percent

#: How sure a verdict reads: status -> the mark before it (a shape, not only a colour).
MARKS = {
    "named": "●",
    "ambiguous": "◐",
    "off-series": "○",
    "unreadable": "✕",
    "refused": "✕",
    "failed": "✕",
}


#: Room around what was found, as a share of its size.
_ROOM = 1.15


@dataclass(frozen=True, kw_only=True)
class Shown:
    """One thread on the page."""

    id: str
    label: str
    status: str
    name: str
    standard: str
    sure: str
    chance: float | None
    next_step: str
    rows: list[tuple[str, str, str]]
    turns: str
    candidates: list[tuple[str, str, str]]
    same: tuple[str, ...]
    notes: tuple[str, ...]
    seals: list[str]
    gender: str
    corrected: tuple[str, str, str] | None
    view: Mapping[str, Any] | None


def view_of(folder: Path) -> dict[str, Any] | None:
    """Return what was drawn of an answer, None where nothing was."""
    with contextlib.suppress(OSError, ValueError):
        view: dict[str, Any] = json.loads((folder / "view.json").read_text(encoding="utf-8"))
        nothing: dict[str, Any] = {"reference": [], "parts": [], "threads": []}
        return nothing | view | {"focus": _focus(view)}
    return None


def _focus(view: Mapping[str, Any]) -> list[float]:
    """Return x, y, width, height of a cut-out, shaped as the photo, around what was found."""
    width, height = float(view["width"]), float(view["height"])
    points = [p for shape in (*view.get("parts", ()), view.get("reference", ())) for p in shape]
    if not points:
        return [0.0, 0.0, width, height]
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    wide = min(width, _ROOM * max(max(xs) - min(xs), (max(ys) - min(ys)) * width / height))
    high = wide * height / width
    left = min(max(0.0, (min(xs) + max(xs) - wide) / 2), width - wide)
    top = min(max(0.0, (min(ys) + max(ys) - high) / 2), height - high)
    return [round(v, 1) for v in (left, top, wide, high)]


def threads(entry: Entry, drawing: Mapping[str, Any] | None) -> list[Shown]:
    """Return the threads of an entry, in the photo's order."""
    measured = entry.outcome.measurement
    parts = () if measured is None else measured.parts
    drawn = {(t["part"], t["number"]): t for t in (drawing or {}).get("threads", ())}
    several = sum(len(p.threads) for p in parts) > 1
    shown = []
    for part in parts:
        for number, thread in enumerate(part.threads, 1):
            label = f"Part {part.id}" if several else ""
            if len(part.threads) > 1:
                label += f", thread {number}"
            view = drawn.get((part.id, number))
            row_id = f"{entry.id}-{part.id}.{number}"
            shown.append(_thread(row_id, entry.corrections.get(row_id), thread, label, view))
    return shown


def _thread(
    row_id: str, made: Correction | None, thread: ThreadResult, label: str, view: Any
) -> Shown:
    verdict = thread.verdict
    sealed = made.designation if made is not None else verdict.designation
    seals: list[str] = []
    if sealed:
        with contextlib.suppress(Exception):  # a name of no series seals as a person knows
            seals = calls.seal_lines(sealed, thread.reading.gender)
    shown = [c for c in verdict.candidates if c.designation != verdict.designation]
    return Shown(
        id=row_id,
        label=label,
        status=verdict.status,
        name=verdicts.name_words(verdict),
        standard=verdict.standard or "",
        chance=verdict.probability,
        sure=""
        if verdict.probability is None or verdict.status != "named"
        else percent(verdict.probability),
        next_step=verdict.next_step or "",
        rows=words.figure_rows(thread),
        turns="" if thread.turns is None else words.turns_words(thread),
        candidates=[
            (c.designation, c.standard, percent(c.probability))
            for c in shown
            if verdict.status != "named" or c.probability >= verdicts.RUNNER_UP_MATTERS
        ],
        same=verdict.same_geometry,
        notes=verdict.notes,
        seals=seals,
        gender=thread.reading.gender,
        corrected=None if made is None else (made.designation, made.who, made.why),
        view=view,
    )


def headline(entry: Entry) -> tuple[str, str]:
    """Return (status, what the record says in a few words) for lists."""
    rows = entry_rows(entry)
    named = [row.name for row in rows if row.name]
    if named:
        more = "" if len(rows) == 1 else f" and {len(rows) - 1} more"
        return rows[0].status, named[0] + more
    first = rows[0]
    fits = verdicts.candidates_words(first.candidates)
    return first.status, fits or first.next_step.partition(". ")[0]


def scale_line(entry: Entry) -> str:
    """Return one line on where the scale comes from, mm and inch side by side."""
    measured = entry.outcome.measurement
    return "" if measured is None or measured.scale is None else words.scale_line(measured)


_COMPARED = {
    "pitch_mm": "pitch",
    "major_mm": "major diameter",
    "pitch_diameter_mm": "pitch diameter",
    "angle_deg": "thread angle",
}


def agreement(shown: list[Shown], documents: list[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return, per quantity, what several photos of one part say and how they agree.

    Two agree where their intervals of 2 u overlap; ``spread`` is the largest difference in units
    of its own standard uncertainty.
    """
    out = []
    for key, name in _COMPARED.items():
        read = [d.get(key) for d in documents]
        values = [q for q in read if q is not None]
        if len(values) < 2:
            continue
        worst = max(
            abs(a["value"] - b["value"]) / max((a["u"] ** 2 + b["u"] ** 2) ** 0.5, 1e-12)
            for i, a in enumerate(values)
            for b in values[i + 1 :]
        )
        out.append(
            {
                "name": name,
                "angle": key == "angle_deg",
                "values": read,
                "spread": worst,
                "agree": worst <= 2.0,
                "inch": 1.0 / MM_PER_INCH,
            }
        )
    return out
