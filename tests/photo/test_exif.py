"""Focal length from EXIF (tags of CIPA DC-008); the cases are by construction."""

import pytest

from pitchcam.photo.exif import focal_length, orientation_of
from tests.photo.test_tags_and_seams import F35, FOCAL, PIXEL_X, PIXEL_Y, RES_X, RES_Y, UNIT


def test_tag_wins():
    assert focal_length({F35: 26, FOCAL: 4.0, RES_X: 9e9}, 4032, 3024) == (26.0, "exif")


@pytest.mark.parametrize(("unit", "per_mm"), [(2, 25.4), (3, 10.0), (4, 1.0)])
def test_focal_plane_fallback(unit, per_mm):
    # A sensor of 7.2 x 5.4 mm (diagonal 9.0) with 4000 x 3000 pixels and a 5 mm lens.
    ifd = {FOCAL: 5.0, RES_X: 4000 / 7.2 * per_mm, RES_Y: 3000 / 5.4 * per_mm, UNIT: unit}
    f35, source = focal_length(ifd, 4000, 3000)
    assert source == "focal-plane"
    assert f35 == pytest.approx(5.0 * (36**2 + 24**2) ** 0.5 / 9.0)


def test_focal_plane_refers_to_the_recorded_size():
    ifd = {FOCAL: 5.0, RES_X: 4000 / 7.2, RES_Y: 3000 / 5.4, UNIT: 4, PIXEL_X: 4000, PIXEL_Y: 3000}
    assert focal_length(ifd, 1000, 750) == focal_length(ifd, 4000, 3000)


def test_zero_means_unknown():
    assert focal_length({F35: 0}, 4032, 3024) == (None, "none")


def test_a_cropped_picture_has_no_focal_length():
    ifd = {F35: 26, PIXEL_X: 4032, PIXEL_Y: 3024}
    assert focal_length(ifd, 3024, 4032) == (26.0, "exif")
    assert focal_length(ifd, 2016, 1512) == (26.0, "exif")
    assert focal_length(ifd, 3000, 3000) == (None, "cropped")


@pytest.mark.parametrize(
    "value", ["junk", None, float("nan"), float("inf"), -26, 3, 5000, (1, 2), b"\xff"]
)
def test_damaged_values_are_no_values(value):
    assert focal_length({F35: value, FOCAL: value, RES_X: value}, 4032, 3024) == (None, "none")


def test_orientation_outside_its_range_is_as_stored():
    assert [orientation_of({0x0112: v}) for v in (6, 0, 9, "6", None)] == [6, 1, 1, 1, 1]
    assert orientation_of({}) == 1
