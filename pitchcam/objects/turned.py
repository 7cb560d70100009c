"""How far the crests of a thread are to be believed where they turn the axis of its part."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.small import line

Values = NDArray[np.float64]
Side = tuple[Values, Values]

#: How well a part's axis is known from its whole outline, and a crest's height at best, wear
#: included (judgement).
U_AXIS_RAD, U_HEIGHT_PX = np.radians(0.5), 0.7
#: Of more crests the ends, where something else may be taken for one, are left out of a thread's
#: own axis.
FEW = 5
#: How far off the axis of a part may be whose head leads it astray, and how often that is so: of
#: nine plugs seen 17 to 26 degrees aslant four had it 2.5 to 10 degrees off.
U_ASTRAY_RAD, ASTRAY = np.radians(4.0), 0.1


def crests_turn(a: Side, b: Side) -> tuple[float, float]:
    """Return how far the lines over both sides' crests turn a part's axis, and its u, radians.

    Crests of one thread lie on a line to a tenth of a pixel, worn ones to one. What was taken for
    another, a run-out's, a chamfer's or a hexagon's corner, stands pixels off at an end: where a
    few crests do not agree among each other, they tell as much less of the axis.

    Parameters
    ----------
    a, b
        Stations of the crests of either side and their distances from the axis, pixels, two of
        them at least.
    """
    squares, free, slopes, own = 0.0, 0, [], 0.0
    for crests, heights in (a, b):
        slope, offset = line(crests, heights)
        if len(crests) <= FEW:
            squares += float(np.sum((heights - slope * crests - offset) ** 2))
            free += len(crests) - 2
        slopes.append(slope)
        own += 1 / max(float(np.sum((crests - crests.mean()) ** 2)), 1.0) / 4
    u_height = max(U_HEIGHT_PX, float(np.sqrt(squares / max(free, 1))))
    return (slopes[0] - slopes[1]) / 2, u_height * float(np.sqrt(own))


def believed_turn(turn: float, u: float) -> tuple[float, float]:
    """Return the share of a turn by both sides' crest lines that is to be believed, and its u.

    Three worn crests side by side tell less of a thread's axis than the whole part does; unless
    that is led astray by a head and a collar which, seen aslant, do not lie about the axis.

    Both are of :func:`crests_turn`, radians, as what comes back is.
    """
    own = u**2
    known = np.array([U_AXIS_RAD**2, U_ASTRAY_RAD**2])
    off = turn**2 / (known + own) / 2
    # Less the likelier's: a turn that both ways leave unlikely would divide nothing by nothing.
    likely = np.array([1 - ASTRAY, ASTRAY]) * np.exp(off.min() - off) / np.sqrt(known + own)
    likely /= likely.sum()
    shares = known / (known + own)
    share = float(likely @ shares)
    square = float(likely @ (shares * own + ((shares - share) * turn) ** 2))
    return share, float(np.sqrt(square))
