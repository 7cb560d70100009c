"""The threads of a photo with the scale that all of them tell, and what does not agree with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pitchcam.adjust.picture import Placed, adjusted, seen_of, strains
from pitchcam.flags import flag
from pitchcam.match.reference import SizeBelief
from pitchcam.match.reference_words import WORDS
from pitchcam.match.scales import AS_STATED, LEFT_OUT
from pitchcam.pipeline.part_threads import OnAxis
from pitchcam.records import Flag, PartResult, ScaleSpec

#: Others speak where the reference is hardly doubted; beyond, each size of it competes alone.
LITTLE_DOUBT = 0.02
#: The scales on the axes of each part's threads, None where a thread was not measured.
OnAxes = list[list[OnAxis | None]]


def as_the_picture_tells(
    parts: Sequence[PartResult],
    on_axes: OnAxes,
    reference: tuple[ScaleSpec, SizeBelief],
    flags: list[Flag],
) -> tuple[list[PartResult], OnAxes]:
    """Return the parts, and the scales on their threads' axes, as the whole picture tells them.

    Parameters
    ----------
    parts, on_axes
        As each thread was measured by itself.
    reference
        As stated, and what it may be instead: names stand against all of that.
    flags
        To which is added what the threads together contradict.
    """
    places = [(i, j) for i, part in enumerate(parts) for j in range(len(part.threads))]
    if sum(parts[i].threads[j].verdict.status != "unreadable" for i, j in places) < 2:
        return list(parts), on_axes  # there is nobody to tell anything
    placed = [
        Placed(
            thread=parts[i].threads[j],
            called=_called(parts, i, j),
            shares={} if (scale := on_axes[i][j]) is None else scale.shares,
        )
        for i, j in places
    ]
    objects = seen_of(placed)
    spec, belief = reference
    scales = belief.scales.likely() if belief.wrong >= LEFT_OUT else AS_STATED
    told = dict(zip(places, adjusted(placed, objects, scales), strict=True))
    flags += [
        f for name, off in strains(objects).items() if (f := _broken(name, off, spec)) is not None
    ]
    axes = [
        [None if s is None else s.rescaled(*told[i, j][1:]) for j, s in enumerate(own)]
        for i, own in enumerate(on_axes)
    ]
    return [
        replace(p, threads=tuple(told[i, j][0] for j in range(len(p.threads))))
        for i, p in enumerate(parts)
    ], axes


def _called(parts: Sequence[PartResult], i: int, j: int) -> str:
    part = parts[i]
    name = part.threads[j].verdict.designation
    which = "" if name is None else f" ({name})"
    if len(parts) > 1:
        thread = f", thread {j + 1}" if len(part.threads) > 1 else ""
        return f"part {part.id}{thread}{which}"
    if len(part.threads) == 2:
        return f"the part's other thread{which}"
    return f"thread {j + 1}{which}"


def _broken(name: str, off: float, spec: ScaleSpec) -> Flag | None:
    """Say which of the inputs the threads contradict: ``off`` is its error in units of its u."""
    times = f"{abs(off):.0f} times its uncertainty"
    if name == "reference":
        what, verb = WORDS["sheet" if spec.source == "auto" else spec.source]
        way = "larger" if off > 0 else "smaller"
        return flag(
            "reference-size",
            f"by the threads together {what} would {verb} {way} than stated, by {times}",
        )
    if name.startswith("height of part "):
        way = "higher" if off > 0 else "lower"
        part = int(name.rpartition(" ")[2])
        said = f"by the threads together the axis of part {part} lies {way}, by {times}"
        return replace(flag("height", said), part=part)
    if name.startswith("tilt"):
        return flag("tilt", f"by the threads together the camera leans otherwise, by {times}")
    return None
