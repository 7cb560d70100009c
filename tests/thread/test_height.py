"""Height over the plate and turn of hexagons and collars, from outlines projected exactly."""

from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.scale.camera import Camera
from pitchcam.thread.axis import ImageAxis, envelope
from pitchcam.thread.fitting import Section
from pitchcam.thread.height import hexagon_roll, rest_height, turned
from pitchcam.thread.section import axis_frame

CAMERA = Camera(f_px=3005.0, u_f_px=45.0, centre_px=(2015.5, 1511.5), distance_mm=200.0)
FLATS = 22.0
AXIS = ImageAxis(point_px=CAMERA.centre_px, direction=(1.0, 0.0))


def body(corners_of_section, height, length=(-5.0, 5.0)):
    """Return photo points of a prism's two extreme edges along x, axis at a height."""
    z = np.linspace(*length, 240)
    rows = []
    for y, x in corners_of_section:
        points = np.stack([z, np.full_like(z, y), np.full_like(z, 200.0 - height - x)], 1)
        rows.append(CAMERA.project(points))
    rows = np.array(rows)
    return rows[np.argmin(rows[:, 0, 1])], rows[np.argmax(rows[:, 0, 1])]


def hexagon(roll_deg):
    a = np.radians(np.arange(0, 360, 60) + roll_deg)
    return np.stack([np.cos(a), np.sin(a)], 1) * FLATS / np.sqrt(3)


def circle(radius):
    a = np.linspace(0, 2 * np.pi, 7200)
    return np.stack([np.cos(a), np.sin(a)], 1) * radius


def part(wide, height):
    pieces = [*body(wide, height), *body(circle(7.0), height, (5.0, 20.0))]
    outline = np.concatenate(pieces)
    return SimpleNamespace(
        axis=AXIS, outline_px=outline, stations=envelope(AXIS.to_axis(outline)), threads=()
    )


def rolled(shape, height):
    frame = axis_frame(CAMERA, AXIS, 200.0, height)
    section = Section(fit=None, points=None, seen_points=None, per_point=1.0, turn_rad=0.0,
                      offset_mm=0.0, starts=1)  # fmt: skip
    rest = rest_height(shape, CAMERA)
    return rest, hexagon_roll(shape, section, frame, CAMERA, rest)


def test_hexagon_on_a_flat():
    shape = part(hexagon(0.0), FLATS / 2)
    rest, (roll, _) = rolled(shape, FLATS / 2)
    assert rest.hexagon
    assert rest.height_mm == pytest.approx(FLATS / 2, abs=0.03)
    assert rest.width_mm == pytest.approx(FLATS * 2 / np.sqrt(3), abs=0.06)
    assert roll == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("roll_deg", [-20.0, 12.0, 20.0])
def test_turned_hexagon(roll_deg):
    shape = part(hexagon(roll_deg), FLATS / 2)
    rest, (roll, u) = rolled(shape, FLATS / 2)
    assert abs(np.degrees(roll) - abs(roll_deg)) < max(2.0, 2 * np.degrees(u))
    after = turned(rest, roll, u)
    assert after.height_mm == pytest.approx(FLATS / 2, abs=2 * after.u_height_mm)
    assert abs(after.height_mm - FLATS / 2) < abs(rest.height_mm - FLATS / 2)


def test_round_thread_or_cylinder_rests_on_itself():
    radius = 9.0
    outline = np.concatenate(body(circle(radius), radius, (-20.0, 20.0)))
    shape = SimpleNamespace(
        axis=AXIS, outline_px=outline, stations=envelope(AXIS.to_axis(outline)), threads=()
    )
    rest = rest_height(shape, CAMERA)
    assert not rest.hexagon
    assert rest.height_mm == pytest.approx(radius, abs=0.02)
    assert turned(rest, 0.3, 0.1) is rest
