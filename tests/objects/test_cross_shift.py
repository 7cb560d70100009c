"""Where the two sides of one station stand in the picture, against a projection of its own."""

import numpy as np
import pytest

from pitchcam.camera.pinhole import Camera
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.frame import cross_shift

F, CENTRE, DEPTH, RADIUS = 3000.0, np.array([2000.0, 1500.0]), 200.0, 10.0


def seen(points):
    return CENTRE + F * points[:, :2] / points[:, 2:]


@pytest.mark.parametrize("middle", [(0.0, 0.0), (-60.0, 55.0), (70.0, 40.0), (50.0, -45.0)])
@pytest.mark.parametrize("turn_deg", [0.0, 35.0, 110.0])
def test_sides_of_one_ring(middle, turn_deg):
    """A ring about an axis parallel to the picture: its outermost points on both sides."""
    way = np.array([np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg)), 0.0])
    at = np.array([*middle, DEPTH])
    axis_px = seen(np.stack([at - way, at + way]))
    d = axis_px[1] - axis_px[0]
    axis = ImageAxis(point_px=tuple(seen(at[None])[0]), direction=tuple(d / np.hypot(*d)))
    turn = np.linspace(0, 2 * np.pi, 20001)
    side = np.cross([0.0, 0.0, 1.0], way)
    ring = at + RADIUS * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * [0, 0, 1])
    st = axis.to_axis(seen(ring))
    top, bottom = st[np.argmax(st[:, 1])], st[np.argmin(st[:, 1])]
    measured = (top[0] - bottom[0]) / (top[1] - bottom[1])
    camera = Camera(f_px=F, u_f_px=30.0, centre_px=(float(CENTRE[0]), float(CENTRE[1])))
    assert cross_shift(camera, axis, 0.0) == pytest.approx(measured, abs=0.004)
