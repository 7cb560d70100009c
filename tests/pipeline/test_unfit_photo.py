"""Why a photo cannot be measured: blur by the sharpest edges, parts seen aslant."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pitchcam import ScaleSpec, UnreadableError, identify
from pitchcam.pipeline import unfit_photo
from pitchcam.pipeline.unfit_photo import _overall_blur

WAYS = np.linspace(0, np.pi, 360, endpoint=False)


def blur_of(monkeypatch, *outlines):
    """Return the blur of outlines: the blur at each point, and the directions of its edge."""
    queue = [np.array([falls, ways]) for falls, ways in outlines]
    monkeypatch.setattr(unfit_photo, "_edge_falls", lambda shape: queue[shape])
    return _overall_blur(list(range(len(queue))))


def test_what_mirrors_on_one_side_is_not_blurred(monkeypatch):
    """A disc's far side shows its wall; the near side has the same directions, and is sharp."""
    one_side = np.r_[np.full(360, 0.8), np.full(360, 9.0)]
    assert blur_of(monkeypatch, (one_side, np.r_[WAYS, WAYS])) == pytest.approx(0.8)


def test_one_sharp_object_tells_that_the_photo_is_sharp(monkeypatch):
    found = blur_of(monkeypatch, (np.full(360, 9.0), WAYS), (np.full(360, 0.8), WAYS))
    assert found == pytest.approx(0.8)


def test_defocus_and_shake_are_seen(monkeypatch):
    assert blur_of(monkeypatch, (np.full(360, 6.0), WAYS)) == pytest.approx(6.0)
    shaken = np.hypot(0.8, 6.0 * np.sin(WAYS))  # edges along the shake stay sharp
    found = blur_of(monkeypatch, (shaken, WAYS), (shaken, WAYS))
    assert found == pytest.approx(6.0, abs=0.5)


def test_of_a_direction_that_is_hardly_there_nothing_is_said(monkeypatch):
    few = np.pi / 12 > WAYS
    falls, ways = np.full(360, 0.8), np.where(few, 0.1, 1.5)
    falls[few] = 9.0
    assert blur_of(monkeypatch, (falls[20:], ways[20:])) == pytest.approx(0.8)


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
