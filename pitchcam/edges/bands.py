"""Edges with a mirrored band of their own each: where the panel is near, bands are wide and unlike.

One panel and one metal for all edges of a photo (:mod:`pitchcam.edges.rims`) then describe none.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.edge_profiles import (
    CODE_NOISE,
    INSIDE,
    Drawn,
    EdgeProfile,
    coded_noise,
    deviations,
    stacked,
)
from pitchcam.frozen import dataclass
from pitchcam.least_squares import by_differences, solve_one
from pitchcam.light.defocus import AT, LEAST_DISC_PX, SHARES, Focus, defocus, discs
from pitchcam.light.esf import Spread, encode, smoothing
from pitchcam.light.pixels import fall
from pitchcam.small import median

Values = NDArray[np.float64]


#: Softness of a band's inner border as a share of its width, the least and most that it is (facets
#: that scatter by 0.03 to 0.11: 0.15 to 0.8), and how well its light is known.
SOFTS, U_SHINE = (0.1, 0.9), 0.25
#: Widths of bands that are expected, pixels: wider ones are found where the light shows them.
WIDTHS = (0.3, 3.0)
#: How a band's light falls inward before its border: at these shares of its width by these shares
#: of the light at the edge. That is the loss of :func:`pitchcam.light.esf.reflected` over a band to
#: a grazing angle of 0.3, each piece of it at its middle. A band taken as even places its edge a
#: tenth of a pixel too far in.
FALLS_AT, FALLS_BY = (0.0265, 0.39), (0.17, 0.10)


def band_slopes(across: Values, blur: float | Values, band: Values) -> tuple[Values, Values]:
    """Return the fall of light across (position, reflectance, width, softness), any geometry.

    With it come its changes by the blur and these four, along a last axis.
    """
    position, shine, width, soft = band
    spread = np.hypot(blur, soft)
    off_border = (position - width - across) / spread
    outer, bell, narrower = fall((position - across) / blur, blur)
    border, bell_border, narrower_border = fall(off_border, spread)
    last = 1 - sum(FALLS_BY)
    bell, bell_border = (1 - shine) * bell / blur, shine * last * bell_border / spread
    by_spread = shine * last * narrower_border / spread
    within = last * border
    by_blur = (1 - shine) * narrower / blur + by_spread * blur / spread
    by_position, by_width = -bell - bell_border, bell_border
    for at, share in zip(FALLS_AT, FALLS_BY, strict=True):
        step, bell_step, narrower_step = fall((position - at * width - across) / blur, blur)
        within = within + share * step
        bell_step = shine * share * bell_step / blur
        by_blur = by_blur + shine * share * narrower_step / blur
        by_position, by_width = by_position - bell_step, by_width + at * bell_step
    light: Values = 1 - (1 - shine) * outer - shine * within
    slopes = np.stack(
        [by_blur, by_position, outer - within, by_width, by_spread * soft / spread], axis=-1
    )
    return light, slopes


@dataclass(frozen=True, kw_only=True)
class Kernel:
    """How one edge is drawn: blur, the disc of its defocus, gain and radius of the sharpening."""

    blur_px: float
    gain: float
    radius_px: float
    disc_px: float = 0.0


def kernels_of(
    spread: tuple[float, float, float], more_px: float, apart: NDArray[np.bool_]
) -> list[Kernel]:
    """Return how edges are drawn, by blur, gain and radius, and by what those ``apart`` blur more.

    A disc that is as good as none is none.
    """
    focused = defocus(spread[0], more_px, apart.astype(float)[:, None])
    disc = focused.disc_px if focused.disc_px > LEAST_DISC_PX else 0.0
    return [
        Kernel(
            blur_px=float(blur), gain=spread[1], radius_px=spread[2], disc_px=disc if off else 0.0
        )
        for blur, off in zip(focused.blur_px[:, 0], apart, strict=True)
    ]


@dataclass(frozen=True, kw_only=True)
class Apart:
    """Edges with bands of their own.

    ``spread`` is blur, gain and radius of the sharpening, ``covariance`` theirs, ``more_px`` what
    the lens blurs edges of another height more; ``bands`` (n, 4) are place, light, width and
    softness of each, ``misfit`` (n,) their rms deviations in coded values.
    """

    spread: Values
    covariance: Values
    more_px: float
    bands: Values
    misfit: Values


#: Blur, gain and radius of the sharpening, and what edges of another height are blurred more.
SHARED = 4


def solve_apart(
    profiles: Sequence[EdgeProfile], prior: Spread, focus: Focus | None = None
) -> Apart:
    """Fit with a band of its own for every edge."""
    n = len(profiles)
    stack = stacked(profiles, CODE_NOISE)
    off = np.zeros(n, bool) if focus is None else focus.apart
    nodes, columns = discs(off), off.astype(float)[:, None]
    u_more = 1.0 if focus is None else focus.u_px
    # A narrow band that is dark is no band, but blur: shine and softness are held.
    own = SHARED + 4 * np.arange(n)
    held = np.concatenate([np.arange(SHARED), own + 1, own + 3])
    centre = np.concatenate(
        [[prior.blur_px, prior.gain, prior.radius_px, 0.0], np.full(2 * n, 0.6)]
    )
    shared = [prior.u_blur_px, prior.u_gain, prior.u_radius_px, u_more]
    width = np.concatenate([shared, np.full(n, 0.25), np.full(n, 0.6)])

    def drawn(q: Values) -> Drawn:
        focused = defocus(q[0], q[3], columns)
        place, *band = q[SHARED:].reshape(n, 4).T[:, :, None]
        bands = np.stack([nodes.placed(place, focused.disc_px), *(b[nodes.rows] for b in band)])
        light, by_band = band_slopes(stack.across, focused.blur_px[nodes.rows], bands)
        light, slopes = nodes.together(light, np.moveaxis(by_band, 2, 0), by_place=1)
        slopes = np.stack([*focused.changes(slopes[0], slopes[5]), *slopes[1:5]], axis=2)
        return Drawn(light=light, shared=slopes[:, :, :2], own=slopes[:, :, 2:])

    def cost(q: Values) -> tuple[Values, Values]:
        rest, slopes = deviations(stack, drawn(q), q)
        pull = np.eye(len(q))[held] / width[:, None]
        return np.append(rest, (q[held] - centre) / width), np.vstack([slopes, pull])

    low = np.concatenate([[0.4, 0.0, 0.6, -2.0], np.tile([-5.0, 0.02, 0.0, 0.02], n)])
    high = np.concatenate([[6.0, 3.0, 5.0, 4.0], np.tile([10.0, 0.97, 60.0, 8.0], n)])
    fits = [
        solve_one(cost, np.append(centre[:SHARED], np.tile([-0.3, 0.6, band, 0.5], n)), low, high)
        for band in (0.5, 4.0, 12.0)
    ]
    best = min(fits, key=lambda f: float(f.cost[0]))
    rest = best.residuals[0, : -len(held)].reshape(n, -1)
    q = best.parameters[0]
    return Apart(
        spread=q[:3],
        covariance=np.linalg.pinv(best.information[0])[:SHARED, :SHARED],
        more_px=float(q[3]),
        bands=q[SHARED:].reshape(n, 4),
        misfit=np.sqrt(np.mean(rest**2, axis=1)) * CODE_NOISE,
    )


def metal_of(bands: Values) -> tuple[float, float]:
    """Return what the photo's bands (n, 4) mirror, and their softness as a share of their width.

    The rougher a metal is, the softer do its bands end: taken as too sharp or too soft, an edge
    lies up to 0.2 px off.
    """
    shares = bands[:, 3] / np.maximum(bands[:, 2], WIDTHS[0])
    return median(bands[:, 1]), float(np.clip(median(shares), *SOFTS))


def place(
    p: EdgeProfile, kernel: Kernel, metal: tuple[float, float], rim_px: float
) -> tuple[float, float, float]:
    """Return one edge's place and its uncertainty, and its band's width, pixels.

    ``metal`` is what the photo's bands mirror and how softly they end, ``rim_px`` the width that
    is expected. A plain edge and one with a band
    are weighed.
    """
    plain = _fit_plain(p, kernel)
    band = _fit_band(p, kernel, metal, rim_px)
    # exp(-chi^2 / 2), the band charged for its two more parameters.
    gain = np.clip(plain[2] - band[3] - 1.0, -30.0, 30.0)
    weight = float(1 / (1 + np.exp(-gain)))
    position = weight * band[0] + (1 - weight) * plain[0]
    inside = weight * band[1] ** 2 + (1 - weight) * plain[1] ** 2
    between = weight * (1 - weight) * (band[0] - plain[0]) ** 2
    return position, float(np.sqrt(inside + between)), weight * band[2]


def plain_place(p: EdgeProfile, kernel: Kernel) -> tuple[float, float]:
    """Return the place of one step between the light on both sides, and its uncertainty, pixels."""
    position, u, _ = _fit_plain(p, kernel)
    return position, u


def _through_disc(p: EdgeProfile, kernel: Kernel) -> tuple[Values, Values]:
    """Return the places across the edge at each node of its disc, (k, m), and their shares."""
    if kernel.disc_px == 0:
        return p.across_px[None], np.ones(1)
    return p.across_px - kernel.disc_px * AT[:, None], SHARES


def _rest(p: EdgeProfile, light: Values, kernel: Kernel) -> Values:
    code = encode((p.dark + (1 - p.dark) * light) * p.background)
    smooth = smoothing(float(p.across_px[1] - p.across_px[0]), kernel.radius_px, len(p.across_px))
    code = np.clip(code + kernel.gain * (code - smooth @ code), 0.0, 1.0)
    seen = np.maximum(p.light * p.background, 0.0)
    out: Values = (code - encode(seen)) / coded_noise(seen, CODE_NOISE)
    return out[INSIDE]


def _fit_plain(p: EdgeProfile, kernel: Kernel) -> tuple[float, float, float]:
    (across, shares), blur = _through_disc(p, kernel), kernel.blur_px

    def cost(q: Values) -> Values:
        return _rest(p, shares @ fall((across - q[0]) / blur, blur)[0], kernel)

    fit = solve_one(by_differences(cost), np.array([-0.8]), np.array([-6.0]), np.array([6.0]))
    misfit = float(fit.cost[0])
    grow = max(1.0, 2 * misfit / max(len(p.across_px) - 1, 1))
    u = float(fit.sigma(0)[0]) * grow**0.5
    return float(fit.parameters[0, 0]), min(u, 0.5), misfit / grow**0.5


def _fit_band(
    p: EdgeProfile, kernel: Kernel, metal: tuple[float, float], rim_px: float
) -> tuple[float, float, float, float]:
    shine, soft = metal
    across, shares = _through_disc(p, kernel)
    expected = float(np.clip(rim_px, *WIDTHS))

    def cost(q: Values) -> Values:
        light = shares @ band_slopes(across, kernel.blur_px, np.append(q, soft * q[2]))[0]
        pull = [(q[1] - shine) / U_SHINE, (q[2] - expected) / (expected + 0.15)]
        return np.append(_rest(p, light, kernel), pull)

    start = np.array([0.0, np.clip(shine, 0.06, 0.93), expected])
    low, high = np.array([-6.0, 0.05, 0.0]), np.array([10.0, 0.94, 60.0])
    fit = solve_one(by_differences(cost), start, low, high)
    place, _, width = (float(v) for v in fit.parameters[0])
    misfit = float(fit.cost[0])
    grow = max(1.0, 2 * misfit / max(len(p.across_px) - 3, 1))
    u = float(fit.sigma(0)[0]) * grow**0.5
    return place, min(u, 0.6 * max(width, 1.0)), width, misfit / grow**0.5
