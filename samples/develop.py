"""From linear light to a phone's file: lens, mosaic, noise, tone curve, sharpening, JPEG."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import PIL.Image
from PIL.ExifTags import IFD

from samples.scene import Image

#: Electrons at full scale at the lowest gain, and read noise: a phone pixel of about 1.2 um.
FULL_WELL = 6000.0
READ_NOISE = 2.0


@dataclass(frozen=True, kw_only=True)
class Development:
    """What the phone does to the light.

    ``plate`` is the exposure: where the panel's level lands, as a share of full scale (over 1
    clips). ``psf_px`` is the blur of lens and pixel filter (sigma); ``motion_px`` and its
    direction the shake. ``gain`` multiplies shot noise as a short exposure does. ``sharpen`` is the
    amount of an unsharp mask in coded values. ``k1`` is what is left of the lens's distortion: at
    the frame's corner a point lies the share k1 further out.
    """

    plate: float = 0.78
    psf_px: float = 0.6
    motion_px: float = 0.0
    motion_deg: float = 0.0
    vignette: float = 0.04
    gain: float = 1.0
    sharpen: float = 0.4
    sharpen_px: float = 1.2
    denoise: bool = False
    contrast: float = 0.0
    k1: float = 0.0
    quality: int = 90
    orientation: int = 1
    exif_f35: int | None = None


def develop(light: Image, how: Development, seed: int) -> bytes:
    """Return the JPEG file of linear light, RGB.

    Parameters
    ----------
    light : ndarray of float32, (rows, columns, 3)
        Scene light; the panel's level is about 1.
    how : Development
        The phone's settings.
    seed : int
        Of the noise.
    """
    frame = lens(light, how) * np.float32(how.plate)
    raw = mosaic(frame, how, np.random.default_rng(seed))
    coded = tone(demosaic(raw, how), how.contrast)
    coded = sharpen(coded, how)
    #: FocalLength for a sensor of crop factor 3.9, and FocalLengthIn35mmFilm.
    f35 = how.exif_f35
    tags = {} if f35 is None else {37386: round(f35 / 3.9, 2), 41989: f35}
    return encode(eight_bits(coded), how, tags)


def lens(light: Image, how: Development) -> Image:
    """Blur, shake, darken the corners and distort."""
    frame = light
    if how.k1:
        frame = distort(frame, how.k1)
    if how.motion_px:
        frame = cv2.filter2D(frame, -1, _streak(how.motion_px, how.motion_deg))
    if how.psf_px:
        frame = cv2.GaussianBlur(frame, (0, 0), how.psf_px)
    height, width = frame.shape[:2]
    corner = np.float32(np.hypot(width, height) / 2)
    y = (np.arange(height, dtype=np.float32) - height / 2) / corner
    x = (np.arange(width, dtype=np.float32) - width / 2) / corner
    return frame * (1 - np.float32(how.vignette) * (x[None, :] ** 2 + y[:, None] ** 2))[..., None]


def distort(frame: Image, k1: float) -> Image:
    """Move each point out by k1 r^2 (r = 1 at the corner), about the frame's middle."""
    height, width = frame.shape[:2]
    corner = np.float32(np.hypot(width, height) / 2)
    x = (np.arange(width, dtype=np.float32) - (width - 1) / 2) / corner
    y = (np.arange(height, dtype=np.float32) - (height - 1) / 2) / corner
    seen = x[None, :] ** 2 + y[:, None] ** 2
    r2 = seen
    for _ in range(4):
        r2 = seen / (1 + np.float32(k1) * r2) ** 2
    scale = corner / (1 + np.float32(k1) * r2)
    map_x = x[None, :] * scale + np.float32((width - 1) / 2)
    map_y = y[:, None] * scale + np.float32((height - 1) / 2)
    out = cv2.remap(frame, map_x, map_y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.maximum(out, 0)


def _streak(length: float, angle_deg: float) -> Image:
    n = int(np.ceil(length)) // 2 * 2 + 3
    kernel = np.zeros((n, n), np.float32)
    a = np.deg2rad(angle_deg)
    for s in np.linspace(-length / 2, length / 2, 20 * n):
        kernel[round(n // 2 + s * np.sin(a)), round(n // 2 + s * np.cos(a))] += 1
    return kernel / kernel.sum()


def mosaic(frame: Image, how: Development, rng: np.random.Generator) -> Image:
    """Sample the frame through an RGGB filter, with shot and read noise and clipping."""
    raw = np.empty(frame.shape[:2], np.float32)
    for (dy, dx), channel in {(0, 0): 0, (0, 1): 1, (1, 0): 1, (1, 1): 2}.items():
        raw[dy::2, dx::2] = frame[dy::2, dx::2, channel]
    well = FULL_WELL / how.gain
    noise = rng.standard_normal(raw.shape, dtype=np.float32)
    raw += noise * np.sqrt(np.maximum(raw, 0) / well + (READ_NOISE * np.sqrt(how.gain) / well) ** 2)
    return np.clip(raw, 0, 1)


def demosaic(raw: Image, how: Development) -> Image:
    """Return linear RGB, edge-aware; denoised where the phone does."""
    sixteen = np.round(raw * 65535).astype(np.uint16)
    rgb = cv2.demosaicing(sixteen, cv2.COLOR_BayerRGGB2RGB_EA).astype(np.float32) / 65535
    if how.denoise:
        root = np.sqrt(rgb)
        rgb = cv2.bilateralFilter(root, 7, 0.05, 2.0) ** 2
    return rgb


def tone(rgb: Image, contrast: float) -> Image:
    """Apply the IEC 61966-2-1 curve, then an S-curve of the given strength about mid grey."""
    power = 1.055 * np.maximum(rgb, 1e-9) ** (1 / 2.4) - 0.055
    coded = np.where(rgb <= 0.0031308, 12.92 * rgb, power)
    if contrast:
        coded = coded + np.float32(contrast) * coded * (1 - coded) * (2 * coded - 1)
    return coded.astype(np.float32)


def sharpen(coded: Image, how: Development, most: float = np.inf) -> Image:
    """Add an unsharp mask of the luma to all channels, its halo held to ``most``."""
    if not how.sharpen:
        return coded
    luma = coded @ np.array([0.299, 0.587, 0.114], np.float32)
    halo = np.float32(how.sharpen) * (luma - cv2.GaussianBlur(luma, (0, 0), how.sharpen_px))
    return coded + np.clip(halo, -most, most)[..., None]


def eight_bits(coded: Image) -> np.ndarray:
    """Return coded values as bytes."""
    return np.clip(np.round(coded * 255), 0, 255).astype(np.uint8)


def encode(rgb: np.ndarray, how: Development, tags: dict[int, float] | None) -> bytes:
    """Return the file; an orientation tag undoes the turn of the stored rows.

    ``tags`` are those of EXIF besides; with None there is no EXIF, and the rows stay as they are.
    """
    picture = PIL.Image.fromarray(rgb)
    out = io.BytesIO()
    if tags is None:
        picture.save(out, "JPEG", quality=how.quality, subsampling="4:2:0")
        return out.getvalue()
    if how.orientation == 6:
        picture = picture.transpose(PIL.Image.Transpose.ROTATE_90)
    elif how.orientation == 8:
        picture = picture.transpose(PIL.Image.Transpose.ROTATE_270)
    elif how.orientation == 3:
        picture = picture.transpose(PIL.Image.Transpose.ROTATE_180)
    exif = PIL.Image.Exif()
    exif[0x0112] = how.orientation
    if tags:
        exif.get_ifd(IFD.Exif).update(tags)
    picture.save(out, "JPEG", quality=how.quality, exif=exif, subsampling="4:2:0")
    return out.getvalue()


def write(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    part = path.with_suffix(path.suffix + ".part")
    part.write_bytes(content)
    part.replace(path)
