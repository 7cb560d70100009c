"""References by plain geometry: planes through edges, solved poses, faces, layouts, refusals."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from shapely import Polygon

from pitchcam.camera.held import PRIOR_TILT_RAD, by_hand, known
from pitchcam.camera.pinhole import Camera
from pitchcam.camera.profile import CameraProfile
from pitchcam.edges.bend import U_BOW_PX
from pitchcam.edges.straight import TrueEdge
from pitchcam.errors import UnreadableError, UsageError
from pitchcam.objects.contour import Crop
from pitchcam.photo import linear_table
from pitchcam.records import ScaleSpec
from pitchcam.reference_kinds import REFERENCE_KINDS
from pitchcam.scale import card, disc, pin
from pitchcam.scale.faces import openings, straight_faces
from pitchcam.scale.find import DISTANCES_MM, HEIGHTS_MM, _plausible, check_spec
from pitchcam.scale.markers import SMALLEST_SIDE_PX, find_markers, refine
from pitchcam.scale.pin import pin_distance
from pitchcam.scale.pose import (
    U_F_EXIF,
    U_F_GUESS,
    U_GROWTH_MM,
    camera_of,
    prior_of,
    project,
    rotation_of,
    solve,
)
from pitchcam.scale.reference import Among, Reference
from pitchcam.scale.tilt import (
    SQUARENESS_RAD,
    edge_plane,
    told_by_parallels,
    told_by_window,
    window_edges,
    window_tilt,
)
from pitchcam.sheet.layout import BAR_MM, CELLS, PAGES, SIZES, sheet
from tests.objects import drawing

F, AWAY = 3000.0, 240.0
CENTRE = (2015.5, 1511.5)
CAMERA = Camera(f_px=F, u_f_px=45.0, centre_px=CENTRE, distance_mm=AWAY, u_tilt_rad=0.03)


def leaning(x_deg: float, y_deg: float = 0.0) -> Camera:
    return CAMERA.tilted(
        np.array([math.tan(math.radians(x_deg)), math.tan(math.radians(y_deg)), 1.0]), 1e-4
    )


def plate(camera: Camera) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The plate's own x and y in the camera frame, and the point below the pinhole."""
    n = np.array(camera.normal)
    x = np.array([1.0, 0, 0]) - n[0] * n
    x /= np.linalg.norm(x)
    return x, np.cross(n, x), camera.distance_mm * n


def on_plate(camera: Camera, points: np.ndarray, height: float = 0.0) -> np.ndarray:
    """Plate places (n, 2), mm, at a height over it, in the photo."""
    x, y, foot = plate(camera)
    n = np.array(camera.normal)
    return camera.project(foot - height * n + points[:, :1] * x + points[:, 1:] * y)


# Planes through edges, and pins.


def test_an_edges_plane_holds_the_pinhole_and_both_ends() -> None:
    for camera in (CAMERA, replace(leaning(2, 1), k1=-0.02)):
        a, b = np.array([900.0, 700.0]), np.array([3000.0, 900.0])
        n = edge_plane(camera, a, b)
        assert np.linalg.norm(n) == pytest.approx(1.0)
        assert camera.rays(np.stack([a, b])) @ n == pytest.approx([0, 0], abs=1e-12)
        assert edge_plane(camera, b, a) == pytest.approx(-n)


def tangents(camera: Camera, mm: float, at: tuple[float, float], deg: float, long=30.0):
    """A pin's outline by its tangent planes: both edges in the photo, exact."""
    x, y, foot = plate(camera)
    n = np.array(camera.normal)
    a = math.radians(deg)
    along, beside = math.cos(a) * x + math.sin(a) * y, -math.sin(a) * x + math.cos(a) * y
    middle = foot + at[0] * x + at[1] * y - mm / 2 * n
    to = middle - (middle @ along) * along
    away = np.linalg.norm(to)
    to = to / away
    sideways = np.cross(along, to)
    t = math.asin(mm / 2 / away)
    edges = []
    for side in (1.0, -1.0):
        touch = side * math.cos(t) * sideways - math.sin(t) * to
        ends = middle + mm / 2 * touch + np.array([[-long / 2], [long / 2]]) * along
        edges.append(tuple(camera.project(ends)))
    assert abs(beside @ along) < 1e-12
    return edges[0], edges[1]


@pytest.mark.parametrize("mm", [1.5, 6.0, 20.0])
@pytest.mark.parametrize("at", [(0.0, 0.0), (40.0, -25.0)])
@pytest.mark.parametrize("deg", [0.0, 40.0, 100.0])
@pytest.mark.parametrize("tilt", [0.0, 3.0])
def test_a_pin_of_known_size_tells_the_distance_wherever_it_lies(mm, at, deg, tilt) -> None:
    camera = leaning(tilt, -tilt / 2)
    distance, slope = pin_distance(camera, tangents(camera, mm, at, deg), mm)
    assert distance == pytest.approx(AWAY, rel=1e-9)
    assert slope == pytest.approx(0.0, abs=1e-9)


def test_a_pin_stated_larger_puts_the_plate_farther_in_proportion() -> None:
    edges = tangents(CAMERA, 8.0, (10, 5), 20.0)
    for by in (0.9, 1.25):
        assert pin_distance(CAMERA, edges, by * 8.0)[0] == pytest.approx(by * AWAY, rel=1e-9)


def test_a_pins_distance_does_not_know_the_order_of_its_edges() -> None:
    one, other = tangents(leaning(2.0), 8.0, (10, 5), 20.0)
    first = pin_distance(leaning(2.0), (one, other), 8.0)
    assert pin_distance(leaning(2.0), (other, one), 8.0) == pytest.approx(first)
    assert pin_distance(leaning(2.0), (one[::-1], other[::-1]), 8.0) == pytest.approx(first)


@pytest.mark.parametrize("lean", [-3.0, -0.5, 0.0, 2.0])
def test_parallel_edges_tell_the_tilt_along_them(lean: float) -> None:
    true = leaning(lean)
    level = CAMERA.held_as(by_hand())
    told = told_by_parallels(level, tangents(true, 8.0, (0, 0), 0.0, long=60.0), 0.05)
    along = np.array([1.0, 0.0])
    assert told.leans.mean() @ along == pytest.approx(math.sin(math.radians(lean)), abs=0.004)
    assert told.leans.u_along(along) < 0.3 * level.leans.u_along(along)


def test_longer_and_wider_edges_and_sharper_ones_tell_it_better() -> None:
    level = CAMERA.held_as(by_hand())

    def u(mm: float, long: float, u_px: float) -> float:
        told = told_by_parallels(level, tangents(CAMERA, mm, (0, 0), 0.0, long=long), u_px)
        return told.leans.u_along(np.array([1.0, 0.0]))

    plain = u(8.0, 40.0, 0.2)
    assert u(8.0, 60.0, 0.2) < plain and u(12.0, 40.0, 0.2) < plain and u(8.0, 40.0, 0.1) < plain
    assert u(8.0, 40.0, 0.4) > plain


@pytest.mark.parametrize("u_px", [0.1, 0.3])
def test_parallels_tell_a_tilt_by_their_convergence(u_px: float) -> None:
    """An error e of the width w over the length l in space is a tilt of e / w d / l."""
    edges = tangents(CAMERA, 8.0, (0, 0), 0.0, long=50.0)
    open_ = CAMERA.held_as(known(np.array([0.0, 0.0, 1.0]), 10.0))
    told = told_by_parallels(open_, edges, u_px)
    width = float(np.linalg.norm(np.mean(edges[0], axis=0) - np.mean(edges[1], axis=0)))
    on = CAMERA.on_plane(np.stack([(a + b) / 2 for a, b in zip(*edges, strict=True)]))
    expected = u_px / width * AWAY / np.linalg.norm(on[1] - on[0])
    assert told.leans.u_along(np.array([1.0, 0.0])) == pytest.approx(expected, rel=0.01)
    assert told.leans.u_along(np.array([0.0, 1.0])) == pytest.approx(10.0, rel=0.01)


def test_parallels_do_not_know_their_order_or_direction() -> None:
    one, other = tangents(leaning(2.0), 8.0, (10, 5), 20.0, long=50.0)
    level = CAMERA.held_as(by_hand())
    first = told_by_parallels(level, (one, other), 0.1)
    for pair in ((other, one), (one[::-1], other), (one, other[::-1]), (one[::-1], other[::-1])):
        again = told_by_parallels(level, pair, 0.1)
        assert again.leans.mean() == pytest.approx(first.leans.mean(), abs=1e-9)
        assert again.leans.covariance() == pytest.approx(first.leans.covariance(), abs=1e-12)


def pin_seen(mm: float, *, u_px=0.2, stated=None, at=(10.0, -8.0), deg=25.0, lean=1.0):
    """A pin by its true edges, as the finder is given it."""
    camera = leaning(lean)
    edges = tangents(camera, mm, at, deg, long=40.0)
    true = [TrueEdge(start_px=a, end_px=b, u_px=u_px) for a, b in edges]
    middle = np.mean([p for e in edges for p in e], axis=0)
    shape = SimpleNamespace(
        blob=SimpleNamespace(label=7), centre_px=middle, outline_px=np.zeros((4, 2))
    )
    among = Among(shapes=[shape], camera=CAMERA.held_as(by_hand()), pins={7: true})
    (found,) = pin.references(among, ScaleSpec(source="pin", mm=stated or mm))
    return found, edges


@pytest.mark.parametrize("mm", [3.0, 8.0, 16.0])
@pytest.mark.parametrize("deg", [0.0, 25.0, 90.0])
def test_a_pin_is_a_reference_at_its_axiss_height(mm: float, deg: float) -> None:
    found, _ = pin_seen(mm, deg=deg)
    assert found.source == "pin" and found.labels == (7,)
    assert found.height_mm == mm / 2
    assert found.place_mm[2] == pytest.approx((AWAY - mm / 2), rel=0.03)
    assert found.camera.distance_mm == pytest.approx(AWAY, rel=0.005)


@pytest.mark.parametrize("u_px", [0.0, 0.2, 1.0])
def test_a_pins_u_is_its_edges_over_its_width_and_its_own_size(u_px: float) -> None:
    """Both edges alike, 0.08 px between them, and a ground pin's 0.008 mm (a shank 0.02)."""
    found, edges = pin_seen(8.0, u_px=u_px)
    width = float(np.linalg.norm(np.mean(edges[0], axis=0) - np.mean(edges[1], axis=0)))
    by_edges = math.hypot(2 * u_px, 0.08) / width
    assert found.u_scale == pytest.approx(math.hypot(by_edges, 0.008 / 8.0))
    assert found.u_height_mm == 0.02


def test_a_pins_size_is_read_across_it() -> None:
    for deg in (0.0, 60.0):
        found, edges = pin_seen(8.0, deg=deg)
        along = edges[0][1] - edges[0][0]
        assert abs(found.read_px @ along) < 0.03 * np.linalg.norm(found.read_px) * np.linalg.norm(
            along
        )


def test_a_pin_stated_larger_puts_the_camera_farther() -> None:
    one, other = pin_seen(8.0)[0], pin_seen(8.0, stated=8.8)[0]
    assert other.camera.distance_mm / one.camera.distance_mm == pytest.approx(1.1, rel=2e-3)


def test_what_is_no_pin_is_no_reference() -> None:
    shape = SimpleNamespace(blob=SimpleNamespace(label=3))
    among = Among(shapes=[shape], camera=CAMERA, pins={})
    assert pin.references(among, ScaleSpec(source="pin", mm=8.0)) == []


# The lit window.


def field(camera: Camera, corners: np.ndarray, keep=(0, 1, 2, 3)) -> SimpleNamespace:
    """A window on the plate: its sides sampled, those not kept unseen."""
    t = np.linspace(0.05, 0.95, 80)[:, None]
    sides = []
    for i in range(4):
        a, b = corners[i], corners[(i + 1) % 4]
        sides.append(on_plate(camera, a + t * (b - a)) if i in keep else None)
    return SimpleNamespace(
        sides=tuple(sides), full_frame=False, window_px=on_plate(camera, corners)
    )


BOX = np.array([[-45.0, -32], [45, -32], [45, 32], [-45, 32]])


@pytest.mark.parametrize("lean", [(0.0, 0.0), (3.0, 0.0), (0.0, -4.0), (6.0, 5.0), (-12.0, 3.0)])
@pytest.mark.parametrize("turn", [0.0, 0.3])
def test_a_rectangle_tells_the_plates_normal_exactly(lean, turn) -> None:
    camera = leaning(*lean)
    c, s = math.cos(turn), math.sin(turn)
    found = window_tilt(field(camera, BOX @ np.array([[c, s], [-s, c]])), CAMERA)
    assert found is not None
    normal, u = found
    assert normal == pytest.approx(camera.normal, abs=1e-9)
    assert 0 < u <= PRIOR_TILT_RAD


def test_a_lens_that_bends_is_undone_before() -> None:
    camera = replace(leaning(3.0, 1.0), k1=-0.03)
    bent = window_tilt(field(camera, BOX), replace(CAMERA, k1=-0.03))
    assert bent is not None
    assert bent[0] == pytest.approx(camera.normal, abs=1e-5)
    straight = window_tilt(field(camera, BOX), CAMERA)
    assert straight is None or np.linalg.norm(straight[0] - camera.normal) > 1e-5


def test_a_smaller_window_tells_it_in_proportion_less() -> None:
    """Its corners are square to a quarter of a degree, over fewer pixels."""
    large, small = (window_tilt(field(CAMERA, by * BOX), CAMERA) for by in (1.0, 0.7))
    assert large is not None and small is not None
    assert small[1] / large[1] == pytest.approx(1 / 0.7, rel=1e-3)
    size = math.sqrt(Polygon(on_plate(CAMERA, BOX)).area)
    assert large[1] == pytest.approx(SQUARENESS_RAD * F / size / math.sqrt(2), rel=1e-3)


def test_a_parallelogram_or_an_unseen_side_tells_no_normal() -> None:
    skew = BOX + np.array([[0.0, 0], [0, 0], [6, 0], [6, 0]])
    assert window_tilt(field(CAMERA, skew), CAMERA) is None
    for missing in range(4):
        seen = [i for i in range(4) if i != missing]
        assert window_tilt(field(CAMERA, BOX, seen), CAMERA) is None


@pytest.mark.parametrize("lean", [-6.0, -1.0, 3.0])
def test_two_opposite_sides_tell_the_tilt_along_them_alone(lean: float) -> None:
    """Sides 0 and 2 run along x."""
    told = told_by_window(field(leaning(lean, 2.0), BOX, (0, 2)), CAMERA)
    x, y = np.eye(2)
    # Alone they are parallel to half a degree only, and a phone is mostly held square.
    share = float(told.leans.mean() @ x) / math.sin(math.radians(lean))
    assert 0.2 < share < 1
    assert abs(told.leans.mean() @ x - math.sin(math.radians(lean))) < 2 * told.leans.u_along(x)
    assert told.leans.u_along(x) < 0.8 * told.leans.u_along(y)
    assert told.leans.mean() @ y == pytest.approx(0.0, abs=0.001)


def test_light_that_fills_the_frame_tells_nothing_and_has_no_edges() -> None:
    full = SimpleNamespace(sides=(None,) * 4, full_frame=True, window_px=BOX)
    told = told_by_window(full, leaning(8.0))
    assert told.tilt_deg == pytest.approx(0.0)
    assert told.leans.covariance() == pytest.approx(by_hand().covariance())
    assert window_edges(full) == []


def test_a_windows_sides_are_edges_that_may_bend() -> None:
    edges = window_edges(field(CAMERA, BOX, (0, 1, 3)))
    assert len(edges) == 3
    for edge in edges:
        assert edge.places_px.shape == (16, 2)
        assert edge.u_bow_px > 3 * U_BOW_PX, "it is cut by hand, a card is not"


# The marker sheet.


@pytest.mark.parametrize("name", SIZES)
def test_a_sheet_is_a_ring_of_markers_around_its_window(name: str) -> None:
    plan = sheet(name)
    squares = [Polygon(m.corners_mm) for m in plan.markers]
    window = Polygon(plan.window_corners_mm)
    assert len(squares) == 2 * (plan.across + plan.down) - 4
    assert [m.id for m in plan.markers] == list(range(plan.first_id, plan.first_id + len(squares)))
    for i, square in enumerate(squares):
        assert square.area == pytest.approx(plan.side_mm**2)
        assert not square.intersects(window)
        assert square.distance(window) >= plan.gap_mm - 1e-9
        gaps = [square.distance(other) for other in squares[:i]]
        assert all(g > plan.side_mm / CELLS for g in gaps), "a marker's border is white"
    w, h = plan.outer_mm
    assert np.ptp(np.concatenate([m.corners_mm for m in plan.markers]), axis=0) == pytest.approx(
        [w, h]
    )
    for page_w, page_h in PAGES.values():
        assert (w < page_w and h < page_h) or (h < page_w and w < page_h), "it fits on the paper"


def test_sheets_are_told_apart_by_their_numbers() -> None:
    numbers = [{m.id for m in s.markers} for s in SIZES.values()]
    assert not set.intersection(*numbers)
    with pytest.raises(KeyError):
        sheet("poster")
    assert BAR_MM == 100.0


def test_a_marker_reads_clockwise_from_its_upper_left() -> None:
    first = sheet("part").markers[0]
    a, b, c, d = first.corners_mm
    assert b - a == pytest.approx([first.side_mm, 0]) and c - b == pytest.approx([0, first.side_mm])
    assert (a + c) / 2 == pytest.approx([first.x_mm, first.y_mm])
    assert d == pytest.approx([a[0], c[1]])


PLAN = np.stack([m.corners_mm for m in sheet("part").markers])


def truth(turn=(0.05, -0.03, 0.2), move=(3.0, -5.0, 210.0), f=F, k1=0.0, growth=0.0) -> np.ndarray:
    prior = prior_of(4032, 3024, F, None)
    return np.array([*turn, *move, math.log(f), *CENTRE, k1, growth]), prior


@pytest.mark.parametrize("turn", [(0, 0, 0), (0.05, -0.03, 0.2), (-0.2, 0.1, 1.4)])
def test_a_plan_is_projected_as_opencv_does(turn) -> None:
    p, prior = truth(turn)
    flat = np.column_stack([PLAN.reshape(-1, 2), np.zeros(PLAN.size // 2)])
    k = np.array([[F, 0, CENTRE[0]], [0, F, CENTRE[1]], [0, 0, 1.0]])
    theirs = cv2.projectPoints(flat, np.array(turn, float), p[3:6], k, None)[0][:, 0]
    assert project(p, PLAN, prior).reshape(-1, 2) == pytest.approx(theirs, abs=1e-6)
    assert rotation_of(p) == pytest.approx(cv2.Rodrigues(np.array(turn, float))[0])


def test_growth_moves_every_corner_outward_from_its_markers_middle() -> None:
    p, prior = truth((0, 0, 0), (0, 0, 200.0))
    plain, grown = project(p, PLAN, prior), project(p + np.eye(11)[10] * 0.1, PLAN, prior)
    middle = plain.mean(axis=1, keepdims=True)
    out = np.linalg.norm(grown - middle, axis=2) - np.linalg.norm(plain - middle, axis=2)
    assert out == pytest.approx(np.full(out.shape, 0.1 * math.sqrt(2) * F / 200), rel=1e-6)


@pytest.mark.parametrize("k1", [-0.006, 0.004])
def test_distortion_is_stated_at_the_corner_of_the_frame(k1: float) -> None:
    p, prior = truth(k1=k1)
    camera = camera_of(p, prior)
    far = np.hypot(4032, 3024) / 2
    ray = np.array([far / F, 0.0, 1.0])
    assert (camera.project(ray)[0] - CENTRE[0]) / far - 1 == pytest.approx(k1, rel=1e-9)


@pytest.mark.parametrize("turn", [(0.02, 0.03, 0.1), (0.4, 0.1, 0), (-0.1, 0.35, 2.0)])
def test_a_pose_comes_back_from_its_corners(turn) -> None:
    p, prior = truth(turn)
    found = solve(PLAN, project(p, PLAN, prior), prior)
    assert found.p[:6] == pytest.approx(p[:6], abs=1e-4)
    assert found.rms_px < 1e-4
    assert math.exp(found.p[6]) == pytest.approx(F, rel=1e-5)
    assert np.linalg.eigvalsh(found.covariance).min() > 0


def test_a_tilted_sheet_tells_the_focal_length_and_a_level_one_does_not() -> None:
    us = {}
    for name, turn in {"level": (0, 0, 0), "tilted": (0.5, 0.2, 0)}.items():
        p, _ = truth(turn, f=1.1 * F)
        wide = prior_of(4032, 3024, None, None)
        found = solve(PLAN, project(p, PLAN, wide), wide)
        us[name] = math.sqrt(found.covariance[6, 6])
        if name == "tilted":
            assert math.exp(found.p[6]) == pytest.approx(1.1 * F, rel=0.02)
    assert us["tilted"] < 0.1 * us["level"]


def test_what_was_known_is_weighed_in_where_the_corners_do_not_tell() -> None:
    """A level sheet: focal length and distance are one number, and the tag decides."""
    p, _ = truth((0, 0, 0), f=1.05 * F)
    told = prior_of(4032, 3024, F, None)
    found = solve(PLAN, project(p, PLAN, told), told)
    assert math.exp(found.p[6]) == pytest.approx(F, rel=0.01)
    assert found.p[5] / math.exp(found.p[6]) == pytest.approx(210 / (1.05 * F), rel=1e-4)
    assert math.sqrt(found.covariance[6, 6]) == pytest.approx(U_F_EXIF, rel=0.1)
    tilted, _ = truth((0.5, 0.2, 0), f=1.05 * F)
    seen = solve(PLAN, project(tilted, PLAN, told), told)
    assert math.exp(seen.p[6]) == pytest.approx(1.05 * F, rel=0.01), "here they tell it better"


def test_errors_of_a_pose_are_those_of_its_covariance() -> None:
    """Corners that scatter by 0.3 px, a camera drawn from what is known: rms(error/u) is one."""
    p, told = truth((0.3, -0.2, 0.1))
    rng = np.random.default_rng(5)
    off = []
    for _ in range(30):
        p[6:] = told.mean + told.u * rng.normal(size=5)
        corners = project(p, PLAN, told)
        found = solve(PLAN, corners + rng.normal(0, 0.3, corners.shape), told)
        off.append((found.p[:6] - p[:6]) / np.sqrt(np.diag(found.covariance)[:6]))
        assert found.rms_px == pytest.approx(0.3, rel=0.2)
    assert 0.6 < np.sqrt(np.mean(np.square(off))) < 1.25


def test_what_is_known_of_a_camera_beforehand() -> None:
    exif, guess = prior_of(4032, 3024, F, None), prior_of(4032, 3024, None, None)
    assert math.exp(exif.mean[0]) == pytest.approx(F)
    assert exif.mean[1:3] == pytest.approx(CENTRE)
    assert (exif.u[0], guess.u[0]) == (U_F_EXIF, U_F_GUESS)
    assert math.exp(guess.mean[0]) == pytest.approx(27 / math.hypot(36, 24) * 5040, rel=1e-3)
    assert exif.u[4] == U_GROWTH_MM
    cropped = prior_of(4032, 3024, F, None, u_centre_px=300.0)
    assert cropped.u[1] == pytest.approx(math.hypot(exif.u[1], 300.0))


def test_a_profile_knows_the_camera() -> None:
    profile = CameraProfile(
        name="x",
        width_px=4032,
        height_px=3024,
        f_px=3100,
        u_f_px=9,
        centre_px=(2020, 1500),
        u_centre_px=(8, 7),
        k1=0.012,
        k2=-0.004,
        residual_px=0.1,
        views=6,
    )
    prior = prior_of(2016, 1512, None, profile)
    half = profile.for_size(2016, 1512)
    assert math.exp(prior.mean[0]) == pytest.approx(1550)
    assert prior.mean[1:3] == pytest.approx(half.centre_px)
    assert prior.u[0] == pytest.approx(9 / 3100)
    assert prior.k2 == -0.004
    p = np.concatenate([np.zeros(6), prior.mean])
    assert camera_of(p, prior).k1 == pytest.approx(0.012)


def drawn_sheet(scale: float = 6.0) -> tuple[np.ndarray, np.ndarray]:
    """The part sheet square on, so many pixels a millimetre, and its corners there."""
    plan = sheet("part")
    w, h = (math.ceil(v * scale) + 120 for v in plan.outer_mm)
    gray = np.full((h, w), 230, np.uint8)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners = []
    for m in plan.markers:
        side = round(m.side_mm * scale)
        x0, y0 = round(m.x_mm * scale + w / 2 - side / 2), round(m.y_mm * scale + h / 2 - side / 2)
        gray[y0 : y0 + side, x0 : x0 + side] = np.maximum(
            cv2.aruco.generateImageMarker(family, m.id, side), 20
        ) * (230 / 255)
        at = np.array([[0, 0], [side, 0], [side, side], [0, side]]) - 0.5
        corners.append(at + (x0, y0))
    # A lens blurs light, not codes.
    light = cv2.GaussianBlur(linear_table(np.uint8)[gray], (0, 0), 0.8)
    return np.round(255 * drawing.encode(light)).astype(np.uint8), np.array(corners)


@pytest.fixture(scope="module")
def drawn() -> tuple[np.ndarray, np.ndarray]:
    return drawn_sheet()


def test_every_marker_is_found_to_a_twentieth_of_a_pixel(drawn) -> None:
    gray, corners = drawn
    found = find_markers(gray)
    order = np.argsort(found.ids)
    assert found.ids[order].tolist() == [m.id for m in sheet("part").markers]
    off = np.linalg.norm(found.corners_px[order] - corners, axis=2)
    assert off.max() < 0.1
    assert np.median(off) < 0.05


@pytest.mark.parametrize("off", [(2.0, -1.5), (-3.0, 3.0)])
def test_a_corner_is_refined_from_half_a_cell_away(drawn, off) -> None:
    gray, corners = drawn
    found = refine(gray, corners[3] + off)
    assert found is not None
    assert np.abs(found - corners[3]).max() < 0.1


def test_a_marker_too_small_or_cut_or_pale_is_none(drawn) -> None:
    gray, corners = drawn
    middle = corners[3].mean(axis=0)
    small = middle + (corners[3] - middle) * 0.9 * SMALLEST_SIDE_PX / 84
    assert refine(gray, small) is None
    assert refine(gray[:, : int(middle[0])], corners[3]) is None
    assert refine(np.full_like(gray, 200), corners[3]) is None


def test_a_blank_picture_has_no_markers() -> None:
    found = find_markers(np.full((400, 600), 200, np.uint8))
    assert found.ids.shape == (0,) and found.corners_px.shape == (0, 4, 2)


# Faces that look at each other.


def block(x: float, y: float, w: float, h: float, deg: float = 0.0) -> SimpleNamespace:
    """A flat object: its outline, and light that is dark inside."""
    a = math.radians(deg)
    t = np.linspace(0, 1, 200, endpoint=False)[:, None]
    corners = np.array([[-w / 2, -h / 2], [w / 2, -h / 2], [w / 2, h / 2], [-w / 2, h / 2]])
    corners = corners @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]) + (x, y)
    ring = np.concatenate(
        [p + t * (q - p) for p, q in zip(corners, np.roll(corners, -1, 0), strict=True)]
    )
    light = (1 - 0.95 * drawing.cover((900, 700), corners, 1.0)).astype(np.float32)

    crop = Crop(
        light=light,
        origin_px=(0, 0),
        mask=(light < 0.5).astype(np.uint8),
        channel="mean",
        background_code=1.0,
    )
    return SimpleNamespace(outline_px=ring, crop=crop)


def test_a_blocks_faces_look_outward() -> None:
    one = block(450, 350, 300, 160, 12.0)
    faces = straight_faces(one)
    assert len(faces) == 4
    middle = one.outline_px.mean(axis=0)
    for face in faces:
        assert (face.middle_px - middle) @ face.outward > 0
        assert face.along @ face.outward == pytest.approx(0.0, abs=1e-9)
    assert sorted(round(f.length_px) for f in faces) == pytest.approx([160, 160, 300, 300], abs=4)


@pytest.mark.parametrize("gap", [40.0, 150.0])
@pytest.mark.parametrize("deg", [0.0, 7.0])
def test_two_blocks_open_by_their_gap(gap: float, deg: float) -> None:
    a = math.radians(deg)
    way = np.array([math.cos(a), math.sin(a)])
    left, right = (np.array([450, 350]) + s * (gap / 2 + 60) * way for s in (-1, 1))
    found = openings([block(*left, 120, 260, deg), block(*right, 120, 260, deg)])
    assert found
    # The level 0.86 of the light lies a blur outside of each edge.
    assert found[0].gap_px == pytest.approx(gap - 2 * 1.05, abs=0.3)
    # Corners and a beam that may join them are left out.
    assert found[0].length_px == pytest.approx(0.8 * 260, rel=0.05)
    assert found[0].first.outward @ found[0].second.outward == pytest.approx(-1.0, abs=1e-3)


@pytest.mark.parametrize(
    ("at", "deg"),
    [((620.0, 350.0), 20.0), ((620.0, 640.0), 0.0)],
    ids=["not parallel", "not opposite"],
)
def test_faces_that_do_not_look_at_each_other_open_nothing(at, deg: float) -> None:
    assert openings([block(300, 250, 120, 260), block(*at, 120, 200, deg)]) == []


def test_a_block_by_itself_opens_nothing() -> None:
    assert openings([block(450, 350, 300, 160)]) == []


# Which reference it is.


def reference(
    distance: float = AWAY, u: float = 0.001, height: float = 4.0, label: int = 1
) -> Reference:
    return Reference(
        source="pin",
        camera=CAMERA.over_plate(distance),
        u_scale=u,
        height_mm=height,
        u_height_mm=0.02,
        where_px=np.array([1000.0, 800.0]),
        labels=(label,),
        outline_px=np.zeros((4, 2)),
    )


PIN = REFERENCE_KINDS["pin"]


def test_of_several_that_agree_the_surest_counts() -> None:
    best = _plausible(
        [reference(240.0, 0.004), reference(240.5, 0.001), reference(241.0, 0.002)], PIN
    )
    assert best.camera.distance_mm == 240.5


def test_two_that_contradict_each_other_are_refused_with_how_far() -> None:
    with pytest.raises(
        UnreadableError, match="Two objects could be the pin and give scales 10 % apart"
    ) as caught:
        _plausible([reference(240.0), reference(264.0)], PIN)
    assert caught.value.code == "references-disagree"
    assert _plausible([reference(240.0, 0.03), reference(264.0, 0.03)], PIN), (
        "within what they know"
    )


@pytest.mark.parametrize(
    "bad", [{"distance": 49.0}, {"distance": 1201.0}, {"height": -6.5}, {"height": 46.0}]
)
def test_what_puts_the_camera_nowhere_is_no_reference(bad: dict[str, float]) -> None:
    with pytest.raises(
        UnreadableError, match="No object in the picture has the shape of the pin"
    ) as caught:
        _plausible([reference(**bad)], PIN)
    assert caught.value.code == "no-reference"
    assert _plausible([reference(**bad), reference()], PIN).camera.distance_mm == AWAY
    assert DISTANCES_MM == (50.0, 1200.0) and HEIGHTS_MM == (-6.0, 45.0)


def test_who_stated_a_card_is_not_told_to_lay_one() -> None:
    for name, told in (("pin", True), ("card", False)):
        with pytest.raises(UnreadableError) as caught:
            _plausible([], REFERENCE_KINDS[name])
        assert ("--card" in str(caught.value)) is told


@pytest.mark.parametrize(
    ("source", "mm", "line"),
    [
        ("pin", None, "The size of pin is missing. State it in mm."),
        ("disc", float("nan"), "The size of disc is missing. State it in mm."),
        ("pin", 0.4, "A pin of 0.4 mm cannot be right (0.5 to 60 mm). State its size in mm;"),
        ("pin", 61.0, "A pin of 61 mm cannot be right (0.5 to 60 mm)."),
        ("disc", 4.9, "A disc of 4.9 mm cannot be right (5 to 120 mm)."),
        ("jaws", 151.0, "A jaws of 151 mm cannot be right (1 to 150 mm)."),
        ("major", 0.7, "A major of 0.7 mm cannot be right (0.8 to 150 mm)."),
    ],
)
def test_a_size_that_none_has_is_refused(source: str, mm: float | None, line: str) -> None:
    with pytest.raises(UsageError) as caught:
        check_spec(ScaleSpec(source=source, mm=mm))
    assert str(caught.value).startswith(line)


@pytest.mark.parametrize(
    ("source", "mm"),
    [("pin", 0.5), ("pin", 60.0), ("disc", 5.0), ("jaws", 150.0), ("card", None), ("none", None)],
)
def test_sizes_at_the_limits_pass(source: str, mm: float | None) -> None:
    check_spec(ScaleSpec(source=source, mm=mm))


def test_the_cards_size_is_the_standards_with_its_tolerance() -> None:
    """ISO/IEC 7810:2019, ID-1: 85.47 to 85.72 by 53.92 to 54.03 by 0.76 mm (from memory)."""
    assert pytest.approx((85.47 + 85.72) / 2, abs=0.01) == card.WIDTH_MM
    assert pytest.approx((85.72 - 85.47) / math.sqrt(12)) == card.U_WIDTH_MM
    assert pytest.approx((53.92 + 54.03) / 2, abs=0.01) == card.HEIGHT_MM
    assert pytest.approx((54.03 - 53.92) / math.sqrt(12)) == card.U_HEIGHT_MM
    assert card.THICKNESS_MM == 0.76


def test_a_usual_coins_thickness_lies_within_what_is_assumed() -> None:
    """1.6 to 2.4 mm (common practice, no source)."""
    for thick in (1.6, 1.85, 2.2):
        assert abs(thick - disc.THICKNESS_MM) < 2 * disc.U_THICKNESS_MM
    assert pin.U_CONVERGE_PX > 0.1
