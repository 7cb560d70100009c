"""Whether the stated size of a reference is right, by what all threads of a photo would be else.

Pitch over diameter is free of scale. Where a thread fits no size, or a rare one, as the reference
is stated, and a common one if a pin of another usual diameter lies there, the slip explains the
photo: it competes with the names, at the share of photos in which it is met.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pitchcam.camera.focal import HELD_MM, U_HELD
from pitchcam.flags import flag
from pitchcam.match.evidence import log_evidence, rescaled
from pitchcam.match.naming import NAMED, name_thread
from pitchcam.records import Candidate, Flag, PartResult, ScaleSpec, ThreadResult, Verdict

#: Share of photos whose pin is not of the stated size (judgement: one in seventy).
WRONG_PINS = 0.015
#: Pins and drills that lie in a workshop, mm, and how often one is met: dowels of the usual sizes,
#: other whole mm, half mm, sixteenths of an inch (common practice, no source).
DOWELS_MM = (3, 4, 5, 6, 8, 10, 12)
PINS_MM = (
    *((float(mm), 3.0 if mm in DOWELS_MM else 1.0) for mm in range(2, 17)),
    *((mm + 0.5, 0.2) for mm in range(2, 13)), *((25.4 * n / 16, 0.3) for n in range(2, 11)),
)  # fmt: skip
#: Sizes nearer to the stated one than this are it, as worn or as read; farther ones are not taken
#: for it.
NEAR, FAR = 0.03, 1.7


@dataclass(frozen=True, kw_only=True)
class OtherSize:
    """The likeliest other size of a reference, and the probability that the stated one is wrong."""

    mm: float
    wrong: float


def other_size(
    threads: Sequence[ThreadResult], spec: ScaleSpec, distance_mm: float
) -> OtherSize | None:
    """Return what the pin may be instead; None where nothing else is stated or read.

    ``distance_mm`` is the camera's from the plate as the stated size gives it; another size puts
    it elsewhere, where a phone is held more often or less.
    """
    read = [t.reading for t in threads if t.verdict.status != "unreadable"]
    if spec.source != "pin" or spec.mm is None or not read:
        return None
    stated = (
        sum(log_evidence(r) for r in read) + math.log(1 - WRONG_PINS) + _held(distance_mm)
    )
    sizes = [
        (mm, weight) for mm, weight in PINS_MM
        if abs(mm / spec.mm - 1) > NEAR and 1 / FAR < mm / spec.mm < FAR
    ]  # fmt: skip
    whole = sum(weight for _, weight in sizes)
    others = [
        sum(log_evidence(r, mm / spec.mm) for r in read) + math.log(WRONG_PINS * weight / whole)
        + _held(distance_mm * mm / spec.mm)
        for mm, weight in sizes
    ]
    top = max(stated, *others)
    mass = [math.exp(o - top) for o in others]
    best = max(range(len(sizes)), key=lambda i: others[i])
    return OtherSize(
        mm=sizes[best][0], wrong=sum(mass) / (sum(mass) + math.exp(stated - top))
    )


def _held(distance_mm: float) -> float:
    """Return how likely a phone is held so far away, as a logarithm."""
    return -0.5 * (math.log(distance_mm / HELD_MM) / U_HELD) ** 2


def doubt_names(
    parts: list[PartResult], spec: ScaleSpec, distance_mm: float, flags: list[Flag]
) -> list[PartResult]:
    """Return the parts with names that do not stand against another size of the reference undone.

    A flag then says what the reference would have to be.
    """
    threads = [t for p in parts for t in p.threads]
    other = other_size(threads, spec, distance_mm)
    if other is None or spec.mm is None:
        return parts
    named = [t.verdict for t in threads if t.verdict.status == "named"]
    least = min((v.probability or 1.0 for v in named), default=1.0)
    if other.wrong < 0.5 and least * (1 - other.wrong) >= NAMED:
        return parts
    if other.wrong < 0.5 and not named:
        return parts
    says = f"the {spec.source} does not seem to be {spec.mm:g} mm"
    if other.wrong < 0.5:
        says = f"the {spec.source} may not be {spec.mm:g} mm"
    flags.append(flag(
        "reference-size", f"{says}: with {other.mm:.4g} mm everything would fit",
    ))  # fmt: skip
    return [replace(p, threads=tuple(_doubted(t, spec, other) for t in p.threads)) for p in parts]


def _doubted(thread: ThreadResult, spec: ScaleSpec, other: OtherSize) -> ThreadResult:
    verdict = thread.verdict
    if verdict.status not in ("named", "ambiguous"):
        return thread
    instead = name_thread(rescaled(thread.reading, other.mm / (spec.mm or 1.0)))
    both = _shared(verdict.candidates, 1 - other.wrong, instead.candidates, other.wrong)
    return replace(thread, verdict=Verdict(
        status="ambiguous", candidates=both,
        notes=(*verdict.notes, f"As stated it would be {_first(verdict)}; with a {spec.source} of "
               f"{other.mm:.4g} mm {_first(instead)}."),
        next_step=f"Measure the {spec.source} with a caliper: {spec.mm:g} or {other.mm:.4g} mm?",
    ))  # fmt: skip


def _first(verdict: Verdict) -> str:
    return verdict.candidates[0].designation if verdict.candidates else "of no series"


def _shared(
    ours: Sequence[Candidate], share: float, theirs: Sequence[Candidate], rest: float
) -> tuple[Candidate, ...]:
    """Return both lists as one, each at its share, the likeliest first."""
    total: dict[str, Candidate] = {}
    for candidates, by in ((ours, share), (theirs, rest)):
        for c in candidates:
            had = total.get(c.designation)
            p = c.probability * by + (had.probability if had else 0.0)
            total[c.designation] = replace(c, probability=p)
    return tuple(sorted(total.values(), key=lambda c: -c.probability))
