"""The background's light: a smooth surface over the whole photo."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import UnreadableError
from pitchcam.flags import FLAGS
from pitchcam.frozen import dataclass
from pitchcam.objects.flicker import Flicker
from pitchcam.objects.stain import Stain
from pitchcam.small import median, percentile

Floats = NDArray[np.float32]
Values = NDArray[np.float64]

#: The fit reads light between these; carried on to a corner that it never saw, a polynomial may run
#: out of all numbers.
DARKEST, BRIGHTEST = 1e-4, 4.0
#: Powers of x and y in the logarithm of the light. A panel's light falls with the square of the
#: distance from its middle and evenly from side to side, and so does what a lens lets through: of
#: the logarithm that is a quadratic and, where it falls far, some of its square.
POWERS = tuple((i, n - i) for n in range(5) for i in range(n, -1, -1))
QUADRATIC = 6
#: Terms beyond the quadratic are of this size: the square of a fall by a third toward the corners
#: makes 0.015 of it, a slope of 0.05 and that fall 0.01.
U_BEYOND = 0.02
#: The background is the bright majority: what is darker than the quadratic by more than these
#: shares, one after the other, lies on it.
FLOORS = (0.25, 0.10, 0.05, 0.03)
#: A point that is off by more medians of all deviations counts no more (Tukey's biweight, whose
#: usual 4.7 standard deviations these are); noise and a lens's spread light leave at least so much.
MOST_MEDIANS, LEAST_OFF = 7.0, 0.001
#: The fit has settled where no point's light moves by more, and does so in a dozen rounds.
SETTLED, ROUNDS = 1e-5, 30
#: Fewer points of the background tell no surface: four for each of its 15 terms.
FEWEST_POINTS = 60


@dataclass(frozen=True, kw_only=True)
class Backdrop:
    """The background's light as exp of a polynomial in the position, one row per channel.

    ``coefficients`` has shape (channels, 15) for the :data:`POWERS` of coordinates scaled by
    ``half_px`` about ``centre_px``. Where it flickers, rows differ besides; where it is stained,
    places.
    """

    coefficients: Values
    centre_px: tuple[float, float]
    half_px: float
    flicker: Flicker | None = None
    stain: Stain | None = None

    def level(self, x: Values, y: Values) -> Floats:
        """Return the background's linear light at points, shape (channels, *shape).

        ``x`` and ``y`` are broadcast against each other: a row and a column give a grid.
        """
        light = self._smooth(x, y)
        for uneven in (self.flicker, self.stain):
            light = light if uneven is None else light * uneven.light(x, y)
        return light

    def _smooth(self, x: Values, y: Values) -> Floats:
        u = (np.asarray(x, dtype=float) - self.centre_px[0]) / self.half_px
        v = (np.asarray(y, dtype=float) - self.centre_px[1]) / self.half_px
        out = np.empty((len(self.coefficients), *np.broadcast_shapes(u.shape, v.shape)), np.float32)
        for light, own in zip(out, self.coefficients, strict=True):
            # By rows, a polynomial in x whose coefficients are polynomials in y.
            by_x = np.zeros((5, *v.shape))
            for (i, j), c in zip(POWERS, own.tolist(), strict=True):
                by_x[i] += c * v**j
            light[...] = by_x[0] + u * (by_x[1] + u * (by_x[2] + u * (by_x[3] + u * by_x[4])))
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
        coarse = self._smooth(columns, rows[:, None])
        whole = np.empty((len(rows) * every, len(columns) * every), np.float32)
        for plane, level in zip(light, coarse, strict=True):
            cv2.resize(level, whole.shape[::-1], dst=whole, interpolation=cv2.INTER_LINEAR)
            plane /= whole[: plane.shape[0], : plane.shape[1]]
        for uneven in (self.flicker, self.stain):
            if uneven is None:
                continue
            x, y = (
                start + step_px * np.arange(n)
                for start, n in zip(origin_px, light.shape[:0:-1], strict=True)
            )
            light /= uneven.light(x, y[:, None])
        return light


def _basis(x: Values, y: Values, centre: tuple[float, float], half: float) -> Values:
    u = (np.asarray(x, dtype=float) - centre[0]) / half
    v = (np.asarray(y, dtype=float) - centre[1]) / half
    return np.stack([u**i * v**j for i, j in POWERS])


def fit_backdrop(light: Floats, x: Values, y: Values, size_px: tuple[int, int]) -> Backdrop:
    """Fit the background to the light at points that lie on it for the most part.

    Parameters
    ----------
    light
        Linear light, (channels, n).
    x, y
        Positions of the points in the photo, (n,).
    size_px
        Width and height of the photo.

    Raises
    ------
    UnreadableError
        If hardly any point is bright in all channels: fields of several colours are no background.

    Notes
    -----
    What is no background is no background in any channel. A quadratic finds the bright majority;
    from there on points count the less, the farther off they are, until the fit has settled: which
    points lie just within a limit, and which points were chosen, moves it by no more than noise.
    """
    centre, half = (size_px[0] / 2, size_px[1] / 2), max(size_px) / 2
    basis = _basis(x, y, centre, half)
    values = np.log(np.maximum(light, DARKEST)).astype(float)
    on_it = _bright_majority(values, basis[:QUADRATIC])
    # Scaled coordinates keep the normal equations well conditioned, and they are quick.
    held = np.zeros(len(basis))
    basis, values = basis[:, on_it], values[:, on_it]
    weight, before = np.ones(basis.shape[1]), np.zeros(1)
    for _ in range(ROUNDS):
        weighted = basis * weight
        noise = max(_noise(values, before), LEAST_OFF)
        held[QUADRATIC:] = (noise / U_BEYOND) ** 2
        found = np.linalg.lstsq(
            weighted @ basis.T + np.diag(held), weighted @ values.T, rcond=None
        )[0]
        fitted = found.T @ basis
        if before.size > 1 and np.abs(fitted - before).max() < SETTLED:
            break
        before = fitted
        off = np.abs(values - fitted).max(axis=0)
        most = MOST_MEDIANS * max(median(off), LEAST_OFF)
        weight = np.maximum(1 - (off / most) ** 2, 0.0) ** 2
    return Backdrop(coefficients=found.T, centre_px=centre, half_px=half)


def _noise(values: Values, fitted: Values) -> float:
    return median(np.abs(values - fitted).ravel()) / 0.6745 if fitted.size > 1 else 0.02


def _bright_majority(values: Values, basis: Values) -> NDArray[np.intp]:
    """Return which points lie on the background in all channels, by a quadratic."""
    on_it = np.ones(values.shape[1], bool)
    for plane in values:
        on_it &= plane > np.log(percentile(np.exp(plane), 90) * 0.35)
    if np.count_nonzero(on_it) < FEWEST_POINTS:
        raise UnreadableError(
            "No even light behind the parts was found: too little of the picture is bright in "
            "every colour.",
            FLAGS["no-part"][1],
            code="no-part",
        )
    for floor in FLOORS:
        which = np.flatnonzero(on_it)
        used = basis[:, which]
        found = np.linalg.lstsq(used @ used.T, used @ values[:, which].T, rcond=None)[0]
        off = np.abs(values - found.T @ basis).max(axis=0)
        still: NDArray[np.bool_] = off < floor
        if np.count_nonzero(still) < FEWEST_POINTS:
            break
        on_it = still
    return np.flatnonzero(on_it)
