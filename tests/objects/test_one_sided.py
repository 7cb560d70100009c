"""What stands out of a part on one side only is no width of it, and leaves its height in doubt."""

from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.camera.pinhole import Camera
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.one_sided import two_sided
from pitchcam.objects.shapes import stands_out, widest_stretch
from pitchcam.thread.pose.height import rest_as

S = np.arange(0.0, 300.0)
CAMERA = Camera(f_px=1350.0, u_f_px=20.0, centre_px=(900.0, 675.0), distance_mm=215.0)


def part(*, line_px=0.0):
    """Return a plug: hexagon of 73 px to a side, thread of 42, and a line that leaves it below."""
    half = np.where((S > 100) & (S < 160), 73.0, 42.0)
    upper, lower = half.copy(), -half
    if line_px:
        runs = (S > 130) & (S < 240)
        lower[runs] = np.minimum(lower[runs], -(line_px - 0.5 * (S[runs] - 130)))
    axis = ImageAxis(point_px=(800.0, 675.0), direction=(1.0, 0.0))
    return SimpleNamespace(stations=(S, upper, lower), axis=axis)


def test_a_turned_part_is_left_as_it_is():
    stations = part().stations
    assert two_sided(stations) is stations
    assert not stands_out(part())


def test_a_side_that_stands_out_is_as_far_out_as_the_other():
    _, upper, lower = two_sided(part(line_px=230.0).stations)
    assert upper.max() == 73.0
    assert -lower.min() < 1.15 * 73.0 + 3.5


def test_a_hexagon_turned_and_near_keeps_its_corners():
    s, upper, lower = part().stations
    stations = s, 1.05 * upper, lower
    assert two_sided(stations) is stations


def test_a_line_across_the_picture_makes_no_hexagon_and_its_height_is_in_doubt():
    clean, crossed = part(), part(line_px=230.0)
    assert widest_stretch(crossed)[2] == pytest.approx(widest_stretch(clean)[2], rel=0.06)
    rest, level = (rest_as(shape, CAMERA, 0.5, hexagon=True) for shape in (crossed, clean))
    # The axis was 19 mm over the plate where it lies at 9.5: 5 % of every length.
    assert rest.height_mm == pytest.approx(level.height_mm, rel=0.06)
    # What carries it may be half as thick again, or half as thick.
    assert rest.u_height_mm == pytest.approx(rest.height_mm / 4, rel=0.05)
    assert level.u_height_mm < 0.2
