"""Mixtures of normal densities: against SciPy's, cell by cell."""

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_normal

from pitchcam.match.mixture import Rows, mixture, normal

#: Three pairs of two, one and three classes, and four cells of the crest, which is read second.
PAIR, FIRST, CELLS = np.array([0, 0, 1, 2, 2, 2]), np.array([0, 2, 3]), 4
SHARES = np.log([0.995, 0.005])


def drawn(seed: int, far: float, apart: float = 1.0) -> tuple[list[np.ndarray], np.ndarray, Rows]:
    rng = np.random.default_rng(seed)
    n, rows = 3, len(PAIR)
    factor = rng.normal(size=(rows, n, n))
    one = factor @ np.swapaxes(factor, 1, 2) + 0.3 * np.eye(n)
    covariance = np.moveaxis(np.stack([one, 9 * one]), (0, 1), (2, 3))
    offsets = [far * rng.normal(size=(rows, 1)) for _ in range(n)]
    offsets[1] = offsets[1] + apart * (np.arange(CELLS) - 1.5)
    weight = rng.random((rows, CELLS)) + 1e-6
    weight /= np.bincount(PAIR, weight.sum(axis=1))[PAIR][:, None]
    return (offsets, covariance, Rows(pair=PAIR, kind=PAIR, first=FIRST, log_weight=np.log(weight)))


def by_scipy(offsets: list[np.ndarray], covariance: np.ndarray, rows: Rows) -> np.ndarray:
    logs: list[list[float]] = [[] for _ in FIRST]
    for row, pair in enumerate(PAIR):
        for cell in range(CELLS):
            at = [o[row, min(cell, o.shape[1] - 1)] for o in offsets]
            for way, share in enumerate(SHARES):
                density = multivariate_normal(cov=covariance[:, :, way, row])
                logs[pair].append(share + rows.log_weight[row, cell] + density.logpdf(at))
    return np.array([logsumexp(of) for of in logs])


@pytest.mark.parametrize("far", [0.3, 1.0, 8.0, 60.0])
def test_a_pair_s_density_is_that_of_all_its_classes_cells_and_ways(far: float) -> None:
    for seed in range(3):
        offsets, covariance, rows = drawn(seed, far)
        found = mixture(normal(offsets, covariance), rows, SHARES, -np.inf)
        assert found == pytest.approx(by_scipy(offsets, covariance, rows), rel=1e-11)


def test_only_what_surely_lies_below_the_least_is_left_out() -> None:
    left_out = 0
    for seed in range(20):
        offsets, covariance, rows = drawn(seed, 4.0, apart=8.0)
        whole = mixture(normal(offsets, covariance), rows, SHARES, -np.inf)
        found = mixture(normal(offsets, covariance), rows, SHARES, -12.5)
        assert np.isfinite(found[whole > -12.5]).all()
        kept = np.isfinite(found)
        assert found[kept] == pytest.approx(whole[kept], rel=1e-12)
        left_out += int((~kept).sum())
    assert left_out > 5
