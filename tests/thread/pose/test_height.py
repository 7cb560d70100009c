"""Height over the plate and turn of hexagons and collars, from outlines projected exactly."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.special import ndtr

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.section import USUAL, Section
from pitchcam.objects.axis import ImageAxis, envelope
from pitchcam.objects.frame import axis_frame
from pitchcam.thread.pose.height import (
    Roll,
    hexagon_roll,
    outer_corners,
    rest_as,
    rest_height,
    turned,
)

CAMERA = Camera(f_px=3005.0, u_f_px=45.0, centre_px=(2015.5, 1511.5), distance_mm=200.0)
FLATS = 22.0
AXIS = ImageAxis(point_px=CAMERA.centre_px, direction=(1.0, 0.0))


def body(corners_of_section, height, length=(-5.0, 5.0), off_mm=0.0):
    """Return photo points of a prism's two extreme edges along x, axis at a height and off y."""
    z = np.linspace(*length, 240)
    rows = []
    for y, x in corners_of_section:
        points = np.stack([z, np.full_like(z, y + off_mm), np.full_like(z, 200.0 - height - x)], 1)
        rows.append(CAMERA.project(points))
    rows = np.array(rows)
    return rows[np.argmin(rows[:, 0, 1])], rows[np.argmax(rows[:, 0, 1])]


def hexagon(roll_deg):
    a = np.radians(np.arange(0, 360, 60) + roll_deg)
    return np.stack([np.cos(a), np.sin(a)], 1) * FLATS / np.sqrt(3)


def circle(radius):
    a = np.linspace(0, 2 * np.pi, 7200)
    return np.stack([np.cos(a), np.sin(a)], 1) * radius


class Seen:
    """Light across a body whose edges lie at two heights in the picture, blurred by a pixel.

    A band of the lower one's width beside it may be a face that mirrors a share of the light.
    """

    def __init__(self, edges, *, shine=0.0, face_px=25.0):
        self.low, self.high = sorted(edges)
        self.shine, self.face = shine, face_px

    def grid(self, first, steps, shape):
        rows, columns = (
            np.arange(n)[..., None] * step for n, step in zip(shape, steps, strict=True)
        )
        return self.sample(first + rows[:, None] + columns)

    def sample(self, xy):
        y = xy[..., 1]
        inside = ndtr(y - self.low) * ndtr(self.high - y)
        face = ndtr(y - self.low) - ndtr(y - self.low - self.face)
        return 1 - inside + self.shine * face


def axis(off_mm, height):
    on = CAMERA.project(np.array([0.0, off_mm, 200.0 - height]))
    return ImageAxis(point_px=(float(on[0]), float(on[1])), direction=(1.0, 0.0))


def part(wide, height, off_mm=0.0, **light):
    edges = body(wide, height, off_mm=off_mm)
    pieces = [*edges, *body(circle(7.0), height, (5.0, 20.0), off_mm)]
    outline = np.concatenate(pieces)
    line = axis(off_mm, height)
    return SimpleNamespace(
        axis=line,
        outline_px=outline,
        stations=envelope(line.to_axis(outline)),
        threads=(),
        crop=Seen([float(e[0, 1]) for e in edges], **light),
    )


def rolled(shape, height):
    frame = axis_frame(CAMERA, shape.axis, 200.0, height)
    section = Section(
        fit=None, points=None, seen_points=None, turn_rad=0.0, offset_mm=0.0, winding=USUAL
    )
    rest = rest_height(shape, CAMERA)
    return rest, hexagon_roll(outer_corners(shape, rest), section, frame)


def test_hexagon_on_a_flat():
    shape = part(hexagon(0.0), FLATS / 2)
    rest, roll = rolled(shape, FLATS / 2)
    assert rest.hexagon
    assert rest.height_mm == pytest.approx(FLATS / 2, abs=0.03)
    assert rest.width_mm == pytest.approx(FLATS * 2 / np.sqrt(3), abs=0.06)
    assert roll.turn_rad == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("roll_deg", [-20.0, 12.0, 20.0])
def test_turned_hexagon(roll_deg):
    shape = part(hexagon(roll_deg), FLATS / 2)
    rest, roll = rolled(shape, FLATS / 2)
    off = abs(np.degrees(roll.turn_rad) - abs(roll_deg))
    assert off < max(2.0, 2 * np.degrees(roll.u_turn_rad))
    after = turned(rest, roll)
    assert after.height_mm == pytest.approx(FLATS / 2, abs=2 * after.u_height_mm)
    assert abs(after.height_mm - FLATS / 2) < abs(rest.height_mm - FLATS / 2)


@pytest.mark.parametrize("off_mm", [-35.0, 20.0, 35.0])
@pytest.mark.parametrize("roll_deg", [0.0, -14.0, 14.0])
def test_off_the_cameras_foot_the_line_of_sight_is_no_turn(off_mm, roll_deg):
    shape = part(hexagon(roll_deg), FLATS / 2, off_mm)
    rest, roll = rolled(shape, FLATS / 2)
    # The line of sight alone would make it 6 to 14 degrees.
    expected = pytest.approx(abs(roll_deg), abs=max(0.7, np.degrees(roll.u_turn_rad)))
    assert np.degrees(roll.turn_rad) == expected
    after = turned(rest, roll)
    assert after.height_mm == pytest.approx(FLATS / 2, abs=max(0.04, 0.7 * after.u_height_mm))


def test_a_corner_beside_a_bright_face_is_seen_where_it_is():
    """Turned by 22 degrees the farther corner's face mirrors: a level lies a pixel farther in."""
    bright = part(hexagon(-22.0), FLATS / 2, shine=0.75)
    upper = bright.outline_px[:, 1] < CAMERA.centre_px[1]
    bright.outline_px[upper & (bright.outline_px[:, 1] < 1400), 1] += 1.0
    dark = rolled(part(hexagon(-22.0), FLATS / 2), FLATS / 2)[1]
    found = rolled(bright, FLATS / 2)[1]
    assert np.degrees(found.turn_rad) == pytest.approx(np.degrees(dark.turn_rad), abs=0.7)


def test_round_thread_or_cylinder_rests_on_itself():
    radius = 9.0
    outline = np.concatenate(body(circle(radius), radius, (-20.0, 20.0)))
    shape = SimpleNamespace(
        axis=AXIS, outline_px=outline, stations=envelope(AXIS.to_axis(outline)), threads=()
    )
    rest = rest_height(shape, CAMERA)
    assert not rest.hexagon
    assert rest.height_mm == pytest.approx(radius, abs=0.02)
    assert turned(rest, Roll(turn_rad=0.3, u_turn_rad=0.1, shown=0.9)) is rest


@pytest.mark.parametrize("round_", [True, False])
def test_a_height_is_as_open_as_its_outline_in_pixels(round_: bool) -> None:
    """By parts: 0.7 px, what lies under it, 0.5 % of scale, a hexagon's broken corners."""
    shape = part(circle(8.0) if round_ else hexagon(0.0), 8.0 if round_ else FLATS / 2)
    rest = rest_as(shape, CAMERA, 0.0, hexagon=not round_)
    pixel = (CAMERA.distance_mm - rest.height_mm) / CAMERA.f_px
    corners = 0.0 if round_ else 0.008 * rest.height_mm
    parts = (0.7 * pixel, 0.03, 0.005 * rest.height_mm, corners)
    assert rest.u_height_mm == pytest.approx(np.linalg.norm(parts), rel=0.01)
