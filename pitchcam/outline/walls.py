"""An upright wall seen beside an edge, and its height.

A flat reference with upright sides (a disc) shows its wall on the side toward
the picture's centre. Bright metal mirrors the panel there, so that the light falls in two steps:
at the lower edge, which is the outermost, and at the upper one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pitchcam.least_squares import by_differences, solve_one

Values = NDArray[np.float64]


#: Standard deviation of a mean profile's samples: noise and what the model leaves out are 0.01,
#: and neighbours a quarter of a pixel apart share it by fours.
U_LIGHT = 0.02
#: Share of the panel's light that a wall of metal gives back toward the camera, seen at a grazing
#: angle: a half, less where it is dull, more where polished (common practice, no source).
WALL_LIGHT = (0.5, 0.25)
#: The light is taken as even over the wall, which on renders of known thickness came within this
#: share of it.
U_EVEN = 0.05


@dataclass(frozen=True, kw_only=True)
class Slant:
    """What is known of an upright wall seen aslant before its light is looked at.

    ``height_mm`` the wall's height, ``px_per_mm`` how wide a millimetre of it appears, both with
    their standard uncertainties; ``u_place_px`` that of where its upper edge lies.
    """

    height_mm: float
    u_height_mm: float
    px_per_mm: float
    u_px_per_mm: float
    u_place_px: float


def wall_height(across_px: Values, near: Values, far: Values, known: Slant) -> tuple[float, float]:
    """Return the height of an upright wall and its standard uncertainty, mm.

    The far side shows how a bare edge looks in this photo; on the near side the same edge stands
    twice, dimmed: where the wall begins at the plate and where it ends at the top.

    Parameters
    ----------
    across_px
        Positions across the edge, outward positive from where the upper edge lies, evenly spaced.
    near, far
        Mean relative light on both sides: 0 in the object's shadow, 1 on the plain background.
    known
        What is known of the wall without its light.
    """

    def bare(shift: float) -> Values:
        return np.interp(across_px - shift, across_px, far)

    expected = np.array([0.0, known.height_mm, known.px_per_mm, WALL_LIGHT[0]])
    spread = np.array([known.u_place_px, known.u_height_mm, known.u_px_per_mm, WALL_LIGHT[1]])

    def cost(q: Values) -> Values:
        place, height, scale, light = q
        seen = light * bare(place) + (1 - light) * bare(place + height * scale)
        return np.concatenate([
            (seen - near) / U_LIGHT,
            (q - expected) / spread,
        ])  # fmt: skip

    found = solve_one(
        by_differences(cost), expected, np.array([-2.0, 0.0, 0.0, 0.0]),
        np.array([2.0, 4 * known.height_mm, 4 * known.px_per_mm, 0.95]),
    )  # fmt: skip
    height = float(found.parameters[0, 1])
    # A good fit costs 0.5 to 2.5; what does not look like a wall tells the less of it.
    poor = max(1.0, float(found.cost[0]) / 2.5)
    u = float(np.hypot(found.sigma(1)[0] * np.sqrt(poor), U_EVEN * height))
    # What is known beforehand is not lost by looking.
    return height, min(u, known.u_height_mm)
