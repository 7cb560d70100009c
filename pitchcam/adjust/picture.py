"""The threads of one picture, each with the scale that the others tell it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from pitchcam.adjust.told import covariance_of, scale_share, thread_tells, with_covariance
from pitchcam.adjust.whole import Seen, told_by_all, told_by_others
from pitchcam.frozen import dataclass
from pitchcam.match import name_thread
from pitchcam.match.scales import AS_STATED, Scales
from pitchcam.records import BudgetLine, ThreadResult

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
        note = (
            f"The scale is told by {_listed(spoke)} as well: lengths {100 * (factor - 1):+.2f} %, "
            f"their ± {200 * had:.2f} % by the scale now ± {200 * told.u:.2f} %."
        )
        thread = rescaled(p.thread, factor, left)
        verdict = name_thread(thread.reading, scales=scales)
        verdict = replace(verdict, notes=(*verdict.notes, note))
        out.append((replace(thread, verdict=verdict), factor, left))
    return out


def _seen(placed: Placed) -> Seen:
    thread = placed.thread
    seen = Seen(shares=placed.shares, tells=None)
    if thread.verdict.status == "unreadable":
        return seen
    tells = thread_tells(thread.reading, thread.budget, thread.taper_sign, seen.u_scale)
    return replace(seen, tells=tells)


def rescaled(thread: ThreadResult, factor: float, left: float) -> ThreadResult:
    """Return a thread with its lengths times a factor and less doubt of their scale."""
    reading = thread.reading
    grown = scale_share(thread.budget, thread.taper_sign, left, reading)
    return replace(
        thread,
        reading=with_covariance(reading, covariance_of(reading) + grown, factor),
        budget=tuple(_line(line, factor, left) for line in thread.budget),
    )


def _line(line: BudgetLine, factor: float, left: float) -> BudgetLine:
    by = factor * left if line.of_scale else factor
    return replace(
        line,
        contributions={k: c * by if k in LENGTHS else c for k, c in line.contributions.items()},
    )


def _listed(names: Sequence[str]) -> str:
    if len(names) > MOST_LISTED:
        return f"{len(names)} other threads"
    return " and ".join(names)
