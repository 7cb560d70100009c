"""Which thread of one photo is which of another: by what they measure, whatever lies where."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from pitchcam.adjust.observed import Observation
from pitchcam.adjust.system import shared

Values = NDArray[np.float64]

#: A part among several is not taken for one whose threads differ by more, in squared u for each
#: quantity: in a box, it is then not the same part.
MOST_APART = 25.0

#: The threads of one part in one photo.
PartSeen = tuple[Observation, ...]


def apart(a: Observation, b: Observation) -> float:
    """Return by how much two observations differ: their squared distance in u, per quantity.

    Tapers are compared without their sign where an end is not told.
    """
    both = np.flatnonzero(a.measured & b.measured)
    if not both.size:
        return np.inf
    gap = np.abs(a.values) - np.abs(b.values)
    cross = shared(a, b)
    covariance = a.covariance() + b.covariance() - cross - cross.T
    sub = covariance[np.ix_(both, both)]
    sub = sub + 1e-6 * np.diag(a.covariance().diagonal()[both])
    return float(gap[both] @ np.linalg.solve(sub, gap[both])) / len(both)


def match(photos: Sequence[Sequence[PartSeen]]) -> list[list[tuple[Observation, ...]]]:
    """Return the parts, each a list of threads, each the observations of one thread.

    Parameters
    ----------
    photos
        For each photo its parts, each the threads that were measured on it.

    Notes
    -----
    The parts of every photo are put to those of the photo with most threads so that they
    differ least. A single part is the part, however much it differs: that is for the adjustment to
    say.
    """
    fullest = max(range(len(photos)), key=lambda i: (sum(map(len, photos[i])), -i))
    parts = [[[o] for o in seen] for seen in photos[fullest]]
    alone = all(len(p) <= 1 for p in photos)
    for number, seen in enumerate(photos):
        if number == fullest or not seen:
            continue
        cost = np.array([[_cost(mine, theirs) for theirs in seen] for mine in photos[fullest]])
        for i, j in zip(*linear_sum_assignment(np.minimum(cost, 1e9)), strict=True):
            if not alone and cost[i, j] > MOST_APART:
                continue
            for k, other in _pairs(photos[fullest][int(i)], seen[int(j)]):
                parts[i][k].append(other)
    return [[tuple(sorted(t, key=lambda o: o.photo)) for t in p] for p in parts]


def _table(mine: PartSeen, theirs: PartSeen) -> Values:
    return np.minimum([[apart(a, b) for b in theirs] for a in mine], 1e9)


def _pairs(mine: PartSeen, theirs: PartSeen) -> list[tuple[int, Observation]]:
    rows, columns = linear_sum_assignment(_table(mine, theirs))
    return [(int(i), theirs[j]) for i, j in zip(rows, columns, strict=True)]


def _cost(mine: PartSeen, theirs: PartSeen) -> float:
    table = _table(mine, theirs)
    rows, columns = linear_sum_assignment(table)
    return float(table[rows, columns].mean())
