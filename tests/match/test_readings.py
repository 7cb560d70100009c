"""Typed readings: what they become, and what cannot be."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from pitchcam.errors import ReadingError
from pitchcam.match import name_thread
from pitchcam.match.readings import Typed, to_reading, which_to_repeat
from pitchcam.series.gauges import parse_leaf


def typed(gauge: str | None = None, **values: Any) -> Typed:
    return Typed(leaf=None if gauge is None else parse_leaf(gauge), **values)


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        (typed("1.25mm", diameter_mm=11.85), "M12x1.25"),
        (typed("20tpi", diameter_mm=12.6), "1/2-20 UNF"),
        (typed("14tpi", diameter_mm=22.1), "7/8-14 UNF"),
        (typed("18tpi", diameter_mm=15.75, angle_deg=60.0), "5/8-18 UNF"),
        (typed("14tpi", diameter_mm=20.4, second_mm=20.9, apart_mm=8.0, angle_deg=55.0), "R 1/2"),
        (typed("14tpi", diameter_mm=20.7, second_mm=21.2, apart_mm=8.0, angle_deg=60.0),
         "1/2-14 NPT"),
        (typed("14tpi", diameter_mm=20.8, second_mm=20.81, apart_mm=10.0, angle_deg=55.0), "G 1/2"),
        (typed("1.5mm", diameter_mm=13.8, second_mm=13.8, apart_mm=10.0), "M14x1.5"),
        (typed("1.5mm", bore_mm=12.5), "M14x1.5"),
        (typed("1.5mm", diameter_mm=14.1, cast=True), "M14x1.5"),
    ],
)  # fmt: skip
def test_readings_that_name(reading: Typed, expected: str) -> None:
    verdict = name_thread(to_reading(reading))
    assert verdict.designation == expected
    assert which_to_repeat(to_reading(reading)) is None


@pytest.mark.parametrize(
    ("reading", "among"),
    [
        (typed("14tpi", diameter_mm=20.7), {"1/2-14 NPT", "G 1/2", "R 1/2"}),
        (typed("14tpi", diameter_mm=20.4, second_mm=20.9, apart_mm=8.0), {"R 1/2", "1/2-14 NPT"}),
        (typed("28tpi", diameter_mm=9.55), {"G 1/8", "R 1/8"}),
        (typed("20tpi", diameter_mm=6.28), {"1/4-20 BSW", "1/4-20 UNC"}),
        (typed("1mm", diameter_mm=5.9), {"M6x1", "0 BA"}),
        (typed("14tpi", bore_mm=18.8), {"Rc 1/2", "G 1/2"}),
        (typed(None, diameter_mm=13.8), {"M14x1.5", "M14x2", "M14x1.25"}),
        (typed("18tpi"), {"5/8-18 UNF", "1/4-18 NPT", "9/16-18 UNF"}),
    ],
)
def test_readings_that_leave_several(reading: Typed, among: set[str]) -> None:
    verdict = name_thread(to_reading(reading))
    assert verdict.status == "ambiguous"
    assert among <= {c.designation for c in verdict.candidates}
    assert verdict.next_step


@pytest.mark.parametrize(
    ("reading", "says"),
    [
        (typed(diameter_mm=0.54), "0.54in"),
        (typed(diameter_mm=500.0), r"Read the caliper again\.$"),
        (typed(diameter_mm=350.52), "write 13.8"),
        (typed(diameter_mm=-3.0), "not a diameter"),
        (typed(diameter_mm=0.0), "not a diameter"),
        (typed(diameter_mm=math.nan), "not a diameter"),
        (typed("14tpi", diameter_mm=0.875), "0.875in"),
        (typed(diameter_mm=13.8, bore_mm=12.0), "not both"),
        (typed(angle_deg=55.0), "neither"),
        (typed(diameter_mm=13.8, second_mm=14.0), "--apart"),
        (typed(diameter_mm=13.8, second_mm=14.0, apart_mm=0.2), "tells no taper"),
        (typed(diameter_mm=13.8, second_mm=20.0, apart_mm=5.0), "steeper"),
        (typed("1.5mm", diameter_mm=13.8, angle_deg=200.0), "angle"),
    ],
)
def test_nonsense_gets_one_line(reading: Typed, says: str) -> None:
    with pytest.raises(ReadingError, match=says) as caught:
        to_reading(reading)
    assert "\n" not in str(caught.value)


def test_the_reading_that_does_not_fit_is_named() -> None:
    # 13.8 mm with 1.75 mm: no such thread; either may be wrong, and the rest is shown.
    text = which_to_repeat(to_reading(typed("1.75mm", diameter_mm=13.8)))
    assert text is not None and "Repeat" in text
    # Three agree and the angle alone does not.
    text = which_to_repeat(
        to_reading(typed("1.5mm", diameter_mm=13.85, second_mm=13.85, apart_mm=10.0, angle_deg=75))
    )
    assert text is not None and "the angle" in text and "M14x1.5" in text


def test_two_diameters_give_a_taper_that_leans_on_the_first() -> None:
    # Against simulation: the covariance of the first diameter and the taper (JCGM 101).
    base = typed("14tpi", diameter_mm=20.4, second_mm=20.9, apart_mm=8.0)
    reading = to_reading(base)
    assert reading.taper is not None and reading.major_mm is not None
    rng = np.random.default_rng(3)
    u = reading.major_mm.u
    first = 20.4 + u * rng.standard_normal(200_000)
    second = 20.9 + u * rng.standard_normal(200_000)
    apart = 8.0 + 0.5 * rng.standard_normal(200_000)
    taper = (second - first) / apart
    assert reading.taper.u == pytest.approx(np.std(taper), rel=0.02)
    assert reading.correlation["major_mm", "taper"] == pytest.approx(
        np.corrcoef(first, taper)[0, 1], abs=0.01
    )


def test_inside_the_second_bore_lies_deeper_and_smaller() -> None:
    reading = to_reading(typed("14tpi", bore_mm=18.6, second_mm=18.1, apart_mm=8.0))
    assert reading.taper is not None and reading.taper.value == pytest.approx(0.0625)


def test_stated_uncertainties_are_used() -> None:
    base = typed("1.5mm", diameter_mm=13.8, angle_deg=60.0)
    own = to_reading(replace(base, u_diameter_mm=0.1, u_gauge=0.01, u_angle_deg=2.0))
    assert own.major_mm is not None and own.pitch_mm is not None and own.angle_deg is not None
    assert (own.major_mm.u, own.pitch_mm.u, own.angle_deg.u) == pytest.approx((0.1, 0.015, 2.0))
