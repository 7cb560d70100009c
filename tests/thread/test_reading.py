"""From a measured shape to its reading: stations, and what a taper's u does to diameters."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.thread.budget import budget, combined
from pitchcam.thread.reading import half_angles, to_reading
from tests.thread.drawn_shape import MAJOR, PITCH, drawn_shape
from tests.thread.test_budget_terms import PLACE

ENDS = (-3.0, 5.0)


@pytest.fixture(scope="module")
def shape():
    return drawn_shape()


def tapered(shape, taper):
    """Say that the fit found a taper; diameters stay those at the frame's origin."""
    fit = replace(shape.section.fit, taper=taper)
    return replace(shape, section=replace(shape.section, fit=fit))


@pytest.mark.parametrize(("taper", "large_mm"), [(0.0625, 5.0), (-0.0625, 3.0)])
def test_a_taper_s_diameters_are_those_of_its_large_end(shape, taper, large_mm):
    told = tapered(shape, taper)
    lines = budget(shape, PLACE)
    reading = to_reading(told, lines, ENDS)
    assert reading.taper.value == pytest.approx(0.0625)
    assert reading.major_mm.value == pytest.approx(MAJOR + large_mm * 0.0625)
    assert reading.diameter_station_mm.value == pytest.approx(8.0)
    # The thread's end is seen to a third of a pitch: half a turn of run-out, evenly spread.
    assert 0.25 * PITCH < reading.diameter_station_mm.u < 0.5 * PITCH
    u, _ = combined(lines)
    for name in ("major_mm", "pitch_diameter_mm", "minor_mm"):
        # The taper is fitted about the middle, four millimetres from either end.
        assert getattr(reading, name).u == pytest.approx(np.hypot(u[name], 4.0 * u["taper"]))


def test_a_parallel_thread_s_diameters_are_those_of_its_middle(shape):
    lines = budget(shape, PLACE)
    reading = to_reading(tapered(shape, 0.004), lines, ENDS)
    u, _ = combined(lines)
    assert reading.diameter_station_mm is None
    assert reading.major_mm.value == pytest.approx(MAJOR)
    assert reading.major_mm.u == pytest.approx(u["major_mm"])


def test_both_half_angles_make_the_thread_angle_with_its_u(shape):
    """Two flanks as good as one another: each has at least the angle's u over root 2."""
    lines = budget(shape, PLACE)
    u, _ = combined(lines)
    start, end = half_angles(shape, lines)
    assert start.value + end.value == pytest.approx(shape.section.fit.angle_deg)
    for each in (start, end):
        assert u["angle_deg"] / np.sqrt(2) <= each.u <= u["angle_deg"]


def test_a_taper_without_its_sign_goes_the_other_way_with_what_it_goes_with(shape):
    lines = budget(shape, PLACE)
    _, signed = combined(lines)
    falls, rises = (
        to_reading(tapered(shape, taper), lines, ENDS).correlation for taper in (-0.0625, 0.0625)
    )
    assert rises == signed
    with_taper = [k for k in signed if "taper" in k and abs(signed[k]) > 0.01]
    assert with_taper
    for pair in with_taper:
        assert falls[pair] == -signed[pair]
    assert falls["pitch_mm", "major_mm"] == signed["pitch_mm", "major_mm"]
