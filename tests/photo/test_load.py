"""Decoding, against Pillow and OpenCV as outside decoders, and every way a file can be unfit."""

import hashlib
import io
import os
import subprocess
import sys

import cv2
import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image, ImageOps

from pitchcam.errors import InputError
from pitchcam.photo import load_photo

# An asymmetric pattern: no rotation or mirror image of it equals another.
HEIGHT, WIDTH = 48, 64


def pattern() -> np.ndarray:
    rgb = np.full((HEIGHT, WIDTH, 3), 220, np.uint8)
    rgb[:16, :24] = (200, 30, 40)
    rgb[32:, 40:] = (20, 60, 180)
    rgb[20:28, :] = (90, 140, 60)
    return rgb


def save(tmp_path, image, name, **options):
    path = tmp_path / name
    image.save(path, **options)
    return path


def exif_bytes(orientation=None, ifd=None):
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
    if ifd:
        exif.get_ifd(0x8769).update(ifd)
    return exif


def test_jpeg_equals_opencv_and_carries_digest(tmp_path):
    path = save(tmp_path, Image.fromarray(pattern()), "a.jpg", quality=95)
    photo = load_photo(path)
    reference = cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_COLOR)
    assert np.array_equal(photo.pixels, reference)
    assert photo.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (photo.width_px, photo.height_px) == (WIDTH, HEIGHT)
    assert (photo.f35_mm, photo.f35_source) == (None, "none")


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
def test_orientation_is_applied_once_as_pillow_does(tmp_path, orientation, suffix):
    options = {"quality": 100, "subsampling": 0} if suffix == "jpg" else {}
    exif = exif_bytes(orientation)
    path = save(tmp_path, Image.fromarray(pattern()), f"a.{suffix}", exif=exif, **options)
    upright = np.asarray(ImageOps.exif_transpose(Image.open(path)))
    photo = load_photo(path)
    assert photo.pixels.shape == upright.shape
    # Two JPEG decoders may differ by a rounding of the inverse transform.
    assert np.abs(photo.pixels[..., ::-1].astype(int) - upright).max() <= 2


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("big", [False, True])
def test_orientation_of_16_bit_tiff(tmp_path, orientation, big):
    stored = pattern().astype(np.uint16) * 257
    path = tmp_path / "a.tif"
    tags = [(274, 3, 1, orientation, True)]
    tifffile.imwrite(path, stored, photometric="rgb", bigtiff=big, extratags=tags)
    exif = exif_bytes(orientation)
    buffer = io.BytesIO()
    Image.fromarray(pattern()).save(buffer, "png", exif=exif)
    upright = np.asarray(ImageOps.exif_transpose(Image.open(buffer))).astype(np.uint16) * 257
    photo = load_photo(path)
    assert photo.pixels.dtype == np.uint16
    assert np.array_equal(photo.pixels[..., ::-1], upright)


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_16_bit_grey_is_kept(tmp_path, suffix):
    grey = (np.arange(HEIGHT * WIDTH).reshape(HEIGHT, WIDTH) * 21).astype(np.uint16)
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(grey).save(path)
    photo = load_photo(path)
    assert photo.pixels.dtype == np.uint16
    assert np.array_equal(photo.pixels, grey)


def test_16_bit_colour_png_is_kept(tmp_path):
    bgr = (np.random.default_rng(1).random((HEIGHT, WIDTH, 3)) * 65535).astype(np.uint16)
    path = tmp_path / "a.png"
    cv2.imwrite(str(path), bgr)
    assert np.array_equal(load_photo(path).pixels, bgr)


@pytest.mark.parametrize(
    ("suffix", "mode"),
    [
        ("jpg", "L"),
        ("jpg", "CMYK"),
        ("png", "L"),
        ("png", "P"),
        ("png", "1"),
        ("tif", "L"),
        ("tif", "P"),
        ("tif", "CMYK"),
        ("tif", "1"),
    ],
)
def test_colour_modes_equal_pillows_conversion(tmp_path, mode, suffix):
    source = Image.fromarray(pattern()).convert(mode)
    path = save(tmp_path, source, f"a.{suffix}")
    photo = load_photo(path)
    if mode in ("L", "1"):
        assert photo.pixels.ndim == 2
        expected = np.asarray(Image.open(path).convert("L"))
        got = photo.pixels
    else:
        expected = np.asarray(Image.open(path).convert("RGB"))
        got = photo.pixels[..., ::-1]
    assert np.abs(got.astype(int) - expected).max() <= 2


@pytest.mark.parametrize("mode", ["RGBA", "LA"])
@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_alpha_is_composited_on_white(tmp_path, mode, suffix):
    source = Image.fromarray(pattern()).convert(mode)
    cover = np.tile(np.linspace(0, 255, WIDTH), (HEIGHT, 1)).astype(np.uint8)
    source.putalpha(Image.fromarray(cover))
    path = save(tmp_path, source, f"a.{suffix}")
    white = Image.new("RGBA", source.size, "white")
    white.alpha_composite(source.convert("RGBA"))
    expected = np.asarray(white.convert("RGB"))
    pixels = load_photo(path).pixels
    rgb = pixels[..., ::-1] if pixels.ndim == 3 else np.repeat(pixels[..., None], 3, axis=2)
    assert np.abs(rgb.astype(int) - expected).max() <= 1
    assert (rgb[:, 0] == 255).all()


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_heic_is_upright_and_keeps_its_focal_length(tmp_path, orientation):
    stored = Image.fromarray(pattern())
    exif = exif_bytes(orientation, {0xA405: 26})
    path = tmp_path / "a.heic"
    pillow_heif.from_pillow(stored).save(path, exif=exif.tobytes(), quality=-1, chroma=444)
    # The encoder writes the orientation as HEIF's own transform: what a phone's file holds.
    tagged = stored.copy()
    tagged.info["exif"] = exif.tobytes()
    upright = np.asarray(ImageOps.exif_transpose(tagged))
    photo = load_photo(path)
    reference = pillow_heif.open_heif(path)
    assert photo.pixels.shape[:2] == (reference.size[1], reference.size[0])
    assert photo.f35_mm == 26
    assert reference.size == (upright.shape[1], upright.shape[0])
    # Lossless but for the colour transform.
    assert np.abs(photo.pixels[..., ::-1].astype(int) - upright).max() <= 6


def test_10_bit_heic_becomes_16_bit(tmp_path):
    rgb16 = np.repeat(np.linspace(0, 65535, 64).astype(np.uint16)[None, :, None], 64, 0)
    rgb16 = np.ascontiguousarray(np.repeat(rgb16, 3, axis=2))
    path = tmp_path / "a.heif"
    heif = pillow_heif.from_bytes(mode="RGB;16", size=(64, 64), data=rgb16.tobytes())
    heif.save(path, quality=-1, chroma=444)
    pixels = load_photo(path).pixels
    assert pixels.dtype == np.uint16
    assert len(np.unique(pixels)) > 60
    assert np.abs(pixels[..., ::-1].astype(int) - rgb16).max() < 65535 * 0.01


def test_focal_length_by_the_tag(tmp_path):
    exif = exif_bytes(ifd={0xA405: 52})
    path = save(tmp_path, Image.fromarray(pattern()), "a.jpg", exif=exif)
    photo = load_photo(path)
    assert (photo.f35_mm, photo.f35_source) == (52, "exif")


def test_damaged_exif_is_no_exif(tmp_path):
    path = tmp_path / "a.jpg"
    broken = b"Exif\0\0II*\0\x08\0\0\0\xff\xff" + b"\xfe" * 40
    Image.fromarray(pattern()).save(path, exif=broken)
    photo = load_photo(path)
    assert photo.f35_mm is None
    assert photo.pixels.shape == (HEIGHT, WIDTH, 3)


def test_data_after_the_end_is_allowed(tmp_path):
    path = save(tmp_path, Image.fromarray(pattern()), "a.jpg")
    whole = load_photo(path).pixels
    path.write_bytes(path.read_bytes() + b"\0" * 5000)
    assert np.array_equal(load_photo(path).pixels, whole)


def encoded(suffix: str) -> bytes:
    noise = (np.random.default_rng(3).random((96, 128, 3)) * 255).astype(np.uint8)
    buffer = io.BytesIO()
    if suffix == "heic":
        pillow_heif.from_pillow(Image.fromarray(noise)).save(buffer, quality=90)
    elif suffix == "tif16":
        tifffile.imwrite(buffer, noise.astype(np.uint16) * 257, photometric="rgb")
    else:
        kinds = {"jpg": "JPEG", "png": "PNG", "tif": "TIFF"}
        Image.fromarray(noise).save(buffer, kinds[suffix])
    return buffer.getvalue()


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "tif16", "heic"])
@pytest.mark.parametrize("share", [0.03, 0.3, 0.6, 0.99])
def test_truncated_files_are_refused(tmp_path, capfd, suffix, share):
    data = encoded(suffix)
    path = tmp_path / f"cut.{suffix}"
    path.write_bytes(data[: int(len(data) * share)])
    with pytest.raises(InputError) as caught:
        load_photo(path)
    assert "\n" not in str(caught.value)
    assert "truncated" in caught.value.message or "not a photo" in caught.value.message
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "tif16", "heic"])
def test_damaged_bytes_never_escape_as_another_error(tmp_path, suffix):
    rng = np.random.default_rng(11)
    data = np.frombuffer(encoded(suffix), np.uint8)
    path = tmp_path / f"bad.{suffix}"
    for _ in range(60):
        bad = data.copy()
        where = rng.integers(0, len(bad), 12)
        if rng.random() < 0.5:
            where = rng.integers(0, min(400, len(bad)), 6)
        bad[where] = rng.integers(0, 256, len(where))
        path.write_bytes(bad.tobytes())
        try:
            photo = load_photo(path)
        except InputError as error:
            assert "\n" not in str(error)
        else:
            assert photo.pixels.dtype in (np.uint8, np.uint16)


def test_corrupt_png_checksum_is_noticed(tmp_path):
    data = bytearray(encoded("png"))
    data[len(data) // 2] ^= 0x10
    path = tmp_path / "a.png"
    path.write_bytes(bytes(data))
    with pytest.raises(InputError, match="truncated or damaged"):
        load_photo(path)


def test_zero_filled_tail_of_a_broken_transfer_is_noticed(tmp_path):
    data = encoded("jpg")
    path = tmp_path / "a.jpg"
    path.write_bytes(data[: len(data) // 2] + b"\0" * (len(data) // 2))
    with pytest.raises(InputError, match="truncated or damaged"):
        load_photo(path)


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "heic"])
def test_size_is_judged_by_the_header(tmp_path, monkeypatch, suffix):
    path = tmp_path / f"a.{suffix}"
    path.write_bytes(encoded(suffix))

    def never(*_args, **_options):
        raise AssertionError("decoded before the size was checked")

    monkeypatch.setattr("pitchcam.photo.load.decode_opencv", never)
    monkeypatch.setattr("pitchcam.photo.load.decode_pillow", never)
    monkeypatch.setattr("pitchcam.photo.load.decode_heif", never)
    with pytest.raises(InputError, match="128 x 96 pixels"):
        load_photo(path, max_megapixels=0.01)


def test_a_header_that_claims_a_giant_picture(tmp_path):
    # A PNG of a few bytes whose header claims 60000 x 60000 pixels.
    buffer = io.BytesIO()
    Image.new("L", (8, 8)).save(buffer, "PNG")
    data = bytearray(buffer.getvalue())
    data[16:24] = (60000).to_bytes(4, "big") * 2
    path = tmp_path / "bomb.png"
    path.write_bytes(bytes(data))
    with pytest.raises(InputError, match="pixels|truncated"):
        load_photo(path)


def test_not_an_image(tmp_path):
    path = tmp_path / "notes.jpg"
    path.write_text("a list of fittings\n" * 50)
    with pytest.raises(InputError, match=r"notes\.jpg is not a photo"):
        load_photo(path)


def test_unfit_paths(tmp_path):
    (tmp_path / "empty.jpg").touch()
    with pytest.raises(InputError, match="empty"):
        load_photo(tmp_path / "empty.jpg")
    with pytest.raises(InputError, match="folder"):
        load_photo(tmp_path)
    with pytest.raises(InputError, match="no file"):
        load_photo(tmp_path / "none.jpg")
    with pytest.raises(InputError, match="cannot be read"):
        load_photo(str(tmp_path / "nul\0.jpg"))
    os.mkfifo(tmp_path / "pipe.jpg")
    with pytest.raises(InputError, match="not a regular file"):
        load_photo(tmp_path / "pipe.jpg")


def test_32_bit_samples_are_refused(tmp_path):
    path = tmp_path / "a.tif"
    Image.fromarray(np.zeros((8, 8), np.float32)).save(path)
    with pytest.raises(InputError, match="32-bit samples"):
        load_photo(path)


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.tif"])
def test_a_photo_loads_the_reader_of_its_own_format_alone(tmp_path, name):
    path = save(tmp_path, Image.fromarray(pattern()), name)
    code = (
        "import sys\n"
        "from pitchcam.photo import load_photo\n"
        f"load_photo({str(path)!r})\n"
        "print(*(m for m in sys.modules if m.startswith('PIL.') and m.endswith('ImagePlugin')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    # TIFF's reads the EXIF tags of every format.
    own = {"a.jpg": "Jpeg", "a.png": "Png", "a.tif": "Tiff"}[name]
    assert set(done.stdout.split()) <= {f"PIL.{own}ImagePlugin", "PIL.TiffImagePlugin"}
    assert f"PIL.{own}ImagePlugin" in done.stdout
