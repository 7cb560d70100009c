"""Where else on a part than over a thread that is measured a caliper may have been held.

A collar, a shank, a hexagon, and the crests of a thread too short to be measured: stretches over
which both sides keep their distance from the axis, grooves filled.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.objects.crest_runs import PROMINENCE_PX
from pitchcam.small import percentile

Values = NDArray[np.float64]

#: What is narrower than this share of the part's width is a groove: pitches are up to a fifth of
#: their diameter, and a head is about twice as wide as its thread.
FILLED = 0.12
#: Slope of a side up to which it is level, the stations on either side over which it is taken, and
#: how many must be level on both sides at once. A taper of 1:16 has 1/32, and rises from crest to
#: crest by steps of a pixel, where its grooves are filled.
LEVEL, OVER_PX, FEWEST = 0.08, 10, 6


@dataclass(frozen=True, kw_only=True)
class Level:
    """A stretch of the axis over which both sides of a part are level.

    ``radii_px`` is how far each side (upper, lower) is out at most; ``ridged`` says that grooves
    part it, as they part the crests of a thread.
    """

    start_px: float
    end_px: float
    radii_px: tuple[float, float]
    ridged: bool

    @property
    def middle_px(self) -> float:
        """Its station."""
        return (self.start_px + self.end_px) / 2


def level_stretches(stations: tuple[Values, Values, Values]) -> list[Level]:
    """Return the level stretches of an outline, ascending along the axis.

    Parameters
    ----------
    stations
        Stations, whole pixels, and the sides' distances from the axis, (n,) each, lower negative,
        with both sides of a ridge at one station (:func:`pitchcam.objects.faint.sheared`).
    """
    s, upper, lower = stations
    sides = (upper, -lower)
    # An even kernel has no middle, and would fill a plain step by a pixel.
    width = round(FILLED * percentile(upper - lower, 99)) | 1
    filled = [_filled(side, width) for side in sides]
    level = np.logical_and(*(np.abs(_slope(side)) < LEVEL for side in filled))
    ends = np.flatnonzero(np.diff(np.concatenate([[False], level, [False]])))
    found = []
    for first, end in zip(ends[::2], ends[1::2], strict=True):
        if end - first < FEWEST:
            continue
        # What was filled may lie beside what is level on the other side.
        near = slice(max(int(first) - width // 2, 0), int(end) + width // 2)
        grooved = []
        for closed, side in zip(filled, sides, strict=True):
            own = closed[first:end].min() - PROMINENCE_PX, closed[first:end].max() + PROMINENCE_PX
            grooved.append(_has_crest((closed, side), own, near, width))
        radii = [float(closed[first:end].max()) for closed in filled]
        found.append(
            Level(
                start_px=float(s[first]),
                end_px=float(s[end - 1]),
                radii_px=(radii[0], radii[1]),
                ridged=all(grooved),
            )
        )
    return found


def _has_crest(
    sides: tuple[Values, Values], own: tuple[float, float], near: slice, width: int
) -> bool:
    """Return whether a level stretch of a side has a crest: narrow, and beside a groove.

    An undercut is a groove as well, but what it parts is a shank, which is no crest, from what is
    higher than that or lower.

    Parameters
    ----------
    sides
        The side with its grooves filled, and as it is, (n,) each.
    own
        From how far out, to how far out, the stretch is level.
    near
        The stretch, and as far beside it as its grooves may be.
    width
        How wide a groove may be, stations; a crest is no wider than its grooves.
    """
    closed, side = sides
    groove = (closed - side > PROMINENCE_PX) & (closed > own[0]) & (closed < own[1])
    land = ~groove & (side > own[0]) & (side < own[1])
    ends = np.flatnonzero(np.diff(np.concatenate([[False], land, [False]])))
    for a, b in zip(ends[::2], ends[1::2], strict=True):
        beside = [i for i in (int(a) - 1, int(b)) if 0 <= i < len(side)]
        grooved = any(groove[i] and near.start <= i < near.stop for i in beside)
        # What rises on is the foot of something higher.
        if grooved and b - a < width and not any(side[i] >= own[1] for i in beside):
            return True
    return False


def _filled(side: Values, width: int) -> Values:
    """Return a side with the grooves filled that are narrower than so many stations."""
    # The part ends where its outline does: nothing is filled beyond.
    around = np.pad(side, width)[None]
    closed = cv2.morphologyEx(around, cv2.MORPH_CLOSE, np.ones((1, width), np.uint8))
    return np.asarray(closed[0, width : width + len(side)], float)


def _slope(side: Values) -> Values:
    """Return the slope of a side at each station, over a few on either side of it."""
    ends = np.concatenate([np.full(OVER_PX, side[0]), side, np.full(OVER_PX, side[-1])])
    return np.asarray((ends[2 * OVER_PX :] - ends[: -2 * OVER_PX]) / (2 * OVER_PX))
