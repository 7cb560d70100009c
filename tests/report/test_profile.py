"""Basic profiles, by the formulas of ISO 68-1, BS 84 and BS 93."""

import numpy as np
import pytest

from pitchcam.report.profile import basic_radius, best_phase
from pitchcam.series import find

TURN = np.linspace(-0.5, 0.5, 20001)


@pytest.mark.parametrize("name", ["M14x1.5", "1/2-14 NPT", "R 1/2", "1/2-12 BSW", "0 BA"])
def test_crest_and_root_reach_the_basic_diameters(name):
    size = find(name)
    radius = basic_radius(size, TURN)
    assert radius.max() == pytest.approx(size.basic_major_mm / 2, abs=2e-3)
    assert radius.min() == pytest.approx(size.basic_minor_mm / 2, abs=2e-3)


@pytest.mark.parametrize(
    ("name", "angle"), [("M14x1.5", 60.0), ("G 1/4", 55.0), ("0 BA", 47.5), ("1/4-18 NPT", 60.0)]
)
def test_flank_slope_is_the_angle(name, angle):
    size = find(name)
    radius = basic_radius(size, TURN)
    slope = np.abs(np.diff(radius) / np.diff(TURN * size.pitch_mm))
    assert slope.max() == pytest.approx(1 / np.tan(np.radians(angle / 2)), rel=1e-6)


def test_ridge_equals_groove_at_the_pitch_diameter():
    size = find("M14x1.5")
    wide = (basic_radius(size, TURN) > size.basic_pitch_diameter_mm / 2).mean()
    assert wide == pytest.approx(0.5, abs=1e-3)


def test_rounded_forms_have_no_kink():
    """The arcs touch the flanks: the slope changes by no more than the grid allows."""
    for name in ("G 1/2", "0 BA"):
        size = find(name)
        slope = np.gradient(basic_radius(size, TURN), TURN * size.pitch_mm)
        assert np.abs(np.diff(slope)).max() < 0.02


def test_a_taper_thread_follows_its_station():
    size = find("1/2-14 NPT")
    far, near = (basic_radius(size, 0.0, station) for station in (12.0, 4.0))
    assert far - near == pytest.approx(8.0 / 16.0 / 2.0)


def test_phase_is_found_whatever_the_wear():
    size = find("M14x1.5")
    turn = np.random.default_rng(2).random(800)
    radius = basic_radius(size, turn - 0.37) - 0.1
    assert best_phase(size, turn, radius, None) == pytest.approx(0.37, abs=0.003)
