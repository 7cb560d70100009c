"""Mating results in words and as JSON."""

from __future__ import annotations

import re
from typing import Any

from pitchcam.joining.mating.ends import seats_used
from pitchcam.joining.mating.mate import Mating
from pitchcam.records.formats import format_of

_OPENING = {"yes": "Yes", "no": "No"}
#: What a wrong pair does, by how the computed turns end.
_WRONG = {
    "binds": "No: it starts, then binds",
    "loose": "No: it goes in loose and does not hold",
    "fits": "No: it screws home, and it is wrong",
}


def condition(result: Mating) -> str:
    """Return what must hold for a pair by agreement: the first clause of its rule."""
    return re.split(r"[:.](?:\s|$)", result.rule.text)[0]


def headline(result: Mating) -> str:
    """Return yes or no in a few words, the condition first, agreeing with the computed turns."""
    if result.answer == "by-agreement":
        return f"{condition(result)} (by agreement, no standard pair)"
    if result.answer != "wrong":
        return _OPENING[result.answer]
    if result.cross is None:
        return "No: it goes in, but nothing seals"
    if result.cross.kind == "fits" and result.cross.free_turns[0] < result.cross.wanted_turns:
        return "No: it may screw home, and it is wrong"
    return _WRONG.get(result.cross.kind, "No: it goes in, but nothing seals")


def mating_text(result: Mating) -> str:
    """Return the answer for a person: yes or no first, then the rule, the figures, the source."""
    lines = [f"{result.male.text} into {result.female.text}: {headline(result)}."]
    lines.append(result.rule.text)
    seal = result.seal_row
    if seal is not None:
        lines.append(f"Seals by {seal['name']}: {seal['how']}")
    if result.failure:
        lines.append(result.failure)
    lines += _seat_notes(result)
    lines.append(f"Rule: {result.rule.source}.")
    return "\n".join(lines)


#: Seat -> how a person says it.
_SEATS = {"oring": "O-ring boss (write oring)", "cone37": "37 degree flare (write cone37)"}


def _seat_notes(result: Mating) -> list[str]:
    """Say where a plain thread typed may be a seat of its own: that changes the answer."""
    notes = []
    for end in (result.male, result.female):
        used = seats_used(end.designation) if end.family in ("M", "UN") else ()
        if used:
            names = " and ".join(_SEATS[seat] for seat in used)
            notes.append(f"{end.designation} is also used as {names}.")
    return list(dict.fromkeys(notes))


def mating_json(result: Mating) -> dict[str, Any]:
    """Return the answer as JSON; turns and shares as (tightest, loosest) or (least, most)."""
    cross = result.cross
    return {
        "format": format_of("mating"),
        "male": result.male.text,
        "female": result.female.text,
        "answer": result.answer,
        "seal": result.seal or None,
        "rule": result.rule.text,
        "source": result.rule.source,
        "failure": result.failure or None,
        "cross_thread": None
        if cross is None
        else {
            "kind": cross.kind,
            "free_turns": list(cross.free_turns),
            "wanted_turns": cross.wanted_turns,
            "overlap_share": list(cross.overlap),
            "shear_share": list(cross.shear_share),
            "drift_mm_per_turn": cross.drift_mm_per_turn,
            "angle_difference_deg": cross.angle_difference_deg,
            "interference_mm": list(cross.interference_mm),
        },
    }
