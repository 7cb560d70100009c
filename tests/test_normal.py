"""The normal distribution and sums of exponentials, against SciPy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from pitchcam.normal import log_sum_exp, normal_cdf


def test_the_distribution_is_scipys_to_rounding() -> None:
    x = np.concatenate([np.linspace(-9.9, 9.9, 40_001), [0.0, -0.0, 1e-300, 1 / 512, -1 / 512]])
    assert np.abs(normal_cdf(x) - special.ndtr(x)).max() < 5e-16


def test_the_distributions_ends() -> None:
    assert normal_cdf([-np.inf, -40.0, 40.0, np.inf]) == pytest.approx([0, 0, 1, 1], abs=1e-22)
    assert np.isnan(normal_cdf(np.nan))
    assert normal_cdf(np.zeros((2, 0, 3))).shape == (2, 0, 3)


@pytest.mark.parametrize("axis", [None, 0, 1])
def test_sums_of_exponentials(axis: int | None) -> None:
    logs = np.random.default_rng(5).normal(0, 400, (7, 30))
    logs[2] = -np.inf
    logs[:, 3] = -np.inf
    expected = special.logsumexp(logs, axis=axis)
    found = log_sum_exp(logs, axis)
    assert np.shape(found) == np.shape(expected)
    assert found == pytest.approx(expected, rel=1e-14)
