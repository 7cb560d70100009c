"""The normal distribution, for whole arrays at once.

SciPy has all of this and takes longer to load than a photo takes to measure.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]

#: Points a unit at which the distribution is tabled, and where its tails end: 1e-23 is left of it.
_EVERY, _END = 256, 10.0


@cache
def _table() -> tuple[Values, Values]:
    """Return the distribution and its density at the tabled points."""
    x = np.arange(-_END * _EVERY, _END * _EVERY + 1) / _EVERY
    below = np.array([0.5 * math.erfc(-v / math.sqrt(2)) for v in x.tolist()])
    return below, np.exp(-0.5 * x * x) / math.sqrt(2 * math.pi)


def normal_cdf(x: ArrayLike) -> Values:
    """Return the share of a standard normal distribution below each value, shape as of ``x``.

    Notes
    -----
    Taylor's series around the nearest of points 1/256 apart, up to the fifth power: its remainder
    lies below the rounding of double precision. Beyond 10 standard deviations the end's value
    stands (7.6e-24), so that no relative precision is kept in the far tails.
    """
    # Not np.clip, which takes longer to look at its arguments than a small array takes; and what is
    # done with serves again, since fresh memory takes as long as the arithmetic.
    off = np.minimum(np.maximum(np.asarray(x, dtype=float), -_END), _END)
    place = np.asarray(np.fmax(off, -_END))  # a place for what is no number, too
    place *= _EVERY
    np.rint(place, out=place)
    x0 = place * (1 / _EVERY)
    place += _END * _EVERY
    index = place.astype(np.intp)
    off = np.asarray(off - x0)
    below, density = _table()
    # Derivatives of the density are it times Hermite's polynomials.
    square = np.multiply(x0, x0, out=place)
    series = np.asarray(3 - square)
    series *= off
    series *= x0
    series /= 24
    square -= 1
    square /= 6
    series += square
    series *= off
    x0 *= 0.5
    series -= x0
    series *= off
    series += 1
    series *= off
    series *= density.take(index)
    series += below.take(index)
    out: Values = series[()]  # a number for a number
    return out
