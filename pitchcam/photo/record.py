"""The photo as the measurement gets it."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.photo.exif import FocalSource
from pitchcam.photo.origin import Origin

#: Coded (not linear) pixel values, 8 or 16 bit.
Pixels = NDArray[np.uint8] | NDArray[np.uint16]

#: Sides of the squares of pixels whose means are one point of the shrunk picture.
QUARTER = 4
#: Rows of the shrunk picture that are made at a time.
STRIP = 32


def quartered(pixels: NDArray[np.generic], luma: NDArray[np.uint8] | None = None) -> Any:
    """Return the means of 4 x 4 coded pixels; what is left over right and below is left out.

    ``luma`` (h, w), of a picture in colour and 8 bit, is filled on the way with that of
    :func:`luma_of`.
    """
    h, w = pixels.shape[:2]
    every: Any = pixels
    whole = every[: h - h % QUARTER, : w - w % QUARTER]
    size = (w // QUARTER, h // QUARTER)
    if 0 in size:
        if luma is not None:
            luma[:] = luma_of(pixels)
        return whole  # empty
    small = np.empty((size[1], size[0], *whole.shape[2:]), whole.dtype)
    halves = np.empty((2 * min(STRIP, size[1]), 2 * size[0], *whole.shape[2:]), whole.dtype)
    # In strips: what lies between both steps stays near the processor, and takes no memory.
    for first in range(0, size[1], STRIP):
        own = small[first : first + STRIP]
        start, end = QUARTER * first, QUARTER * (first + len(own))
        if luma is not None:
            to = luma[start : h if end == len(whole) else end]
            cv2.cvtColor(every[start : start + len(to)], cv2.COLOR_BGR2GRAY, dst=to)
        # OpenCV has a quick way to halve, which rounds halves up: the second time the negative is
        # halved, so that it rounds them down.
        half = halves[: 2 * len(own)]
        cv2.resize(whole[start:end], half.shape[1::-1], dst=half, interpolation=cv2.INTER_AREA)
        cv2.bitwise_not(half, dst=half)
        cv2.resize(half, own.shape[1::-1], dst=own, interpolation=cv2.INTER_AREA)
        cv2.bitwise_not(own, dst=own)
    return small


def luma_of(pixels: NDArray[np.generic]) -> NDArray[np.uint8]:
    """Return the coded luma of a picture, (h, w), 8 bit; of a grey one itself."""
    coded = eight_bit(pixels)
    grey = coded if coded.ndim == 2 else cv2.cvtColor(coded, cv2.COLOR_BGR2GRAY)
    return np.asarray(grey, np.uint8)


def eight_bit(pixels: NDArray[np.generic]) -> Any:
    """Return coded values of 8 bit, of 16 their upper half."""
    coded: Any = pixels
    return (coded >> 8).astype(np.uint8) if pixels.dtype == np.uint16 else coded


@dataclass(frozen=True, kw_only=True)
class Photo:
    """One opened photo.

    Attributes
    ----------
    path
        The file as it was named by the caller.
    sha256
        Hexadecimal digest of the file's bytes.
    pixels
        ``(h, w)`` grey or ``(h, w, 3)`` in the order blue, green, red; uint8 or uint16; the
        orientation tag is applied, so pixel (0, 0) is the top-left one as a person sees it.
    f35_mm
        Focal length as on a 36 x 24 mm frame, by the frame's diagonal; None where unknown.
    f35_source
        How ``f35_mm`` was found.
    origin
        What tags and size tell of crops, copies and zoom.
    """

    path: Path
    sha256: str
    pixels: Pixels
    f35_mm: float | None
    f35_source: FocalSource
    origin: Origin = Origin()

    @property
    def width_px(self) -> int:
        """Width after the orientation tag is applied."""
        return int(self.pixels.shape[1])

    @property
    def height_px(self) -> int:
        """Height after the orientation tag is applied."""
        return int(self.pixels.shape[0])

    @cached_property
    def quarter(self) -> Pixels:
        """The means of 4 x 4 pixels: finding things needs no more, and needs it more than once."""
        small: Pixels = quartered(self.pixels)
        return small

    def luma(self) -> NDArray[np.uint8]:
        """Return the coded luma, (h, w), 8 bit; the quarter is made on the way if none is yet.

        It is not kept, for its size.
        """
        if self.pixels.ndim == 2 or self.pixels.dtype != np.uint8 or "quarter" in vars(self):
            return luma_of(self.pixels)
        luma = np.empty(self.pixels.shape[:2], np.uint8)
        vars(self)["quarter"] = quartered(self.pixels, luma)
        return luma
