"""Mating results in words and as JSON."""

from __future__ import annotations

from typing import Any

from pitchcam.fitting.ends import seats_used
from pitchcam.fitting.mate import Mating

_OPENING = {
    "yes": "Yes",
    "by-agreement": "Only by agreement",
    "wrong": "No: it goes in, but it is wrong",
    "no": "No",
}


def mating_text(result: Mating) -> str:
    """Return the answer for a person: yes or no first, then the rule, the figures, the source."""
    lines = [f"{result.male.text} into {result.female.text}: {_OPENING[result.answer]}."]
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
