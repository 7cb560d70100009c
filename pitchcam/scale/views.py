"""Photos of the sheet to a camera profile."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import cv2
import numpy as np

from pitchcam.camera.profile import CameraProfile, calibrate
from pitchcam.errors import InputError
from pitchcam.frozen import dataclass
from pitchcam.photo import load_photo
from pitchcam.scale.markers import Gray
from pitchcam.scale.sheet import Points, sheet_corners


@dataclass(frozen=True, kw_only=True)
class View:
    """One photo and how many markers it gave."""

    photo: str
    markers: int


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """A profile, the photos behind it, and how far a corner of the frame is moved outward."""

    profile: CameraProfile
    views: tuple[View, ...]
    corner_shift_px: float


def profile_from_photos(
    photos: Sequence[str | Path],
    *,
    name: str,
    bar_mm: float | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> Calibration:
    """Find the sheet in each photo and fit one camera to them all.

    A photo that is turned by a quarter against the first is turned back, so that the profile holds
    for the sensor.

    Raises
    ------
    InputError
        If a photo cannot be opened, or differs from the others in size or focal length.
    UnreadableError
        If too few photos show the sheet, or they do not fit one camera.
    """
    size: tuple[int, int] | None = None
    f35: float | None = None
    found: list[tuple[Points, Points]] = []
    views = []
    for i, path in enumerate(photos):
        progress(f"photo {i + 1} of {len(photos)}")
        photo = load_photo(path)
        gray = _gray(photo.pixels)
        shape = (gray.shape[1], gray.shape[0])
        if size is None:
            size, f35 = shape, photo.f35_mm
        elif shape == size[::-1] and shape != size:
            gray = np.ascontiguousarray(np.rot90(gray))
        if (gray.shape[1], gray.shape[0]) != size or photo.f35_mm != f35:
            raise InputError(
                f"{path}: taken with another lens or size than the first photo;",
                "use one lens, without zoom or crop",
            )
        seen = sheet_corners(gray, bar_mm)
        views.append(View(photo=str(path), markers=0 if seen is None else len(seen[0]) // 4))
        if seen is not None:
            found.append(seen)
    if size is None:
        raise InputError("no photos were given;", "name six to ten photos of the sheet")
    profile = calibrate(found, size, name=name, f35_mm=f35)
    corner = np.array([(size[0] - 1.0, size[1] - 1.0)])
    shift = float(np.linalg.norm(corner - profile.centre_px))
    straight = float(np.linalg.norm(profile.undistort(corner) - profile.centre_px))
    return Calibration(profile=profile, views=tuple(views), corner_shift_px=shift - straight)


def _gray(pixels: np.ndarray) -> Gray:
    """Return 8-bit grey of a photo's pixels."""
    eight = pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8)
    if eight.ndim == 3:
        return np.asarray(cv2.cvtColor(eight, cv2.COLOR_BGR2GRAY))
    return np.asarray(eight)
