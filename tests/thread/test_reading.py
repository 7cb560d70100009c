"""From a measured shape to its reading: stations, and what a taper's u does to diameters."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.adjust.told import covariance_of, with_covariance
from pitchcam.records import NAMING_QUANTITIES, Quantity
from pitchcam.thread.budget import budget, combined
from pitchcam.thread.reading import DIAMETERS, half_angles, to_reading
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
    u, r = combined(lines)
    for name in DIAMETERS:
        # The taper is fitted about the middle, four millimetres from either end.
        sign, both = np.sign(taper), r[name, "taper"] * u[name] * u["taper"]
        square = u[name] ** 2 + 2 * 4.0 * sign * both + (4.0 * u["taper"]) ** 2
        assert getattr(reading, name).u == pytest.approx(np.sqrt(square))


@pytest.mark.parametrize("taper", [0.0625, -0.0625])
def test_an_error_of_the_taper_is_in_the_diameters_of_the_large_end_too(shape, taper):
    """A trial with NumPy's multivariate normal: middle and taper drawn, the large end made."""
    lines = budget(shape, PLACE)
    u, r = combined(lines)
    names = list(u)
    covariance = np.diag([u[k] ** 2 for k in names])
    for (a, b), value in r.items():
        i, j = names.index(a), names.index(b)
        covariance[i, j] = covariance[j, i] = value * u[a] * u[b]
    drawn = np.random.default_rng(7).multivariate_normal(np.zeros(len(names)), covariance, 200_000)
    stated = dict(zip(names, drawn.T, strict=True))
    stated["taper"] = stated["taper"] * np.sign(taper)
    for name in DIAMETERS:
        stated[name] = stated[name] + 4.0 * stated["taper"]
    reading = to_reading(tapered(shape, taper), lines, ENDS)
    for (a, b), value in reading.correlation.items():
        assert value == pytest.approx(np.corrcoef(stated[a], stated[b])[0, 1], abs=0.01), (a, b)
    assert reading.correlation["major_mm", "taper"] > 0.1


def test_a_parallel_thread_s_diameters_are_those_of_its_middle(shape):
    lines = budget(shape, PLACE)
    reading = to_reading(tapered(shape, 0.004), lines, ENDS)
    u, _ = combined(lines)
    assert reading.diameter_station_mm is None
    assert reading.major_mm.value == pytest.approx(MAJOR)
    assert reading.major_mm.u == pytest.approx(u["major_mm"])


def test_both_half_angles_make_the_thread_angle_with_its_u(shape):
    """Two flanks as good as one another: each has at least the angle's u over root 2."""
    edges = tuple(replace(e, u_by_height_px=0.2) for e in shape.edges)
    lines = budget(replace(shape, edges=edges), PLACE)
    u, _ = combined(lines)
    start, end = half_angles(shape, lines)
    assert start.value + end.value == pytest.approx(shape.section.fit.angle_deg)
    for each in (start, end):
        assert u["angle_deg"] / np.sqrt(2) <= each.u <= u["angle_deg"]


def test_a_taper_without_its_sign_goes_the_other_way_with_what_it_goes_with(shape):
    lines = budget(shape, PLACE)
    _, signed = combined(lines)
    falls, rises = (
        to_reading(tapered(shape, taper), lines, ENDS).correlation for taper in (-0.004, 0.004)
    )
    assert rises == signed
    with_taper = [k for k in signed if "taper" in k and abs(signed[k]) > 0.01]
    assert with_taper
    for pair in with_taper:
        assert falls[pair] == -signed[pair]
    assert falls["pitch_mm", "major_mm"] == signed["pitch_mm", "major_mm"]


@pytest.mark.parametrize(("value", "u"), [(26.9, 1e-12), (26.9, 0.0), (0.0, 1e-9), (1.8, 1e-7)])
def test_no_photo_leaves_a_u_of_nothing(value, u):
    """20 nm of 20 mm is a fortieth of green light's wave: by construction."""
    with pytest.raises(ValueError, match="no photo measures"):
        Quantity.measured(value, u)


def test_what_no_line_speaks_of_is_not_measured(shape):
    """A budget that has lost a quantity's terms makes no reading."""
    lines = tuple(
        replace(x, contributions={k: c for k, c in x.contributions.items() if k != "major_mm"})
        for x in budget(shape, PLACE)
    )
    with pytest.raises(ValueError, match="no photo measures"):
        to_reading(shape, lines, ENDS)


def test_a_scale_that_is_told_takes_no_more_than_it_gave(shape):
    """What was taken out of a diameter's variance and was never in it, leaves no reading."""
    reading = to_reading(shape, budget(shape, PLACE), ENDS)
    less = covariance_of(reading)
    major = NAMING_QUANTITIES.index("major_mm")
    less[major, major] *= -0.1
    with pytest.raises(ValueError, match="no photo measures"):
        with_covariance(reading, less, 1.0)
