"""The robust line against SciPy's Theil-Sen slope, and against least squares where all is sound."""

import numpy as np
import pytest
from scipy.stats import theilslopes

from pitchcam.robust import robust_line

X = np.arange(200.0)


def test_a_third_of_strangers_do_not_turn_it() -> None:
    rng = np.random.default_rng(4)
    y = 0.03 * X - 2.0 + rng.normal(0, 0.2, 200)
    y[rng.choice(200, 60, replace=False)] += rng.uniform(3.0, 30.0, 60)
    line = robust_line(X, y, least=0.3)
    other = theilslopes(y, X)
    assert line.slope == pytest.approx(0.03, abs=0.002)
    assert line.slope == pytest.approx(other.slope, abs=0.004)
    assert abs(np.polyfit(X, y, 1)[1] + 2.0) > 3 * abs(line.offset + 2.0)
    assert 120 < line.kept.sum() <= 141


def test_what_lies_near_is_never_left_out() -> None:
    y = 1.0 + 0.5 * X + 0.29 * (-1.0) ** X
    y[::10] += 0.4
    assert robust_line(X, y, least=2.0).kept.all()
    assert robust_line(X, y, least=2.0).slope == pytest.approx(np.polyfit(X, y, 1)[0])
    assert not robust_line(X, y + 5.0 * (X == 7), least=0.3).kept[7]
