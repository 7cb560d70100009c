"""The fresh photos' phone: veil, bloom, lens, mosaic, denoising, sharpening, zoom, crop, EXIF."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from samples import develop as base
from samples.scene import HEIGHT, WIDTH, Image

WIDE_ROWS = WIDTH * 9 // 16
MESSENGER_PX = 1600


@dataclass(frozen=True, kw_only=True)
class Phone:
    """What is done to the light; see samples.develop.Development for the fields of ``lens``.

    ``veil`` is the share of light spread evenly, ``bloom`` that spread over ``bloom_px``.
    ``denoise`` blends an edge-keeping filter in, ``chroma_px`` blurs colour. A halo of sharpening
    is held to ``clip``. ``wide`` crops to 16:9, ``zoom`` crops and enlarges, ``messenger`` is a
    copy of 1600 px without EXIF. ``tags`` are EXIF entries.
    """

    lens: base.Development
    veil: float = 0.0
    bloom: float = 0.0
    bloom_px: float = 7.0
    denoise: float = 0.35
    chroma_px: float = 1.2
    clip: float = 0.12
    white: tuple[float, float, float] = (1.0, 1.0, 1.0)
    wide: bool = False
    zoom: float = 1.0
    messenger: bool = False
    f35_tag: int | None = None
    focal_mm: float | None = None
    zoom_tag: float | None = None

    def move(self, px: np.ndarray) -> np.ndarray:
        """Return where undistorted pinhole pixels (n, 2) lie in the upright picture."""
        middle = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])
        corner = float(np.hypot(WIDTH, HEIGHT) / 2)
        d = px - middle
        d = d * (1 + self.lens.k1 * (d**2).sum(axis=1, keepdims=True) / corner**2)
        d = d * self.zoom
        rows = WIDE_ROWS if self.wide else HEIGHT
        scale = MESSENGER_PX / WIDTH if self.messenger else 1.0
        centre = np.array([(WIDTH - 1) / 2, (rows - 1) / 2])
        return (centre + d + 0.5) * scale - 0.5

    @property
    def scale(self) -> float:
        """Pixels of the picture per pixel of the sensor."""
        return self.zoom * (MESSENGER_PX / WIDTH if self.messenger else 1.0)


def develop(light: Image, how: Phone, seed: int) -> bytes:
    """Return the JPEG file of linear light (rows, columns, 3) RGB."""
    frame = np.asarray(light, np.float32) * np.float32(how.white)
    if how.bloom:
        frame = frame + np.float32(how.bloom) * (
            cv2.GaussianBlur(frame, (0, 0), how.bloom_px) - frame
        )
    if how.veil:
        frame = frame + np.float32(how.veil) * (frame.mean(axis=(0, 1)) - frame)
    frame = base.lens(frame, how.lens) * np.float32(how.lens.plate)
    rgb = base.demosaic(base.mosaic(frame, how.lens, np.random.default_rng(seed)), how.lens)
    coded = base.tone(clean(rgb, how), how.lens.contrast)
    coded = framed(base.sharpen(coded, how.lens, how.clip), how)
    tags = {37386: how.focal_mm, 41989: how.f35_tag, 41988: how.zoom_tag}
    kept = {k: v for k, v in tags.items() if v is not None}
    return base.encode(base.eight_bits(coded), how.lens, None if how.messenger else kept)


def clean(rgb: Image, how: Phone) -> Image:
    """Denoise in square-root light, where the noise is even, and blur the colour."""
    root = np.sqrt(np.maximum(rgb, 0))
    if how.denoise:
        kept = cv2.bilateralFilter(root, 5, 0.05, 1.6)
        root = root + np.float32(how.denoise) * (kept - root)
    if how.chroma_px:
        luma = (root @ np.array([0.299, 0.587, 0.114], np.float32))[..., None]
        root = luma + cv2.GaussianBlur(root - luma, (0, 0), how.chroma_px)
    return np.maximum(root, 0) ** 2


def framed(coded: Image, how: Phone) -> Image:
    """Crop, zoom and shrink."""
    height, width = coded.shape[:2]
    if how.zoom != 1.0:
        middle = ((width - 1) / 2, (height - 1) / 2)
        move = np.array(
            [[how.zoom, 0, middle[0] * (1 - how.zoom)], [0, how.zoom, middle[1] * (1 - how.zoom)]]
        )
        coded = cv2.warpAffine(coded, move, (width, height), flags=cv2.INTER_CUBIC)
    if how.wide:
        rows = width * 9 // 16
        top = (height - rows) // 2
        coded = coded[top : top + rows]
    if how.messenger:
        rows = round(coded.shape[0] * MESSENGER_PX / width)
        coded = cv2.resize(coded, (MESSENGER_PX, rows), interpolation=cv2.INTER_AREA)
    return coded
