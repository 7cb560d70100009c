"""Statistics of small arrays: NumPy's own spend more on checks than on the work.

All return what NumPy's return, to the last bit; the tests hold them against it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]


def median(x: Values) -> float:
    """Return the median of an array (n,) that holds numbers only; nan where it is empty."""
    n = len(x)
    if n == 0:
        return math.nan
    half = n // 2
    part = x.copy()
    if n % 2:
        part.partition(half)
        return float(part[half])
    part.partition((half - 1, half))
    return 0.5 * float(part[half - 1] + part[half])


def percentile(x: Values, percent: float) -> float:
    """Return a percentile of an array (n,) that holds numbers only, linear between two of them.

    Raises
    ------
    ValueError
        If the array is empty.
    """
    place = percent / 100 * (len(x) - 1)
    low = math.floor(place)
    part = x.copy()
    if low + 1 >= len(x):
        return float(part.max())
    part.partition((low, low + 1))
    before, after = float(part[low]), float(part[low + 1])
    share = place - low
    if share < 0.5:
        return before + (after - before) * share
    return after - (after - before) * (1 - share)
