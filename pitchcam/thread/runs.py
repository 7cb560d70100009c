"""Whether a thread's ridges keep step: rows of a picture that are out of place make them run off.

Where nothing straight is in view, the thread itself is all that shows a picture that waves. A wave
shorter than the thread makes its ridges lag and lead by turns, smoothly along it, on either side in
its own way; a longer one mostly stretches the thread, and shows by the little that is not straight.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import UnreadableError
from pitchcam.flags import FLAGS
from pitchcam.frozen import dataclass
from pitchcam.small import distinct
from pitchcam.thread.measure import ThreadShape

Values = NDArray[np.float64]

#: Fewer ridges of a side do not tell a run from noise.
FEWEST_RIDGES = 5
#: Ridges that run off by more are the picture's or the thread's, and nothing tells which: waves of
#: a pixel over 100 to 200 make it 0.3 to 0.4 px, whole pictures of samples at most 0.04.
MOST_RUN_PX = 0.2
#: What a wave stretches a thread by, from end to end, over the run that it leaves, rms: one of
#: twice the thread's length at any phase, by construction. Shorter ones leave more.
STRETCH_BY_RUN = 8.0
#: How far rows out of place shear what is as small as a side's flanks: a wave of a pixel over 300,
#: rms (judgement; one over 600 made a left hand of a right one, whose flanks lean by 0.01 in all).
U_SHEAR_RAD = 0.015


@dataclass(frozen=True, kw_only=True)
class Run:
    """How far ridges run off their steps along the axis, rms, and the thread's length, pixels."""

    rms_px: float
    length_px: float

    @property
    def stretch(self) -> float:
        """The relative standard uncertainty of lengths by a wave that leaves this run."""
        return STRETCH_BY_RUN * self.rms_px / self.length_px


def run_of(shape: ThreadShape) -> Run:
    """Return how far a thread's ridges run off, by what neighbours share: noise they do not."""
    fit = shape.section.fit
    rest = fit.scatter.rest_mm / shape.mm_per_px
    points = shape.section.points
    shared, most = [], 1
    for side in (1.0, -1.0):
        own = points.side[fit.used] == side
        off = _by_ridge(rest[own], points.ridge[fit.used][own])
        most = max(most, len(off))
        if len(off) >= FEWEST_RIDGES:
            shared.append(float(np.mean(off[1:] * off[:-1])))
    rms = float(np.sqrt(max(float(np.mean(shared)), 0.0))) if shared else 0.0
    return Run(rms_px=rms, length_px=most * shape.pitch_mm / shape.mm_per_px)


def refuse_run(shape: ThreadShape, number: int) -> None:
    """Raise where ridges run off by what nothing in view tells from a damaged picture's rows.

    Raises
    ------
    UnreadableError
        With the code ``damaged``.
    """
    run = run_of(shape)
    if run.rms_px > MOST_RUN_PX:
        raise UnreadableError(
            f"The ridges of part {number} run off their even steps by {run.rms_px:.1f} pixels, and "
            "nothing straight is in view that would show whether rows of the picture do so.",
            FLAGS["no-straight-edge"][1],
            code="damaged",
        )


def _by_ridge(rest: Values, ridge: Values) -> Values:
    """Return the mean of each ridge, in order."""
    order = np.searchsorted(distinct(ridge), ridge)
    out: Values = np.bincount(order, weights=rest) / np.bincount(order)
    return out
