"""Samples changed in ways that leave their truth as it is, or that must end in a refusal."""

from __future__ import annotations

import io
import json
import random
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pillow

from tests.fuzz.promises import folder

SAMPLES = Path(__file__).parents[2] / "samples"
_EXIF_IFD, _F35 = 0x8769, 0xA405
Image = NDArray[np.uint8]


@dataclass(frozen=True)
class Sample:
    """One sample photo, made smaller, with its truth and focal length."""

    name: str
    truth: dict[str, Any]
    pixels: Image
    f35_mm: float | None


@cache
def sample_names() -> tuple[str, ...]:
    """Return the samples that show a thread which is to be named."""
    found = []
    for path in sorted(SAMPLES.glob("p*.json")):
        truth = json.loads(path.read_text())
        if truth["quality"] != "refuse" and truth["threads"]:
            found.append(path.stem)
    return tuple(found)


def sample(name: str, width_px: int) -> Sample:
    """Return a sample at a width."""
    truth, f35, path = _made_smaller(name, width_px)
    return Sample(name, truth, np.load(path), f35)


@cache
def _made_smaller(name: str, width_px: int) -> tuple[dict[str, Any], float | None, Path]:
    """Return a sample's truth and focal length, and the file of its pixels at a width.

    The pixels of all samples, held here, were a quarter of what the tool's memory was taken for.
    """
    truth = json.loads((SAMPLES / f"{name}.json").read_text())
    path = SAMPLES / truth["file"]
    pixels = cv2.imread(str(path), cv2.IMREAD_COLOR)
    assert pixels is not None
    shrink = width_px / pixels.shape[1]
    size = (width_px, round(pixels.shape[0] * shrink))
    with Pillow.open(path) as opened:
        f35 = opened.getexif().get_ifd(_EXIF_IFD).get(_F35)
    small = folder() / f"{name}-{width_px}.npy"
    np.save(small, cv2.resize(pixels, size, interpolation=cv2.INTER_AREA))
    return truth, None if f35 is None else float(f35), small


def transformed(rng: random.Random, width_px: int) -> tuple[Sample, bytes, tuple[str, ...]]:
    """Return a sample, its picture changed one to three times as JPEG, and what was done."""
    chosen = sample(rng.choice(sample_names()), width_px)
    pixels, done, f35 = chosen.pixels, [], chosen.f35_mm
    for _ in range(rng.randint(1, 3)):
        name = rng.choice(tuple(_CHANGES))
        pixels = _CHANGES[name](pixels, rng)
        done.append(name)
        if name == "crop":
            f35 = None  # an honest program leaves no focal length that does not hold
    if rng.random() < 0.4 and f35 is not None:
        f35 = None
        done.append("no EXIF")
    data = _jpeg(pixels, f35, rng.randint(70, 96))
    if rng.random() < 0.25:
        data = _damaged(data, rng)
        done.append("damaged")
    return chosen, data, tuple(done)


def _jpeg(pixels: Image, f35: float | None, quality: int) -> bytes:
    out = io.BytesIO()
    exif = Pillow.Exif()
    if f35 is not None:
        exif.get_ifd(_EXIF_IFD)[_F35] = round(f35)
    Pillow.fromarray(pixels[:, :, ::-1]).save(out, "JPEG", quality=quality, exif=exif)
    return out.getvalue()


def _damaged(data: bytes, rng: random.Random) -> bytes:
    """Damage the coded picture, not its headers."""
    out = bytearray(data)
    start = data.rfind(b"\xff\xda") + 14
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(start, len(out) - 2)
        kind = rng.randrange(3)
        if kind == 0:
            out[at] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del out[at : at + rng.randint(1, 40)]
        else:
            out[at:at] = rng.randbytes(rng.randint(1, 8))
    return bytes(out)


def _crop(pixels: Image, rng: random.Random) -> Image:
    h, w = pixels.shape[:2]
    x0, x1 = int(w * rng.uniform(0, 0.3)), int(w * rng.uniform(0.7, 1))
    y0, y1 = int(h * rng.uniform(0, 0.3)), int(h * rng.uniform(0.7, 1))
    return np.ascontiguousarray(pixels[y0:y1, x0:x1])


def _quarter(pixels: Image, rng: random.Random) -> Image:
    return np.ascontiguousarray(np.rot90(pixels, rng.randint(1, 3)))


def _turn(pixels: Image, rng: random.Random) -> Image:
    """Turn about the middle: a pinhole camera rolled; corners get the border's light."""
    h, w = pixels.shape[:2]
    matrix = cv2.getRotationMatrix2D((w / 2 - 0.5, h / 2 - 0.5), rng.uniform(-25, 25), 1.0)
    return np.asarray(
        cv2.warpAffine(
            pixels, matrix, (w, h), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        ),
        np.uint8,
    )


def _scale(pixels: Image, rng: random.Random) -> Image:
    share = rng.uniform(0.6, 1.0)
    size = (round(pixels.shape[1] * share), round(pixels.shape[0] * share))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)


def _light(pixels: Image, rng: random.Random) -> Image:
    gamma, gain = rng.uniform(0.9, 1.1), rng.uniform(0.75, 1.03)
    noise, size = np.random.default_rng(rng.getrandbits(32)), rng.uniform(0, 3)
    out = np.empty_like(pixels)
    for strip, to in zip(_strips(pixels), _strips(out), strict=True):
        coded = strip.astype(np.float32) / 255
        seen = np.clip(coded**gamma * gain, 0, 1) * 255
        seen = seen + noise.normal(0, size, seen.shape)
        to[:] = np.clip(np.rint(seen), 0, 255)
    return out


def _strips(pixels: Image) -> list[Image]:
    """Return the rows by the hundred, so that no whole picture is held in double precision."""
    return [pixels[first : first + 100] for first in range(0, len(pixels), 100)]


def _line(pixels: Image, rng: random.Random) -> Image:
    """Draw a dark line across: a crack, a wire, a dead row of a screen."""
    out, (h, w) = pixels.copy(), pixels.shape[:2]
    wide, shade = rng.randint(1, 14), rng.randint(0, 60)
    if rng.random() < 0.5:
        ends = (0, rng.randrange(h)), (w, rng.randrange(h))
    else:
        ends = (rng.randrange(w), 0), (rng.randrange(w), h)
    if rng.random() < 0.4:  # along the rows or columns
        ends = (ends[0], (w, ends[0][1])) if ends[1][0] == w else (ends[0], (ends[0][0], h))
    cv2.line(out, *ends, (shade, shade, shade), wide, cv2.LINE_AA)
    return out


def _dirt(pixels: Image, rng: random.Random) -> Image:
    out, (h, w) = pixels.copy(), pixels.shape[:2]
    for _ in range(rng.randint(3, 60)):
        at = (rng.randrange(w), rng.randrange(h))
        if rng.random() < 0.5:
            cv2.circle(out, at, rng.randint(1, 5), (40, 45, 50), -1, cv2.LINE_AA)
        else:
            to = (at[0] + rng.randint(-60, 60), at[1] + rng.randint(-60, 60))
            cv2.line(out, at, to, (60, 60, 60), rng.randint(1, 2), cv2.LINE_AA)
    return out


_CHANGES = {
    "crop": _crop,
    "quarter": _quarter,
    "turn": _turn,
    "scale": _scale,
    "light": _light,
    "line": _line,
    "dirt": _dirt,
}
