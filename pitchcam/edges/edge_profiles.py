"""Mean profiles of edges, and how a drawn edge deviates from them, in coded values."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.light.esf import encode, encode_slope, smoothing

Values = NDArray[np.float64]

#: One coded step of 256: what the model of the tone curve and a mean profile agree to.
CODE_NOISE = 0.004
#: The blur is no Gaussian to the last: in linear light a mosaic's edge keeps to one within this.
#: Near black, where codes spread the light thirteenfold, it is most of the deviation.
LIGHT_NOISE = 0.002
#: The ends of a profile serve the sharpening's neighbourhood only.
INSIDE = slice(4, -4)
#: Step of the differences that stand for derivatives: small against 0.01 px, large against
#: rounding.
DIFFERENCE = 1e-5


@dataclass(frozen=True, kw_only=True)
class EdgeProfile:
    """An edge's profile averaged along the edge: relative light over positions, outward positive.

    ``dark`` is the part's own light relative to the background's, ``background`` the background's
    linear light; ``radius_px`` the surface's radius of curvature in the viewing direction, None
    where it has an edge there (a hexagon's corner, a card); ``reach_px`` the distance outward to
    the border of the light.
    """

    across_px: Values
    light: Values
    dark: float
    background: float
    radius_px: float | None
    reach_px: float


@dataclass(frozen=True, kw_only=True)
class Stack:
    """Profiles of n edges as arrays: ``code`` (n, m) over ``across`` (m,), the rest (n, 1).

    ``noise`` (n, m) is what coded values are taken to agree to.
    """

    across: Values
    code: Values
    dark: Values
    background: Values
    radius: Values
    reach: Values
    noise: Values


def stacked(profiles: Sequence[EdgeProfile], noise: float) -> Stack:
    """Stack profiles over the same positions; ``noise`` is what coded values agree to."""

    def column(values: list[float]) -> Values:
        return np.array(values)[:, None]

    light = np.maximum([p.light * p.background for p in profiles], 0.0)
    return Stack(
        across=profiles[0].across_px,
        code=encode(light),
        dark=column([p.dark for p in profiles]),
        background=column([p.background for p in profiles]),
        # An edge of no radius has a band of no width.
        radius=column([p.radius_px or 0.0 for p in profiles]),
        reach=column([p.reach_px for p in profiles]),
        noise=coded_noise(light, noise),
    )


def coded_noise(light: Values, noise: float) -> Values:
    """Return what coded values of ``light`` agree to, from ``noise`` and LIGHT_NOISE."""
    coded = encode(light + LIGHT_NOISE) - encode(light)
    # Light beyond the highest code shows none of its noise.
    out: Values = np.hypot(noise, coded)
    return out


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """Light (n, m) of n edges, 1 outside, before coding, and its changes.

    ``shared`` (n, m, s) are those by the blur and by what else all edges share but the sharpening,
    ``own`` (n, m, o) those by what belongs to one edge, its place first.
    """

    light: Values
    shared: Values
    own: Values


def deviations(s: Stack, drawn: Drawn, q: Values) -> tuple[Values, Values]:
    """Return the drawn profiles' deviations from the seen ones in noise units, and derivatives.

    The parameters ``q`` are blur, gain and radius of the sharpening, the other shared ones, and
    every edge's own. Returns (n m',) and (n m', len(q)).
    """
    n, m = s.code.shape
    step_px = float(s.across[1] - s.across[0])
    linear = (s.dark + (1 - s.dark) * drawn.light) * s.background
    code = encode(linear)
    smooth = smoothing(step_px, q[2], m)
    halo = code - code @ smooth.T
    wider = smoothing(step_px, q[2] + DIFFERENCE, m)
    by_radius = -q[1] * (code @ (wider - smooth).T) / DIFFERENCE
    sharp = code + q[1] * halo
    by_light = np.concatenate([drawn.shared, drawn.own], axis=2)
    by_light *= (encode_slope(linear) * (1 - s.dark) * s.background)[:, :, None]
    by_light += q[1] * (by_light - smooth @ by_light)
    # The halo on the dark side ends at black: unclipped, a model of a black part finds none.
    clipped = (sharp < 0) | (sharp > 1)
    rest = (np.clip(sharp, 0.0, 1.0) - s.code) / s.noise
    shared = drawn.shared.shape[2]
    columns = np.concatenate(
        [by_light[:, :, :1], halo[:, :, None], by_radius[:, :, None], by_light[:, :, 1:shared]],
        axis=2,
    )
    scale = np.where(clipped, 0.0, 1 / s.noise)[:, :, None]
    slopes = np.zeros((n, m, len(q)))
    slopes[:, :, : shared + 2] = columns * scale
    rows = np.arange(n)
    for i in range(own := drawn.own.shape[2]):
        slopes[rows, :, shared + 2 + rows * own + i] = by_light[:, :, shared + i] * scale[:, :, 0]
    return rest[:, INSIDE].ravel(), slopes[:, INSIDE].reshape(-1, len(q))
