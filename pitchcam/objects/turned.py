"""How far the crests of a thread are to be believed where they turn the axis of its part."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

#: How well a part's axis is known from its whole outline, and a crest's height, wear included
#: (judgement).
U_AXIS_RAD, U_HEIGHT_PX = np.radians(0.5), 0.7
#: How far off the axis of a part may be whose head leads it astray, and how often that is so: of
#: nine plugs seen 17 to 26 degrees aslant four had it 2.5 to 10 degrees off.
U_ASTRAY_RAD, ASTRAY = np.radians(4.0), 0.1


def believed_turn(a: Values, b: Values, turn: float) -> tuple[float, float]:
    """Return the share of a turn by both sides' crest lines that is to be believed, and its u.

    Three worn crests side by side tell less of a thread's axis than the whole part does; unless
    that is led astray by a head and a collar which, seen aslant, do not lie about the axis.

    Parameters
    ----------
    a, b
        Stations of the crests of both sides, pixels.
    turn
        The turn that the lines over them tell, radians, as the u is.
    """
    spread = [float(np.sum((crests - crests.mean()) ** 2)) for crests in (a, b)]
    own = sum(U_HEIGHT_PX**2 / max(x, 1.0) for x in spread) / 4
    known = np.array([U_AXIS_RAD**2, U_ASTRAY_RAD**2])
    off = turn**2 / (known + own) / 2
    # Less the likelier's: a turn that both ways leave unlikely would divide nothing by nothing.
    likely = np.array([1 - ASTRAY, ASTRAY]) * np.exp(off.min() - off) / np.sqrt(known + own)
    likely /= likely.sum()
    shares = known / (known + own)
    share = float(likely @ shares)
    square = float(likely @ (shares * own + ((shares - share) * turn) ** 2))
    return share, float(np.sqrt(square))
