"""Signs of copies, crops and zoom; the cases are by construction (tags of CIPA DC-008)."""

import pytest
from PIL import Image

from pitchcam.photo import load_photo
from pitchcam.photo.origin import origin_of

PIXEL_X, PIXEL_Y, ZOOM = 0xA002, 0xA003, 0xA404
CAMERA = {PIXEL_X: 4032, PIXEL_Y: 3024}


@pytest.mark.parametrize(
    ("tags", "size", "shrunk", "sensor"),
    [
        (CAMERA, (3024, 4032), 1.0, True),  # turned, whole
        (CAMERA, (2016, 1512), 0.5, True),  # a smaller copy
        (CAMERA, (3000, 3000), 3000 / 4032, False),  # a crop, told by its sides
        ({}, (4032, 3024), None, True),
        ({}, (1470, 1434), None, False),
        ({}, (4032, 2268), None, False),  # 16:9
    ],
)
def test_size_and_shape(tags, size, shrunk, sensor):
    found = origin_of(tags, *size)
    assert (found.shrunk, found.sensor_aspect, found.zoom) == (shrunk, sensor, None)


@pytest.mark.parametrize("value", ["junk", None, float("nan"), (1, 2), b"\xff", 0, -2])
def test_damaged_tags_are_none(value):
    found = origin_of({ZOOM: value, PIXEL_X: value}, 800, 600)
    assert (found.zoom, found.shrunk) == (None, None)


def test_as_read_from_a_file(tmp_path):
    tags = Image.Exif()
    tags.get_ifd(0x8769).update({PIXEL_X: 800, PIXEL_Y: 600, ZOOM: 2.0})
    Image.new("L", (400, 300), 200).save(tmp_path / "a.jpg", exif=tags)
    found = load_photo(tmp_path / "a.jpg").origin
    assert (found.zoom, found.shrunk) == (2.0, 0.5)
