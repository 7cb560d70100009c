"""From a file's bytes to pixels, in the order blue, green, red, upright."""

from __future__ import annotations

import os
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.photo.intact import tiff_as_stored
from pitchcam.photo.record import Pixels

# A cut-out photo shows the plate where it is transparent, and the plate is the bright one.
_BACKGROUND = 1.0


class DamagedError(Exception):
    """The bytes end too early or do not decode."""


class UnsupportedError(Exception):
    """A whole image of a kind that no camera writes; the message names the kind."""


def decode_opencv(
    data: bytes, orientation: int, *, kind: str, shape: tuple[int, ...] = ()
) -> Pixels:
    """Decode JPEG (grey or RGB), PNG, or 16-bit TIFF.

    OpenCV is told to leave the orientation alone, and it is applied here, so that it is applied
    once whatever the format does. ``shape`` is that of a JPEG's pixels by its header.

    Raises
    ------
    DamagedError
        If the data are cut or broken.
    """
    if kind == "TIFF":
        data = tiff_as_stored(data)
    pixels: Any = into_own_memory(data, shape) if kind == "JPEG" else None
    try:
        if pixels is None:
            pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error as error:
        raise DamagedError from error
    if pixels is None:
        raise DamagedError
    if pixels.dtype not in (np.uint8, np.uint16):
        raise UnsupportedError(f"{pixels.dtype} samples")
    return upright(flatten(pixels), orientation)


def into_own_memory(data: bytes, shape: tuple[int, ...]) -> Pixels | None:
    """Decode a JPEG into memory made here; None where that does not go, or may have gone wrong.

    What OpenCV allocates itself is copied on its way to NumPy, which takes as long as decoding and
    as much memory again. Only its reader of files fills an array that is given, so that the bytes
    become a file in memory, where the system has those. The reader does not say whether it failed:
    the last row is filled with chance beforehand, and must not be the same afterwards.
    """
    if not hasattr(os, "memfd_create") or min(shape, default=0) < 1:
        return None
    pixels = np.empty(shape, np.uint8)
    unread = np.frombuffer(os.urandom(pixels[-1].nbytes), np.uint8).reshape(pixels[-1].shape)
    pixels[-1] = unread
    descriptor = os.memfd_create("photo")
    try:
        with os.fdopen(descriptor, "wb", closefd=False) as handle:
            handle.write(data)
        read: Any = cv2.imread(f"/proc/self/fd/{descriptor}", pixels, cv2.IMREAD_UNCHANGED)
    except (cv2.error, OSError):
        return None
    finally:
        os.close(descriptor)
    filled = read is pixels and not (pixels[-1] == unread).all()
    return pixels if filled else None


def check_coded(data: bytes) -> None:
    """Let OpenCV read a JPEG that another decodes, at an eighth, for what its decoder says of it.

    Pillow is silent where the coded data break off into others.
    """
    if cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_REDUCED_GRAYSCALE_8) is None:
        raise DamagedError


def decode_pillow(image: Any) -> Pixels:
    """Decode an opened Pillow image; the orientation is left as the decoder gives it."""
    mode = image.mode
    if mode in ("I", "F"):
        raise UnsupportedError("32-bit samples")
    if mode.startswith("I;16"):
        return np.ascontiguousarray(np.asarray(image)).astype(np.uint16, copy=False)
    image.load()
    if mode in ("1", "L"):
        return np.array(image.convert("L"))
    has_alpha = mode in ("LA", "PA", "La", "RGBa", "RGBA") or "transparency" in image.info
    rgb = np.asarray(image.convert("RGBA" if has_alpha else "RGB"))
    swap = cv2.COLOR_RGBA2BGRA if has_alpha else cv2.COLOR_RGB2BGR
    swapped: NDArray[np.uint8] = cv2.cvtColor(rgb, swap)  # type: ignore[assignment]
    return flatten(swapped)


def decode_heif(heif: Any) -> Pixels:
    """Decode the primary image of an opened HEIF file, which turns it upright itself.

    Raises
    ------
    UnsupportedError
        For a layout other than grey, BGR or BGRA.
    """
    pixels = np.array(np.asarray(heif))
    if pixels.dtype not in (np.uint8, np.uint16):
        raise UnsupportedError(f"{pixels.dtype} samples")
    return flatten(pixels)


def flatten(pixels: Any) -> Pixels:
    """Return ``(h, w)`` or ``(h, w, 3)``: alpha is composited on white, in coded values.

    Notes
    -----
    Transparent pixels of a cut-out photo stand for the removed bright background.
    """
    if pixels.ndim == 3 and pixels.shape[2] == 1:
        return np.ascontiguousarray(pixels[:, :, 0])
    if pixels.ndim == 2 or pixels.shape[2] == 3:
        return pixels  # type: ignore[no-any-return]
    if pixels.shape[2] not in (2, 4):
        raise UnsupportedError(f"{pixels.shape[2]} channels")
    top = int(np.iinfo(pixels.dtype).max)
    colours = pixels[:, :, :-1] if pixels.shape[2] == 4 else pixels[:, :, 0]
    alpha = pixels[:, :, -1]
    flat = np.ascontiguousarray(colours)
    if int(alpha.min()) == top:
        return flat
    # Row by row, so that the floating-point copy stays small.
    for row, cover in enumerate(alpha):
        share = cover.astype(np.float32) / top
        share = share if flat.ndim == 2 else share[:, None]
        blend = flat[row] * share + (1.0 - share) * (_BACKGROUND * top)
        flat[row] = np.rint(blend).astype(flat.dtype)
    return flat


def upright(pixels: Pixels, orientation: int) -> Pixels:
    """Apply an EXIF orientation (1-8) to pixels as stored.

    Notes
    -----
    EXIF 2.32, tag 0x0112: the value names where row 0 and column 0 are seen.
    """
    turned: Any = pixels
    if orientation in (5, 7):
        turned = cv2.transpose(turned)
    if orientation == 6:
        turned = cv2.rotate(turned, cv2.ROTATE_90_CLOCKWISE)
    elif orientation == 8:
        turned = cv2.rotate(turned, cv2.ROTATE_90_COUNTERCLOCKWISE)
    elif orientation == 2:
        turned = cv2.flip(turned, 1)
    elif orientation == 4:
        turned = cv2.flip(turned, 0)
    elif orientation in (3, 7):
        turned = cv2.rotate(turned, cv2.ROTATE_180)
    return turned  # type: ignore[no-any-return]
