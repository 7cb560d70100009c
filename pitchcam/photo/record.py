"""The photo as the measurement gets it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pitchcam.photo.exif import FocalSource
from pitchcam.photo.origin import Origin

#: Coded (not linear) pixel values, 8 or 16 bit.
Pixels = NDArray[np.uint8] | NDArray[np.uint16]



@dataclass(frozen=True, kw_only=True, slots=True)
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
