"""Whether a thread's ridges keep step: rows of a picture that are out of place make them run off.

Where nothing straight is in view, the thread itself is all that shows a picture that waves. A wave
shorter than the thread makes its ridges lag and lead by turns, smoothly along it, on either side in
its own way; a longer one mostly stretches the thread, and shows by the little that is not straight.
So does the lens's distortion: along a long thread beside the picture's middle, scale grows or falls
from one end to the other. Its form is known, and how far it is open; what may be its is no damage.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.section import Section, fit_again
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
#: How far the lens may be bent beyond what is known of it, in standard uncertainties, to take the
#: ridges' run upon itself: as far as a 95 % interval reaches.
MOST_BENT = 2.0
#: What ridges are known to at best, pixels: below, a run is none (judgement).
LEAST_NOISE_PX = 0.01
#: What a wave stretches a thread by, from end to end, over the run that it leaves, rms: one of
#: twice the thread's length at any phase, by construction. Shorter ones leave more.
STRETCH_BY_RUN = 8.0
#: How far rows out of place shear what is as small as a side's flanks: a wave of a pixel over 300,
#: rms (judgement; one over 600 made a left hand of a right one, whose flanks lean by 0.01 in all).
U_SHEAR_RAD = 0.015


@dataclass(frozen=True, kw_only=True)
class Run:
    """How far ridges run off their steps along the axis, rms, and the thread's length, pixels.

    What the lens's distortion, as far as it is open, makes of it is left out.
    """

    rms_px: float
    length_px: float

    @property
    def stretch(self) -> float:
        """The relative standard uncertainty of lengths by a wave that leaves this run."""
        return STRETCH_BY_RUN * self.rms_px / self.length_px


def run_of(shape: ThreadShape) -> Run:
    """Return how far a thread's ridges run off, by what neighbours share: noise they do not."""
    off, bent = _sides(shape)
    most = max([1, *map(len, off)])
    told = [k for k, own in enumerate(off) if len(own) >= FEWEST_RIDGES]
    lens = _lens([off[k] for k in told], [bent[k] for k in told])
    rest = [off[k] + lens * bent[k] for k in told]
    shared = [float(np.mean(own[1:] * own[:-1])) for own in rest]
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


def _sides(shape: ThreadShape) -> tuple[list[Values], list[Values]]:
    """Return how far both sides' ridges are off, and what one u of distortion adds, pixels."""
    section, points = shape.section, shape.section.points
    camera = shape.camera
    lens = camera.bent(camera.corner + camera.u_corner, camera.u_corner)
    frame = replace(shape.frame, camera=lens)
    again = section
    with suppress(np.linalg.LinAlgError):
        # Flanks that so bent a lens leaves no fit are told nothing of it.
        again = fit_again(section, shape.flanks, frame, shape.spacing_px * shape.mm_per_px)
    both = section.fit.used & again.fit.used
    rest, moved = (_rest(one, both) / shape.mm_per_px for one in (section, again))
    off, bent = [], []
    for side in (1.0, -1.0):
        own = points.side[both] == side
        if own.any():
            ridge = points.ridge[both][own]
            off.append(_by_ridge(rest[own], ridge))
            bent.append(_by_ridge(moved[own], ridge) - off[-1])
    return off, bent


def _rest(section: Section, both: NDArray[np.bool_]) -> Values:
    """Return how far those points are off the fit, of the ones that it used, mm."""
    rest: Values = section.fit.scatter.rest_mm[both[section.fit.used]]
    return rest


def _lens(off: list[Values], bent: list[Values]) -> float:
    """Return how many u of distortion, most likely, make the ridges run as they do.

    What neighbours differ by is the ridges' noise; against it both, the run and the lens, weigh.
    """
    if not off:
        return 0.0
    noise = float(np.mean(np.concatenate([np.diff(own) for own in off]) ** 2)) / 2
    run, by = np.concatenate(off), np.concatenate(bent)
    likely = -float(run @ by) / (float(by @ by) + max(noise, LEAST_NOISE_PX**2))
    return float(np.clip(likely, -MOST_BENT, MOST_BENT))


def _by_ridge(rest: Values, ridge: Values) -> Values:
    """Return the mean of each ridge, in order."""
    order = np.searchsorted(distinct(ridge), ridge)
    out: Values = np.bincount(order, weights=rest) / np.bincount(order)
    return out
