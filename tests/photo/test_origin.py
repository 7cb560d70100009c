"""Signs of copies, crops and zoom; the cases are by construction (tags of CIPA DC-008)."""

import pytest
from PIL import Image

from pitchcam.photo import load_photo
from pitchcam.photo.origin import origin_of

FOCAL, PIXEL_X, PIXEL_Y, ZOOM, TAKEN = 0x920A, 0xA002, 0xA003, 0xA404, 0x9003
MAKE, SOFTWARE, CHANGED = 0x010F, 0x0131, 0x0132
CAMERA = {PIXEL_X: 4032, PIXEL_Y: 3024, TAKEN: "2026:01:01 12:00:00"}


def test_an_original_shows_the_whole_frame():
    found = origin_of({MAKE: "Example"}, CAMERA, 3024, 4032)
    assert (found.whole_frame, found.shrunk, found.messenger) == (True, 1.0, False)
    assert found.has_exif
    assert found.has_camera


def test_a_smaller_copy_keeps_the_frame_but_nothing_proves_it():
    found = origin_of({}, CAMERA, 2016, 1512)
    assert (found.shrunk, found.aspect_changed, found.whole_frame) == (0.5, False, None)
    assert found.few_pixels


def test_a_crop_is_told_by_its_sides():
    assert origin_of({}, CAMERA, 3000, 3000).whole_frame is False
    assert origin_of({}, {}, 1470, 1434).whole_frame is False
    assert origin_of({}, {}, 4032, 3024).whole_frame is None


def test_a_change_after_the_shot_leaves_the_frame_open():
    later = {CHANGED: "2026:01:02 08:00:00"}
    assert origin_of(later, CAMERA, 4032, 3024).whole_frame is None
    assert origin_of({CHANGED: CAMERA[TAKEN]}, CAMERA, 4032, 3024).whole_frame


@pytest.mark.parametrize(
    "size, copy", [((1600, 1200), True), ((2048, 1536), True), ((4032, 3024), False)]
)
def test_a_messengers_copy(size, copy):
    assert origin_of({}, {}, *size).messenger is copy
    assert not origin_of({}, CAMERA, *size).messenger


@pytest.mark.parametrize("value", ["junk", None, float("nan"), (1, 2), b"\xff", 0, -2])
def test_damaged_tags_are_none(value):
    found = origin_of({SOFTWARE: value}, {ZOOM: value, PIXEL_X: value, FOCAL: value}, 800, 600)
    assert (found.zoom, found.focal_mm, found.recorded_px) == (None, None, None)


def test_a_programs_name_stays_on_one_line():
    assert origin_of({SOFTWARE: "a\x1b[31m\nb\0"}, {}, 800, 600).software == "a[31mb"


def test_as_read_from_a_file(tmp_path):
    tags = Image.Exif()
    tags[SOFTWARE] = "an editor"
    tags.get_ifd(0x8769).update({PIXEL_X: 800, PIXEL_Y: 600, ZOOM: 2.0})
    Image.new("L", (400, 300), 200).save(tmp_path / "a.jpg", exif=tags)
    found = load_photo(tmp_path / "a.jpg").origin
    assert (found.zoom, found.shrunk, found.software) == (2.0, 0.5, "an editor")
