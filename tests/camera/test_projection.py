"""What a pinhole camera promises: figures projected by hand, and what no projection may change."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitchcam.camera.held import Held
from pitchcam.camera.pinhole import DIAGONAL_35MM, U_CORNER, Camera, camera_from_exif

F, CX, CY, AWAY = 3000.0, 2015.5, 1511.5, 240.0
PLAIN = Camera(f_px=F, u_f_px=60.0, centre_px=(CX, CY), distance_mm=AWAY)
BARREL = replace(PLAIN, k1=-0.03, k2=0.008)
LEANING = PLAIN.tilted(np.array([0.05, -0.03, 1.0]), 0.01)
CAMERAS = {"plain": PLAIN, "barrel": BARREL, "leaning": LEANING}
every_camera = pytest.mark.parametrize("camera", CAMERAS.values(), ids=CAMERAS)


def at(x: float, y: float, z: float) -> tuple[float, float]:
    """One point through the plain camera, written out."""
    return CX + F * x / z, CY + F * y / z


def one(camera: Camera, x: float, y: float, z: float) -> tuple[float, float]:
    u, v = camera.project(np.array([x, y, z]))
    return float(u), float(v)


def cross_ratio(p: np.ndarray) -> float:
    """Of four points on a line, by their distances from the first."""
    t = np.linalg.norm(p - p[0], axis=1)
    return float((t[2] - t[0]) * (t[3] - t[1]) / ((t[2] - t[1]) * (t[3] - t[0])))


@pytest.mark.parametrize(
    ("point", "pixel"),
    [
        ((0.0, 0.0, 200.0), (CX, CY)),
        ((20.0, 0.0, 200.0), (CX + 300.0, CY)),
        ((0.0, 20.0, 200.0), (CX, CY + 300.0)),
        ((-20.0, -10.0, 100.0), (CX - 600.0, CY - 300.0)),
        ((1.0, 1.0, 3000.0), (CX + 1.0, CY + 1.0)),
    ],
    ids=["on the axis", "to the right", "downward", "near", "a millimetre a pixel"],
)
def test_a_point_lies_where_similar_triangles_put_it(point, pixel) -> None:
    assert one(PLAIN, *point) == pytest.approx(pixel, abs=1e-9)


def test_a_circle_square_to_the_axis_is_a_circle() -> None:
    a = np.linspace(0, 2 * math.pi, 90, endpoint=False)
    rim = np.column_stack([5 + 12 * np.cos(a), -4 + 12 * np.sin(a), np.full(90, 220.0)])
    seen = PLAIN.project(rim)
    middle = at(5, -4, 220)
    assert np.hypot(*(seen - middle).T) == pytest.approx(np.full(90, 12 * F / 220), rel=1e-12)


def test_a_tilted_circle_is_the_ellipse_that_opencv_fits() -> None:
    """About the x axis by 10 degrees: its wide axis shrinks by the cosine, and by the distance."""
    a, turn = np.linspace(0, 2 * math.pi, 360, endpoint=False), math.radians(10)
    y = 10 * np.sin(a)
    rim = np.column_stack([10 * np.cos(a), y * math.cos(turn), 240 + y * math.sin(turn)])
    seen = PLAIN.project(rim)
    assert seen[:, 0].max() - seen[:, 0].min() == pytest.approx(2 * 10 * F / 240, rel=2e-4)
    top, bottom = one(PLAIN, *rim[270])[1], one(PLAIN, *rim[90])[1]
    by_hand = (
        F
        * 10
        * math.cos(turn)
        * (1 / (240 + 10 * math.sin(turn)) + 1 / (240 - 10 * math.sin(turn)))
    )
    assert bottom - top == pytest.approx(by_hand, rel=1e-12)
    (_, sides, _) = cv2.fitEllipse(seen.astype(np.float32))
    assert min(sides) == pytest.approx(by_hand, rel=1e-4)
    assert max(sides) == pytest.approx(2 * 10 * F / 240, rel=1e-3)


def test_a_straight_line_stays_straight_without_distortion() -> None:
    t = np.linspace(-1, 1, 41)[:, None]
    seen = PLAIN.project(np.array([3.0, -5, 220]) + t * np.array([40.0, 25, 60]))
    middle = seen - seen.mean(axis=0)
    assert np.linalg.svd(middle, compute_uv=False)[1] < 1e-9
    bent = BARREL.project(np.array([3.0, -5, 220]) + t * np.array([40.0, 25, 60]))
    assert np.linalg.svd(bent - bent.mean(axis=0), compute_uv=False)[1] > 0.1


def test_four_points_on_a_line_keep_their_cross_ratio() -> None:
    t = np.array([0.0, 0.2, 0.55, 1.0])[:, None]
    there = np.array([-30.0, 4, 180]) + t * np.array([70.0, 10, 90])
    for camera in (PLAIN, LEANING):
        assert cross_ratio(camera.project(there)) == pytest.approx(cross_ratio(there), rel=1e-10)


def test_parallel_lines_meet_at_the_vanishing_point_of_their_direction() -> None:
    d = np.array([0.3, -0.2, 1.0])
    for start in ([0.0, 0, 100], [40.0, -30, 150], [-25.0, 60, 90]):
        seen = PLAIN.project(np.array(start) + 1e9 * d)
        assert seen == pytest.approx(np.array([CX + 0.3 * F, CY - 0.2 * F]), abs=1e-3)


def test_a_cylinders_outline_opens_by_the_sine_of_its_radius_over_its_distance() -> None:
    """Its tangent rays: sin of the half angle is r over the distance of its axis."""
    r, z = 4.0, 200.0
    t = np.arcsin(r / z)
    touching = np.array([r * math.cos(t), 0.0, z - r * math.sin(t)])
    half = one(PLAIN, *touching)[0] - CX
    assert half == pytest.approx(F * math.tan(t), rel=1e-12)
    assert half > F * r / z, "wider than the section through the axis"
    assert half / (F * r / z) == pytest.approx(1 + (r / z) ** 2 / 2, rel=1e-6)


def test_a_cones_edges_meet_at_the_projected_apex() -> None:
    apex = np.array([30.0, 12.0, 230.0])
    edges = [
        apex + np.linspace(-60, -10, 9)[:, None] * np.array(d) for d in ((1, 0.1, 0), (1, -0.1, 0))
    ]
    fits = [np.polyfit(*PLAIN.project(e).T, 1) for e in edges]
    x = (fits[1][1] - fits[0][1]) / (fits[0][0] - fits[1][0])
    assert (x, np.polyval(fits[0], x)) == pytest.approx(one(PLAIN, *apex), rel=1e-9)
    tapers = [math.degrees(math.atan(f[0])) for f in fits]
    assert tapers[0] - tapers[1] == pytest.approx(2 * math.degrees(math.atan(0.1)), rel=1e-12)


def test_a_helix_is_a_sine_seen_across_its_axis_from_far_away() -> None:
    """r sin t at z = P t / 2 pi; near, the half towards the camera is magnified."""
    r, pitch, z = 5.0, 1.5, 220.0
    t = np.linspace(0, 6 * math.pi, 301)
    helix = np.column_stack([pitch * t / (2 * math.pi), r * np.sin(t), z - r * np.cos(t)])
    far = replace(PLAIN, f_px=F * 1e6).project(helix + [0, 0, z * (1e6 - 1)])
    mm = F / z
    assert (far[:, 0] - CX) / mm == pytest.approx(helix[:, 0], abs=1e-4)
    assert (far[:, 1] - CY) / mm == pytest.approx(r * np.sin(t), abs=1e-4)
    near = PLAIN.project(helix)
    by_hand = np.array([at(*p) for p in helix])
    assert near == pytest.approx(by_hand, abs=1e-9)
    front, back = near[0, 0] - CX, near[100, 0] - CX
    assert front == pytest.approx(0.0, abs=1e-9)
    assert back == pytest.approx(F * pitch / z * (1 + r * math.cos(2 * math.pi) / z), rel=1e-3)


@every_camera
def test_a_pictures_rays_lead_back_to_its_points(camera: Camera) -> None:
    rng = np.random.default_rng(3)
    there = rng.uniform([-60, -45, 180], [60, 45, 260], (50, 3))
    seen = camera.project(there)
    rays = camera.rays(seen)
    assert rays[:, 2] == pytest.approx(np.ones(50))
    assert rays * there[:, 2:] == pytest.approx(there, abs=1e-6)
    assert camera.straight(seen) == pytest.approx(rays[:, :2], abs=1e-12)
    assert camera.project(rays) == pytest.approx(seen, abs=1e-6)


@every_camera
@pytest.mark.parametrize("height", [0.0, 4.0, -2.5])
def test_a_point_alone_lies_where_it_lies_among_many(camera: Camera, height: float) -> None:
    pixels = np.array([[100.0, 200.0], [CX, CY], [3900.0, 2900.0], [1000.5, 2500.25]])
    many = camera.on_plane(pixels, height)
    for (x, y), expected in zip(pixels, many, strict=True):
        assert camera.point_on_plane(x, y, height) == pytest.approx(
            tuple(expected), rel=1e-9, abs=1e-9
        )
    assert many @ np.array(camera.normal) == pytest.approx(np.full(4, AWAY - height), rel=1e-12)
    assert camera.project(many) == pytest.approx(pixels, abs=1e-6)


def test_mm_per_pixel_falls_with_the_height_as_the_distance_does() -> None:
    a, b = np.array([[CX, CY], [CX + 1000, CY]])
    for height in (0.0, 5.0, 24.0):
        p, q = PLAIN.on_plane(np.array([a, b]), height)
        assert np.linalg.norm(q - p) / 1000 == pytest.approx((AWAY - height) / F, rel=1e-12)


def test_a_mirrored_scene_is_a_mirrored_picture() -> None:
    there = np.random.default_rng(8).uniform([-60, -45, 180], [60, 45, 260], (20, 3))
    for camera in (PLAIN, BARREL):
        seen = camera.project(there) - camera.centre_px
        mirrored = camera.project(there * [-1, 1, 1]) - camera.centre_px
        assert mirrored == pytest.approx(seen * [-1, 1], abs=1e-9)


def test_a_scene_scaled_with_its_distance_looks_the_same() -> None:
    there = np.random.default_rng(9).uniform([-60, -45, 180], [60, 45, 260], (20, 3))
    for by in (0.5, 3.0):
        assert BARREL.project(there * by) == pytest.approx(BARREL.project(there), abs=1e-9)


def test_a_turned_picture_of_a_turned_scene() -> None:
    """About the optical axis: distortion is the same all round."""
    there = np.random.default_rng(10).uniform([-60, -45, 180], [60, 45, 260], (20, 3))
    turn = cv2.Rodrigues(np.array([0, 0, 0.7]))[0]
    seen = BARREL.project(there) - BARREL.centre_px
    turned = BARREL.project(there @ turn.T) - BARREL.centre_px
    assert turned == pytest.approx(seen @ turn[:2, :2].T, abs=1e-9)


@given(
    k1=st.floats(-0.08, 0.08),
    k2=st.floats(-0.02, 0.02),
    x=st.floats(-0.55, 0.55),
    y=st.floats(-0.45, 0.45),
)
def test_distortion_is_undone_to_a_thousandth_of_a_pixel(k1, k2, x, y) -> None:
    camera = replace(PLAIN, k1=k1, k2=k2)
    seen = camera.project(np.array([x, y, 1.0]))
    assert camera.straight(seen) * F == pytest.approx(np.array([x, y]) * F, abs=1e-3)


def test_a_wide_lens_is_undone_to_the_last_digit() -> None:
    """Of a fifth at a focal length from the middle, which a second term takes back by half."""
    camera = replace(PLAIN, k1=-0.2, k2=0.1)
    places = np.array([[0.9, 0.4, 1.0], [-0.5, 0.7, 1.0], [0.1, -0.2, 1.0]])
    assert camera.straight(camera.project(places)) == pytest.approx(places[:, :2], abs=1e-12)


def test_barrel_draws_in_and_pincushion_out_and_the_middle_stays() -> None:
    corner = np.array([CX / F, CY / F, 1.0])
    plain, barrel = PLAIN.project(corner), replace(PLAIN, k1=-0.02).project(corner)
    pin = replace(PLAIN, k1=0.02).project(corner)
    reach = [float(np.hypot(*(p - (CX, CY)))) for p in (barrel, plain, pin)]
    assert reach[0] < reach[1] < reach[2]
    r2 = (CX**2 + CY**2) / F**2
    assert reach[2] / reach[1] - 1 == pytest.approx(0.02 * r2, rel=1e-9)
    assert 1 - reach[0] / reach[1] == pytest.approx(0.02 * r2, rel=1e-9)
    assert one(replace(PLAIN, k1=0.02, k2=0.1), 0, 0, 1) == (CX, CY)


def test_the_second_term_goes_with_the_fourth_power() -> None:
    for r in (0.1, 0.2, 0.4):
        seen = one(replace(PLAIN, k2=0.05), r, 0, 1)
        assert (seen[0] - CX) / F / r - 1 == pytest.approx(0.05 * r**4, rel=1e-9)
        first = one(replace(PLAIN, k1=0.05), r, 0, 1)
        assert (first[0] - CX) / F / r - 1 == pytest.approx(0.05 * r**2, rel=1e-9)


@pytest.mark.parametrize("corner", [-0.006, 0.0, 0.004])
def test_distortion_set_by_the_corner_moves_it_by_that_share(corner: float) -> None:
    camera = PLAIN.bent(corner, 0.001)
    assert camera.corner == pytest.approx(corner, abs=1e-15)
    assert camera.u_corner == 0.001
    there = np.array([CX / F, CY / F, 1.0])
    moved = np.hypot(*(camera.project(there) - (CX, CY))) / np.hypot(CX, CY) - 1
    assert moved == pytest.approx(corner, abs=1e-12)
    assert (camera.k2, camera.f_px, camera.normal) == (0.0, F, PLAIN.normal)


def test_what_is_not_known_of_a_lens_is_half_a_percent_at_the_corner() -> None:
    """0.1 to 0.5 % (common practice, no source), of which the upper end is taken."""
    assert PLAIN.u_corner == U_CORNER == 0.005
    assert camera_from_exif(4000, 3000, 26.0).u_corner == 0.005


def test_relative_u_of_the_focal_length() -> None:
    assert PLAIN.u_lens == pytest.approx(0.02)
    assert replace(PLAIN, u_f_px=150.0).u_lens == pytest.approx(0.05)


@pytest.mark.parametrize("deg", [0.0, 0.5, 3.0, 25.0])
@pytest.mark.parametrize("way", [0.0, 1.1, 4.0])
def test_tilt_is_the_angle_between_axis_and_normal(deg: float, way: float) -> None:
    s, c = math.sin(math.radians(deg)), math.cos(math.radians(deg))
    for length in (1.0, 7.0, -2.0):
        n = length * np.array([s * math.cos(way), s * math.sin(way), c])
        camera = PLAIN.tilted(n, 0.02)
        assert camera.tilt_deg == pytest.approx(deg, abs=1e-5)
        assert camera.u_tilt_rad == 0.02
        assert np.linalg.norm(camera.normal) == pytest.approx(1.0, abs=1e-12)
        assert camera.normal[2] > 0


def test_on_a_tilted_plate_the_near_side_is_larger() -> None:
    """The plane n . X = d: along x its distance is d / (nx q + nz)."""
    left, middle, right = (
        LEANING.point_on_plane(x, CY, 0.0)[2] for x in (CX - 1000, CX, CX + 1000)
    )
    nx, _, nz = LEANING.normal
    assert middle == pytest.approx(AWAY / nz)
    assert left == pytest.approx(AWAY / (nz - nx / 3))
    assert right == pytest.approx(AWAY / (nz + nx / 3))
    assert left > middle > right


def test_a_moved_principal_point_moves_the_picture_and_not_the_plate() -> None:
    moved = LEANING.recentred(np.array([12.0, -7.0]))
    assert moved.centre_px == (CX + 12, CY - 7)
    assert moved.normal == LEANING.normal
    there = np.array([[3.0, 4, 200], [-30.0, 20, 250]])
    assert moved.project(there) - LEANING.project(there) == pytest.approx(
        np.array([[12.0, -7]] * 2)
    )


def test_over_plate_sets_the_distance_alone() -> None:
    nearer = LEANING.over_plate(150)
    assert nearer.distance_mm == 150.0
    assert replace(nearer, distance_mm=AWAY) == LEANING
    assert math.isnan(Camera(f_px=F, u_f_px=1, centre_px=(0, 0)).distance_mm), "not known before"


@pytest.mark.parametrize("longer", [0.8, 1.0, 1.3])
@pytest.mark.parametrize("plane", [0.0, 6.0])
def test_another_focal_length_sees_the_plane_at_the_same_scale(longer: float, plane: float) -> None:
    other = PLAIN.refocused(longer, plane)
    ends = np.array([[300.0, 400.0], [3500.0, 2600.0]])
    before, after = (np.diff(c.on_plane(ends, plane), axis=0)[0] for c in (PLAIN, other))
    assert after[:2] == pytest.approx(before[:2], rel=1e-12)
    assert other.f_px == pytest.approx(F * longer)
    assert other.u_lens == pytest.approx(PLAIN.u_lens)
    assert other.distance_mm - plane == pytest.approx((AWAY - plane) * longer)
    # What stands higher is seen less enlarged through the longer lens, held farther away.
    above = [
        c.on_plane(ends, plane + 8)[1, 0] / c.on_plane(ends, plane)[1, 0] for c in (PLAIN, other)
    ]
    assert np.sign(above[1] - above[0]) == (0 if longer == 1 else np.sign(longer - 1))


def test_refocusing_keeps_what_is_a_share_of_the_picture() -> None:
    other = replace(BARREL, held=None).refocused(1.2, 0.0)
    pixels = np.array([[0.0, 0.0], [4031.0, 3023.0], [100.0, 2000.0]])
    shown = BARREL.straight(pixels) * BARREL.f_px
    assert other.straight(pixels) * other.f_px == pytest.approx(shown, abs=1e-6)
    assert other.corner == pytest.approx(BARREL.corner)


def test_refocusing_keeps_the_lines_that_told_the_tilt() -> None:
    """The vanishing line of the plate stays where it is in pixels: its tangent goes with f."""
    camera = LEANING.refocused(1.25, 0.0)
    before, after = (np.tan(np.radians(c.tilt_deg)) for c in (LEANING, camera))
    assert after == pytest.approx(1.25 * before, rel=1e-9)
    assert camera.u_tilt_rad == pytest.approx(1.25 * LEANING.u_tilt_rad)
    ratio = np.array(camera.normal[:2]) / np.array(LEANING.normal[:2])
    assert ratio[0] == pytest.approx(ratio[1])


def test_what_is_known_of_the_tilt_goes_with_the_camera() -> None:
    held = Held(
        shares=np.array([0.6, 0.4]),
        means=np.array([[0.02, 0.0], [0.04, 0.01]]),
        covariances=np.array([np.diag([1e-4, 4e-4]), np.diag([9e-4, 1e-4])]),
    )
    camera = PLAIN.held_as(held)
    assert camera.held is held
    assert camera.leans is held
    x, y = 0.6 * 0.02 + 0.4 * 0.04, 0.4 * 0.01
    assert camera.normal == pytest.approx((x, y, math.sqrt(1 - x * x - y * y)))
    spread = np.trace(held.covariance())
    assert camera.u_tilt_rad == pytest.approx(math.sqrt(spread / 2))
    assert camera.tilted(np.array([0, 0, 1.0]), 0.01).held is None, "a new normal is known anew"
    longer = camera.refocused(1.5, 0.0)
    assert longer.held is not None
    assert longer.held.means == pytest.approx(1.5 * held.means)


def test_a_camera_without_it_leans_as_its_normal_and_u_say() -> None:
    leans = LEANING.leans
    assert leans.mean() == pytest.approx(LEANING.normal[:2])
    assert leans.covariance() == pytest.approx(0.01**2 * np.eye(2))


def test_thirty_six_by_twenty_four() -> None:
    assert pytest.approx(math.hypot(36, 24), rel=1e-6) == DIAGONAL_35MM


@pytest.mark.parametrize("f35", [14.0, 26.0, 52.0, 77.0])
@pytest.mark.parametrize("size", [(4000, 3000), (3000, 4000), (4032, 2268)])
def test_the_equivalent_focal_length_keeps_the_angle_over_the_diagonal(f35, size) -> None:
    camera = camera_from_exif(*size, f35)
    angle = 2 * math.atan(math.hypot(*size) / 2 / camera.f_px)
    assert angle == pytest.approx(2 * math.atan(math.hypot(36, 24) / 2 / f35), rel=1e-6)
    assert camera.u_lens == pytest.approx(0.03)
    assert camera.centre_px == ((size[0] - 1) / 2, (size[1] - 1) / 2)


@pytest.mark.parametrize("guess", [24.0, 26.0, 28.0])
def test_without_a_tag_the_guess_counts_with_twelve_percent(guess: float) -> None:
    for nothing in (None, 0.0):
        camera = camera_from_exif(4000, 3000, nothing, zoom_guess_mm=guess)
        assert camera.f_px == pytest.approx(guess / math.hypot(36, 24) * 5000, rel=1e-6)
        assert camera.u_lens == pytest.approx(0.12)
