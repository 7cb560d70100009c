"""A photo may be given as a path, opened, or as pixels; anything else is refused in one line."""

import numpy as np
import pytest

from pitchcam.errors import InputError, UsageError
from pitchcam.photo import load_photo
from pitchcam.photo.given import photo_of
from tests.page.running import SAMPLES

PHOTO = SAMPLES / "p05-unf12-pin.jpg"
GREY = np.full((300, 400), 200, np.uint8)


def test_paths_and_opened_photos():
    opened = load_photo(PHOTO)
    assert photo_of(opened) is opened
    for path in (PHOTO, str(PHOTO)):
        assert photo_of(path).sha256 == opened.sha256


def test_pixels_with_their_focal_length():
    opened = load_photo(PHOTO)
    given = photo_of(opened.pixels, opened.f35_mm)
    assert np.array_equal(given.pixels, opened.pixels)
    assert (given.f35_mm, given.f35_source) == (opened.f35_mm, "stated")
    assert (given.width_px, given.height_px) == (opened.width_px, opened.height_px)
    assert given.origin.sensor_aspect  # 4:3, which is told by the size alone
    bare = photo_of(GREY)
    assert (bare.f35_mm, bare.f35_source) == (None, "none")
    assert photo_of(GREY).sha256 == bare.sha256 != photo_of(GREY + np.uint8(1)).sha256


def test_a_view_of_pixels_is_taken_whole():
    flipped = np.dstack([GREY] * 3)[::-1, ::2]
    given = photo_of(flipped)
    assert given.pixels.flags.c_contiguous and np.array_equal(given.pixels, flipped)


@pytest.mark.parametrize("given", [42, None, b"bytes", ["a.jpg"], object()])
def test_what_is_no_photo(given):
    with pytest.raises(UsageError, match="a photo is a path, an opened Photo or an array"):
        photo_of(given)


@pytest.mark.parametrize(
    "pixels",
    [
        GREY.astype(float),
        GREY.astype(np.int32),
        np.zeros((9,), np.uint8),
        np.zeros((300, 400, 4), np.uint8),
        np.zeros((2, 300, 400, 3), np.uint8),
    ],
)
def test_pixels_that_are_no_photo(pixels):
    with pytest.raises(UsageError, match="are no photo"):
        photo_of(pixels)


def test_pixels_too_few_or_too_many():
    for shape in ((31, 400), (400, 31), (12000, 11000)):
        with pytest.raises(InputError, match="cannot be measured"):
            photo_of(np.broadcast_to(np.uint8(0), shape))


@pytest.mark.parametrize("f35_mm", [0.0, -26.0, 7.9, 1001.0, float("nan"), "26"])
def test_focal_lengths_of_no_lens(f35_mm):
    with pytest.raises(UsageError, match="none of a phone's lens"):
        photo_of(GREY, f35_mm)


def test_a_focal_length_goes_with_pixels_alone():
    for given in (PHOTO, load_photo(PHOTO)):
        with pytest.raises(UsageError, match="f35_mm goes with pixels"):
            photo_of(given, 26.0)
