"""Camera profiles: calibration against known cameras, files, and what is refused."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest

from pitchcam.camera.profile import CameraProfile, calibrate, load_profile, save_profile
from pitchcam.errors import InputError, UnreadableError
from pitchcam.scale.pose import camera_of, prior_of
from pitchcam.sheet import sheet
from tests.records.published import check

SIZE = (4032, 3024)
F, CENTRE, K1, K2 = 3055.0, (2030.0, 1502.0), 0.012, -0.004
TURNS = [
    (0, 0, 0),
    (0.45, 0, 0),
    (-0.45, 0.05, 0),
    (0, 0.5, 0.1),
    (0.05, -0.5, 0),
    (0.3, 0.3, 1.5),
    (-0.3, 0.3, 0),
]


def views(turns=TURNS, noise=0.05, seed=2):
    rng = np.random.default_rng(seed)
    plan = np.concatenate([m.corners_mm for m in sheet("part").markers])
    matrix = np.array([[F, 0, CENTRE[0]], [0, F, CENTRE[1]], [0, 0, 1]])
    out = []
    for turn in turns:
        flat = np.column_stack([plan, np.zeros(len(plan))])
        seen = cv2.projectPoints(
            flat, np.array(turn, float), np.array([0.0, 0, 190]), matrix, np.array([K1, K2, 0, 0.0])
        )[0][:, 0]
        out.append((plan, seen + rng.normal(0, noise, seen.shape)))
    return out


def test_known_camera_comes_back() -> None:
    profile = calibrate(views(), SIZE, name="test", f35_mm=26.0)
    assert profile.f_px == pytest.approx(F, rel=5e-4)
    assert profile.centre_px == pytest.approx(CENTRE, abs=1.5)
    assert profile.residual_px < 0.1
    corner = np.array([[0.0, 0.0], [4031.0, 3023.0]])
    bent = (corner - CENTRE) / F
    r2 = np.sum(bent**2, axis=1, keepdims=True)
    seen = bent * (1 + K1 * r2 + K2 * r2**2) * F + CENTRE
    assert np.abs(profile.undistort(seen) - corner).max() < 2.0
    # Outside check: OpenCV's own undistortion of the same points.
    matrix = np.array(
        [
            [profile.f_px, 0, profile.centre_px[0]],
            [0, profile.f_px, profile.centre_px[1]],
            [0, 0, 1],
        ]
    )
    bend = np.array([profile.k1, profile.k2, 0, 0.0])
    theirs = cv2.undistortPoints(seen[:, None], matrix, bend, P=matrix)[:, 0]
    assert np.abs(profile.undistort(seen) - theirs).max() < 0.01


def test_round_trip_through_the_file(tmp_path) -> None:
    profile = calibrate(views(), SIZE, name="bench phone, main lens", f35_mm=26.0)
    path = tmp_path / "camera.json"
    save_profile(profile, path)
    assert load_profile(path) == profile
    check("camera", json.loads(path.read_text()))


def test_profile_serves_a_smaller_copy_and_refuses_a_crop() -> None:
    profile = calibrate(views(), SIZE, name="test")
    half = profile.for_size(2016, 1512)
    assert half.f_px == pytest.approx(profile.f_px / 2)
    # The middle of the frame stays the middle: pixel centres, not corners, are whole numbers.
    off = np.array(profile.centre_px) - (2015.5, 1511.5)
    assert np.array(half.centre_px) - (1007.5, 755.5) == pytest.approx(off / 2)
    upright = profile.for_size(3024, 4032)
    assert upright.centre_px == (1511.5, 2015.5)
    with pytest.raises(InputError, match="cropping"):
        profile.for_size(4032, 2268)


def test_as_a_prior_it_fixes_the_camera() -> None:
    profile = calibrate(views(), SIZE, name="test")
    prior = prior_of(*SIZE, None, profile)
    camera = camera_of(np.concatenate([np.zeros(6), prior.mean]), prior)
    assert (camera.f_px, camera.centre_px) == (pytest.approx(profile.f_px), profile.centre_px)
    assert (camera.k1, camera.k2) == (pytest.approx(profile.k1), profile.k2)


def test_views_that_cannot_tell_are_refused() -> None:
    with pytest.raises(UnreadableError, match="only 3"):
        calibrate(views(TURNS[:3]), SIZE, name="x")
    with pytest.raises(UnreadableError, match="square on"):
        calibrate(views([(0, 0, 0), (0.02, 0, 0), (0, 0.03, 0), (0.01, 0.01, 1)]), SIZE, name="x")
    two_cameras = views()
    two_cameras[3] = (two_cameras[3][0], two_cameras[3][1] * 1.4 - 600)
    two_cameras[4] = (two_cameras[4][0], two_cameras[4][1] * 0.8 + 300)
    with pytest.raises(UnreadableError, match="do not fit one camera"):
        calibrate(two_cameras, SIZE, name="x")


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "not a camera profile"),
        ("[1]", "not a camera profile"),
        ('{"format": "pitchcam.camera/9"}', "not a camera profile"),
        ('{"format": "pitchcam.camera/1", "name": "x"}', "damaged"),
    ],
)
def test_bad_files_get_one_line(text: str, what: str, tmp_path) -> None:
    path = tmp_path / "camera.json"
    path.write_text(text)
    with pytest.raises(InputError, match=what):
        load_profile(path)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("f_px", float("nan")),
        ("f_px", -3),
        ("width_px", 0),
        ("height_px", 0),
        ("k1", "x"),
        ("centre_px", [1]),
    ],
)
def test_values_that_no_camera_has(key: str, value: object, tmp_path) -> None:
    path = tmp_path / "camera.json"
    profile = CameraProfile(
        name="x",
        width_px=4032,
        height_px=3024,
        f_px=3000,
        u_f_px=9,
        centre_px=(2015, 1511),
        u_centre_px=(9, 9),
        k1=0,
        k2=0,
        residual_px=0.1,
        views=6,
    )
    save_profile(profile, path)
    path.write_text(json.dumps(json.loads(path.read_text()) | {key: value}))
    with pytest.raises(InputError, match="damaged"):
        load_profile(path)


def test_a_missing_file_says_so(tmp_path) -> None:
    with pytest.raises(InputError, match="no file"):
        load_profile(tmp_path / "none.json")
