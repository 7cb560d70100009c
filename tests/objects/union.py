"""How much of each pixel a union of polygons covers: exact along rows, sampled across them.

Fillers of graphics libraries also set every pixel that an outline touches, half a pixel beyond
it: a part drawn by them comes out too wide by as much on every side.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

#: Lines through each row of pixels, at which the cover along the row is exact: edges that run along
#: the rows are placed to a thirtieth of a pixel.
LINES = 16


def union_cover(size: tuple[int, int], polygons: Sequence[Values]) -> Values:
    """Return the share of each pixel that polygons cover, (h, w); no matter how they overlap.

    Parameters
    ----------
    size
        Width and height in pixels; (0, 0) is the centre of the first.
    polygons
        Corners (n, 2), in pixels, of each; a point is inside one by the even-odd rule.
    """
    w, h = size
    found = [_intervals(np.asarray(p, float), h) for p in polygons]
    line, first, last = (np.concatenate(column) for column in zip(*found, strict=True))
    line, first, last = _merged(line, first, last)
    changes = np.zeros((h, w + 2))
    for at, sign in ((first, 1.0), (last, -1.0)):
        # Covered from ``at`` on: its own pixel in part, all others whole.
        place = np.clip(at + 0.5, 0, w)
        pixel = np.minimum(np.floor(place).astype(int), w)
        part = pixel + 1 - place
        np.add.at(changes, (line // LINES, pixel), sign * part / LINES)
        np.add.at(changes, (line // LINES, pixel + 1), sign * (1 - part) / LINES)
    return np.asarray(np.cumsum(changes, axis=1)[:, :w])


def _intervals(corners: Values, rows: int) -> tuple[NDArray[np.intp], Values, Values]:
    """Return line, start and end of what each line through the rows has in a polygon."""
    x, y = corners.T
    y = (y + 0.5) * LINES - 0.5
    ends = np.roll(x, -1), np.roll(y, -1)
    low, high = np.minimum(y, ends[1]), np.maximum(y, ends[1])
    first = np.clip(np.ceil(low), 0, rows * LINES).astype(int)
    count = np.clip(np.ceil(high), 0, rows * LINES).astype(int) - first
    side = np.repeat(np.arange(len(x)), count)
    line = first[side] + np.arange(len(side)) - np.repeat(np.cumsum(count) - count, count)
    share = (line - y[side]) / (ends[1][side] - y[side])
    at = x[side] + share * (ends[0][side] - x[side])
    order = np.lexsort((at, line))
    line, at = line[order], at[order]
    return line[::2], at[::2], at[1::2]


def _merged(
    line: NDArray[np.intp], first: Values, last: Values
) -> tuple[NDArray[np.intp], Values, Values]:
    """Return intervals of the same lines that no longer overlap."""
    at, lines = np.concatenate([first, last]), np.concatenate([line, line])
    step = np.repeat([1, -1], len(first))
    order = np.lexsort((-step, at, lines))
    at, lines, step = at[order], lines[order], step[order]
    depth = np.cumsum(step)
    starts, ends = (step > 0) & (depth == 1), (step < 0) & (depth == 0)
    return lines[starts], at[starts], at[ends]
