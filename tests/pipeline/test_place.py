"""What the place of a thread in its picture adds to its budget, from what was seen of it."""

from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.pipeline import place
from pitchcam.pipeline.place import geometry
from tests.thread.drawn_shape import drawn_shape

SHAPE = drawn_shape()


def rest(u_across_rad=None):
    """Return what a thread lies on; its slope goes with the lens."""
    pose = SimpleNamespace(
        slope_rad=0.01,
        own_u_slope_rad=0.02,
        height_per_rad=5.0,
        slope_per_lens=0.3,
        u_across_rad=u_across_rad,
    )
    return SimpleNamespace(height_mm=9.0, u_height_mm=0.2, pose=pose)


@pytest.fixture
def scene(monkeypatch):
    """A picture whose reference's scale goes with the focal length by 0.04."""
    monkeypatch.setattr(place, "recentred", lambda *_: ())
    monkeypatch.setattr(place, "scale_per_lens", lambda _: 0.04)
    reference = SimpleNamespace(
        where_px=np.array([100.0, 100.0]),
        read_px=None,
        pivot_mm=np.array([0.0, 30.0, 200.0]),
        lean_per_corner=(0.0, 0.0),
        height_mm=4.0,
        u_height_mm=0.02,
        u_scale=0.001,
    )
    return SimpleNamespace(reference=reference, own=None, rows_shown=True)


def test_a_tilt_that_the_pose_leaves_open_is_the_one_across(scene):
    """Where the pose says nothing of it, it is that of the camera."""
    assert geometry(scene, None, SHAPE, rest(0.05)).u_tilt_rad == pytest.approx(0.05)
    assert geometry(scene, None, SHAPE, rest()).u_tilt_rad == pytest.approx(SHAPE.camera.u_tilt_rad)


def test_what_goes_with_the_lens_is_told_of_scale_and_slope(scene):
    """Beside a reference both; a scale by crests goes with nothing, the slope still does."""
    lies = geometry(scene, None, SHAPE, rest())
    assert (lies.scale_per_lens, lies.slope_per_lens) == (0.04, 0.3)
    own = geometry(SimpleNamespace(reference=None, own=None, rows_shown=True), None, SHAPE, rest())
    assert (own.scale_per_lens, own.slope_per_lens) == (0.0, 0.3)
