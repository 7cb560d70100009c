"""Upright walls of flat references (a disc, a caliper's jaws): the light across both edges."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.light.pixels import fall

Values = NDArray[np.float64]

#: Share of the panel's light that a wall gives back at a grazing angle: anything from a blackened
#: one's to this of a polished one, with what it may be more (common practice, no source).
MOST_LIGHT, U_MOST_LIGHT = 0.85, 0.05
#: What a mean profile's samples are worth: noise and what the model leaves out are 0.01, and
#: neighbours a quarter of a pixel apart share it by fours.
U_LIGHT = 0.02


def wall_light(
    across_px: Values,
    edges_px: tuple[Values, Values],
    wall: float,
    dark: Values | float,
    blur_px: float,
) -> Values:
    """Return the light across a wall: dark inside, the wall's own between its edges, 1 outside.

    Parameters
    ----------
    across_px
        Places across the outline, positive outward, (m,).
    edges_px
        The lower and the upper edge, numbers or (n, 1). Where the upper one lies outside, it hides
        the wall.
    wall, dark
        The wall's light, and that inside of it.
    blur_px
        Standard deviation of the blur.
    """
    lower, upper = edges_px
    inner, _, _ = fall((across_px - upper) / blur_px, blur_px)
    outer, _, _ = fall((across_px - np.maximum(lower, upper)) / blur_px, blur_px)
    return dark + (wall - dark) * inner + (1 - wall) * outer
