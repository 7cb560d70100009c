"""The design profile against the standards' figures."""

import numpy as np
import pytest

from pitchcam.series import find
from pitchcam.series.profile import axial_profile, depth_of


@pytest.mark.parametrize(
    ("designation", "depth_of_pitch"),
    [
        ("M14x1.5", 0.613435),  # ISO 68-1: h3 = 17/24 H
        ("1/2-12 BSW", 0.640327),  # BS 84
        ("G 1/2", 0.640327),  # ISO 228-1
        ("0 BA", 0.6),  # BS 93
        ("1/2-14 NPT", 0.8),  # ASME B1.20.1, largest depth
    ],
)
def test_depth(designation: str, depth_of_pitch: float) -> None:
    size = find(designation)
    assert depth_of(size) / size.pitch_mm == pytest.approx(depth_of_pitch, abs=2e-4)


@pytest.mark.parametrize("designation", ["M14x1.5", "G 1/2", "0 BA", "Pg 16", "1/2-13 UNC"])
def test_ridge_equals_groove_at_the_pitch_diameter(designation: str) -> None:
    # The defining property of the pitch line, on a fine sampling of the drawn profile.
    size = find(designation)
    points = axial_profile(size, 1.0, points_per_arc=60)
    z = np.linspace(0, size.pitch_mm, 20001)
    r = np.interp(z, points[:, 0], points[:, 1])
    level = (size.basic_pitch_diameter_mm - size.basic_major_mm) / 2
    assert np.mean(r > level) == pytest.approx(0.5, abs=0.003)


@pytest.mark.parametrize(("designation", "angle"), [("M14x1.5", 60), ("R 1/2", 55), ("2 BA", 47.5)])
def test_flank_angle_of_the_drawn_profile(designation: str, angle: float) -> None:
    size = find(designation)
    points = axial_profile(size, 1.0, points_per_arc=4)
    steepest = np.max(np.abs(np.diff(points[:, 1]) / np.maximum(np.diff(points[:, 0]), 1e-12)))
    # On a taper the rising flank is steeper by the taper's own slope, 1/32.
    slope = steepest - size.taper / 2
    assert 2 * np.degrees(np.arctan(1 / slope)) == pytest.approx(angle, abs=1e-6)


def test_a_taper_thread_rises_by_a_thirty_second_a_side() -> None:
    size = find("1/2-14 NPT")
    points = axial_profile(size, 4.0)
    crests = [points[np.abs(points[:, 0] - k * size.pitch_mm) < 1e-6][0, 1] for k in (1, 3)]
    assert (crests[1] - crests[0]) / (2 * size.pitch_mm) == pytest.approx(1 / 32, rel=1e-3)
