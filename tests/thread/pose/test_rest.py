"""How a part lies, from its shadow projected vertex by vertex."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.camera.pinhole import Camera
from pitchcam.objects.axis import ImageAxis, envelope, find_axis
from pitchcam.objects.end_face import Face, end_face
from pitchcam.objects.frame import axis_frame
from pitchcam.thread.pose.height import rest_height
from pitchcam.thread.pose.hull import SeenPart, falls, part_radii
from pitchcam.thread.pose.records import GRID
from pitchcam.thread.pose.rest import posterior, sight
from tests.thread.pose.drawn_part import Lying, bolt, comes_to_rest, sender, stud


def camera_of(part, u_tilt_deg=0.05):
    return Camera(
        f_px=part.f_px,
        u_f_px=0.015 * part.f_px,
        centre_px=part.centre_px,
        distance_mm=part.distance_mm,
        u_tilt_rad=float(np.radians(u_tilt_deg)),
    )


def seen_part(shape):
    return SeenPart(stations=envelope(shape.axis.to_axis(shape.outline_px)), axis=shape.axis)


def shape_of(part):
    outline = part.outline()
    axis = find_axis(outline)
    # Growing s is growing z of the part, so that signs can be compared.
    d = np.array([np.cos(np.radians(part.heading_deg)), np.sin(np.radians(part.heading_deg))])
    if d @ np.array(axis.direction) < 0:
        axis = ImageAxis(point_px=axis.point_px, direction=(-axis.direction[0], -axis.direction[1]))
    stations = envelope(axis.to_axis(outline))
    return SimpleNamespace(
        outline_px=outline,
        axis=axis,
        threads=(),
        stations=stations,
        # A shadow mirrors nothing.
        crop=SimpleNamespace(sample=lambda xy: np.full(xy.shape[:-1], 0.01)),
        width_px=float(np.percentile(stations[1] - stations[2], 99)),
    )


def laid(part, *, u_tilt_deg=0.05, thread=None, z=9.0):
    """Return the pose by outline and hull, and the radii, at a place along the part."""
    shape, camera = shape_of(part), camera_of(part, u_tilt_deg)
    level = rest_height(shape, camera)
    faces = [f for e in (-1.0, 1.0) if (f := end_face(shape.outline_px, shape.axis, e))]
    s = float(shape.axis.to_axis(part.photo(np.array([z, 0.0, 0.0])))[0])
    height, slope = level.height_mm, 0.0
    for _ in range(3):
        frame = axis_frame(camera, shape.axis, s, height, slope)
        radii = part_radii(seen_part(shape), frame, level)
        seen = sight(faces, thread, shape.axis, camera, height)
        pose = posterior(radii, seen, camera, level.u_height_mm)
        height, slope = pose.height_mm, pose.slope_rad
    return pose, radii


@pytest.mark.parametrize("end", [-1.0, 1.0])
@pytest.mark.parametrize("incline", [-14.0, -9.0, -4.0, 4.0, 9.0, 14.0])
def test_an_end_face_bulges_by_the_sine_of_its_angle_to_the_line_of_sight(incline, end):
    part = Lying(stud(), incline, heading_deg=25.0, at_mm=(6.0, -9.0))
    shape = shape_of(part)
    face = end_face(shape.outline_px, shape.axis, end)
    # The end's middle and the axis in space, by hand.
    a, b = np.radians([incline, 25.0])
    axis = np.array([np.cos(a) * np.cos(b), np.cos(a) * np.sin(b), -np.sin(a)])
    middle = np.array([6.0, -9.0, part.distance_mm - part.axis_height(16.0)]) + end * 16.0 * axis
    angle = abs(axis @ middle) / np.linalg.norm(middle)
    assert face.bulge == pytest.approx(angle, abs=max(2.5 * face.u_bulge, 0.008))
    assert face.u_bulge < 0.02
    assert face.radius_px == pytest.approx(5.2 / 190 * part.f_px, rel=0.06)


@pytest.mark.parametrize("incline", [0.0, 8.0])
@pytest.mark.parametrize("at_mm", [(60.0, 0.0), (60.0, 40.0), (-75.0, 20.0), (10.0, 80.0)])
def test_toward_the_border_a_face_tells_its_slope_by_perspective(at_mm, incline):
    """By the sine of its angle to the line of sight it would be 1.7 degrees off."""
    part = Lying(stud(), incline, heading_deg=25.0, at_mm=at_mm)
    shape, camera = shape_of(part), camera_of(part)
    faces = [f for e in (-1.0, 1.0) if (f := end_face(shape.outline_px, shape.axis, e))]
    assert faces
    for face in faces:
        seen = sight([face], None, shape.axis, camera, part.axis_height(16.0))
        likely = np.exp(seen.log[2])
        likely[np.abs(GRID - incline) > 4.0] = 0.0  # it may as well look the other way
        assert GRID[np.argmax(likely)] == pytest.approx(incline, abs=0.45)


@pytest.mark.parametrize("incline", [-20.0, 10.0, 20.0])
def test_beside_the_optical_axis_what_rises_leans_aside_to_keep_its_line(incline):
    """Left out, that is 1.5 to 3 degrees."""
    part = Lying(stud(), incline, at_mm=(0.0, 80.0))
    shape, camera = shape_of(part), camera_of(part)
    for end in (-1.0, 1.0):
        face = end_face(shape.outline_px, shape.axis, end)
        height = part.axis_height(16.0 + 16.0 * end)
        likely = np.exp(sight([face], None, shape.axis, camera, height).log[2])
        likely[np.abs(GRID - incline) > 4.0] = 0.0  # it may as well look the other way
        assert GRID[np.argmax(likely)] == pytest.approx(incline, abs=0.45)


def test_one_face_in_seven_is_told_by_less_than_most():
    """A face 3.5 u off is no proof against all else: a normal distribution would make it 6.1."""
    shape = shape_of(Lying(stud(), 0.0))
    face = Face(end=1.0, s_px=480.0, radius_px=160.0, bulge=0.2, u_bulge=0.01)
    log = sight([face], None, shape.axis, camera_of(Lying(stud(), 0.0)), 6.0).log[2]
    top = int(np.argmax(np.where(GRID > 0, log, -np.inf)))
    off = top - round(np.degrees(3.5 * 0.01) / 0.1)
    assert 2.0 < log[top] - log[off] < 4.5


def test_a_face_tells_no_slope_where_the_optical_axis_is_not_known():
    """A crop moves the middle: what a face shows of the slope is then as open as that is."""
    part = Lying(stud(), 6.0, heading_deg=25.0)
    shape = shape_of(part)
    faces = [f for e in (-1.0, 1.0) if (f := end_face(shape.outline_px, shape.axis, e))]
    camera = camera_of(part)
    u = np.radians(3.0)
    told = []
    for known in (0.0, u * camera.f_px):
        log = sight(faces, None, shape.axis, replace(camera, u_centre_px=known), 6.0).log[2]
        likely = np.exp(log - log.max())
        mean = float(likely @ GRID / likely.sum())
        told.append((mean, float(np.sqrt(likely @ (GRID - mean) ** 2 / likely.sum()))))
    (mean, own), (off, wide) = told
    assert mean == pytest.approx(6.0, abs=0.7)
    assert off == pytest.approx(mean, abs=0.3)
    assert wide == pytest.approx(np.hypot(own, 3.0), rel=0.15)


def test_a_dome_is_no_face():
    z = 6.0 - 6.0 * np.cos(np.linspace(0, np.pi / 2, 40))
    dome = [(a, np.full(720, max(np.sqrt(36 - (6 - a) ** 2), 1e-3))) for a in z]
    part = Lying([*dome, *[(30.0, np.full(720, 6.0))]], 0.0)
    shape = shape_of(part)
    assert end_face(shape.outline_px, shape.axis, -1.0) is None


@pytest.mark.parametrize("incline", [-13.0, -7.0, -3.0, 3.0, 7.0, 13.0])
@pytest.mark.parametrize("rings", [bolt(), stud()], ids=["bolt", "stud"])
def test_a_held_part_shows_its_inclination_with_its_sign(rings, incline):
    part = Lying(rings, incline, heading_deg=-35.0, at_mm=(5.0, 8.0))
    pose, _ = laid(part)
    u = np.degrees(pose.u_incline_rad)
    assert np.degrees(pose.incline_rad) == pytest.approx(incline, abs=max(2.0 * u, 0.4))
    assert u < max(1.5, 0.3 * abs(incline))
    reach = np.hypot(pose.u_height_mm, pose.height_per_rad * pose.u_slope_rad)
    assert pose.height_mm == pytest.approx(part.axis_height(9.0), abs=2 * reach)


@pytest.mark.parametrize("rings", [bolt(), sender()], ids=["bolt", "sender"])
@pytest.mark.parametrize("heading", [10.0, 130.0, 250.0])
def test_a_part_falls_as_its_centre_of_mass_sinks(rings, heading):
    truth = comes_to_rest(rings)
    assert abs(truth) > 3
    part = Lying(rings, truth, heading_deg=heading, at_mm=(-6.0, 4.0))
    pose, radii = laid(part)
    ways = falls(radii)
    best = min(ways, key=lambda w: abs(np.degrees(w.incline_rad) - truth))
    assert np.degrees(best.incline_rad) == pytest.approx(truth, abs=0.4)
    assert np.degrees(pose.incline_rad) == pytest.approx(truth, abs=0.6)
    assert np.degrees(pose.u_incline_rad) < 0.7
    assert pose.height_mm == pytest.approx(part.axis_height(9.0), abs=0.12)


@pytest.mark.parametrize("rings", [bolt(), sender()], ids=["bolt", "sender"])
def test_a_part_laid_level_stays_level_where_it_would_fall(rings):
    """A support under its light end: the picture decides against the hull."""
    part = Lying(rings, 0.0, heading_deg=60.0, at_mm=(4.0, -3.0))
    pose, radii = laid(part)
    assert max(abs(np.degrees(w.incline_rad)) for w in falls(radii)) > 3
    assert np.degrees(pose.incline_rad) == pytest.approx(0.0, abs=0.35)
    assert np.degrees(pose.u_incline_rad) < 0.7
    assert pose.height_mm == pytest.approx(part.axis_height(9.0), abs=0.1)


def test_a_collar_carries_the_part_where_it_is_wider_than_the_flats():
    part = Lying(sender(), 0.0)
    _, radii = laid(part)
    assert radii.axis_height_mm(0.0) == pytest.approx(9.6, abs=0.06)


def test_tilt_of_the_camera_is_told_from_inclination_by_the_hull():
    """A stud lies level; what the ends show then is the camera's tilt."""
    part = Lying(stud(), 0.0, at_mm=(6.0, 0.0))
    shape = shape_of(part)
    tilted = camera_of(part, 2.0).tilted(np.array([np.tan(np.radians(2.5)), 0.0, 1.0]), 0.035)
    frame = axis_frame(tilted, shape.axis, 0.0, 6.0)
    faces = [f for e in (-1.0, 1.0) if (f := end_face(shape.outline_px, shape.axis, e))]
    radii = part_radii(seen_part(shape), frame, rest_height(shape, tilted))
    pose = posterior(radii, sight(faces, None, shape.axis, tilted, 6.0), tilted, 0.1)
    # The plate was said to rise by 2.5 degrees to the right, and does not.
    along = np.sign(shape.axis.direction[0])
    assert np.degrees(pose.slope_rad) == pytest.approx(-2.5 * along, abs=0.6)
    assert abs(pose.incline_rad) < 0.5 * abs(pose.slope_rad)


def test_the_thread_decides_where_no_end_is_seen():
    part = Lying(bolt(), comes_to_rest(bolt()))
    shape, camera = shape_of(part), camera_of(part)
    level = rest_height(shape, camera)
    frame = axis_frame(camera, shape.axis, 0.0, level.height_mm)
    radii = part_radii(seen_part(shape), frame, level)
    for told in (0.0, comes_to_rest(bolt())):
        log = -0.5 * ((GRID - told) / 1.0) ** 2
        thread = SimpleNamespace(at=lambda longer, log=log: log)
        pose = posterior(radii, sight([], thread, shape.axis, camera, 9.0), camera, 0.1)
        assert np.degrees(pose.incline_rad) == pytest.approx(told, abs=0.8)


def test_a_higher_part_lifts_the_axis():
    part = Lying(stud(), 0.0)
    _, radii = laid(part)
    thicker = replace(radii, rests_mm=radii.rests_mm + 0.5)
    assert thicker.axis_height_mm(0.0) - radii.axis_height_mm(0.0) == pytest.approx(0.5)


@pytest.mark.parametrize("longer", [0.65, 0.8, 1.25, 1.6])
@pytest.mark.parametrize("rings", [bolt(), stud()], ids=["bolt", "stud"])
def test_end_faces_tell_the_focal_length(rings, longer):
    """Two faces lie so far apart in angle as they do over the camera's distance."""
    part = Lying(rings, 0.0, heading_deg=25.0, at_mm=(14.0, -9.0))
    shape = shape_of(part)
    camera = camera_of(part).refocused(longer, 0.0)
    camera = replace(camera, u_f_px=0.33 * camera.f_px)
    level = rest_height(shape, camera)
    faces = [f for e in (-1.0, 1.0) if (f := end_face(shape.outline_px, shape.axis, e))]
    assert len(faces) == 2
    frame = axis_frame(camera, shape.axis, 0.0, level.height_mm)
    radii = part_radii(seen_part(shape), frame, level)
    pose = posterior(radii, sight(faces, None, shape.axis, camera, level.height_mm), camera, 0.1)
    assert pose.u_lens < 0.2
    assert pose.lens == pytest.approx(-np.log(longer), abs=2 * pose.u_lens)


@pytest.mark.parametrize("longer", [0.5, 0.7, 1.8])
def test_a_focal_length_that_was_told_is_not_counted_twice(longer):
    """Seen from the camera that faces told, they tell the same again, and no better."""
    part = Lying(stud(), 0.0, heading_deg=25.0, at_mm=(14.0, -9.0))
    shape = shape_of(part)
    guess = camera_of(part).refocused(longer, 0.0)
    guess = replace(guess, u_f_px=0.33 * guess.f_px)
    faces = [f for e in (-1.0, 1.0) if (f := end_face(shape.outline_px, shape.axis, e))]

    def pose(camera):
        frame = axis_frame(camera, shape.axis, 0.0, 6.0)
        radii = part_radii(seen_part(shape), frame, rest_height(shape, camera))
        return posterior(radii, sight(faces, None, shape.axis, camera, 6.0), camera, 0.1)

    first = pose(guess)
    told = replace(guess, f_guess_px=guess.f_px).refocused(np.exp(first.lens), 0.0)
    second = pose(replace(told, u_f_px=first.u_lens * told.f_px))
    # A prior about what was told, instead of about the guess, draws 0.2 to 0.35 u farther.
    assert abs(second.lens) < 0.02 * first.u_lens
    assert second.u_lens == pytest.approx(first.u_lens, rel=0.02)
