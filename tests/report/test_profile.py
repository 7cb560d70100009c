"""The standard's profile under the measured one, by the formulas of ISO 68-1, BS 84 and BS 93."""

import numpy as np
import pytest

from pitchcam.report.profile import best_phase, standard_radius
from pitchcam.series import find

TURN = np.linspace(-0.5, 0.5, 20001)


@pytest.mark.parametrize(
    ("name", "depth_in_pitches"),
    # ISO 68-1 with H/6 at the root; BS 84; BS 93; ASME B1.20.1 with 0.033 P cut off twice.
    [("M14x1.5", 0.613435), ("G 1/2", 0.640327), ("0 BA", 0.6), ("1/2-14 NPT", 0.800025)],
)
def test_depth_and_major_diameter(name, depth_in_pitches):
    size = find(name)
    radius = standard_radius(size, TURN)
    assert radius.max() == pytest.approx(size.basic_major_mm / 2, abs=2e-3)
    assert np.ptp(radius) / size.pitch_mm == pytest.approx(depth_in_pitches, abs=1e-3)


@pytest.mark.parametrize(
    ("name", "angle"), [("M14x1.5", 60.0), ("G 1/4", 55.0), ("0 BA", 47.5), ("1/4-18 NPT", 60.0)]
)
def test_flank_slope_is_the_angle(name, angle):
    size = find(name)
    slope = np.abs(np.diff(standard_radius(size, TURN)) / np.diff(TURN * size.pitch_mm))
    assert np.percentile(slope, 99) == pytest.approx(1 / np.tan(np.radians(angle / 2)), rel=1e-3)


def test_ridge_equals_groove_at_the_pitch_diameter():
    size = find("M14x1.5")
    wide = (standard_radius(size, TURN) > size.basic_pitch_diameter_mm / 2).mean()
    assert wide == pytest.approx(0.5, abs=1e-3)


def test_a_taper_thread_follows_its_station():
    size = find("1/2-14 NPT")
    far, near = (standard_radius(size, 0.0, station) for station in (12.0, 4.0))
    assert far - near == pytest.approx(8.0 / 16.0 / 2.0)


def test_phase_is_found_whatever_the_wear():
    size = find("M14x1.5")
    turn = np.random.default_rng(2).random(800)
    radius = standard_radius(size, turn - 0.37) - 0.1
    assert best_phase(size, turn, radius, None) == pytest.approx(0.37, abs=0.003)
