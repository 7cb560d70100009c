"""How likely what repeats on both sides of a part is no thread: noise, a gear, a spring, facets.

Each piece of evidence is a density for a thread against one for whatever else repeats: half a pitch
between the sides, flanks that lean alike and as those of some series, ridges as even as the edges
of a photo, and grooves as deep as a thread's, or as its ridges leave to see under a slant. What a
thread seldom does it may do all the same: dirt, wear and light spoil some.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcam.objects.regions import Region
from pitchcam.records import Quantity
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.measure import ThreadShape
from pitchcam.thread.ridges import Ripple, ripples

#: Share of what repeats as evenly as this that is no thread (judgement: parts are laid under a
#: camera since they have one).
PRIOR = 0.05
#: Share of threads of which a piece of evidence tells nothing (judgement), and of which even those
#: tell nothing that many points tell: the flanks' scatter, the grooves' depth, a ripple's height.
SPOILED, SELDOM = 0.02, 0.005
#: How far apart both half angles of a thread are at least known, degrees (renders: 0.7 rms); and
#: over how many degrees they lie for what is none.
U_HALVES_DEG, HALVES_DEG = 1.0, 120.0
#: What flanks scatter by: pixels, and pitches. Half of 82 rendered threads come to 0.6 of both
#: together, the worst to 1.1; gears and stars of drawn scenes to 6 to 11. As a logarithm: its
#: middle, its spread, and the range of what is no thread. With a panel close behind the part it is
#: twice as much (see ``measure``: UNEVEN_PX).
FLANK_PX, FLANK_PITCHES = 0.1, 0.004
SCATTER, U_SCATTER, SCATTERS = np.log(0.6), 0.45, np.log(20.0 / 0.3)
#: The flanks' included angles in the series here, how often a thread in a photo has each
#: (judgement), what one is off by at least, and with a panel close behind the part (renders of
#: known threads), and over how many degrees it lies for what is none.
ANGLES_DEG = ((60.0, 0.6), (55.0, 0.3), (47.5, 0.07), (80.0, 0.03))
U_ANGLE_DEG, U_ANGLE_NEAR_DEG, ANGLES_RANGE_DEG = 1.0, 3.0, 50.0
#: Depth of whole grooves over their pitch (ISO 68-1, BS 84, BS 93: 0.60 to 0.64); what a blur of
#: one pixel fills at root and crest together, pixels; and the logarithm's spread (82 rendered
#: threads: 0.46 to 0.77 deep). Round wires side by side come to 0.24 to 0.31. Its range for what is
#: none is that in which regions are looked for.
WHOLE, FILLED_PX, U_DEEP, DEPTHS = 0.6, 2.0, 0.15, np.log(1.0 / 0.2)
#: The logarithm of how high a ripple is in shares of what ridges leave under the known slant: its
#: spread (83 rendered threads: 0.13 rms, -0.35 to 0.27), and the range of what is no thread. Noise
#: along an edge that passes for a wave comes to a sixth or less.
U_HIGH, HIGH = 0.15, np.log(3.0 / 0.03)


def no_thread(
    shape: ThreadShape, region: Region, angles: Sequence[Quantity | None], u_apart: float
) -> float:
    """Return the probability that measured flanks are no thread's.

    Parameters
    ----------
    shape
        What was measured.
    region
        Where it repeats.
    angles
        The included angle and both half angles, degrees.
    u_apart
        Standard uncertainty of the lag between the sides (:func:`in_step.u_lag`), in spacings.
    """
    single = shape.section.winding.starts == 1
    odds = [_apart(shape.lag, u_apart)] if single else []
    odds += [_usual(angles[0], shape.nearness), _alike(angles[1:])]
    odds += [_even(shape), _deep(shape, region)]
    return _probability(odds)


def no_ridges(shape: CrestShape, u_apart: float, u_slope_rad: float) -> float:
    """Return the probability that crests seen aslant are no thread's.

    ``u_apart`` as of :func:`no_thread`; ``u_slope_rad`` is that of the axis's inclination.
    """
    return _probability([_apart(shape.lag, u_apart), _as_high(ripples(shape, u_slope_rad))])


def _probability(odds: Sequence[float]) -> float:
    none = PRIOR * float(np.prod(odds))
    return none / (none + 1 - PRIOR)


def _density(x: float) -> float:
    """Return the standard normal density."""
    return float(np.exp(-0.5 * x * x) / np.sqrt(2 * np.pi))


def _odds(thread: float, other: float, spoiled: float = SPOILED) -> float:
    """Return how much likelier a finding is for what is no thread, by both densities."""
    return other / ((1 - spoiled) * thread + spoiled * other)


def _apart(lag: float, u: float) -> float:
    """Return what the lag says, 0 to 0.5 spacings: a thread's sides are half a pitch apart."""
    turns = lag - 0.5 + np.arange(-2, 3)
    return _odds(2 * float(sum(map(_density, turns / u))) / u, 2.0)


def _alike(halves: Sequence[Quantity | None]) -> float:
    """Return what both half angles say: those of a thread are alike, in every series here."""
    plus, minus = halves
    if plus is None or minus is None:
        return 1.0
    u = float(np.linalg.norm([plus.u, minus.u, U_HALVES_DEG]))
    return _odds(_density((plus.value - minus.value) / u) / u, 1 / HALVES_DEG)


def _usual(angle: Quantity | None, nearness: float) -> float:
    """Return what the included angle says: a thread has that of some series."""
    if angle is None:
        return 1.0
    least = U_ANGLE_DEG + nearness * (U_ANGLE_NEAR_DEG - U_ANGLE_DEG)
    u = float(np.hypot(angle.u, least))
    thread = sum(share * _density((angle.value - true) / u) / u for true, share in ANGLES_DEG)
    return _odds(thread, 1 / ANGLES_RANGE_DEG)


def _deep(shape: ThreadShape, region: Region) -> float:
    """Return what the depth of the grooves says: shallow ones are those between round wires."""
    blur_px = shape.blur_mm / shape.mm_per_px
    covered = [shape.section.covered_mm(shape.frame, side) for side in (1.0, -1.0)]
    left = WHOLE - FILLED_PX * blur_px / region.spacing_px - np.mean(covered) / shape.pitch_mm
    off = np.log(region.depth_px / region.spacing_px / max(float(left), 0.1)) / U_DEEP
    # What is deeper is told by its angle.
    return _odds(_density(min(float(off), 0.0)) / U_DEEP, 1 / DEPTHS, SELDOM)


def _even(shape: ThreadShape) -> float:
    """Return what the scatter of points on the flanks says."""
    usual = np.hypot(FLANK_PX * shape.mm_per_px, FLANK_PITCHES * shape.pitch_mm)
    usual *= 1 + shape.nearness
    off = (np.log(max(shape.section.fit.rms_mm / usual, 1e-3)) - SCATTER) / U_SCATTER
    # Flanks that lie better on lines than others are a thread's all the more.
    return _odds(_density(max(off, 0.0)) / U_SCATTER, 1 / SCATTERS, SELDOM)


def _as_high(sides: Sequence[Ripple]) -> float:
    """Return what the height of both sides' ripples says, the hand left open.

    A left-hand helix leans the other way: one side is higher by as much as the other is lower.
    """
    if not sides:
        return 1.0
    off = float(np.mean([np.log(max(s.seen_mm, 1e-6) / s.drawn_mm) for s in sides]))
    # The slant is one, and so is most of their error.
    u = float(np.hypot(U_HIGH, np.mean([s.u for s in sides])))
    # Of a fine pitch the outline at a high level of the light reaches deeper than the blur's mean.
    return _odds(_density(min(off, 0.0) / u) / u, 1 / HIGH, SELDOM)
