"""The stated probability is what it says, on drawn threads; special ones are seldom named."""

import pytest
from scipy.stats import binom

from pitchcam.series import find
from tests.confusion.stated import RATES, calibration, specials


@pytest.mark.parametrize("rate", RATES)
def test_a_stated_probability_is_how_often_it_is_right(rate: str) -> None:
    """Whatever the rate at which threads are drawn, once in a thousand runs it may seem not so."""
    found = calibration(150, 5, RATES[rate])
    many, expected = int(found.n.sum()), float(found.stated.sum())
    right = int(found.right.sum())
    assert binom.cdf(right, many, expected / many) > 0.001
    assert found.wrong.total() <= 2
    # Names are not withheld for nothing either.
    assert found.named > 0.88 * many


@pytest.mark.parametrize("worn", [False, True])
def test_special_threads_are_seldom_named(worn: bool) -> None:
    """Those named lie within 1.5 % of a standard size, as 0.91 mm of 28 TPI: few of them do."""
    named = [(cut, v) for cut, v in specials(60, 3, worn) if v.status == "named"]
    assert len(named) <= 3
    for cut, verdict in named:
        size = find(verdict.designation)
        assert cut.thread.pitch == pytest.approx(size.pitch_mm, rel=0.015)
        assert cut.thread.major == pytest.approx(size.basic_major_mm, rel=0.015)
