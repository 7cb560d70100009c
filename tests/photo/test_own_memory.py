"""JPEG decoded into an array that is given: the same pixels, and no failure that goes unnoticed."""

from __future__ import annotations

import os

import cv2
import numpy as np
import pytest

from pitchcam.photo import decode
from pitchcam.photo.decode import DamagedError, decode_opencv, into_own_memory

RNG = np.random.default_rng(5)
COLOUR = cv2.GaussianBlur(RNG.integers(0, 256, (90, 140, 3), np.uint8), (0, 0), 2.0)

pytestmark = pytest.mark.skipif(
    not hasattr(os, "memfd_create"), reason="the system has no files in memory"
)


def coded(pixels: np.ndarray, *options: int) -> bytes:
    return cv2.imencode(".jpg", pixels, list(options))[1].tobytes()


@pytest.mark.parametrize("pixels", [COLOUR, COLOUR[:, :, 0]], ids=["colour", "grey"])
@pytest.mark.parametrize("progressive", [0, 1])
def test_pixels_are_those_of_the_usual_way(pixels: np.ndarray, progressive: int) -> None:
    data = coded(pixels, cv2.IMWRITE_JPEG_PROGRESSIVE, progressive)
    usual = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    found = into_own_memory(data, pixels.shape)
    assert found is not None and (found == usual).all()


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: b"\xff\xd8\xff" + bytes(1000),
        lambda data: data[:200],
        lambda data: b"",
        # A quantization table that is missing: decoding breaks off before the first row.
        lambda data: data.replace(b"\xff\xdb", b"\xff\xfe"),
    ],
    ids=["no header", "cut in the header", "empty", "no tables"],
)
def test_what_does_not_decode_is_not_taken_for_a_picture(spoil, capfd) -> None:
    data = spoil(coded(COLOUR))
    assert into_own_memory(data, COLOUR.shape) is None
    with pytest.raises(DamagedError):
        decode_opencv(data, 1, kind="JPEG", shape=COLOUR.shape)


@pytest.mark.parametrize("shape", [(), (90, 141, 3), (90, 140), (0, 140, 3)])
def test_a_shape_that_is_not_the_pictures_goes_the_usual_way(shape: tuple[int, ...]) -> None:
    data = coded(COLOUR)
    assert into_own_memory(data, shape) is None
    assert decode_opencv(data, 1, kind="JPEG", shape=shape).shape == COLOUR.shape


def test_where_files_in_memory_cannot_be_opened_by_name_it_goes_the_usual_way(monkeypatch) -> None:
    data = coded(COLOUR)
    read = cv2.imread
    monkeypatch.setattr(decode.cv2, "imread", lambda name, *rest: read("/nowhere" + name, *rest))
    assert into_own_memory(data, COLOUR.shape) is None
    usual = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    assert (decode_opencv(data, 1, kind="JPEG", shape=COLOUR.shape) == usual).all()
