"""Lengths beside a reference that may be of another size than was stated.

All of them are those of the stated size. Where the threads of the photo leave it open, how far off
that may be is in every length's uncertainty, as a line of the budget that can be taken out again:
ratios, other photos and the other sizes themselves are known better than any length is.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from pitchcam.match.evidence import LENGTHS, with_common
from pitchcam.match.reference import SizeBelief
from pitchcam.records import (
    NAMING_QUANTITIES,
    STATED_SIZE,
    BudgetLine,
    Measurement,
    PartPose,
    Quantity,
    ScaleResult,
    ThreadReading,
    ThreadResult,
    u_as_stated,
    u_stated,
)

#: What is said of lengths that are so uncertain.
NOTE = "Its lengths are those of the stated size, and as uncertain as that size is."
#: What is left with less than a twentieth is a tail, which a standard uncertainty does not tell.
TAIL = 0.05


def u_of(belief: SizeBelief) -> float:
    """Return how far off the stated size lengths may be, as a relative standard uncertainty.

    The root mean square, over all sizes that the reference may have, of how far each lies from the
    stated one (JCGM 100, 4.3: what is known otherwise than by repetition).
    """
    if belief.wrong < TAIL:
        return 0.0
    off = belief.scales.ratio - 1
    return math.sqrt(float(belief.scales.weight @ (off**2 + belief.scales.spread**2)))


def left_doubtful(measurement: Measurement, u: float, *, height_known: bool = False) -> Measurement:
    """Return a measurement whose lengths are open by a relative standard uncertainty ``u``.

    ``height_known`` says that the axis's height was stated, and hangs on no reference.
    """
    if u <= 0:
        return measurement
    rising = 0.0 if height_known else u
    parts = tuple(
        replace(p, threads=tuple(_doubtful(t, u, rising) for t in p.threads))
        for p in measurement.parts
    )
    return replace(measurement, parts=parts, scale=_scaled(measurement.scale, u, 1.0))


def as_stated(measurement: Measurement) -> Measurement:
    """Return a measurement as the stated size gives it, without :func:`left_doubtful`."""
    u = max((u_stated(t) for p in measurement.parts for t in p.threads), default=0.0)
    if u <= 0:
        return measurement
    parts = tuple(
        replace(p, threads=tuple(thread_as_stated(t) for t in p.threads)) for p in measurement.parts
    )
    return replace(measurement, parts=parts, scale=_scaled(measurement.scale, u, -1.0))


def thread_as_stated(thread: ThreadResult) -> ThreadResult:
    """Return a thread as the stated size gives it."""
    u = u_stated(thread)
    if u <= 0:
        return thread
    notes = tuple(n for n in thread.verdict.notes if n != NOTE)
    return replace(
        thread,
        budget=tuple(line for line in thread.budget if line.source != STATED_SIZE),
        reading=_without_common(thread.reading, u),
        pose=_raised(thread.pose, u, -1.0),
        verdict=replace(thread.verdict, notes=notes),
    )


def _doubtful(thread: ThreadResult, u: float, rising: float) -> ThreadResult:
    reading = thread.reading
    if reading.pitch_mm is None:
        return thread
    shares = {n: u * q.value for n in LENGTHS if (q := getattr(reading, n)) is not None}
    line = BudgetLine(source=STATED_SIZE, contributions=shares, of_scale=True)
    wide = with_common(reading, u)
    station = _wider(reading.diameter_station_mm, u, 1.0)
    return replace(
        thread,
        budget=(*thread.budget, line),
        reading=replace(wide, diameter_station_mm=station),
        pose=_raised(thread.pose, rising, 1.0),
        verdict=replace(thread.verdict, notes=(*thread.verdict.notes, NOTE)),
    )


def _without_common(reading: ThreadReading, u: float) -> ThreadReading:
    """Return the reading without an error that its lengths share: undoes ``with_common``."""
    read = {n: q for n in NAMING_QUANTITIES if (q := getattr(reading, n)) is not None}
    common = {n: u * q.value if n in LENGTHS else 0.0 for n, q in read.items()}
    own = {n: u_as_stated(q, u if n in LENGTHS else 0.0) for n, q in read.items()}
    pairs = {}
    for (a, b), r in reading.correlation.items():
        left = own[a] * own[b]
        joint = r * read[a].u * read[b].u - common[a] * common[b]
        pairs[a, b] = max(-1.0, min(1.0, joint / left)) if left else 0.0
    fields: dict[str, Any] = {n: Quantity(value=q.value, u=own[n]) for n, q in read.items()}
    station = _wider(reading.diameter_station_mm, u, -1.0)
    return replace(reading, correlation=pairs, diameter_station_mm=station, **fields)


def _scaled(scale: ScaleResult | None, u: float, sign: float) -> ScaleResult | None:
    if scale is None:
        return None
    return replace(
        scale,
        mm_per_px=_wider(scale.mm_per_px, u, sign),
        camera_height_mm=_wider(scale.camera_height_mm, u, sign),
    )


def _raised(pose: PartPose, u: float, sign: float) -> PartPose:
    """Return a pose whose height follows the size: what a part rests on is one of its lengths.

    A height known better than that was stated, and keeps its u.
    """
    height = pose.axis_height_mm
    if height is None or (sign < 0 and height.u < abs(u * height.value)):
        return pose
    return replace(pose, axis_height_mm=_wider(height, u, sign))


def _wider(length: Quantity | None, u: float, sign: float) -> Quantity | None:
    """Return a length with one more relative error, or (``sign`` -1) with one less."""
    if length is None:
        return None
    square = length.u**2 + sign * (u * length.value) ** 2
    return Quantity(value=length.value, u=math.sqrt(max(square, 0.0)))
