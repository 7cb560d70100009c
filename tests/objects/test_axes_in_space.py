"""Axes and frames: there and back, by hand, and what turning the picture must not change."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitchcam.camera.pinhole import Camera
from pitchcam.errors import OutlineError
from pitchcam.objects.axis import (
    FEWEST_STATIONS,
    HULL_SIDES,
    SAME_WAY,
    ImageAxis,
    envelope,
    find_axis,
    other_directions,
)
from pitchcam.objects.frame import Framed, axis_frame, cross_shift

F, AWAY = 3000.0, 220.0
MIDDLE = (1999.5, 1499.5)
CAMERA = Camera(f_px=F, u_f_px=30.0, centre_px=MIDDLE, distance_mm=AWAY)
TILTED = CAMERA.tilted(np.array([0.06, -0.04, 1.0]), 0.01)
LEVEL = ImageAxis(point_px=MIDDLE, direction=(1.0, 0.0))


def axis(x: float, y: float, deg: float) -> ImageAxis:
    a = math.radians(deg)
    return ImageAxis(point_px=(x, y), direction=(math.cos(a), math.sin(a)))


AXES = {
    "in the middle": LEVEL,
    "turned": axis(1999.5, 1499.5, 33.0),
    "beside": axis(2900.0, 700.0, -50.0),
    "upright": axis(600.0, 2400.0, 90.0),
}
every_axis = pytest.mark.parametrize("where", AXES.values(), ids=AXES)


def box(length: float, width: float, deg: float = 0.0, at=(700.0, 500.0), step=1.0) -> np.ndarray:
    """The outline of a rectangle, a point a pixel."""
    u, v = np.arange(-length / 2, length / 2, step), np.arange(-width / 2, width / 2, step)
    sides = [
        np.column_stack([u, np.full(len(u), -width / 2)]),
        np.column_stack([np.full(len(v), length / 2), v]),
        np.column_stack([-u, np.full(len(u), width / 2)]),
        np.column_stack([np.full(len(v), -length / 2), -v]),
    ]
    a = math.radians(deg)
    return (
        np.concatenate(sides) @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
        + at
    )


def degrees_apart(a, b) -> float:
    """Between two undirected lines."""
    turn = math.degrees(math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1]))
    return (turn + 90) % 180 - 90


@given(
    x=st.floats(-1e4, 1e4), y=st.floats(-1e4, 1e4), deg=st.floats(-180, 180), s=st.floats(-5e3, 5e3)
)
def test_along_and_across_an_axis(x: float, y: float, deg: float, s: float) -> None:
    line = axis(x, y, deg)
    d = np.array(line.direction)
    on = np.array([x, y]) + s * d
    assert line.to_axis(on) == pytest.approx([s, 0.0], abs=1e-6)
    right = np.array([-d[1], d[0]])
    assert line.to_axis(on + 7 * right) == pytest.approx([s, 7.0], abs=1e-6)
    assert line.to_photo(np.array([s, 7.0])) == pytest.approx(on + 7 * right, abs=1e-6)


def test_distances_are_the_same_along_an_axis() -> None:
    points = np.random.default_rng(1).uniform(0, 3000, (30, 2))
    st_ = AXES["beside"].to_axis(points)
    apart = np.linalg.norm(points[:, None] - points, axis=2)
    assert np.linalg.norm(st_[:, None] - st_, axis=2) == pytest.approx(apart, abs=1e-9)
    assert AXES["beside"].to_axis(points.reshape(5, 6, 2)).shape == (5, 6, 2)


def test_the_envelope_fills_what_no_point_tells() -> None:
    st_ = np.array([[0, 4.0], [1, 5], [4, 8], [0, -4], [2, -6], [4, -8]])
    s, upper, lower = envelope(st_)
    assert s.tolist() == [0, 1, 2, 3, 4]
    assert upper.tolist() == [4, 5, 6, 7, 8]
    assert lower.tolist() == [-4, -5, -6, -7, -8]


def test_the_envelope_of_a_mirrored_outline_is_mirrored() -> None:
    st_ = np.random.default_rng(3).uniform(-50, 50, (400, 2))
    _, upper, lower = envelope(st_)
    _, above, below = envelope(st_ * [1, -1])
    assert above == pytest.approx(-lower)
    assert below == pytest.approx(-upper)


def test_an_outline_on_one_side_of_its_axis_is_refused() -> None:
    with pytest.raises(OutlineError, match="lies on one side of its axis"):
        envelope(np.column_stack([np.arange(40.0), np.full(40, 3.0)]))


@pytest.mark.parametrize("deg", [0.0, 12.0, 77.0, 145.0])
@pytest.mark.parametrize("size", [(400.0, 90.0), (260.0, 200.0)])
def test_a_boxs_axis_is_its_longer_middle_line(deg: float, size: tuple[float, float]) -> None:
    found = find_axis(box(*size, deg))
    a = math.radians(deg)
    assert degrees_apart(found.direction, (math.cos(a), math.sin(a))) == pytest.approx(0, abs=0.05)
    assert abs(found.to_axis(np.array([700.0, 500.0]))[1]) < 0.3
    assert np.hypot(*found.direction) == pytest.approx(1.0)


def test_started_across_it_stays_across() -> None:
    found = find_axis(box(300.0, 200.0, 20.0), np.array([-math.sin(0.36), math.cos(0.36)]))
    assert degrees_apart(
        found.direction, (-math.sin(math.radians(20)), math.cos(math.radians(20)))
    ) == pytest.approx(0, abs=0.05)


def test_an_axis_moves_with_its_outline() -> None:
    one, other = (
        find_axis(box(300.0, 80.0, 17.0)),
        find_axis(box(300.0, 80.0, 17.0, at=(900.0, 650.0))),
    )
    assert other.direction == pytest.approx(one.direction, abs=1e-6)
    moved = np.array(other.point_px) - one.point_px - (200.0, 150.0)
    assert moved @ [-one.direction[1], one.direction[0]] == pytest.approx(0.0, abs=0.01)


def test_a_cones_axis_halves_its_angle() -> None:
    s = np.arange(-200.0, 200.5, 0.7)
    half = 60 + 0.1 * s
    cap = np.linspace(-1, 1, 120)[1:-1]
    st_ = np.concatenate(
        [
            np.column_stack([s, half]),
            np.column_stack([np.full(118, 200.0), -cap * half[-1]]),
            np.column_stack([s[::-1], -half[::-1]]),
            np.column_stack([np.full(118, -200.0), cap * half[0]]),
        ]
    )
    line = axis(800.0, 600.0, 28.0)
    found = find_axis(line.to_photo(st_))
    assert degrees_apart(found.direction, line.direction) == pytest.approx(0, abs=0.02)


def test_what_encloses_nothing_has_no_axis() -> None:
    flat = np.column_stack([np.arange(100.0), np.full(100, 7.0)])
    with pytest.raises(OutlineError, match="encloses nothing"):
        find_axis(np.concatenate([flat, flat[::-1]]))


def test_a_speck_has_no_axis() -> None:
    with pytest.raises(OutlineError, match="is only .* pixels long"):
        find_axis(box(6.0, 4.0))
    assert FEWEST_STATIONS > 2, "two tell a line, and nothing of how well"


@pytest.mark.parametrize("deg", [0.0, 25.0, 60.0])
def test_other_directions_are_a_boxs_width_and_no_two_alike(deg: float) -> None:
    outline = box(300.0, 200.0, deg)
    ways = other_directions(outline)
    a = math.radians(deg + 90)
    assert min(abs(degrees_apart(w, (math.cos(a), math.sin(a)))) for w in ways) < 0.5
    long = find_axis(outline).direction
    for i, way in enumerate(ways):
        assert np.hypot(*way) == pytest.approx(1.0)
        for other in [np.array(long), *ways[:i]]:
            assert abs(float(way @ other)) < SAME_WAY + 1e-3
    assert len(ways) <= 1 + 2 * HULL_SIDES


def test_a_triangles_sides_are_directions_that_its_moments_are_not() -> None:
    corners = np.array([[100.0, 100], [500, 130], [260, 380]])
    t = np.linspace(0, 1, 300, endpoint=False)[:, None]
    outline = np.concatenate(
        [a + t * (b - a) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)]
    )
    ways = [*other_directions(outline), np.array(find_axis(outline).direction)]
    for a, b in zip(corners, np.roll(corners, -1, 0), strict=True):
        assert min(abs(degrees_apart(w, b - a)) for w in other_directions(outline)) < 6.1
    assert len(ways) > 3


@every_axis
@pytest.mark.parametrize("camera", [CAMERA, TILTED], ids=["level", "tilted"])
@pytest.mark.parametrize("incline", [0.0, 0.05, -0.2])
def test_a_frame_is_right_handed_and_square(
    where: ImageAxis, camera: Camera, incline: float
) -> None:
    frame = axis_frame(camera, where, 30.0, 8.0, incline)
    basis = frame.basis
    assert basis @ basis.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.cross(frame.across, frame.toward) == pytest.approx(frame.along, abs=1e-12)
    assert frame.origin @ np.array(camera.normal) == pytest.approx(AWAY - 8.0)
    assert frame.pinhole[2] > 0, "x points to the camera"
    assert frame.pinhole[1] == pytest.approx(0.0, abs=1e-9), "and straight at it"
    assert np.linalg.norm(frame.pinhole) == pytest.approx(np.linalg.norm(frame.origin))


@every_axis
@pytest.mark.parametrize("incline", [0.0, 0.1])
def test_whatever_it_rises_an_axis_is_seen_on_its_line(where: ImageAxis, incline: float) -> None:
    frame = axis_frame(TILTED, where, 0.0, 6.0, incline)
    z = np.array([-12.0, -3.0, 0.0, 5.0, 12.0])
    on = np.column_stack([z, np.zeros((5, 2))])
    seen = where.to_axis(frame.to_photo(on))
    assert seen[:, 1] == pytest.approx(np.zeros(5), abs=1e-6)
    assert (np.diff(seen[:, 0]) > 0).all()
    assert seen[2, 0] == pytest.approx(0.0, abs=1e-6)


@every_axis
@pytest.mark.parametrize("incline", [-0.15, 0.0, 0.08])
def test_an_axis_rises_by_its_inclination(where: ImageAxis, incline: float) -> None:
    frame = axis_frame(TILTED, where, 0.0, 6.0, incline)
    up = -np.array(TILTED.normal)
    assert frame.along @ up == pytest.approx(math.sin(incline), abs=1e-9)


def test_a_frame_in_the_middle_by_hand() -> None:
    frame = axis_frame(CAMERA, LEVEL, 0.0, 20.0)
    assert frame.origin == pytest.approx([0, 0, 200.0])
    assert frame.along == pytest.approx([1, 0, 0])
    assert frame.toward == pytest.approx([0, 0, -1])
    # To the right of the axis as seen in the picture is down: across goes the other way.
    assert abs(frame.across @ [0, 1, 0]) == pytest.approx(1.0)
    assert frame.pinhole == pytest.approx([0, 0, 200.0])
    assert frame.mm_per_px == pytest.approx(200.0 / F)
    assert frame.across_mm_per_px == pytest.approx(200.0 / F, rel=1e-6)
    assert Framed(frame=frame).mm_per_px == frame.mm_per_px
    assert Framed(frame=frame).camera is CAMERA


def test_off_the_middle_more_pixels_show_the_same_diameter() -> None:
    """At the angle b the way is d / cos b, and what stands square to it is drawn 1 / cos^2 b."""
    b = math.radians(20)
    where = ImageAxis(point_px=(MIDDLE[0] + F * math.tan(b), MIDDLE[1]), direction=(0.0, 1.0))
    frame = axis_frame(CAMERA, where, 0.0, 20.0)
    assert frame.mm_per_px == pytest.approx(200.0 / math.cos(b) / F)
    assert frame.across_mm_per_px == pytest.approx(200.0 / F * math.cos(b), rel=1e-5)


@every_axis
def test_photo_positions_and_places_on_the_axis_plane_are_one_another(where: ImageAxis) -> None:
    for camera in (CAMERA, replace(TILTED, k1=-0.02)):
        frame = axis_frame(camera, where, 10.0, 7.0, 0.03)
        zy = np.random.default_rng(5).uniform(-9, 9, (20, 2))
        photo = frame.to_photo(np.column_stack([zy, np.zeros(20)]))
        assert frame.from_photo(photo) == pytest.approx(zy, abs=1e-6)
        nearer = frame.to_photo(np.column_stack([zy, np.full(20, 3.0)]))
        assert np.abs(frame.from_photo(nearer)).max() > np.abs(zy).max(), (
            "what is nearer looks larger"
        )


@pytest.mark.parametrize("deg", [0.0, 40.0, 90.0])
def test_in_the_middle_of_a_level_view_both_sides_stand_across(deg: float) -> None:
    assert cross_shift(CAMERA, axis(*MIDDLE, deg), 0.0) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("x", "y"), [(2900.0, 700.0), (900.0, 1900.0)])
def test_a_mirrored_view_shifts_the_other_way(x: float, y: float) -> None:
    one = cross_shift(CAMERA, axis(x, y, 30.0), 0.0)
    mirrored = cross_shift(CAMERA, axis(2 * MIDDLE[0] - x, y, 150.0), 0.0)
    assert abs(one) > 0.01
    assert mirrored == pytest.approx(-one, abs=1e-9)


@pytest.mark.parametrize("deg", [0.0, 90.0])
def test_an_axis_through_the_middle_and_one_square_to_the_way_there_shift_nothing(
    deg: float,
) -> None:
    """The way from the middle lies along the axis, or across it: no depth changes sideways."""
    assert cross_shift(CAMERA, axis(2900.0, MIDDLE[1], deg), 0.0) == pytest.approx(0.0, abs=1e-6)
    assert abs(cross_shift(CAMERA, axis(2900.0, MIDDLE[1], 45.0), 0.0)) > 0.03


def test_shift_does_not_know_how_far_away_the_plate_is() -> None:
    for away in (1.0, 100.0, 350.0):
        assert cross_shift(CAMERA.over_plate(away), AXES["beside"], 20.0) == pytest.approx(
            cross_shift(CAMERA, AXES["beside"], 20.0), rel=1e-9
        )
