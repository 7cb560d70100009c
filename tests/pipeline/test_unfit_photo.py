"""Why a photo cannot be measured: parts seen aslant, and pictures that are sharp all the same."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pitchcam import ScaleSpec, UnreadableError, identify


def photo_of(middle_px, blur_px=1.0):
    """Return a disc whose wall mirrors the light on one side, and no thread."""
    light = np.full((1500, 2000), 205, np.uint8)
    x, y = middle_px
    cv2.circle(light, (x + 14, y - 14), 150, 165, -1)
    cv2.circle(light, middle_px, 150, 30, -1)
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
    assert far.code == "no-thread" and "aslant" in str(far)
    assert "under the middle of the camera" in far.advice
    assert "aslant" not in str(refused((1000, 750)))
