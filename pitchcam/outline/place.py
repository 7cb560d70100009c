"""Places true edges, many at once, when the photo's blur is known and its sharpening undone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pitchcam.least_squares import solve
from pitchcam.outline.rims import MeanProfile, Rims

Values = NDArray[np.float64]

#: Shares of the expected width at which the search for a band starts.
STARTS = np.array([0.3, 1.0, 2.0])


def place_edges(
    profiles: Sequence[MeanProfile], rims: Rims, rims_px: Values, *, noise: float = 0.008
) -> tuple[Values, Values, Values]:
    """Place true edges with the photo's spread known and the bands' widths expected.

    Parameters
    ----------
    profiles
        Mean profiles of light whose sharpening has been undone, n of them.
    rims
        What the photo's straight edges say of blur, reflectance and band.
    rims_px
        Widths of the bands that the geometry lets expect, (n,). A flank's neighbour may take the
        light from it, so that no band at all is tried as well.
    noise
        Standard deviation of one point of a profile, neighbouring shapes included.

    Returns
    -------
    position, u, rim
        The true edges, their standard uncertainties, and the fitted widths of the bands, pixels.

    Notes
    -----
    The answers, without a band and with one, are weighted by how well they describe the profile;
    where they do so alike, half their distance is not known.
    """
    blur = rims.spread.blur_px
    plain = _plain(_Edges(profiles, blur, noise))
    # A bright narrow band and a dim wide one can look alike: one answer from each of several
    # starts.
    n = len(STARTS)
    bands = _band(_Edges([*profiles] * n, blur, noise), rims, np.tile(rims_px, n),
                  np.repeat(STARTS, len(profiles)))  # fmt: skip
    place, u, rim, misfit = (
        np.vstack([one, several.reshape(n, -1)]) for one, several in zip(plain, bands, strict=True)
    )
    # exp(-chi^2 / 2); the bands share one vote, and are charged for their two more parameters.
    misfit[1:] += 1.0 + np.log(n)
    weight = np.exp(misfit.min(axis=0) - misfit)
    weight /= weight.sum(axis=0)
    position: Values = np.sum(weight * place, axis=0)
    between = np.sum(weight * (u**2 + (place - position) ** 2), axis=0)
    return position, np.sqrt(between), np.sum(weight * rim, axis=0)


class _Edges:
    """Profiles of different lengths as arrays (n, m); what is missing has no weight."""

    def __init__(self, profiles: Sequence[MeanProfile], blur: float, noise: float) -> None:
        self.count = np.array([len(p.across_px) for p in profiles])
        shape = (len(profiles), int(self.count.max()))
        self.blur = blur
        self.across, self.light, self.weight = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        for i, p in enumerate(profiles):
            self.across[i, : self.count[i]] = p.across_px
            self.light[i, : self.count[i]] = p.light
        self.dark = np.array([p.dark for p in profiles])[:, None]
        self.weight[np.arange(shape[1]) < self.count[:, None]] = 1 / noise

    def rest(self, fall: Values) -> Values:
        """Return the deviations of the light in units of its noise, (n, m)."""
        out: Values = (self.dark + (1 - self.dark) * fall - self.light) * self.weight
        return out

    def slopes(self, *by: Values) -> Values:
        """Return what derivatives of the fall make of the deviations, (n, m, p)."""
        return np.stack(by, axis=2) * ((1 - self.dark) * self.weight)[:, :, None]

    def grow(self, cost: Values, parameters: int) -> Values:
        """Return the factor by which the noise is larger than was taken."""
        out: Values = np.maximum(1.0, 2 * cost / np.maximum(self.count - parameters, 1))
        return out


def _bell(x: Values) -> Values:
    out: Values = np.exp(-0.5 * x * x) / np.sqrt(2 * np.pi)
    return out


Answer = tuple[Values, Values, Values, Values]


def _plain(edges: _Edges) -> Answer:
    """Fit an edge without a band: position, u, width 0, misfit."""
    def cost(q: Values) -> tuple[Values, Values]:
        x = (edges.across - q) / edges.blur
        return edges.rest(ndtr(x)), edges.slopes(-_bell(x) / edges.blur)

    fit = solve(cost, np.full((len(edges.count), 1), -0.8), np.array([-6.0]), np.array([6.0]))
    grow = edges.grow(fit.cost, 1)
    u = np.minimum(fit.sigma(0) * np.sqrt(grow), 0.5)
    return fit.parameters[:, 0], u, np.zeros(len(u)), fit.cost / np.sqrt(grow)


def _band(edges: _Edges, rims: Rims, rims_px: Values, times: Values) -> Answer:
    """Fit an edge with a band (position, reflectance, width): position, u, width, misfit.

    The search starts at ``times`` the expected width.
    """
    share, u_shine = (0.4, 0.12) if rims.common else (1.0, 0.25)
    expected = np.maximum(rims_px if rims.common else np.minimum(rims_px, 3.0), 0.3)
    n = len(expected)
    middle = np.stack([np.full(n, rims.reflectance), expected], axis=1)
    u = np.stack([np.full(n, u_shine), share * expected + 0.15], axis=1)
    pull = np.zeros((n, 2, 3))
    pull[:, [0, 1], [1, 2]] = 1 / u

    def cost(q: Values) -> tuple[Values, Values]:
        place, shine, width = (v[:, None] for v in q.T)
        blur, soft = edges.blur, rims.softness
        inner_blur = np.hypot(blur, soft * width)
        outer, inner = (place - edges.across) / blur, (place - width - edges.across) / inner_blur
        fall = 1 - (1 - shine) * ndtr(outer) - shine * ndtr(inner)
        steps = (1 - shine) * _bell(outer) / blur, shine * _bell(inner) / inner_blur
        narrows = steps[1] * (1 + inner * soft**2 * width / inner_blur)
        slopes = edges.slopes(-steps[0] - steps[1], ndtr(outer) - ndtr(inner), narrows)
        return (
            np.concatenate([edges.rest(fall), (q[:, 1:] - middle) / u], axis=1),
            np.concatenate([slopes, pull], axis=1),
        )

    start = np.column_stack([np.zeros(n), middle[:, 0], times * expected])
    fit = solve(cost, start, np.array([-6.0, 0.05, 0.0]), np.array([10.0, 0.94, 60.0]))
    grow = edges.grow(fit.cost, 3)
    place, _, width = fit.parameters.T
    sigma = np.minimum(fit.sigma(0) * np.sqrt(grow), 0.6 * np.maximum(width, 1.0))
    return place, sigma, width, fit.cost / np.sqrt(grow)
