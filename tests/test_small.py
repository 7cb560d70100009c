"""Statistics of small arrays, held against NumPy's to the last bit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pitchcam.small import median, percentile

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


def test_percentile_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError):
        percentile(np.zeros(0), 50)
