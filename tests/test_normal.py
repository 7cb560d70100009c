"""The normal distribution, against SciPy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from pitchcam.normal import normal_cdf


def test_the_distribution_is_scipys_to_rounding() -> None:
    x = np.concatenate([np.linspace(-9.9, 9.9, 40_001), [0.0, -0.0, 1e-300, 1 / 512, -1 / 512]])
    assert np.abs(normal_cdf(x) - special.ndtr(x)).max() < 5e-16


def test_the_distributions_ends() -> None:
    assert normal_cdf([-np.inf, -40.0, 40.0, np.inf]) == pytest.approx([0, 0, 1, 1], abs=1e-22)
    assert np.isnan(normal_cdf(np.nan))
    assert normal_cdf(np.zeros((2, 0, 3))).shape == (2, 0, 3)
