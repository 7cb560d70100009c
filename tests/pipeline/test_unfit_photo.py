"""Why a photo cannot be measured: parts seen aslant, and pictures that are sharp all the same."""

from __future__ import annotations

from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from pitchcam import ScaleSpec, UnreadableError, identify
from pitchcam.camera.pinhole import Camera
from pitchcam.edges.rims import UNLEARNT
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.regions import Region
from pitchcam.pipeline import unfit_photo


def photo_of(middle_px, blur_px=1.0):
    """Return an oval thing whose wall mirrors the light on one side, and no thread."""
    light = np.full((1500, 2000), 205, np.uint8)
    x, y = middle_px
    cv2.ellipse(light, (x + 14, y - 14), (150, 110), 0.0, 0.0, 360.0, 165, -1)
    cv2.ellipse(light, middle_px, (150, 110), 0.0, 0.0, 360.0, 30, -1)
    return cv2.GaussianBlur(light, None, blur_px)


def refused(middle_px, **more):
    with pytest.raises(UnreadableError) as told:
        identify(photo_of(middle_px, **more), ScaleSpec(source="major", mm=10.0), f35_mm=26.0)
    return told.value


def test_a_sharp_picture_without_a_thread_is_not_called_blurred():
    assert refused((1000, 750)).code == "no-thread"
    assert refused((1000, 750), blur_px=9.0).code == "blurred"


def test_a_part_far_off_the_middle_is_told_where_to_lie():
    far = refused((200, 200))
    assert far.code == "no-thread" and "off the camera's axis" in str(far)
    assert "under the middle of the camera" in far.advice
    assert "off the camera's axis" not in str(refused((1000, 750)))


def repeating(skew, at_px, slender=False):
    """A part on which something shallow repeats, no thread, as far from the middle of a picture."""
    crests = 20.0 * np.arange(4)
    region = Region(
        start_px=0.0,
        end_px=60.0,
        spacing_px=20.0,
        depth_px=2.0,
        lag=0.2,
        crests=(crests, crests),
        skew=skew,
    )
    place = np.array([[2015.5 + at_px, 1511.5]])
    blob = SimpleNamespace(cut=False)
    side = np.full(60, 15.0 if slender else 30.0)
    return SimpleNamespace(
        threads=(),
        others=(region,),
        kind="other",
        blob=blob,
        outline_px=place,
        lopsided=False,
        axis=ImageAxis(point_px=(0.0, 0.0), direction=(0.1, float(np.sqrt(0.99)))),
        stations=(np.arange(60.0), side, -side),
    )


@pytest.mark.parametrize(
    ("skew", "at_px", "slender", "says"),
    [
        (0.25, 0.0, False, "only hose barbs or rings"),
        (0.25, 1500.0, False, "only hose barbs or rings"),
        (0.02, 0.0, False, "a thread that lies aslant"),
        (0.02, 1500.0, False, "27 degrees off the camera's axis"),
        # Its axis lies across the line from the middle: there it is seen square to it.
        (0.02, 1500.0, True, "a thread that lies aslant"),
    ],
)
def test_what_repeats_evenly_is_not_called_barbs(monkeypatch, skew, at_px, slender, says):
    monkeypatch.setattr(unfit_photo, "most_blur", lambda shapes: 0.7)
    camera = Camera(f_px=3000.0, u_f_px=30.0, centre_px=(2015.5, 1511.5))
    with pytest.raises(UnreadableError, match=says) as told:
        unfit_photo.refuse_whole([repeating(skew, at_px, slender)], UNLEARNT, None, camera)
    assert told.value.code == "no-thread"
