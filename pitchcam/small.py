"""Statistics of small arrays: NumPy's own spend more on checks than on the work.

They return what NumPy's return, to the last bit but for the line; the tests hold them against it.
"""

from __future__ import annotations

import math
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

try:
    from numpy._core.multiarray import interp as _interp
    from numpy.linalg._umath_linalg import solve1 as _solve
except ImportError:  # no part of what NumPy promises
    _interp = np.interp

    def _solve(a: Values, b: Values) -> Values:  # type: ignore[misc]
        return np.asarray(np.linalg.solve(a, b[..., None])[..., 0])


Values = NDArray[np.float64]
Some = TypeVar("Some", np.float64, np.intp)
#: Percentage of profiles that count: the others may be spoiled by dirt, a nick or a scratch.
SOUND = 80.0


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


def medians(x: Values) -> Values:
    """Return the median of each column of an array (n, m) of numbers, n at least 1.

    Whole columns sorted in a row take a third of the time of NumPy's search in strides.
    """
    columns = x.T.copy()
    columns.sort(axis=1)
    half = len(x) // 2
    if len(x) % 2:
        return columns[:, half]
    return 0.5 * (columns[:, half - 1] + columns[:, half])


def sound_mean(rows: Values) -> Values:
    """Return the mean of profiles (n, m) but for those that stray farthest from their medians."""
    worst = np.abs(rows - medians(rows)).max(axis=1)
    return mean_of(rows[worst <= percentile(worst, SOUND)])


def percentile(x: NDArray[np.floating[Any]], percent: float) -> float:
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
    return float(_between(part[low], part[low + 1], place - low))


def percentiles(rows: Values, percent: float) -> Values:
    """Return a percentile of each row of an array (n, m) of numbers, m at least 1."""
    place = percent / 100 * (rows.shape[1] - 1)
    low = math.floor(place)
    high = min(low + 1, rows.shape[1] - 1)
    part = rows.copy()
    part.partition((low, high), axis=1)
    return np.asarray(_between(part[:, low], part[:, high], place - low))


def _between(before: Any, after: Any, share: float) -> Any:
    """Return what lies at a share between two numbers, in their own precision as NumPy does it."""
    if share < 0.5:
        return before + (after - before) * share
    return after - (after - before) * (1 - share)


def cross(a: Values, b: Values) -> Values:
    """Return the vector product of two vectors (3,)."""
    (a0, a1, a2), (b0, b1, b2) = a.tolist(), b.tolist()
    return np.array([a1 * b2 - a2 * b1, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0])


def mean_of(x: Values) -> Values:
    """Return the mean of an array (n, ...) over its first axis, (...)."""
    out: Values = np.add.reduce(x) / len(x)
    return out


def between(x: float | Values, xp: Values, fp: NDArray[Any]) -> Values:
    """Return what lies between numbers ``fp`` at ascending places ``xp`` (n,), as numpy.interp."""
    out: Values = _interp(x, xp, fp, None, None)
    return out


def line(x: Values, y: Values) -> tuple[float, float]:
    """Return slope and offset of the line through points (n,) by least squares; level for one."""
    x0, y0 = float(np.add.reduce(x)) / len(x), float(np.add.reduce(y)) / len(y)
    off = x - x0
    squares = float(off @ off)
    slope = float(off @ (y - y0)) / squares if squares > 0 else 0.0
    return slope, y0 - slope * x0


def solved(a: Values, b: Values) -> Values:
    """Return x (..., n) of a x = b for small systems, a (..., n, n) and b (..., n), all doubles.

    ``numpy.linalg.solve`` spends more on its arguments than LAPACK on a handful of unknowns; this
    is what it calls in the end.

    Raises
    ------
    numpy.linalg.LinAlgError
        If a matrix is singular.
    """
    with np.errstate(call=_singular, invalid="call", over="ignore", divide="ignore"):
        out: Values = _solve(a, b)
    return out


def _singular(error: str, flag: int) -> None:
    raise np.linalg.LinAlgError("Singular matrix")


def smoothed(x: Values, y: Values, kept: NDArray[np.bool_], degree: int) -> Values:
    """Return at all x (n,) the polynomial that fits y (n,) best at those kept.

    There are more of these than its degree, and x differ. By normal equations: up to a degree of
    three, over x about their middle, they lose nothing that matters.
    """
    u = x - np.add.reduce(x) / len(x)
    u /= np.abs(u).max()
    powers = np.vstack([u**k for k in range(degree + 1)])
    own = powers[:, kept]
    out: Values = solved(own @ own.T, own @ y[kept]) @ powers
    return out


def distinct(x: NDArray[Some]) -> NDArray[Some]:
    """Return the values of an array (n,), each once, in ascending order."""
    out = np.sort(x)
    new = np.ones(len(out), bool)
    new[1:] = out[1:] != out[:-1]
    return out[new]


def line_through(xy: Values) -> tuple[Values, Values]:
    """Return the middle of places (n, 2), and unit vectors along and across their line (2, 2)."""
    middle = xy.mean(axis=0)
    return middle, np.linalg.svd(xy - middle, full_matrices=False)[2]
