"""Photos of the marker sheet: its pose, its stated u, and a camera's profile from several."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from pitchcam.camera.profile import CameraProfile, calibrate, load_profile, save_profile
from pitchcam.errors import InputError, PitchcamError, UnreadableError, UsageError
from pitchcam.photo import linear_table
from pitchcam.scale.sheet import find_sheet, sheet_corners
from pitchcam.scale.views import profile_from_photos
from pitchcam.sheet.layout import BAR_MM, sheet
from tests.objects import drawing

SIZE, F = (1600, 1200), 1500.0
CENTRE = ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2)
SCALE = 12.0
TURNS = [
    (0.0, 0, 0),
    (0.4, 0, 0),
    (-0.4, 0.05, 0),
    (0, 0.45, 0.05),
    (0.05, -0.45, 0),
    (0.28, 0.3, 0.6),
]


def plan() -> tuple[np.ndarray, np.ndarray]:
    """The part sheet drawn flat, and the homography's source: pixels of the drawing by mm."""
    page = sheet("part")
    w, h = (math.ceil(v * SCALE) + 240 for v in page.outer_mm)
    gray = np.full((h, w), 225, np.uint8)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for m in page.markers:
        side = round(m.side_mm * SCALE)
        x0, y0 = round(m.x_mm * SCALE + w / 2 - side / 2), round(m.y_mm * SCALE + h / 2 - side / 2)
        code = cv2.aruco.generateImageMarker(family, m.id, side)
        gray[y0 : y0 + side, x0 : x0 + side] = np.where(code > 0, 225, 25)
    return gray, np.array([[SCALE, 0, w / 2 - 0.5], [0, SCALE, h / 2 - 0.5], [0, 0, 1.0]])


FLAT, TO_FLAT = plan()


def shot(turn=(0.0, 0.0, 0.0), away=210.0, f=F, at=(0.0, 0.0), size=SIZE) -> np.ndarray:
    """The sheet as a pinhole camera sees it, drawn through the plane's homography, in light."""
    r = cv2.Rodrigues(np.array(turn, float))[0]
    k = np.array([[f, 0, (size[0] - 1) / 2], [0, f, (size[1] - 1) / 2], [0, 0, 1.0]])
    h = k @ np.column_stack([r[:, 0], r[:, 1], np.array([*at, away])]) @ np.linalg.inv(TO_FLAT)
    # From the photo's pixels back to the drawing's: an inverse map of areas keeps edges in place.
    light = linear_table(np.uint8)[FLAT]
    twice = np.array([[3.0, 0, 1], [0, 3, 1], [0, 0, 1]])
    fine = cv2.warpPerspective(
        light, twice @ h, (3 * size[0], 3 * size[1]), flags=cv2.INTER_LINEAR, borderValue=0.5
    )
    small = cv2.resize(cv2.GaussianBlur(fine, (0, 0), 2.0), size, interpolation=cv2.INTER_AREA)
    return np.round(255 * drawing.encode(small)).astype(np.uint8)


@pytest.fixture(scope="module")
def photos() -> list[np.ndarray]:
    return [shot(t) for t in TURNS]


@pytest.mark.parametrize("number", [0, 1, 5])
def test_a_sheets_pose_is_the_cameras(photos, number: int) -> None:
    pose = find_sheet(photos[number], F)
    r = cv2.Rodrigues(np.array(TURNS[number], float))[0]
    assert pose is not None and pose.size == "part"
    assert pose.markers == len(sheet("part").markers)
    assert np.array(pose.rotation) == pytest.approx(r, abs=2e-3)
    assert pose.translation_mm[2] == pytest.approx(210.0, rel=3e-3)
    tilt = math.degrees(math.acos(r[2, 2]))
    assert pose.tilt_deg.value == pytest.approx(tilt, abs=max(0.15, 3 * pose.tilt_deg.u))
    assert pose.residual_px < 0.3
    assert pose.camera.normal == pytest.approx(tuple(r[:, 2]), abs=2e-3)


@pytest.mark.parametrize("away", [170.0, 250.0])
def test_the_sheets_scale_is_distance_over_focal_length(away: float) -> None:
    pose = find_sheet(shot(away=away), F)
    assert pose.mm_per_px.value == pytest.approx(away / F, rel=1e-3)
    assert abs(pose.mm_per_px.value - away / F) < 2 * pose.mm_per_px.u
    # The focal length is known to 3 %, and level the distance goes with it.
    assert pose.camera_height_mm.u == pytest.approx(0.03 * away, rel=0.2)
    assert abs(pose.camera_height_mm.value - away) < 2 * pose.camera_height_mm.u


def test_a_point_of_the_sheet_is_projected_where_it_is_seen(photos) -> None:
    pose = find_sheet(photos[5], F)
    seen_mm, seen_px = sheet_corners(photos[5])
    flat = np.column_stack([seen_mm, np.zeros(len(seen_mm))])
    assert np.median(np.linalg.norm(pose.project(flat) - seen_px, axis=1)) < 0.4
    window = np.array(pose.window_px)
    assert cv2.contourArea(window.astype(np.float32)) > 0
    corners = np.column_stack([sheet("part").window_corners_mm, np.zeros(4)])
    assert window == pytest.approx(pose.project(corners), abs=1e-6)


@pytest.mark.parametrize("bar", [98.0, 100.0, 101.5])
def test_the_bar_as_it_is_read_scales_everything(photos, bar: float) -> None:
    one, other = find_sheet(photos[0], F), find_sheet(photos[0], F, bar)
    assert other.mm_per_px.value / one.mm_per_px.value == pytest.approx(bar / BAR_MM, rel=1e-4)
    assert other.bar_mm == bar and one.bar_mm == BAR_MM
    assert other.mm_per_px.u < one.mm_per_px.u, "read, it is known better than printed"
    mm = sheet_corners(photos[0], bar)[0]
    assert mm == pytest.approx(sheet_corners(photos[0])[0] * bar / BAR_MM)


@pytest.mark.parametrize("bar", [19.9, 400.1, 0.0, -5.0])
def test_a_bar_that_cannot_be_is_refused(photos, bar: float) -> None:
    for ask in (find_sheet, lambda gray, _f, b: sheet_corners(gray, b)):
        with pytest.raises(UsageError, match="cannot be; measure the long black bar, in mm"):
            ask(photos[0], F, bar)


def test_three_markers_are_too_few(photos) -> None:
    hidden = photos[0].copy()
    _, px = sheet_corners(photos[0])
    for corners in px.reshape(-1, 4, 2)[3:]:
        cv2.fillConvexPoly(hidden, np.round(corners).astype(np.int32), 190)
    assert find_sheet(hidden, F) is None and sheet_corners(hidden) is None
    assert find_sheet(np.full((400, 600), 180, np.uint8), F) is None


def test_half_the_markers_are_enough(photos) -> None:
    hidden = photos[1].copy()
    _, px = sheet_corners(photos[1])
    every = px.reshape(-1, 4, 2)
    for corners in every[::2]:
        cv2.fillConvexPoly(hidden, np.round(corners).astype(np.int32), 190)
    pose = find_sheet(hidden, F)
    whole = find_sheet(photos[1], F)
    assert pose.markers == len(every) // 2
    assert pose.mm_per_px.value == pytest.approx(whole.mm_per_px.value, rel=2e-3)
    assert pose.mm_per_px.u > whole.mm_per_px.u


# A profile from photos.


@pytest.fixture(scope="module")
def files(photos, tmp_path_factory) -> list[Path]:
    folder = tmp_path_factory.mktemp("sheet")
    out = []
    for i, gray in enumerate(photos):
        cv2.imwrite(str(folder / f"{i}.png"), gray)
        out.append(folder / f"{i}.png")
    return out


def test_photos_of_the_sheet_make_the_cameras_profile(files) -> None:
    said: list[str] = []
    found = profile_from_photos(files, name="bench", progress=said.append)
    assert said == [f"photo {i} of 6" for i in range(1, 7)]
    assert [v.photo for v in found.views] == [str(f) for f in files]
    assert all(v.markers == len(sheet("part").markers) for v in found.views)
    profile = found.profile
    assert (profile.name, profile.views) == ("bench", 6)
    assert (profile.width_px, profile.height_px) == SIZE
    assert abs(profile.f_px - F) < 2 * profile.u_f_px
    assert profile.f_px == pytest.approx(F, rel=0.005)
    assert profile.centre_px == pytest.approx(CENTRE, abs=6)
    assert abs(found.corner_shift_px) < 4, "drawn without distortion"


def test_a_photo_turned_by_a_quarter_is_turned_back(files, tmp_path) -> None:
    turned = tmp_path / "turned.png"
    cv2.imwrite(str(turned), np.rot90(cv2.imread(str(files[3]), cv2.IMREAD_GRAYSCALE)))
    found = profile_from_photos([*files[:3], turned, *files[4:]], name="bench")
    assert (found.profile.width_px, found.profile.height_px) == SIZE
    assert found.profile.f_px == pytest.approx(F, rel=0.01)


def test_photos_of_another_size_are_refused_by_name(files, tmp_path) -> None:
    small = tmp_path / "small.png"
    cv2.imwrite(str(small), cv2.resize(cv2.imread(str(files[1])), None, fx=0.5, fy=0.5))
    with pytest.raises(
        InputError,
        match="small.png: taken with another lens or size than the first photo; use one lens",
    ):
        profile_from_photos([files[0], small], name="x")
    with pytest.raises(
        InputError, match="no photos were given; name six to ten photos of the sheet"
    ):
        profile_from_photos([], name="x")


def test_photos_without_a_sheet_are_counted_and_too_few_refused(files, tmp_path) -> None:
    blank = tmp_path / "blank.png"
    cv2.imwrite(str(blank), np.full(SIZE[::-1], 180, np.uint8))
    with pytest.raises(UnreadableError, match="only 2 of the photos show the sheet; 4 are needed;"):
        profile_from_photos([files[0], blank, files[1]], name="x")


PROFILE = CameraProfile(
    name="bench, main lens",
    width_px=4000,
    height_px=3000,
    f_px=3000.0,
    u_f_px=15.0,
    centre_px=(2010.0, 1490.0),
    u_centre_px=(12.0, 9.0),
    k1=0.02,
    k2=-0.01,
    residual_px=0.2,
    views=7,
    f35_mm=26.0,
)


@pytest.mark.parametrize("by", [0.25, 0.5, 2.0])
def test_a_profile_scales_with_the_picture(by: float) -> None:
    small = PROFILE.for_size(round(4000 * by), round(3000 * by))
    assert small.f_px == pytest.approx(3000 * by) and small.u_f_px == pytest.approx(15 * by)
    assert small.u_centre_px == pytest.approx((12 * by, 9 * by))
    # The middle of pixel (x, y) lies at (x + 1/2) of all.
    assert small.centre_px[0] + 0.5 == pytest.approx((2010 + 0.5) * by)
    assert (small.k1, small.k2) == (0.02, -0.01)
    back = small.for_size(4000, 3000)
    assert back.centre_px == pytest.approx(PROFILE.centre_px)


def test_an_upright_picture_is_about_its_middle_give_or_take_how_far_off_it_was() -> None:
    upright = PROFILE.for_size(3000, 4000)
    off = math.hypot(2010 - 1999.5, 1490 - 1499.5)
    assert upright.centre_px == (1499.5, 1999.5)
    assert upright.u_centre_px == pytest.approx((math.hypot(9, off), math.hypot(12, off)))
    assert upright.f_px == PROFILE.f_px


@pytest.mark.parametrize("size", [(4000, 2250), (3000, 3000), (4000, 2980)])
def test_a_crop_has_no_profile(size) -> None:
    with pytest.raises(InputError) as caught:
        PROFILE.for_size(*size)
    assert str(caught.value) == (
        "camera profile bench, main lens: made for 4000 x 3000 px photos, this one has "
        f"{size[0]} x {size[1]}; take both with the same lens and without cropping"
    )


@pytest.mark.parametrize("k", [(0.02, -0.01), (-0.05, 0.01), (0.0, 0.0)])
def test_undistorting_is_opencvs(k) -> None:
    profile = replace(PROFILE, k1=k[0], k2=k[1])
    xy = np.random.default_rng(1).uniform([0, 0], [4000, 3000], (40, 2))
    matrix = np.array([[3000, 0, 2010], [0, 3000, 1490], [0, 0, 1.0]])
    theirs = cv2.undistortPoints(xy[:, None], matrix, np.array([*k, 0, 0]), P=matrix)[:, 0]
    assert profile.undistort(xy) == pytest.approx(theirs, abs=0.05)
    assert profile.undistort(np.array(profile.centre_px)) == pytest.approx(profile.centre_px)


@pytest.mark.parametrize("key", ["name", "f_px", "u_f_px", "centre_px", "k1", "views", "width_px"])
def test_a_profile_that_lacks_anything_is_damaged(tmp_path, key: str) -> None:
    path = tmp_path / "camera.json"
    save_profile(PROFILE, path)
    kept = json.loads(path.read_text())
    del kept[key]
    path.write_text(json.dumps(kept))
    with pytest.raises(
        InputError, match=f"camera.json: damaged camera profile .*{key}.*; make it again"
    ):
        load_profile(path)


@pytest.mark.parametrize(
    ("key", "value"),
    [("f_px", 0.0), ("width_px", 0), ("k2", 1e400), ("u_f_px", None), ("centre_px", [1.0])],
)
def test_a_profile_of_no_camera_is_damaged(tmp_path, key: str, value: object) -> None:
    path = tmp_path / "camera.json"
    save_profile(PROFILE, path)
    path.write_text(json.dumps(json.loads(path.read_text()) | {key: value}))
    with pytest.raises(InputError, match="damaged camera profile"):
        load_profile(path)


@pytest.mark.parametrize("text", ["", "[]", "[" * 5000, '{"format": "another/1"}', "\x00"])
def test_what_is_no_profile_is_told_so(tmp_path, text: str) -> None:
    path = tmp_path / "camera.json"
    path.write_text(text)
    with pytest.raises(
        InputError, match="not a camera profile .* name a profile made by 'pitchcam calibrate'"
    ):
        load_profile(path)


def test_a_profile_comes_back_as_it_was_and_leaves_nothing_beside_it(tmp_path) -> None:
    path = tmp_path / "camera.json"
    for profile in (PROFILE, replace(PROFILE, f35_mm=None)):
        save_profile(profile, path)
        assert load_profile(path) == profile
    assert [p.name for p in tmp_path.iterdir()] == ["camera.json"]
    with pytest.raises(PitchcamError, match="cannot be written: .*; choose another folder"):
        save_profile(PROFILE, tmp_path / "none" / "camera.json")


@pytest.mark.parametrize("count", [0, 3])
def test_fewer_views_than_four_tell_no_camera(count: int) -> None:
    with pytest.raises(
        UnreadableError, match=f"only {count} of the photos show the sheet; 4 are needed;"
    ) as caught:
        calibrate([(np.zeros((4, 2)), np.zeros((4, 2)))] * count, SIZE, name="x")
    assert caught.value.code == "no-reference"
