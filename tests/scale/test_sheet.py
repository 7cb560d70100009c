"""Finding the sheet: pose against OpenCV's projection, scale, focal length, and their u."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pitchcam.errors import UsageError
from pitchcam.scale.pose import prior_of, solve
from pitchcam.scale.sheet import find_sheet
from pitchcam.sheet import PAGES, sheet
from pitchcam.sheet.draw import TOP_MM, raster

WIDTH, HEIGHT = 4032, 3024
DPI = 400


def photo(
    size: str,
    f: float,
    turn: tuple[float, float, float],
    at: tuple[float, float, float],
    *,
    printed: float = 1.0,
    blur: float = 1.0,
    grey: tuple[int, int] = (25, 200),
    seed: int = 1,
) -> np.ndarray:
    """A sheet seen by a pinhole camera: the drawing warped by the true pose, blurred, noisy."""
    plan, page = sheet(size), PAGES["a4"]
    k = DPI / 25.4
    drawing = raster(plan, page, DPI)
    matrix = np.array([[f, 0, (WIDTH - 1) / 2], [0, f, (HEIGHT - 1) / 2], [0, 0, 1]])
    rotation = cv2.Rodrigues(np.array(turn))[0]
    origin = np.array([page[0] / 2, TOP_MM + plan.outer_mm[1] / 2])
    to_mm = np.array([[1 / k, 0, 0.5 / k - origin[0]], [0, 1 / k, 0.5 / k - origin[1]], [0, 0, 1]])
    to_mm[:2] *= printed
    h = matrix @ np.column_stack([rotation[:, 0], rotation[:, 1], np.array(at)]) @ to_mm
    seen = cv2.warpPerspective(drawing, h, (WIDTH, HEIGHT), flags=cv2.INTER_AREA, borderValue=255)
    light = (seen / 255.0).astype(np.float32)
    light = cv2.GaussianBlur(light, (0, 0), blur)
    low, high = ((g / 255) ** 2.2 for g in grey)
    coded = (low + light * (high - low)) ** (1 / 2.2) * 255
    noise = np.random.default_rng(seed).normal(0, 1.5, coded.shape)
    return np.clip(np.round(coded + noise), 0, 255).astype(np.uint8)


CASES = [
    ("part", 3028.0, (0.03, -0.02, 0.05), (1.0, -2.0, 205.0)),
    ("part", 6057.0, (-0.05, 0.06, 2.9), (4.0, 3.0, 310.0)),
    ("box", 3028.0, (0.02, 0.03, -1.5), (-3.0, 5.0, 290.0)),
]


@pytest.mark.parametrize(("size", "f", "turn", "at"), CASES)
def test_pose_scale_and_projection(size, f, turn, at) -> None:
    pose = find_sheet(photo(size, f, turn, at), f * 1.012, 100.0)
    assert pose is not None
    assert pose.size == size
    assert pose.markers == len(sheet(size).markers)
    rotation = cv2.Rodrigues(np.array(turn))[0]
    height = float(rotation[:, 2] @ np.array(at))
    # The scale needs no focal length: a tenth of the 0.1 % that the pitch is to be known to.
    assert pose.mm_per_px.value == pytest.approx(at[2] / f, rel=1e-4)
    assert abs(pose.f_px.value - f) < 2 * pose.f_px.u
    assert abs(pose.camera_height_mm.value - height) < 2 * pose.camera_height_mm.u
    tilt = np.degrees(np.arccos(rotation[2, 2]))
    assert abs(pose.tilt_deg.value - tilt) < 2 * pose.tilt_deg.u
    # Outside check: cv2.projectPoints, from the same pose, on the sheet and 10 mm above it.
    points = np.array([[x, y, z] for z in (0.0, -10.0) for x, y in ((-40, -25), (0, 0), (40, 25))])
    matrix = np.array(
        [
            [pose.f_px.value, 0, pose.centre_px[0]],
            [0, pose.f_px.value, pose.centre_px[1]],
            [0, 0, 1],
        ]
    )
    ours = pose.project(points)
    bend = np.array([pose.k1, pose.k2, 0.0, 0.0])
    theirs = cv2.projectPoints(
        points,
        cv2.Rodrigues(np.array(pose.rotation))[0],
        np.array(pose.translation_mm),
        matrix,
        bend,
    )[0][:, 0]
    assert np.abs(ours - theirs).max() < 1e-6
    true = cv2.projectPoints(
        points[:3],
        np.array(turn),
        np.array(at),
        np.array([[f, 0, (WIDTH - 1) / 2], [0, f, (HEIGHT - 1) / 2], [0, 0, 1]]),
        np.zeros(4),
    )[0][:, 0]
    assert np.abs(ours[:3] - true).max() < 0.25


def test_heights_above_the_sheet_follow_from_the_camera() -> None:
    size, f, turn, at = CASES[0]
    pose = find_sheet(photo(size, f, turn, at), f, 100.0)
    assert pose is not None
    ends = pose.project(np.array([[-20.0, 0.0, -9.5], [20.0, 0.0, -9.5]]))
    on = pose.camera.on_plane(ends, 9.5)
    assert float(np.linalg.norm(on[1] - on[0])) == pytest.approx(40.0, abs=1e-6)
    low = pose.camera.on_plane(ends, 0.0)
    # Taken at the sheet instead of 9.5 mm above it, a length reads high by h / (L - h).
    assert float(np.linalg.norm(low[1] - low[0])) / 40 - 1 == pytest.approx(9.5 / 195.5, rel=0.02)


def test_the_bar_corrects_a_printer_that_shrinks() -> None:
    size, f, turn, at = CASES[0]
    gray = photo(size, f, turn, at, printed=0.996)
    read, unread = find_sheet(gray, f, 99.6), find_sheet(gray, f)
    assert read is not None and unread is not None
    assert read.mm_per_px.value == pytest.approx(at[2] / f, rel=1e-4)
    assert unread.mm_per_px.value == pytest.approx(at[2] / f / 0.996, rel=1e-4)
    # A bar that nobody read leaves the printer's error in the budget: 0.4 % is within 2 u.
    off = abs(unread.mm_per_px.value - at[2] / f)
    assert off < 2 * unread.mm_per_px.u
    assert read.mm_per_px.u < unread.mm_per_px.u / 2


def test_ink_spread_and_tone_do_not_move_the_scale() -> None:
    size, f, turn, at = CASES[0]
    soft = find_sheet(photo(size, f, turn, at, blur=3.0, grey=(60, 140)), f, 100.0)
    assert soft is not None
    assert soft.mm_per_px.value == pytest.approx(at[2] / f, rel=2e-4)


def test_without_exif_a_tilted_view_gives_the_focal_length() -> None:
    f, at = 6057.0, (2.0, -1.0, 330.0)
    level = find_sheet(photo("part", f, (0.0, 0.01, 0.0), at), None, 100.0)
    tilted = find_sheet(photo("part", f, (0.5, 0.25, 0.0), at), None, 100.0)
    assert level is not None and tilted is not None
    assert abs(tilted.f_px.value / f - 1) < 0.02
    assert level.f_px.u > 5 * tilted.f_px.u
    assert level.mm_per_px.value == pytest.approx(at[2] / f, rel=5e-4)


def test_covered_markers_and_no_sheet() -> None:
    size, f, turn, at = CASES[0]
    gray = photo(size, f, turn, at)
    partly = gray.copy()
    partly[:, : WIDTH // 2] = 30
    half = find_sheet(partly, f, 100.0)
    assert half is not None and 4 <= half.markers < 16
    assert half.mm_per_px.value == pytest.approx(at[2] / f, rel=5e-4)
    assert find_sheet(np.full((HEIGHT, WIDTH), 220, np.uint8), f) is None
    texture = np.random.default_rng(3).integers(0, 255, (HEIGHT // 16, WIDTH // 16), np.uint8)
    assert find_sheet(cv2.resize(texture, (WIDTH, HEIGHT)), f) is None


@pytest.mark.parametrize("bar", [-3.0, 0.0, 9.96, 1000.0])
def test_an_impossible_bar_is_refused(bar: float) -> None:
    with pytest.raises(UsageError, match="bar"):
        find_sheet(np.zeros((100, 100), np.uint8), None, bar)


def test_the_stated_u_covers_the_error() -> None:
    """Corners with noise, centre, distortion and EXIF off by their priors: 2 u holds 9 in 10."""
    rng = np.random.default_rng(7)
    plan = np.array([m.corners_mm for m in sheet("part").markers])
    hits: list[list[bool]] = []
    for _ in range(60):
        f = 3028.0 * float(np.exp(rng.normal(0, 0.02)))
        centre = rng.normal(0, 24, 2) + ((WIDTH - 1) / 2, (HEIGHT - 1) / 2)
        k1 = rng.normal(0, 0.005) * (f / np.hypot(WIDTH, HEIGHT) * 2) ** 2
        turn, at = rng.normal(0, 0.05, 3), np.array([0, 0, 210]) + rng.normal(0, 5, 3)
        matrix = np.array([[f, 0, centre[0]], [0, f, centre[1]], [0, 0, 1]])
        flat = np.concatenate([plan.reshape(-1, 2), np.zeros((plan.size // 2, 1))], axis=1)
        seen = cv2.projectPoints(flat, turn, at, matrix, np.array([k1, 0, 0, 0.0]))[0]
        corners = seen.reshape(-1, 4, 2) + rng.normal(0, 0.1, (len(plan), 4, 2))
        solution = solve(plan, corners, prior_of(WIDTH, HEIGHT, 3028.0, None))
        u = np.sqrt(np.diag(solution.covariance))
        off = np.abs(solution.p[:7] - [*turn, *at, np.log(f)])
        hits.append(list(off < 2 * u[:7]))
    share = np.mean(hits, axis=0)
    # 95 % expected; 60 draws put 87 % at 2.8 standard deviations.
    assert share.min() >= 0.87
