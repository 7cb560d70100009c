"""Numbers with their expanded uncertainty (rounding as JCGM 100, 7.2.6: two digits at most)."""

import pytest

from pitchcam.report.figures import (
    decimals_for,
    inches,
    millimetres,
    taper_words,
    threads_per_inch,
    with_uncertainty,
)
from pitchcam.units import percent
from tests.quantities import q


@pytest.mark.parametrize(
    ("expanded", "decimals"),
    [
        (0.048, 3),
        (0.0996, 2),
        (0.1, 2),
        (9.96, 0),
        (9.94, 1),
        (12.0, 0),
        (250.0, 0),
        (3e-9, 6),
        (0.0, 4),
        (float("nan"), 4),
        (float("inf"), 4),
    ],
)
def test_two_digits_of_the_uncertainty(expanded, decimals):
    assert decimals_for(expanded) == decimals


def test_value_carries_twice_u():
    assert millimetres(q(13.802, 0.024)) == "13.802 ± 0.048 mm"
    assert with_uncertainty(q(60.123, 0.4), "°") == "60.12 ± 0.80°"
    assert with_uncertainty(q(-0.00001, 0.002)) == "0.0000 ± 0.0040"


def test_inches_are_exact():
    assert inches(q(25.4, 0.0127)) == "1.0000 ± 0.0010 in"


def test_tpi_keeps_the_relative_uncertainty():
    # 18 TPI is 1.41111 mm; u of 0.1 % is 0.018 TPI, 0.036 expanded.
    assert threads_per_inch(q(25.4 / 18, 0.001 * 25.4 / 18)) == "18.000 ± 0.036 TPI"


def test_probability_never_claims_certainty():
    assert percent(1.0) == "over 99.9 %"
    assert percent(0.9681) == "96.8 %"
    assert percent(1e-9) == "under 0.1 %"
    assert percent(0.0) == "0.0 %"


def test_taper_is_told_as_people_say_it():
    assert "1:16.0" in taper_words(q(0.0625, 0.002))
    assert "parallel" in taper_words(q(0.003, 0.002))
