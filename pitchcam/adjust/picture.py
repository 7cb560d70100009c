"""The threads of one picture, each with the scale that the others tell it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress

import numpy as np

from pitchcam.adjust.told import (
    covariance_of,
    scale_share,
    thread_tells,
    with_covariance,
    with_scale_left,
)
from pitchcam.adjust.whole import Seen, told_by_all, told_by_others
from pitchcam.frozen import dataclass, replace
from pitchcam.match import name_thread
from pitchcam.match.scales import AS_STATED, Scales
from pitchcam.records import BudgetLine, ThreadResult
from pitchcam.records.quantities import LostTermError
from pitchcam.thread.budget.read import READ
from pitchcam.thread.budget.read import SOURCE as CRESTS_READ

#: Others are heard where they leave less than this of the scale's u: else the figures stay as they
#: were measured. No u is known better than to a quarter, so that less is no sure gain.
SPEAKS = 0.75
#: An input that is off by more of its u is not what it was taken for: of 500 photos with three
#: inputs that matter, four by chance.
STRAINED = 3.0
#: More are counted instead of listed.
MOST_LISTED = 2
LENGTHS = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm")


@dataclass(frozen=True, kw_only=True)
class Placed:
    """A thread that was measured, what it is called in words, and what its scale hangs on.

    ``shares`` as in :class:`pitchcam.adjust.whole.Seen`; empty where its scale is not known.
    """

    thread: ThreadResult
    called: str
    shares: Mapping[str, float]


def seen_of(placed: Sequence[Placed]) -> list[Seen]:
    """Return what each thread tells of its scale."""
    return [_seen(p) for p in placed]


def strains(objects: Sequence[Seen]) -> dict[str, float]:
    """Return the inputs that all threads together contradict: errors in units of their u."""
    if sum(o.tells is not None for o in objects) < 2:
        return {}
    told = told_by_all(objects)
    speakers = [i for i, o in enumerate(objects) if o.tells is not None and i not in told.silent]
    if len(speakers) < 2:
        return {}
    return {name: x for name, x in told.inputs.items() if abs(x) > STRAINED}


def adjusted(
    placed: Sequence[Placed], objects: Sequence[Seen] | None = None, scales: Scales = AS_STATED
) -> list[tuple[ThreadResult, float, float]]:
    """Return each thread with its scale as the others tell it.

    Parameters
    ----------
    placed
        The threads.
    objects
        What they tell, where it is known already.
    scales
        What the reference may be: names stand against all of it.

    Returns
    -------
    threads, factors, left
        The thread, named anew; what its lengths were multiplied by; and what is left of the u of
        its scale, as a share. A thread of which nobody tells anything is as it was, with 1 and 1.
    """
    objects = seen_of(placed) if objects is None else objects
    if sum(o.tells is not None for o in objects) < 2:
        return [(p.thread, 1.0, 1.0) for p in placed]
    out = []
    for i, p in enumerate(placed):
        had = objects[i].u_scale
        told = told_by_others(objects, i) if objects[i].tells is not None else None
        if told is None or told.u > SPEAKS * had:
            out.append((p.thread, 1.0, 1.0))
            continue
        factor, left = float(np.exp(told.shift)), told.u / had
        spoke = [
            q.called
            for j, q in enumerate(placed)
            if j not in (i, *told.silent) and objects[j].tells is not None
        ]
        read = _of_reading(placed, objects, i)
        lengths = "lengths" if read is None else "lengths but the diameter that was read"
        note = (
            f"The scale is told by {_listed(spoke)} as well: {lengths} {100 * (factor - 1):+.2f} %,"
            f" their ± {200 * had:.2f} % by the scale now ± {200 * told.u:.2f} %."
        )
        try:
            thread = rescaled(p.thread, factor, left, read)
        except LostTermError:
            # What its scale leaves open is not in its u as in its budget: others cannot take it.
            out.append((p.thread, 1.0, 1.0))
            continue
        verdict = name_thread(thread.reading, scales=scales)
        verdict = replace(verdict, notes=(*verdict.notes, note))
        out.append((replace(thread, verdict=verdict), factor, left))
    return out


def _seen(placed: Placed) -> Seen:
    thread = placed.thread
    seen = Seen(shares=placed.shares, tells=None)
    if thread.verdict.status == "unreadable":
        return seen
    with suppress(LostTermError):
        tells = thread_tells(thread.reading, thread.budget, thread.taper_sign, seen.u_scale)
        return replace(seen, tells=tells)
    return seen


def _of_reading(
    placed: Sequence[Placed], objects: Sequence[Seen], i: int
) -> tuple[float, float] | None:
    """Return factor and share left of the diameter over crests that a caliper read, if it did.

    It is wrong by the reading alone, and not by what the picture shows of these crests.
    """
    if all(line.source != CRESTS_READ for line in placed[i].thread.budget):
        return None
    one = Seen(shares={READ: objects[i].shares[READ]}, tells=objects[i].tells)
    told = told_by_others([*objects[:i], one, *objects[i + 1 :]], i)
    return float(np.exp(told.shift)), told.u / one.u_scale


def rescaled(
    thread: ThreadResult, factor: float, left: float, read: tuple[float, float] | None = None
) -> ThreadResult:
    """Return a thread with its lengths times a factor and less doubt of their scale.

    ``read`` are factor and share left of the diameter that a caliper read, where it did.
    """
    reading, before = thread.reading, thread.budget
    if read is None:
        after = [with_scale_left(line, dict.fromkeys(LENGTHS, left)) for line in before]
    else:
        after = _left_of_read(before, left, read[1])
    of_major = factor if read is None else read[0]
    covariance = covariance_of(reading) + scale_share(before, after, thread.taper_sign, reading)
    by = dict.fromkeys(LENGTHS, factor) | {"major_mm": of_major}
    return replace(
        thread,
        reading=with_covariance(reading, covariance, factor, of_major),
        budget=tuple(
            replace(
                line, contributions={k: c * by.get(k, 1.0) for k, c in line.contributions.items()}
            )
            for line in after
        ),
    )


def _left_of_read(lines: Sequence[BudgetLine], left: float, of_reading: float) -> list[BudgetLine]:
    """Return the budget of a thread whose crests were read, with what is left of its scale.

    Of what both the reading (u_r) and the crests (u_c) make of a length, others tell the sum, to
    ``left`` of its u; of the reading alone, to ``of_reading``. What the reading has in common with
    the sum is left^2 u_r^2: its line keeps that with the diameter, the other line what is missing.
    """
    read, crests = (
        sum(
            line.contributions.get("pitch_mm", 0.0) ** 2
            for line in lines
            if line.of_scale and _of_major(line) == has_major
        )
        for has_major in (True, False)
    )
    common = left**2 / of_reading
    rest = (read + crests) * left**2 - read * common**2
    others = {
        True: dict.fromkeys(LENGTHS, common) | {"major_mm": of_reading},
        False: dict.fromkeys(LENGTHS, float(np.sqrt(max(rest, 0.0) / max(crests, 1e-30)))),
    }
    return [with_scale_left(line, others[_of_major(line)]) for line in lines]


def _of_major(line: BudgetLine) -> bool:
    return line.contributions.get("major_mm", 0.0) != 0.0


def _listed(names: Sequence[str]) -> str:
    if len(names) > MOST_LISTED:
        return f"{len(names)} other threads"
    return " and ".join(names)
