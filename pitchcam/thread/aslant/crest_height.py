"""How probable a crest's height over the pitch line is: as made, or worn by anything."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from pitchcam.series.ridges import Ridge
from pitchcam.series.wear import BADLY_OF_PITCH, BADLY_SHARE, WEAR_OF_PITCH, WORN_SHARE

Values = NDArray[np.float64]

#: Shares of worn and of badly worn threads, and how low their crests are on average, in pitches.
WORN = ((WORN_SHARE * (1 - BADLY_SHARE), WEAR_OF_PITCH / 2), (BADLY_SHARE, BADLY_OF_PITCH / 2))
#: Heights at which it is tabled, in pitches; of all forms between the pitch line and the sharp
#: crest.
HEIGHTS: Values = np.arange(-0.2, 0.7, 0.002)
#: Places of the sum over wear, in means of it.
PLACES: Values = (np.arange(400) + 0.5) / 40


def height_pull(ridge: Ridge, height: float) -> tuple[float, float]:
    """Return what a crest's height in pitches is off by, in standard deviations, and the slope.

    Half of its square is what the height takes from the logarithm of the likelihood. A crest is
    low by wear far more often than the tolerances of both diameters would have it: by them alone
    a worn thread would go to the form whose crests are the lower or the less even.
    """
    off, slope = _tabled(ridge)
    return float(np.interp(height, HEIGHTS, off)), float(np.interp(height, HEIGHTS, slope))


@cache
def _tabled(ridge: Ridge) -> tuple[Values, Values]:
    """Return the pull and its slope at HEIGHTS, before :func:`height_pull` interpolates them."""
    fresh = (HEIGHTS - ridge.crest) / ridge.u_crest
    density = (1 - sum(share for share, _ in WORN)) * _normal(fresh)
    for share, mean in WORN:
        lost = PLACES * mean
        weight = np.exp(-PLACES)
        worn = _normal(fresh[:, None] + lost / ridge.u_crest) @ weight / weight.sum()
        density = density + share * worn
    cost = -np.log(np.maximum(density, 1e-300))
    best = int(cost.argmin())
    off = np.sqrt(2 * np.maximum(cost - cost[best], 0.0))
    off[:best] *= -1
    return off, np.gradient(off, HEIGHTS)


def _normal(x: Values) -> Values:
    return np.asarray(np.exp(-0.5 * x * x))
