"""An upright wall seen beside an edge: the outermost edge, and the wall's width in the picture.

A flat reference with upright sides (a disc, a caliper's jaw) shows its wall on the side toward
the picture's centre. Bright metal mirrors the panel there, so that the light falls in two steps:
at the lower edge, which is the outermost, and at the upper one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pitchcam.least_squares import by_differences, solve_one

Values = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Wall:
    """The outermost edge's position, outward positive, and the wall's width (0 where plain)."""

    edge_px: float
    width_px: float
    misfit: float


def fit_wall(across_px: Values, light: Values) -> Wall:
    """Fit one step and two steps to a mean profile; the wall needs clear evidence.

    Parameters
    ----------
    across_px
        Positions across the edge, outward positive, reaching the plain background.
    light
        Relative light at them, sharpening undone.
    """
    outer = float(np.median(light[across_px > 0.6 * across_px.max()]))
    seen = light / outer
    dark = max(float(np.min(seen)), 0.0)

    def model(q: Values) -> Values:
        first = ndtr((q[0] - across_px) / q[1])
        second = ndtr((q[0] - q[3] - across_px) / q[1])
        fall: Values = 1 - (1 - q[2]) * first - q[2] * second
        return dark + (1 - dark) * fall

    def plain(q: Values) -> Values:
        return model(np.array([q[0], q[1], 0.0, 0.0])) - seen

    def plain_cost(q: Values) -> Values:
        return np.append(plain(q) / 0.01, (q[1] - 1.0) / 0.25)

    def walled_cost(q: Values) -> Values:
        return np.append((model(q) - seen) / 0.01, (q[1] - 1.0) / 0.25)

    low, high = np.array([-8, 0.4, 0.1, 0.8]), np.array([8, 6.0, 0.95, 14.0])
    best = solve_one(by_differences(plain_cost), np.array([-0.8, 1.0]), low[:2], high[:2])
    width = 0.0
    for start in (2.0, 4.5, 8.0):
        two = solve_one(
            by_differences(walled_cost), np.array([-0.5, 1.0, 0.6, start]), low, high
        )  # fmt: skip
        if two.cost[0] < 0.5 * best.cost[0]:
            best, width = two, float(two.parameters[0, 3])
    rest = best.residuals[0, :-1] * 0.01
    return Wall(
        edge_px=float(best.parameters[0, 0]), width_px=width,
        misfit=float(np.sqrt(np.mean(rest**2))),
    )  # fmt: skip
