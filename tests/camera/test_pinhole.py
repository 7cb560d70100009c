"""The camera against OpenCV's, and planes above the plate."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pitchcam.camera.pinhole import Camera, camera_from_exif
from tests.objects.drawing import View
from tests.scale import looking

POINTS = np.random.default_rng(5).uniform([-70, -50, 150], [70, 50, 260], (60, 3))


@pytest.mark.parametrize(("k1", "k2"), [(0.0, 0.0), (0.02, -0.01), (-0.06, 0.02)])
def test_projection_is_opencvs(k1: float, k2: float) -> None:
    camera = Camera(f_px=3000, u_f_px=40, centre_px=(2010.0, 1507.5), k1=k1, k2=k2)
    matrix = np.array([[3000, 0, 2010], [0, 3000, 1507.5], [0, 0, 1.0]])
    bend = np.array([k1, k2, 0, 0])
    theirs = cv2.projectPoints(POINTS, np.zeros(3), np.zeros(3), matrix, bend)[0][:, 0]
    ours = camera.project(POINTS)
    assert ours == pytest.approx(theirs, abs=1e-8)
    rays = camera.rays(ours)
    assert rays == pytest.approx(POINTS / POINTS[:, 2:], abs=1e-6)
    straight = cv2.undistortPoints(theirs[:, None], matrix, bend)[:, 0]
    # OpenCV stops after five rounds.
    assert rays[:, :2] == pytest.approx(straight, abs=2e-5)


@pytest.mark.parametrize("turn", [(0, 0, 0), (0.06, -0.04, 0.3)])
@pytest.mark.parametrize("height", [0.0, 7.0, -3.0])
def test_plane_above_the_plate(turn: tuple[float, float, float], height: float) -> None:
    view = View(turn=turn)
    plan = np.array([[-30, -20, height], [25, 10, height], [0, 31, height]])
    camera = looking.camera(view).over_plate(view.plate_mm)
    found = camera.on_plane(view.project(plan), height)
    there = plan * [1, 1, -1] @ cv2.Rodrigues(np.array(turn, float))[0].T + [0, 0, 200.0]
    assert found == pytest.approx(there, abs=1e-6)
    # What stands higher is nearer to the camera.
    above = camera.on_plane(view.project(plan), height + 5)
    assert (np.linalg.norm(above, axis=1) < np.linalg.norm(found, axis=1)).all()


def test_tilt() -> None:
    camera = Camera(f_px=3000, u_f_px=40, centre_px=(0, 0))
    assert camera.tilt_deg == 0
    tilted = camera.tilted(np.array([0, -2 * np.sin(0.05), -2 * np.cos(0.05)]), 0.01)
    assert tilted.tilt_deg == pytest.approx(np.degrees(0.05))
    assert np.linalg.norm(tilted.normal) == pytest.approx(1)
    assert tilted.normal[2] > 0


def test_focal_length_from_exif() -> None:
    # CIPA DC-008 (Exif) tag 41989: the full frame's diagonal, sqrt(36^2 + 24^2) mm.
    camera = camera_from_exif(4032, 3024, 26)
    assert camera.f_px == pytest.approx(26 * 5040 / np.hypot(36, 24), rel=1e-5)
    assert camera.u_f_px / camera.f_px == pytest.approx(0.03)
    assert camera.centre_px == (2015.5, 1511.5)
    guess = camera_from_exif(4032, 3024, None)
    assert guess.u_f_px > 3 * camera.u_f_px
    # Lenses of 24 to 32 mm lie within two of its u.
    for f35 in (24, 32):
        assert abs(f35 / 26 - 1) < 2 * guess.u_f_px / guess.f_px
