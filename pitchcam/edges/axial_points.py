"""Points on flanks in the axial section, and which flank each is of."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass

Values = NDArray[np.float64]
#: A number for the flank that each point is of, (n,), and how many points have each number.
Groups = tuple[NDArray[np.intp], NDArray[np.intp]]

#: Flanks that are counted for a point at most: where a fit's pitch is lost, as between crumbs of
#: dirt, ridges would be counted by thousands of millions.
MOST_FLANKS = 4


@dataclass(frozen=True, kw_only=True)
class FlankPoints:
    """Points on flanks in the axial section.

    ``z``, ``r`` in mm; ``side`` and ``flank`` as +1/-1; ``ridge`` the whole number of the ridge
    on its side, counted so that the same number on both sides is half a pitch apart or less.
    """

    z: Values
    r: Values
    side: Values
    flank: Values
    ridge: Values

    @cached_property
    def groups(self) -> Groups:
        """A number (n,) for each flank of each ridge and side, and how many points have each."""
        ridge = np.round(self.ridge - self.ridge.min()).astype(np.intp)
        group = 4 * ridge + 2 * (self.side > 0) + (self.flank > 0)
        if group.max() > MOST_FLANKS * len(ridge):
            raise np.linalg.LinAlgError("the ridges are counted by a pitch that is none")
        return group, np.bincount(group)

    def moved(self, z: Values, r: Values) -> FlankPoints:
        """Return the same points of the same flanks at other places."""
        there = FlankPoints(z=z, r=r, side=self.side, flank=self.flank, ridge=self.ridge)
        vars(there)["groups"] = self.groups
        return there
