"""Peaks of a profile that stand out.

SciPy has a search for peaks, in a package that takes longer to load than a photo takes to measure.
"""

from __future__ import annotations

from bisect import bisect_left

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Places = NDArray[np.intp]


def find_peaks(values: Values, prominence: float, apart: int) -> tuple[Places, Values]:
    """Find the local maxima of a profile that stand out by so much and so far apart.

    Parameters
    ----------
    values
        The profile, (n,). Its first and last value are no peaks; of a flat top the middle is.
    prominence
        Least height over the higher of both cols that part a peak from higher ground.
    apart
        Least distance of two peaks in samples, at least 1; the higher one stays.

    Returns
    -------
    peaks, prominences
        Places in ascending order, and how far each stands out.
    """
    tops = _tops(values)
    kept = _apart(values, tops, apart)
    heights = _prominences(values, tops)[kept]
    high = heights >= prominence
    return tops[kept][high], heights[high]


def _tops(values: Values) -> Places:
    """Return the local maxima: middles of stretches of one value between lower ones."""
    if len(values) < 3:
        return np.zeros(0, np.intp)
    last = np.append(np.flatnonzero(np.diff(values)), len(values) - 1)
    first = np.append(0, last[:-1] + 1)
    level = values[first]
    top = 1 + np.flatnonzero((level[1:-1] > level[:-2]) & (level[1:-1] > level[2:]))
    middle: Places = (first[top] + last[top]) // 2
    return middle


def _apart(values: Values, tops: Places, apart: int) -> NDArray[np.bool_]:
    """Return which maxima have no higher one, itself kept, nearer than ``apart``."""
    kept = np.ones(len(tops), bool)
    if len(tops) < 2 or np.diff(tops).min() >= apart:
        return kept
    places = tops.tolist()
    for i in np.argsort(values[tops])[::-1].tolist():
        if kept[i]:
            first, last = places[i] - apart + 1, places[i] + apart
            kept[bisect_left(places, first) : bisect_left(places, last)] = False
            kept[i] = True
    return kept


def _prominences(values: Values, tops: Places) -> Values:
    """Return how far each of all local maxima stands over the higher of its two cols."""
    if not len(tops):
        return np.zeros(0)
    # The ends of the profile stand for the ground beyond them.
    marks = np.concatenate([[0], tops, [len(values) - 1]])
    height = values[marks].tolist()
    valley = np.minimum.reduceat(values, marks[:-1]).tolist()
    left = _cols(height, valley)
    right = _cols(height[::-1], valley[::-1])[::-1]
    return values[tops] - np.maximum(left, right)[1:-1]


def _cols(height: list[float], valley: list[float]) -> list[float]:
    """Return the lowest value between each mark and the nearest higher one before it.

    ``valley`` is the lowest from each mark to the next.
    """
    out, higher = [height[0]], [0]
    for i in range(1, len(height)):
        low = valley[i - 1]
        # Marks no higher than this one lie within its reach; what is higher stops it.
        while higher and height[higher[-1]] <= height[i]:
            low = min(low, out[higher.pop()])
        higher.append(i)
        out.append(low)
    return out
