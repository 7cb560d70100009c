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


def quartered(pixels: NDArray[np.generic]) -> Any:
    """Return the means of 4 x 4 coded pixels; what is left over right and below is left out."""
    h, w = pixels.shape[:2]
    whole: Any = pixels[: h - h % QUARTER, : w - w % QUARTER]
    size = (w // QUARTER, h // QUARTER)
    if 0 in size:
        return whole  # empty
    small = np.empty((size[1], size[0], *whole.shape[2:]), whole.dtype)
    # In strips: what lies between both steps stays near the processor, and takes no memory.
    for first in range(0, size[1], STRIP):
        strip = whole[QUARTER * first : QUARTER * (first + STRIP)]
        rows = len(strip) // QUARTER
        # OpenCV has a quick way to halve, which rounds halves up: the second time the negative is
        # halved, so that it rounds them down.
        half = cv2.resize(strip, (2 * size[0], 2 * rows), interpolation=cv2.INTER_AREA)
        cv2.bitwise_not(half, dst=half)
        fourth = cv2.resize(half, (size[0], rows), interpolation=cv2.INTER_AREA)
        small[first : first + rows] = cv2.bitwise_not(fourth, dst=fourth)
    return small


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
