"""Files built byte by byte: what is whole, how many scans, which way up, and what alpha covers."""

from __future__ import annotations

import io
import struct
import zlib

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps
from skimage.measure import block_reduce

from pitchcam.photo.decode import (
    DamagedError,
    UnsupportedError,
    decode_opencv,
    decode_pillow,
    flatten,
    upright,
)
from pitchcam.photo.intact import MOST_SCANS, jpeg_scans, png_is_whole, tiff_as_stored
from pitchcam.photo.record import quartered

RNG = np.random.default_rng(12)
SOI, EOI = b"\xff\xd8", b"\xff\xd9"


def segment(marker: int, body: bytes = b"") -> bytes:
    """A segment with its length, which counts itself (ITU-T T.81, B.1.1.4)."""
    return bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body


SCAN = segment(0xDA, b"\x01\x01\x00\x00\x3f\x00") + b"\x12\x34\xff\x00\x56\xff\xd0\x78"
JPEGS = {
    "one scan": (SOI + segment(0xE0, b"JFIF\0") + SCAN + EOI, 1, True),
    "three scans": (SOI + SCAN * 3 + EOI, 3, True),
    "a preview in a segment": (SOI + segment(0xE1, SOI + SCAN * 5 + EOI) + SCAN + EOI, 1, True),
    "data after the end": (SOI + SCAN + EOI + SOI + SCAN * 4 + EOI, 1, True),
    "fill before a marker": (SOI + SCAN + b"\xff" * 9 + EOI[1:], 1, True),
    "a bare marker": (SOI + b"\xff\x01" + SCAN + EOI, 1, True),
    "cut in the data": (SOI + SCAN, 1, False),
    "cut before a scan": (SOI + segment(0xDB, b"\0" * 64), 0, False),
    "ended without a scan": (SOI + segment(0xDB, b"\0" * 64) + EOI, 0, False),
    "nothing but the start": (SOI, 0, False),
    "no marker where one must be": (SOI + b"\x00\x01\x02\x03" + SCAN + EOI, 0, False),
    "a length past the end": (SOI + b"\xff\xe0\xff\xff" + SCAN + EOI, 0, False),
}


@pytest.mark.parametrize(("data", "scans", "whole"), JPEGS.values(), ids=JPEGS)
def test_a_jpegs_segments_are_walked(data: bytes, scans: int, whole: bool) -> None:
    found = jpeg_scans(data)
    assert (found.scans, found.whole) == (scans, whole)


def test_scans_are_counted_until_there_are_too_many() -> None:
    assert jpeg_scans(SOI + SCAN * MOST_SCANS + EOI).whole
    found = jpeg_scans(SOI + SCAN * (MOST_SCANS + 200) + EOI)
    assert found.scans == MOST_SCANS + 1
    assert not found.whole


def test_a_file_of_fill_bytes_is_no_jpeg() -> None:
    assert jpeg_scans(SOI + b"\xff" * 4000 + SCAN[1:] + EOI).whole
    assert not jpeg_scans(SOI + b"\xff" * 9000 + SCAN[1:] + EOI).whole


@pytest.mark.parametrize("progressive", [False, True])
def test_scans_of_a_written_jpeg(progressive: bool) -> None:
    """Pillow's: one scan of a baseline file, about ten of a progressive one."""
    out = io.BytesIO()
    noise = RNG.integers(0, 255, (64, 64, 3)).astype(np.uint8)
    Image.fromarray(noise).save(out, "JPEG", progressive=progressive)
    found = jpeg_scans(out.getvalue())
    assert found.whole
    assert (found.scans > 5) is progressive
    assert found.scans == out.getvalue().count(b"\xff\xda")


def chunk(kind: bytes, body: bytes = b"") -> bytes:
    """Length, type, data and the checksum over both (W3C PNG, 5.3)."""
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


PNG = b"\x89PNG\r\n\x1a\n"
HEAD = chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
DATA = chunk(b"IDAT", zlib.compress(b"\0\x80"))
END = chunk(b"IEND")
PNGS = {
    "whole": (PNG + HEAD + DATA + END, True),
    "data after the end": (PNG + HEAD + DATA + END + b"more", True),
    "a chunk of its own": (PNG + HEAD + chunk(b"teSt", b"x" * 99) + DATA + END, True),
    "no end": (PNG + HEAD + DATA, False),
    "cut in the end": (PNG + HEAD + DATA + END[:-1], False),
    "cut in the data": (PNG + HEAD + DATA[:-6], False),
    "another signature": (b"\x89PNG\n\n\x1a\n" + HEAD + DATA + END, False),
    "the signature alone": (PNG, False),
    "a wrong checksum": (PNG + HEAD + DATA[:-1] + bytes([DATA[-1] ^ 1]) + END, False),
    "a changed byte": (PNG + HEAD.replace(b"\0\0\0\x01", b"\0\0\0\x02", 1) + DATA + END, False),
    "a length past the end": (PNG + HEAD + struct.pack(">I", 2**31) + DATA[4:] + END, False),
}


@pytest.mark.parametrize(("data", "whole"), PNGS.values(), ids=PNGS)
def test_a_pngs_chunks_are_walked(data: bytes, whole: bool) -> None:
    assert png_is_whole(data) is whole


def tiff(order: str, orientation: int, *, big: bool = False, before: int = 1) -> bytes:
    """A directory of so many entries before the orientation's (TIFF 6.0, section 2)."""
    mark = b"II" if order == "<" else b"MM"
    entries = [(256 + i, 3, 1, 7) for i in range(before)] + [(274, 3, 1, orientation)]
    if big:
        head = (
            mark
            + struct.pack(order + "HHHQ", 43, 8, 0, 16)
            + struct.pack(order + "Q", len(entries))
        )
        body = b"".join(
            struct.pack(order + "HHQ", t, k, n) + struct.pack(order + "H", v) + b"\0" * 6
            for t, k, n, v in entries
        )
        return head + body + struct.pack(order + "Q", 0)
    head = mark + struct.pack(order + "HI", 42, 8) + struct.pack(order + "H", len(entries))
    body = b"".join(
        struct.pack(order + "HHI", t, k, n) + struct.pack(order + "H", v) + b"\0\0"
        for t, k, n, v in entries
    )
    return head + body + struct.pack(order + "I", 0)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("big", [False, True])
@pytest.mark.parametrize("before", [0, 1, 5])
def test_a_tiffs_orientation_is_made_neutral_and_nothing_else(order, big, before) -> None:
    turned, plain = (tiff(order, o, big=big, before=before) for o in (6, 1))
    assert turned != plain
    assert tiff_as_stored(turned) == plain
    assert tiff_as_stored(plain) == plain


@pytest.mark.parametrize(
    "data",
    [b"", b"II*\0", b"XX" + b"\0" * 40, b"II" + struct.pack("<HI", 41, 8) + b"\0" * 40]
    + [b"II" + struct.pack("<HI", 42, 10_000) + b"\0" * 40, tiff("<", 6)[:-12]],
    ids=["empty", "short", "no order", "no version", "a directory past the end", "cut"],
)
def test_a_broken_tiff_is_left_to_its_decoder(data: bytes) -> None:
    assert tiff_as_stored(data) == data


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("shape", [(5, 8), (5, 8, 3)])
def test_upright_is_what_pillow_makes_of_the_tag(orientation: int, shape: tuple[int, ...]) -> None:
    stored = RNG.integers(0, 255, shape).astype(np.uint8)
    image = Image.fromarray(stored)
    tags = Image.Exif()
    tags[0x0112] = orientation
    out = io.BytesIO()
    image.save(out, "PNG", exif=tags)
    theirs = np.asarray(ImageOps.exif_transpose(Image.open(out)))
    assert np.array_equal(upright(stored, orientation), theirs)


def test_where_row_zero_and_column_zero_are_seen() -> None:
    """EXIF 2.32, tag 0x0112: 2 is top right, 3 bottom right, 6 right top, and so on."""
    stored = np.zeros((3, 4), np.uint8)
    stored[0, 0] = 1
    corner = {o: np.argwhere(upright(stored, o))[0].tolist() for o in range(1, 9)}
    assert corner[1] == corner[5] == [0, 0]
    assert corner[2] == [0, 3] and corner[3] == [2, 3] and corner[4] == [2, 0]
    assert corner[6] == [0, 2] and corner[7] == [3, 2] and corner[8] == [3, 0]


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_alpha_lays_the_picture_on_white(dtype: type) -> None:
    top = int(np.iinfo(dtype).max)
    colour = np.array([[[0, top // 2, top]]], dtype)
    for cover in (0, top // 4, top // 2, top):
        alpha = np.full((1, 1, 1), cover, dtype)
        flat = flatten(np.concatenate([colour, alpha], axis=2))
        share = cover / top
        expected = colour[0, 0] * share + top * (1 - share)
        assert flat.shape == (1, 1, 3) and flat.dtype == dtype
        assert flat[0, 0] == pytest.approx(expected, abs=0.51)
        grey = flatten(np.array([[[top // 3, cover]]], dtype))
        assert grey.shape == (1, 1)
        assert grey[0, 0] == pytest.approx(top // 3 * share + top * (1 - share), abs=0.51)


def test_flattening_leaves_plain_pictures_alone() -> None:
    grey, colour = (
        RNG.integers(0, 255, (4, 6)).astype(np.uint8),
        RNG.integers(0, 255, (4, 6, 3)).astype(np.uint8),
    )
    assert flatten(grey) is grey
    assert flatten(colour) is colour
    assert np.array_equal(flatten(grey[:, :, None]), grey)


@pytest.mark.parametrize("channels", [5, 7])
def test_other_channels_are_no_photo(channels: int) -> None:
    with pytest.raises(UnsupportedError, match=f"{channels} channels"):
        flatten(np.zeros((2, 2, channels), np.uint8))


def test_a_damaged_picture_is_told_as_such() -> None:
    for kind in ("JPEG", "PNG", "TIFF"):
        with pytest.raises(DamagedError):
            decode_opencv(b"\xff\xd8\xff no picture at all", 1, kind=kind)


def test_single_precision_samples_are_no_photo() -> None:
    data = cv2.imencode(".tiff", np.zeros((4, 4, 3), np.float32))[1].tobytes()
    with pytest.raises(UnsupportedError, match="float32 samples"):
        decode_opencv(data, 1, kind="TIFF")
    with pytest.raises(UnsupportedError, match="32-bit samples"):
        decode_pillow(Image.new("F", (4, 4)))
    with pytest.raises(UnsupportedError, match="32-bit samples"):
        decode_pillow(Image.new("I", (4, 4)))


@pytest.mark.parametrize("mode", ["1", "L", "P", "LA", "RGB", "RGBA", "CMYK"])
def test_every_mode_is_pillows_own_colours_in_the_order_blue_green_red(mode: str) -> None:
    image = Image.fromarray(RNG.integers(0, 255, (6, 9, 3)).astype(np.uint8)).convert(mode)
    found = decode_pillow(image)
    if mode in ("1", "L"):
        assert np.array_equal(found, np.asarray(image.convert("L")))
    else:
        assert np.array_equal(found[:, :, ::-1], np.asarray(image.convert("RGB")))


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("shape", [(8, 12), (9, 15), (8, 12, 3), (260, 8), (261, 11, 3)])
def test_a_quarter_is_the_mean_of_four_by_four(dtype: type, shape: tuple[int, ...]) -> None:
    """As scikit-image's block means; two roundings of a half leave no bias."""
    pixels = RNG.integers(0, 250, shape).astype(dtype)
    small = quartered(pixels)
    h, w = shape[0] // 4, shape[1] // 4
    blocks = (4, 4) if len(shape) == 2 else (4, 4, 1)
    means = block_reduce(pixels[: 4 * h, : 4 * w].astype(float), blocks, np.mean)
    assert small.shape == means.shape and small.dtype == dtype
    assert np.abs(small - means).max() <= 1.0
    assert abs((small - means).mean()) < 0.15


@pytest.mark.parametrize("shape", [(3, 20), (20, 3), (2, 2, 3)])
def test_what_is_smaller_than_a_block_has_no_quarter(shape: tuple[int, ...]) -> None:
    assert quartered(np.zeros(shape, np.uint8)).size == 0
