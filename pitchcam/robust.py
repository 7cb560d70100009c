"""A straight line through points of which some lie far off: fibres, corners, a neighbour's edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.small import line, median

Values = NDArray[np.float64]

#: Points farther off than this many medians of all distances are none of the line's: two standard
#: deviations, where they scatter normally.
MOST_MEDIANS = 3


@dataclass(frozen=True, kw_only=True)
class RobustLine:
    """y = slope x + offset in double precision, and which of the points it was fitted to."""

    slope: float
    offset: float
    kept: NDArray[np.bool_]


def robust_line(x: Values, y: Values, least: float, rounds: int = 8) -> RobustLine:
    """Fit a line by least squares, again and again without what lies far off it.

    Parameters
    ----------
    x, y
        The points, (n,).
    least
        What lies no farther off than this is never left out, in the unit of y.
    rounds
        Fits at most; it ends where the same points stay.
    """
    kept = np.ones(len(x), bool)
    for _ in range(rounds):
        slope, offset = line(x[kept], y[kept])
        off = np.abs(y - slope * x - offset)
        before, kept = kept, off <= max(MOST_MEDIANS * median(off), least)
        if (kept == before).all():
            break
    return RobustLine(slope=slope, offset=offset, kept=kept)
