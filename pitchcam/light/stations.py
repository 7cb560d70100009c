"""Where the light at a line's points comes from: cells across the axis and stations along it.

Stations go with an outline's corners, so that the light has no jump where a corner passes one.
"""

from __future__ import annotations

from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.normal import normal_cdf

Values = NDArray[np.float64]

#: Cells of the model per standard deviation of the blur across the line: finer ones move the light
#: by less than 0.0025, an eighth of what its model agrees to, and an end by less than 1 um.
CELLS = 2
#: Stations on one side of the line, by Gauss and Legendre's rule, and how many standard deviations
#: of the blur they reach, and as far as a motion; more of them move the light by less than 0.001.
STATIONS, REACH = 8, 3.0


@dataclass(frozen=True, kw_only=True)
class Line:
    """A line's points and the cells that their blurred light comes from.

    ``kernel`` (n, m) weighs cells at radii ``r`` (m,) for each point; ``below`` (n,) is the share
    of light from beneath the cells, where all is dark; ``step`` is the cells' length. Along the
    axis the light is gathered at ``count`` stations on either side.
    """

    r: Values
    kernel: Values
    below: Values
    step: float
    blur_mm: float
    swept_mm: float
    count: int

    @property
    def far_mm(self) -> float:
        """How far along the axis light is gathered from."""
        return REACH * self.blur_mm + self.swept_mm

    def along(self, z: Values) -> tuple[Values, Values]:
        """Return how dense light comes from stations z and -z together, and its change by z."""
        b, s = self.blur_mm, self.swept_mm
        far = self._far
        ahead, behind = _density(z - s, b), _density(z + s, b)
        if s > 0:
            dense = (normal_cdf((z + s) / b) - normal_cdf((z - s) / b)) / s
            return dense / far, (behind - ahead) / s / far
        return 2 * ahead / far, -2 * z / b**2 * ahead / far

    def within(self, z: Values) -> Values:
        """Return the share of light that comes from stations -z to z."""
        out: Values = self._within(z) / self._far
        return out

    @cached_property
    def _far(self) -> Values:
        """The share of a bell's light that comes from stations as far as any."""
        return self._within(np.array(self.far_mm))

    def _within(self, z: Values) -> Values:
        b, s = self.blur_mm, self.swept_mm
        if s > 0:
            up, low = (z + s) / b, (z - s) / b
            # The distribution's integral is x times it and the density.
            ends = [x * normal_cdf(x) + b * _density(b * x, b) for x in (up, low, -low, -up)]
            return np.asarray((ends[0] - ends[1] - ends[2] + ends[3]) * b / (2 * s))
        return np.asarray(2 * normal_cdf(z / b) - 1)

    @cached_property
    def stations(self) -> tuple[Values, Values]:
        """Stations on one side of the line and the shares of light from both sides' (k,) each."""
        at, share = _rule(self.count)
        z = at * self.far_mm
        return z, share * self.far_mm * self.along(z)[0]

    def cornered(self, corner_mm: Values, *, flat: bool) -> Cornered:
        """Return stations before and beyond corners (p, 1), which move with these.

        Half of them lie before; where it is flat there, one has the light of all of that.
        """
        before = 1 if flat else self.count // 2
        (low, one), (high, other) = _rule(before), _rule(self.count - before)
        corner = np.minimum(corner_mm, self.far_mm)
        rest = self.far_mm - corner
        moves = (corner_mm < self.far_mm).astype(float)
        z = np.concatenate([corner * low, corner + rest * high], axis=1)
        by = moves * np.concatenate([low, 1 - high])
        dense, more = self.along(z)
        shares = np.concatenate([corner * one, rest * other], axis=1)
        weights = shares * dense
        changes = shares * more * by + moves * dense * np.concatenate([one, -other])
        if flat:
            z[:, 0], by[:, 0] = 0.0, 0.0
            weights[:, :1] = self.within(corner)
            changes[:, :1] = moves * self.along(corner)[0]
        return Cornered(z=z, z_moved=by, weights=weights, weights_moved=changes)


@dataclass(frozen=True, kw_only=True)
class Cornered:
    """Stations around corners and their shares of light, and their changes by its place, (p, k)."""

    z: Values
    z_moved: Values
    weights: Values
    weights_moved: Values


def _density(x: Values, sigma: float) -> Values:
    out: Values = np.exp(-0.5 * (x / sigma) ** 2) / (np.sqrt(2 * np.pi) * sigma)
    return out


@dataclass(frozen=True, kw_only=True)
class Moved:
    """How an outline changes with the radius where it ends: as in :class:`Stretch`, (p, k)."""

    y: Values
    cos_b: Values
    lean: Values
    weights: Values


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """A stretch of p parts' outlines, at k stations, each of both sides of the middle.

    ``y`` is the radius, ``cos_b`` the cosine of the slope, ``lean`` how far the surface is a
    flank's, from 0 at a tip, whose normal points outward; ``weights`` are the shares of light from
    there, all (p, k). ``moved`` is asked by those who seek the end.
    """

    y: Values
    cos_b: Values
    lean: Values
    weights: Values
    moved: Moved | None = None


def middle_line(
    y_mm: Values, blur_mm: float, highest_mm: float = np.inf, swept_mm: float = 0.0
) -> Line:
    """Lay cells around points at radii ``y_mm`` (n,), on a line across the axis.

    No part reaches beyond ``highest_mm``, and no cells need lie there. While the shutter was open
    the part moved along its axis, from -``swept_mm`` to as much the other way.
    """
    step = blur_mm / CELLS
    # What lies in the part fades from cell to cell, a blur of its own.
    own = np.sqrt(blur_mm**2 - step**2 / 6)
    low = y_mm.min() - 4 * blur_mm
    high = max(min(y_mm.max() + 4 * blur_mm, highest_mm + 2 * step), low + step)
    r = np.arange(low, high, step)
    return Line(
        r=r,
        kernel=_density(y_mm[:, None] - r, own) * step,
        below=normal_cdf((low - 0.5 * step - y_mm) / own),
        step=step,
        blur_mm=blur_mm,
        swept_mm=swept_mm,
        count=int(np.ceil(STATIONS * (1 + swept_mm / (REACH * blur_mm)))),
    )


@cache
def _rule(count: int) -> Values:
    """Return Gauss and Legendre's places from 0 to 1 and their shares, (2, count)."""
    at, share = np.polynomial.legendre.leggauss(count)
    return np.stack([(at + 1) / 2, share / 2])
