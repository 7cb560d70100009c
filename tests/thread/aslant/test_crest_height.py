"""How probable a crest's height is, beside SciPy's exponentially modified normal distribution."""

import numpy as np
import pytest
from scipy.stats import exponnorm, norm

from pitchcam.series.ridges import RIDGES
from pitchcam.thread.aslant.crest_height import HEIGHTS, WORN, height_pull


@pytest.mark.parametrize("name", ["flat60", "round55", "pipe60", "round47.5"])
def test_the_pull_is_that_of_made_and_worn_crests_together(name: str) -> None:
    """Low by an exponential: the negative of the height is exponentially modified (SciPy)."""
    ridge = RIDGES[name]

    def density(height: float) -> float:
        fresh = 1 - sum(share for share, _ in WORN)
        total = fresh * norm.pdf(height, ridge.crest, ridge.u_crest)
        for share, mean in WORN:
            own = exponnorm(mean / ridge.u_crest, loc=-ridge.crest, scale=ridge.u_crest)
            total += share * own.pdf(-height)
        return float(total)

    most = max(density(h) for h in HEIGHTS)
    for height in (-0.15, -0.06, 0.06, 0.12, 0.2, 0.27, 0.33, 0.4):
        off, _ = height_pull(ridge, height)
        assert 0.5 * off**2 == pytest.approx(np.log(most / density(height)), abs=0.02)
        assert off * (height - ridge.crest) > 0 or abs(off) < 0.3


def test_the_slope_is_the_pull_s_derivative() -> None:
    ridge = RIDGES["round55"]
    for height in (0.08, 0.21, 0.29, 0.35):
        ends = [height_pull(ridge, height + step)[0] for step in (-0.004, 0.004)]
        slope = height_pull(ridge, height)[1]
        assert (ends[1] - ends[0]) / 0.008 == pytest.approx(slope, rel=0.05)


def test_a_crest_worn_to_a_tenth_favours_no_form_by_its_tolerance() -> None:
    """By the tolerances alone, 6.8 against 5.7 standard deviations: a thousand to one."""
    pulls = [height_pull(RIDGES[name], 0.1)[0] for name in ("flat60", "round55")]
    assert abs(0.5 * pulls[0] ** 2 - 0.5 * pulls[1] ** 2) < 0.5
