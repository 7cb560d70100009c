"""Pictures that are not as the camera gave them: moved about they are refused, copies are told."""

from __future__ import annotations

import io
import json
import random
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

import pitchcam
from pitchcam.errors import InputError, UnreadableError
from pitchcam.photo import load_photo
from pitchcam.pipeline.damage import told_copy
from tests.accuracy import scale_of

SAMPLES = Path(__file__).parents[2] / "samples"


def moved(pixels: np.ndarray, how: str, height: float, length: int) -> np.ndarray:
    h, w = pixels.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    if how == "rows":
        x = x + height * np.sin(2 * np.pi * y / length + 0.7)
    elif how == "columns":
        y = y + height * np.sin(2 * np.pi * x / length + 0.7)
    else:
        random = np.random.default_rng(7)
        coarse = random.normal(0, height, (h // length + 1, w // length + 1, 2))
        by = cv2.resize(coarse.astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
        x, y = x + by[..., 0], y + by[..., 1]
    x, y = x.astype(np.float32), y.astype(np.float32)
    return cv2.remap(pixels, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)


@pytest.mark.parametrize(
    "name, how, height, length",
    [
        ("p05-unf12-pin", "rows", 0.5, 200),
        ("p09-g12-disc", "rows", 2.0, 600),
        ("p12-npt38-card", "columns", 1.0, 200),
        ("p12-npt38-card", "pieces", 1.0, 64),
        ("p05-unf12-pin", "pieces", 1.0, 64),
    ],
)
def test_a_sample_moved_in_rows_columns_or_pieces_is_refused(
    name: str, how: str, height: float, length: int
) -> None:
    truth = json.loads((SAMPLES / f"{name}.json").read_text())
    photo = load_photo(SAMPLES / f"{name}.jpg")
    photo = replace(photo, pixels=moved(photo.pixels, how, height, length))
    with pytest.raises(UnreadableError, match=r"straight edges wave") as caught:
        pitchcam.identify(photo, scale_of(truth), plots=False)
    assert caught.value.code == "damaged"
    words = "piece by piece" if how == "pieces" else f"in step along the {how}"
    assert words in caught.value.message


def saved(folder: Path, size: tuple[int, int], recorded: tuple[int, int] | None, f35: int | None):
    """Open a photo of a size that its camera recorded as another."""
    exif = Image.Exif()
    inner = exif.get_ifd(0x8769)
    if f35 is not None:
        inner[0xA405] = f35
    if recorded is not None:
        inner[0xA002], inner[0xA003] = recorded
    path = folder / "photo.jpg"
    Image.new("L", size, 200).save(path, exif=exif)
    return load_photo(path)


@pytest.mark.parametrize(
    "size, recorded, f35, told",
    [
        ((400, 300), None, 26, {}),
        ((400, 300), (4000, 3000), None, {"resized": "400 x 300 pixels", "no-exif": ""}),
        ((400, 300), (402, 301), 26, {}),
        ((300, 400), (400, 300), 26, {}),
        ((400, 300), (200, 150), 26, {"resized": "recorded 200 x 150"}),
        ((400, 250), (4000, 3000), 26, {"cropped": "its camera recorded 4000 x 3000"}),
        ((400, 350), None, 26, {"cropped": "a shape that no camera gives"}),
        ((400, 350), None, None, {"cropped": "a shape that no camera gives", "no-exif": ""}),
        ((400, 300), None, None, {"no-exif": "no focal length"}),
    ],
)
def test_what_was_done_to_a_picture_is_told(tmp_path, size, recorded, f35, told) -> None:
    found = told_copy(saved(tmp_path, size, recorded, f35))
    assert [w.code for w in found] == list(told)
    for warning, words in zip(found, told.values(), strict=True):
        assert words in warning.message
        assert warning.advice


def test_a_crop_is_told_beside_the_answer(tmp_path) -> None:
    """A sample trimmed at one side by a program that keeps the tags."""
    name = "p05-unf12-pin"
    truth = json.loads((SAMPLES / f"{name}.json").read_text())
    with Image.open(SAMPLES / f"{name}.jpg") as opened:
        exif, (w, h) = opened.getexif(), opened.size
        exif.get_ifd(0x8769).update({0xA002: w, 0xA003: h})
        opened.crop((0, 0, w, h - h // 12)).save(tmp_path / "c.jpg", exif=exif, quality=95)
    result = pitchcam.identify(tmp_path / "c.jpg", scale_of(truth), plots=False)
    (told,) = [x for x in result.warnings if x.code == "cropped"]
    assert f"its camera recorded {w} x {h}" in told.message
    assert "no-exif" not in {x.code for x in result.warnings}
    # A focal length that is stated is that of the picture.
    stated = load_photo(tmp_path / "c.jpg").pixels
    again = pitchcam.identify(stated, scale_of(truth), f35_mm=26.0, plots=False)
    assert not {"cropped", "no-exif"} & {x.code for x in again.warnings}


@cache
def as_heic(name: str) -> bytes:
    """Return a sample as HEIC, 1600 pixels wide."""
    with Image.open(SAMPLES / f"{name}.jpg") as opened:
        exif = opened.getexif().tobytes()
        small = opened.resize((1600, round(1600 * opened.height / opened.width)))
    out = io.BytesIO()
    quick = {"preset": "ultrafast"}
    pillow_heif.from_pillow(small).save(out, quality=80, exif=exif, enc_params=quick)
    return out.getvalue()


@pytest.mark.parametrize("how", ["whole", "cut short", "flipped", "inserted", "removed", "blank"])
def test_a_damaged_heic_is_refused_or_named_right(tmp_path, capfd, how: str) -> None:
    """Its decoder goes on after lost bytes, and says nothing: the picture tells."""
    name, random_ = "p12-npt38-card", random.Random(how)
    truth = json.loads((SAMPLES / f"{name}.json").read_text())
    data = bytearray(as_heic(name))
    at = random_.randrange(data.index(b"mdat") + len(data) // 4, len(data) - 3000)
    if how == "cut short":
        del data[at:]
    elif how == "flipped":
        data[at] ^= 1 << random_.randrange(8)
    elif how == "inserted":
        data[at:at] = random_.randbytes(5)
    elif how == "removed":
        del data[at : at + 20]
    elif how == "blank":
        data[at : at + 2000] = bytes(2000)
    (tmp_path / "a.heic").write_bytes(data)
    try:
        result = pitchcam.identify(tmp_path / "a.heic", scale_of(truth), plots=False)
    except (InputError, UnreadableError) as error:
        assert how != "whole"
        assert str(error).isprintable() and error.advice
    else:
        ((thread,),) = [part.threads for part in result.parts]
        assert thread.verdict.designation in (None, "3/8-18 NPT")
    assert capfd.readouterr().err == ""
