"""Densities of a reading over the classes of sizes: mixtures of normal ones over cells."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass

Array = NDArray[np.float64]
Places = NDArray[np.intp]

#: Logarithms of the least that a cell weighs in its size, beside the heaviest, and of what a sum
#: of densities does not notice.
LIGHTEST, NOTHING_MORE = -25.0, -40.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Rows:
    """Classes of the sizes of pairs, one a row: its pair and class, and its cells' log weights.

    ``first`` (pairs,) are the rows at which each pair begins.
    """

    pair: Places
    kind: Places
    first: Places
    log_weight: Array


@dataclass(frozen=True, kw_only=True, slots=True)
class Normal:
    """Log densities of rows by each way that a reading may fall, but for the crest's place.

    ``log`` (ways, rows) lacks the crest's square, that of (``offset`` (rows, cells) less ``mean``)
    over ``spread``, both (ways, rows); where no crest was read, that of another quantity.
    """

    log: Array
    offset: Array
    mean: Array
    spread: Array

    def most(self) -> Array:
        """Return the largest that the log density may be anywhere between the cells."""
        ends = self.offset[:, [0, -1]].T[:, None] - self.mean
        off = np.where(ends[0] * ends[1] <= 0, 0.0, np.abs(ends).min(axis=0))
        return np.asarray(self.log - 0.5 * (off / self.spread) ** 2)


def mixture(of: Normal, rows: Rows, shares: Array, least: float) -> Array:
    """Return log sum w N(offsets; 0, covariance) over the ways, classes and cells of each pair.

    Rows are left out that add less than the rounding to their pair, and whole pairs that surely
    come to less than ``least``: of the weights of a pair's cells all but one may be LIGHTEST.
    """
    most = of.most() + shares[:, None]
    top = np.maximum.reduceat(most.max(axis=0), rows.first)
    top = np.where(top + math.log(len(shares)) < least, np.inf, top)
    way, row = np.nonzero(most > top[rows.pair] + LIGHTEST + NOTHING_MORE)
    z = (of.offset[row] - of.mean[way, row, None]) / of.spread[way, row, None]
    log = rows.log_weight[row] - 0.5 * z * z + (of.log[way, row] + shares[way])[:, None]
    highest = log.max(axis=1)
    log = highest + np.log(np.exp(log - highest[:, None]).sum(axis=1))
    pair = rows.pair[row]
    np.maximum.at(best := np.full(len(top), -np.inf), pair, log)
    total = np.bincount(pair, np.exp(log - best[pair]), len(top))
    return best + np.log(np.where(total > 0, total, 1.0))


def normal(offsets: list[Array], covariance: Array) -> Normal:
    """Return log N(offsets; 0, covariance), by Cholesky's factor of each, all at once.

    ``covariance`` is (n, n, ways, rows). The crest goes last: what the others give, the same for
    all its cells, is then worked out once.
    """
    n = len(offsets)
    order = sorted(range(n), key=lambda x: offsets[x].shape[1])
    root = np.zeros_like(covariance)
    z: list[Array] = []
    log = np.full(covariance.shape[2:], -0.5 * n * math.log(2 * math.pi))
    for i, x in enumerate(order):
        for j in range(i):
            root[i, j] = covariance[x, order[j]] - np.add.reduce(root[i, :j] * root[j, :j])
            root[i, j] /= root[j, j]
        root[i, i] = np.sqrt(covariance[x, x] - np.add.reduce(root[i, :i] ** 2))
        mean = np.asarray(sum((root[i, j] * z[j] for j in range(i)), np.zeros(log.shape)))
        log -= np.log(root[i, i])
        if i < n - 1:
            z.append((offsets[x][:, 0] - mean) / root[i, i])
            log -= 0.5 * z[i] ** 2
    return Normal(log=log, offset=offsets[order[-1]], mean=mean, spread=root[n - 1, n - 1])
