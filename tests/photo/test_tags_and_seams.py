"""Tags as a camera may write them, pixels as a program may hand them over, and drawn damage."""

from __future__ import annotations

import io
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from pitchcam.errors import InputError, UsageError
from pitchcam.files import MAX_MEGAPIXELS, MOST_BYTES
from pitchcam.photo import load_photo
from pitchcam.photo.exif import (
    FRAME_DIAGONAL_MM,
    SANE_F35_MM,
    focal_length,
    number,
    orientation_of,
    recorded_size,
    same_aspect,
)
from pitchcam.photo.given import photo_of
from pitchcam.photo.intact import JpegScans, jpeg_scans
from pitchcam.photo.linear import light_planes, linear_table
from pitchcam.photo.origin import origin_of
from pitchcam.photo.record import luma_of, quartered
from pitchcam.photo.seams import Seam, few_shades
from tests.photo.broken import find_seam

# Numbers of tags: CIPA DC-008 (Exif), from memory.
F35, FOCAL, RES_X, RES_Y, UNIT, PIXEL_X, PIXEL_Y, ZOOM = (
    0xA405,
    0x920A,
    0xA20E,
    0xA20F,
    0xA210,
    0xA002,
    0xA003,
    0xA404,
)
MAKE, MODEL, LENS, ORIENTATION = 0x010F, 0x0110, 0xA434, 0x0112


@pytest.mark.parametrize(
    ("value", "read"),
    [
        (26, 26.0),
        (26.5, 26.5),
        ("26", 26.0),
        (Fraction(52, 2), 26.0),
        (IFDRational(513, 10), 51.3),
        (IFDRational(1, 0), None),
        (0, None),
        (-26, None),
        (float("nan"), None),
        (float("inf"), None),
        ("26 mm", None),
        (b"26", 26.0),
        (b"\xff", None),
        (None, None),
        ((26, 1), None),
        ([], None),
    ],
    ids=repr,
)
def test_a_number_is_positive_and_finite_or_none(value: object, read: float | None) -> None:
    assert number(value) == read


@given(
    st.one_of(
        st.none(), st.text(), st.binary(), st.floats(), st.integers(), st.tuples(st.integers())
    )
)
def test_any_value_of_a_tag_is_a_number_or_none(value: object) -> None:
    read = number(value)
    assert read is None or (math.isfinite(read) and read > 0)
    f35, source = focal_length({F35: value}, 4000, 3000)
    assert (f35 is None) is (source != "exif")
    assert f35 is None or SANE_F35_MM[0] <= f35 <= SANE_F35_MM[1]


@pytest.mark.parametrize(
    ("value", "read"), [(1, 1), (8, 8), (0, 1), (9, 1), ("3", 1), (3.0, 1), (None, 1)]
)
def test_an_orientation_is_one_of_eight_or_as_stored(value: object, read: int) -> None:
    assert orientation_of({ORIENTATION: value}) == read


@pytest.mark.parametrize(
    ("a", "b", "same"),
    [
        ((4032, 3024), (3024, 4032), True),
        ((4032, 3024), (2016, 1512), True),
        ((4032, 3024), (4000, 3000), True),
        ((4032, 3024), (4032, 3040), True),
        ((4032, 3024), (4032, 2268), False),
        ((4032, 3024), (3000, 3000), False),
        ((1000, 1000), (1009, 1000), True),
        ((1000, 1000), (1011, 1000), False),
    ],
)
def test_shapes_are_the_same_whichever_way_they_are_turned(a, b, same: bool) -> None:
    assert same_aspect(a, b) is same
    assert same_aspect(b, a) is same
    assert same_aspect(a[::-1], b) is same


@pytest.mark.parametrize("f35", [8.0, 26.0, 1000.0])
def test_a_sane_tag_is_taken(f35: float) -> None:
    assert focal_length({F35: f35}, 4000, 3000) == (f35, "exif")


@pytest.mark.parametrize("f35", [7.99, 1000.1, 1e9])
def test_a_tag_of_no_lens_is_none(f35: float) -> None:
    assert focal_length({F35: f35}, 4000, 3000) == (None, "none")


@pytest.mark.parametrize(("unit", "mm"), [(2, 25.4), (3, 10.0), (4, 1.0), (5, 0.001)])
@pytest.mark.parametrize("focal", [4.25, 6.8])
def test_a_focal_length_over_the_sensors_diagonal(unit: int, mm: float, focal: float) -> None:
    """A sensor of 5.6 x 4.2 mm: its diagonal is 7 mm."""
    per = 4000 / 5.6 * mm
    f35, source = focal_length({FOCAL: focal, RES_X: per, RES_Y: per, UNIT: unit}, 4000, 3000)
    assert source == "focal-plane"
    assert f35 == pytest.approx(focal * FRAME_DIAGONAL_MM / 7.0, rel=1e-9)
    assert focal_length({FOCAL: focal, RES_X: per, UNIT: unit}, 4000, 3000)[0] == pytest.approx(
        f35
    ), "alike both ways"


@pytest.mark.parametrize("gone", [FOCAL, RES_X])
def test_without_focal_length_or_resolution_there_is_none(gone: int) -> None:
    tags = {FOCAL: 5.0, RES_X: 700.0, RES_Y: 700.0, UNIT: 4}
    assert focal_length(tags, 4000, 3000)[1] == "focal-plane"
    assert focal_length({k: v for k, v in tags.items() if k != gone}, 4000, 3000) == (None, "none")
    assert focal_length(tags | {UNIT: 9}, 4000, 3000) == (None, "none"), "a unit that nobody knows"
    assert focal_length(tags | {UNIT: "mm"}, 4000, 3000) == (None, "none")


def test_a_crop_is_told_before_any_focal_length() -> None:
    tags = {F35: 26, FOCAL: 5.0, RES_X: 700.0, UNIT: 4, PIXEL_X: 4000, PIXEL_Y: 3000}
    assert focal_length(tags, 2000, 2000) == (None, "cropped")
    assert focal_length(tags, 3000, 4000) == (26.0, "exif")
    assert recorded_size(tags) == (4000.0, 3000.0)
    assert recorded_size({PIXEL_X: 4000}) is None
    assert recorded_size({PIXEL_X: 4000, PIXEL_Y: 0}) is None


@pytest.mark.parametrize(
    ("make", "model", "lens", "camera"),
    [
        ("Bench", "One", "main 26 mm", "Bench, One, main 26 mm"),
        ("Bench", "One", None, "Bench, One"),
        (None, "One", "main", "One, main"),
        ("Bench", None, "main", None),
        ("Bench", "   ", "main", None),
        ("Bench", "O\x00n\ne\x1b", None, "Bench, One"),
        ("Bench", b"One", None, None),
        ("B" * 200, "One", None, "B" * 80 + ", One"),
    ],
)
def test_a_camera_is_named_by_its_tags(make, model, lens, camera: str | None) -> None:
    tags = {k: v for k, v in ((MAKE, make), (MODEL, model)) if v is not None}
    ifd = {} if lens is None else {LENS: lens}
    assert origin_of(ifd, 4000, 3000, tags).camera == camera


@pytest.mark.parametrize(
    ("recorded", "size", "shrunk"),
    [(4000, (4000, 3000), 1.0), (4000, (1500, 2000), 0.5), (2000, (4000, 3000), 2.0)],
)
def test_how_much_smaller_a_copy_is(recorded: int, size, shrunk: float) -> None:
    found = origin_of({PIXEL_X: recorded, PIXEL_Y: recorded * 3 // 4, ZOOM: 1.5}, *size)
    assert found.shrunk == pytest.approx(shrunk)
    assert found.recorded_px == (recorded, recorded * 3 // 4)
    assert found.zoom == 1.5
    assert found.sensor_aspect


def test_a_file_written_by_pillow_brings_all_of_it(tmp_path) -> None:
    tags = Image.Exif()
    tags[MAKE], tags[MODEL], tags[ORIENTATION] = "Bench", "One", 6
    tags.get_ifd(0x8769).update(
        {F35: 26, PIXEL_X: 120, PIXEL_Y: 90, ZOOM: IFDRational(3, 2), LENS: "main"}
    )
    image = Image.fromarray(
        np.random.default_rng(1).integers(0, 255, (90, 120, 3)).astype(np.uint8)
    )
    image.save(tmp_path / "a.jpg", exif=tags)
    photo = load_photo(tmp_path / "a.jpg")
    assert (photo.width_px, photo.height_px) == (90, 120), "upright"
    assert (photo.f35_mm, photo.f35_source) == (26.0, "exif")
    assert photo.origin.camera == "Bench, One, main"
    assert photo.origin.zoom == pytest.approx(1.5)
    assert len(photo.sha256) == 64
    assert photo.quarter.shape == (30, 22, 3)


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b"", "a.jpg is empty; send the photo again from the camera, or save it as JPEG"),
        (
            b"%PDF-1.7 and more",
            "a.jpg is not a photo that can be read; pitchcam reads JPEG, PNG, TIFF and HEIC",
        ),
        (
            b"GIF89a" + b"\0" * 40,
            "a.jpg is not a photo that can be read; pitchcam reads JPEG, PNG, TIFF and HEIC",
        ),
        (b"\xff\xd8\xff\xe0" + b"\0" * 40, "a.jpg is truncated or damaged; send the photo again"),
        (b"\x89PNG\r\n\x1a\n", "a.jpg is truncated or damaged; send the photo again"),
    ],
    ids=["empty", "a document", "a moving picture", "a cut JPEG", "a cut PNG"],
)
def test_what_is_no_photo_gets_one_line(tmp_path, data: bytes, line: str) -> None:
    (tmp_path / "a.jpg").write_bytes(data)
    with pytest.raises(InputError) as caught:
        load_photo(tmp_path / "a.jpg")
    assert str(caught.value).startswith(line)


def test_a_picture_larger_than_allowed_is_refused_by_its_header(tmp_path) -> None:
    Image.new("L", (400, 300)).save(tmp_path / "a.png")
    assert load_photo(tmp_path / "a.png", max_megapixels=0.12).width_px == 400
    with pytest.raises(
        InputError,
        match=r"a.png has 400 x 300 pixels \(0 megapixels\), more than the limit of 0.11; send",
    ):
        load_photo(tmp_path / "a.png", max_megapixels=0.11)
    assert MAX_MEGAPIXELS == 120 and MOST_BYTES == 8 * 120_000_000


def test_a_jpeg_of_too_many_passes_is_refused(tmp_path) -> None:
    out = io.BytesIO()
    Image.new("L", (64, 64), 128).save(out, "JPEG")
    data = out.getvalue()
    at = data.rindex(b"\xff\xda")
    scan = data[at:-2]
    (tmp_path / "a.jpg").write_bytes(data[:at] + scan * 60 + b"\xff\xd9")
    with pytest.raises(
        InputError, match="a.jpg is coded in over 40 passes over the picture, as no camera does;"
    ):
        load_photo(tmp_path / "a.jpg")
    assert jpeg_scans(data) == JpegScans(scans=1, whole=True)


GREY = np.full((200, 300), 128, np.uint8)


@pytest.mark.parametrize(
    ("pixels", "line"),
    [
        (GREY.astype(np.int16), "pixels of shape (200, 300) and type int16 are no photo."),
        (
            np.zeros((200, 300, 2), np.uint8),
            "pixels of shape (200, 300, 2) and type uint8 are no photo.",
        ),
        (np.zeros((31, 300), np.uint8), "a picture of 300 x 31 pixels cannot be measured;"),
    ],
    ids=["of another type", "of two channels", "too low"],
)
def test_pixels_that_are_none_are_told_why(pixels: np.ndarray, line: str) -> None:
    with pytest.raises((UsageError, InputError)) as caught:
        photo_of(pixels)
    assert str(caught.value).startswith(line)


@pytest.mark.parametrize("shape", [(32, 32), (32, 400), (400, 32, 3)])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_pixels_of_thirty_two_a_side_are_a_picture(shape, dtype) -> None:
    photo = photo_of(np.ones(shape, dtype))
    assert (photo.height_px, photo.width_px) == shape[:2]
    assert photo.origin.camera is None and photo.origin.shrunk is None


@pytest.mark.parametrize("f35", [8, 26.0, 1000])
def test_a_stated_focal_length_is_the_pictures(f35: float) -> None:
    photo = photo_of(GREY, f35)
    assert (photo.f35_mm, photo.f35_source) == (float(f35), "stated")


@pytest.mark.parametrize("bits", [8, 16])
def test_light_of_a_grey_is_the_same_in_every_channel(bits: int) -> None:
    top = 2**bits - 1
    dtype = np.uint8 if bits == 8 else np.uint16
    grey = np.linspace(0, top, 97).astype(dtype)[None]
    planes = light_planes(np.repeat(grey[..., None], 3, axis=2))
    assert planes.shape == (3, 1, 97)
    for plane in planes:
        assert plane == pytest.approx(light_planes(grey)[0])
    assert light_planes(grey)[0, 0, [0, -1]].tolist() == [0.0, 1.0]
    assert linear_table(dtype)[grey] == pytest.approx(light_planes(grey)[0])


# Damage, drawn on a picture of noise and a soft edge.


def picture(seed: int = 1, size=(480, 640)) -> np.ndarray:
    """A soft dark disc on light that falls off, with a camera's noise."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0 : size[0], 0 : size[1]].astype(float)
    off = np.hypot(x - 300, y - 230) - 120
    light = 190 - 20 * ((x - 320) / 320) ** 2 - 150 / (1 + np.exp(off / 1.5))
    noisy = light[..., None] + rng.normal(0, 1.2, (*size, 3))
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("seed", range(4))
def test_a_whole_picture_has_no_seam(seed: int) -> None:
    assert find_seam(picture(seed)) is None
    assert find_seam(picture(seed)[:, :, 1]) is None


@pytest.mark.parametrize("at", [64, 240, 400])
@pytest.mark.parametrize("by", [12, -15])
def test_light_that_steps_across_a_row_is_a_seam_there(at: int, by: int) -> None:
    hurt = picture()
    hurt[at:] = np.clip(hurt[at:].astype(int) + by, 0, 255)
    found = find_seam(hurt)
    assert found is not None
    assert (found.kind, found.along) == ("seam", "row")
    assert found.at_px == pytest.approx(at, abs=2)
    assert found.text == f"the picture changes its light abruptly across row {found.at_px}"
    turned = find_seam(np.ascontiguousarray(hurt.transpose(1, 0, 2)))
    assert turned == Seam(kind="seam", along="column", at_px=found.at_px)


def test_a_seam_does_not_know_eight_bits_from_sixteen() -> None:
    hurt = picture()
    hurt[240:] = np.clip(hurt[240:].astype(int) + 14, 0, 255)
    assert find_seam(hurt.astype(np.uint16) * 257) == find_seam(hurt)
    assert find_seam(hurt, luma=luma_of(hurt)) == find_seam(hurt)


@pytest.mark.parametrize("by", [16, -24])
def test_a_picture_moved_aside_is_told_where(by: int) -> None:
    hurt = picture()
    hurt[230:] = np.roll(hurt[230:], by, axis=1)
    found = find_seam(hurt)
    assert found is not None and found.kind == "shift"
    assert found.at_px == pytest.approx(230, abs=2)
    assert found.text.startswith("the picture is moved aside below row ")


def test_rows_that_repeat_with_their_noise_are_told() -> None:
    hurt = picture()
    hurt[300:312] = hurt[299]
    found = find_seam(hurt)
    assert found is not None and found.kind == "repeated"
    assert found.at_px == pytest.approx(300, abs=2)
    assert found.text.startswith("the picture repeats itself at row ")


def test_a_soft_step_is_an_edge() -> None:
    y = np.arange(480.0)[:, None, None]
    soft = (
        150
        + 60 / (1 + np.exp(-(y - 240) / 1.2))
        + np.random.default_rng(2).normal(0, 1.2, (480, 640, 3))
    )
    assert find_seam(np.clip(np.rint(soft), 0, 255).astype(np.uint8)) is None


@pytest.mark.parametrize("size", [(60, 400), (400, 60)])
def test_a_picture_too_small_to_tell_has_none(size) -> None:
    hurt = picture(size=(480, 640))[: size[0], : size[1]].copy()
    hurt[size[0] // 2 :] //= 2
    assert find_seam(hurt) is None
    assert few_shades(luma_of(hurt)) is None


def test_luma_is_that_of_the_broadcast_standard() -> None:
    """ITU-R BT.601: 0.299 red, 0.587 green, 0.114 blue."""
    for bgr, y in (((255, 0, 0), 29), ((0, 255, 0), 150), ((0, 0, 255), 76), ((10, 200, 90), 145)):
        pixels = np.full((4, 4, 3), bgr, np.uint8)
        assert luma_of(pixels)[0, 0] == pytest.approx(y, abs=1)
    assert luma_of(GREY) is GREY or np.array_equal(luma_of(GREY), GREY)
    assert luma_of(np.full((4, 4), 40_000, np.uint16))[0, 0] == 40_000 >> 8


@pytest.mark.parametrize("size", [(64, 48), (131, 90), (258, 33), (640, 35)])
def test_luma_and_quarter_come_from_one_pass(size: tuple[int, int]) -> None:
    """Whatever is left over beyond whole squares and strips, also of grey and 16 bit."""
    colour = np.random.default_rng(2).integers(0, 256, (*size, 3)).astype(np.uint8)
    for pixels in (colour, colour[:, :, 1].copy(), colour.astype(np.uint16) * 257):
        photo = photo_of(pixels)
        assert np.array_equal(photo.luma(), luma_of(pixels))
        assert np.array_equal(photo.quarter, quartered(pixels))
        assert np.array_equal(photo.luma(), luma_of(pixels)), "once more, now by itself"


@pytest.mark.parametrize("shades", [2, 4, 12])
def test_a_picture_of_few_shades_is_counted(shades: int) -> None:
    luma = luma_of(picture())
    step = 160 // shades
    coarse = (luma // step * step).astype(np.uint8)
    found = few_shades(coarse)
    assert found is not None
    assert found <= shades + 2
    assert few_shades(luma) is None
