"""The background's light: a smooth surface over the whole photo."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.small import percentile

Floats = NDArray[np.float32]

#: The fit reads light between these; carried on to a corner that it never saw, a quadratic may run
#: out of all numbers.
DARKEST, BRIGHTEST = 1e-4, 4.0


@dataclass(frozen=True, kw_only=True)
class Backdrop:
    """The background's light as exp of a quadratic in the position, one row per channel.

    ``coefficients`` has shape (channels, 6) for 1, x, y, x^2, xy, y^2 of coordinates scaled by
    ``half_px`` about ``centre_px``.
    """

    coefficients: NDArray[np.float64]
    centre_px: tuple[float, float]
    half_px: float

    def level(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> Floats:
        """Return the background's linear light at points, shape (channels, *shape).

        ``x`` and ``y`` are broadcast against each other: a row and a column give a grid.
        """
        u = (np.asarray(x, dtype=float) - self.centre_px[0]) / self.half_px
        v = (np.asarray(y, dtype=float) - self.centre_px[1]) / self.half_px
        out = np.empty((len(self.coefficients), *np.broadcast_shapes(u.shape, v.shape)), np.float32)
        for light, c in zip(out, self.coefficients, strict=True):
            # By rows: constant, slope and curvature along x, so that a grid costs two products.
            light[...] = (c[0] + (c[2] + c[5] * v) * v) + u * (c[1] + c[4] * v + c[3] * u)
        np.clip(out, np.log(DARKEST), np.log(BRIGHTEST), out=out)
        return np.exp(out, out=out)

    def divide(self, light: Floats, origin_px: tuple[float, float], step_px: float) -> Floats:
        """Divide light (channels, h, w) by the background's, in place, and return it.

        Its points lie at even steps from ``origin_px``, x and y. Every eighth point's level is
        computed and the rest interpolated: over so little the background is straight to one part
        in ten thousand.
        """
        every = 8
        columns, rows = (
            start + step_px * (np.arange(0.0, n, every) + (every - 1) / 2)
            for start, n in zip(origin_px, light.shape[:0:-1], strict=True)
        )
        coarse = self.level(columns, rows[:, None])
        whole = np.empty((len(rows) * every, len(columns) * every), np.float32)
        for plane, level in zip(light, coarse, strict=True):
            cv2.resize(level, whole.shape[::-1], dst=whole, interpolation=cv2.INTER_LINEAR)
            plane /= whole[: plane.shape[0], : plane.shape[1]]
        return light


def _basis(
    x: NDArray[np.float64], y: NDArray[np.float64], centre: tuple[float, float], half: float
) -> NDArray[np.float64]:
    u = (np.asarray(x, dtype=float) - centre[0]) / half
    v = (np.asarray(y, dtype=float) - centre[1]) / half
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v])


def fit_backdrop(
    light: Floats, x: NDArray[np.float64], y: NDArray[np.float64], size_px: tuple[int, int]
) -> Backdrop:
    """Fit the background to the light at points that lie on it for the most part.

    Parameters
    ----------
    light
        Linear light, (channels, n).
    x, y
        Positions of the points in the photo, (n,).
    size_px
        Width and height of the photo.
    """
    centre, half = (size_px[0] / 2, size_px[1] / 2), max(size_px) / 2
    basis = _basis(x, y, centre, half)
    rows = []
    for plane in light:
        values = np.log(np.maximum(plane, DARKEST))
        good = values > np.log(percentile(np.exp(values), 90) * 0.35)
        coefficients = np.zeros(6)
        # The background is the bright majority: drop what is darker than the fit, thrice.
        for floor in (0.25, 0.10, 0.05, 0.03):
            # Scaled coordinates keep the normal equations well conditioned, and they are quick.
            which = np.flatnonzero(good)
            used = basis.take(which, axis=1)
            coefficients = np.linalg.lstsq(used @ used.T, used @ values[which], rcond=None)[0]
            deviation = values - coefficients @ basis
            good = np.abs(deviation) < floor
            if good.sum() < 60:
                break
        rows.append(coefficients)
    return Backdrop(coefficients=np.array(rows), centre_px=centre, half_px=half)
