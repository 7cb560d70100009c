"""A photo as a program hands it over: a path, an opened photo, or its pixels."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import InputError, UsageError
from pitchcam.files import MAX_MEGAPIXELS
from pitchcam.photo.exif import SANE_F35_MM
from pitchcam.photo.load import load_photo
from pitchcam.photo.origin import origin_of
from pitchcam.photo.record import Photo

#: What :func:`pitchcam.identify` takes for a photo.
Given = str | os.PathLike[str] | Photo | NDArray[np.uint8] | NDArray[np.uint16]

#: A smaller picture shows no thread: three turns of seven pixels a pitch, and room about them.
_LEAST_SIDE_PX = 32


def photo_of(given: Given, f35_mm: float | None = None) -> Photo:
    """Return the photo of a path, of an opened photo (as it is) or of pixels.

    Parameters
    ----------
    given
        The path; or the :class:`Photo`; or pixels, ``(h, w)`` grey or ``(h, w, 3)`` in the order
        blue, green, red, uint8 or uint16, coded by the usual tone curve (IEC 61966-2-1), upright.
    f35_mm
        With pixels alone: the lens's focal length as on a 36 x 24 mm frame, by the diagonal of the
        whole picture; None where unknown. It counts as much as a camera's own tag does.

    Raises
    ------
    InputError
        If the file, or the picture, is none that can be read.
    UsageError
        If ``given`` is none of these, or the focal length none of a lens, or of a photo that
        carries its own.
    """
    if isinstance(given, np.ndarray):
        return _of_pixels(given, f35_mm)
    if f35_mm is not None:
        raise UsageError(
            "f35_mm goes with pixels; a file and an opened photo carry their own.",
            "Leave it out, or give the pixels.",
        )
    if isinstance(given, Photo):
        return given
    if isinstance(given, (str, os.PathLike)):
        return load_photo(given)
    raise UsageError(
        f"a photo is a path, an opened Photo or an array of pixels, not {type(given).__name__}.",
        "Give one of them.",
    )


def _of_pixels(pixels: NDArray[Any], f35_mm: float | None) -> Photo:
    if pixels.dtype not in (np.uint8, np.uint16) or not (
        pixels.ndim == 2 or (pixels.ndim == 3 and pixels.shape[2] == 3)
    ):
        raise UsageError(
            f"pixels of shape {pixels.shape} and type {pixels.dtype} are no photo.",
            "Give (h, w) or (h, w, 3) as uint8 or uint16, in the order blue, green, red.",
        )
    height, width = pixels.shape[:2]
    if min(height, width) < _LEAST_SIDE_PX or height * width > MAX_MEGAPIXELS * 1e6:
        raise InputError(
            f"a picture of {width} x {height} pixels cannot be measured;",
            f"give {_LEAST_SIDE_PX} pixels a side to {MAX_MEGAPIXELS:g} megapixels",
        )
    low, high = SANE_F35_MM
    if f35_mm is not None and not (isinstance(f35_mm, (int, float)) and low <= f35_mm <= high):
        raise UsageError(
            f"a focal length of {f35_mm!r} mm is none of a phone's lens.",
            f"State it as on a 36 x 24 mm frame, {low:g} to {high:g} mm, or leave it out.",
        )
    whole = np.ascontiguousarray(pixels)
    return Photo(
        path=Path("pixels"),
        sha256=hashlib.sha256(whole.tobytes()).hexdigest(),
        pixels=whole,
        f35_mm=None if f35_mm is None else float(f35_mm),
        f35_source="none" if f35_mm is None else "stated",
        origin=origin_of({}, width, height),
    )
