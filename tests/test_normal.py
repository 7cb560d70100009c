"""The normal distribution's integral against SciPy's."""

import numpy as np
from scipy import special

from pitchcam.normal import erf, ndtr

X = np.linspace(-9, 9, 36001)


def test_error_function_is_as_close_as_its_source_says():
    assert np.abs(erf(X) - special.erf(X)).max() < 1.5e-7


def test_normal_integral():
    assert np.abs(ndtr(X) - special.ndtr(X)).max() < 1e-7
    assert np.abs(ndtr(np.array([-40.0, 0.0, 40.0])) - [0.0, 0.5, 1.0]).max() < 1e-8
