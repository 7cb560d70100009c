"""Statistics of small arrays, held against NumPy's to the last bit."""

from __future__ import annotations

import importlib
import math
import sys

import numpy as np
import pytest

from pitchcam import small
from pitchcam.small import (
    between,
    cross,
    distinct,
    line,
    line_through,
    mean_of,
    median,
    medians,
    percentile,
    percentiles,
    smoothed,
    solved,
)

RNG = np.random.default_rng(17)
ARRAYS = [RNG.normal(size=n) * 10.0 ** RNG.integers(-6, 6) for n in (1, 2, 3, 4, 7, 10, 99, 400)]


@pytest.mark.parametrize("x", ARRAYS, ids=len)
def test_median_is_numpys(x: np.ndarray) -> None:
    before = x.copy()
    assert median(x) == np.median(x)
    assert (x == before).all()


def test_median_of_nothing_is_no_number() -> None:
    assert math.isnan(median(np.zeros(0)))


@pytest.mark.parametrize("x", ARRAYS, ids=len)
@pytest.mark.parametrize("percent", [0, 3, 50, 80, 90, 97, 99.3, 100])
def test_percentile_is_numpys(x: np.ndarray, percent: float) -> None:
    before = x.copy()
    assert percentile(x, percent) == np.percentile(x, percent)
    assert (x == before).all()


@pytest.mark.parametrize("percent", [0, 3, 50, 90, 97, 99.3, 100])
def test_single_precision_stays_as_numpy_keeps_it(percent: float) -> None:
    rows = np.random.default_rng(18).normal(size=(6, 19)).astype(np.float32)
    before = rows.copy()
    assert all(percentile(r, percent) == float(np.percentile(r, percent)) for r in rows)
    for some in (rows, rows[:, :1], rows[:, ::2].astype(float)):
        found = percentiles(some, percent)
        assert found.dtype == some.dtype
        assert np.array_equal(found, np.percentile(some, percent, axis=1))
    assert np.array_equal(rows, before)


def test_percentile_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError):
        percentile(np.zeros(0), 50)


@pytest.mark.parametrize("x", ARRAYS[1:], ids=len)
def test_line_is_that_of_numpy(x: np.ndarray) -> None:
    y = RNG.normal(size=len(x)) + 3.0 * x
    slope, offset = np.polyfit(x, y, 1)
    assert line(x, y) == pytest.approx((slope, offset), rel=1e-9, abs=1e-9)


def test_line_through_one_place_is_level() -> None:
    assert line(np.array([2.0, 2.0]), np.array([1.0, 3.0])) == (0.0, 2.0)


def test_distinct_is_numpys_unique() -> None:
    x = RNG.integers(-5, 5, 60).astype(float)
    assert (distinct(x) == np.unique(x)).all()
    assert len(distinct(np.zeros(0))) == 0


def test_cross_is_numpys() -> None:
    for a, b in RNG.normal(size=(20, 2, 3)):
        assert (cross(a, b) == np.cross(a, b)).all()


def test_means_and_what_lies_between_are_numpys() -> None:
    rng = np.random.default_rng(4)
    x = rng.normal(size=(3, 5, 7))
    assert np.array_equal(mean_of(x), x.mean(axis=0))
    places, values = np.sort(rng.normal(size=20)), rng.normal(size=20)
    at = rng.normal(size=(4, 30), scale=2.0)
    assert np.array_equal(between(at, places, values), np.interp(at, places, values))
    assert between(0.1, places, np.arange(20)) == np.interp(0.1, places, np.arange(20))


def test_several_systems_at_once_are_solved_as_numpy_solves_them() -> None:
    rng = np.random.default_rng(5)
    a, b = rng.normal(size=(6, 4, 4)), rng.normal(size=(6, 4))
    assert np.array_equal(solved(a, b), np.linalg.solve(a, b[..., None])[..., 0])
    a[2] = 0.0
    with pytest.raises(np.linalg.LinAlgError):
        solved(a, b)


def test_without_numpys_own_functions_its_public_ones_do(monkeypatch) -> None:
    """Those are no part of what NumPy promises."""
    monkeypatch.setitem(sys.modules, "numpy.linalg._umath_linalg", None)
    plain = importlib.reload(small)
    try:
        a, b = np.array([[[2.0, 1.0], [1.0, 3.0]]]), np.array([[3.0, 5.0]])
        assert plain.solved(a, b) == pytest.approx(np.array([[0.8, 1.4]]))
        assert plain.solved(a[0], b[0]) == pytest.approx(np.array([0.8, 1.4]))
        assert plain.between(0.5, np.arange(2.0), np.array([1.0, 2.0])) == 1.5
    finally:
        monkeypatch.undo()
        importlib.reload(small)


@pytest.mark.parametrize("rows", [1, 2, 7, 8])
def test_medians_of_columns_are_those_of_numpy(rows):
    x = np.random.default_rng(rows).normal(size=(rows, 5))
    before = x.copy()
    assert np.array_equal(medians(x), np.median(x, axis=0))
    assert np.array_equal(medians(x[::-1, ::2]), np.median(x[:, ::2], axis=0))
    assert np.array_equal(x, before)


@pytest.mark.parametrize("degree", [1, 2, 3])
def test_a_smoothed_row_is_numpys_polynomial(degree):
    random = np.random.default_rng(degree)
    x = np.sort(random.uniform(300.0, 4000.0, 120))
    y, kept = random.normal(size=120) + 1e-6 * x**2, random.random(120) < 0.7
    expected = np.polyval(np.polyfit(x[kept] - 2000, y[kept], degree), x - 2000)
    assert smoothed(x, y, kept, degree) == pytest.approx(expected, abs=1e-9)


def test_a_line_through_places_goes_where_they_scatter_least():
    """The eigenvectors of NumPy's covariance."""
    random = np.random.default_rng(4)
    xy = random.normal(size=(30, 2)) * [5.0, 0.4] @ [[0.6, 0.8], [-0.8, 0.6]] + [300.0, 80.0]
    middle, axes = line_through(xy)
    assert middle == pytest.approx(xy.mean(axis=0))
    _, vectors = np.linalg.eigh(np.cov(xy.T))
    assert np.abs(axes @ vectors[:, ::-1]) == pytest.approx(np.eye(2), abs=1e-9)
