"""What the measurement needs of a photo's EXIF: its orientation and its focal length."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

#: Where the focal length comes from: tags, or ``stated`` by the caller; ``cropped`` says that one
#: was there but no longer holds.
FocalSource = Literal["exif", "focal-plane", "stated", "cropped", "none"]

# Tag numbers of the EXIF standard (CIPA DC-008 / JEITA CP-3451).
ORIENTATION = 0x0112
EXIF_IFD = 0x8769
_FOCAL_LENGTH = 0x920A
_PIXEL_X = 0xA002
_PIXEL_Y = 0xA003
_FOCAL_PLANE_X = 0xA20E
_FOCAL_PLANE_Y = 0xA20F
_FOCAL_PLANE_UNIT = 0xA210
_FOCAL_LENGTH_35 = 0xA405

#: Diagonal of the 36 x 24 mm frame that the 35-mm-equivalent focal length refers to.
FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)

# FocalPlaneResolutionUnit: 2 inch, 3 cm by the standard; 4 mm and 5 um occur in the wild.
_UNIT_MM = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}

# Below 8 mm a lens is a fisheye, which no pinhole model fits; above 1000 mm nobody reaches 150-350
# mm of distance. Values outside are damaged tags.
SANE_F35_MM = (8.0, 1000.0)

# Rounding of the two sides to whole blocks changes the aspect by less than this; a crop changes
# it by more.
_SAME_ASPECT = 0.01


def orientation_of(tags: Mapping[int, Any]) -> int:
    """Return the orientation tag, 1 (as stored) where it is absent or damaged."""
    value = tags.get(ORIENTATION, 1)
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def focal_length(
    exif_ifd: Mapping[int, Any], width_px: int, height_px: int
) -> tuple[float | None, FocalSource]:
    """Return the 35-mm-equivalent focal length in mm, and where it came from.

    Parameters
    ----------
    exif_ifd
        The EXIF sub-directory, tag number to value.
    width_px, height_px
        Size of the stored picture; the order of the two does not matter.

    Notes
    -----
    The tag FocalLengthIn35mmFilm where it is present; else the focal length over the sensor's
    diagonal, which the focal-plane resolution and the recorded size give. A picture whose sides
    no longer have the recorded ratio was cropped after it was taken: neither its focal length in
    pixels nor its principal point is known then.
    """
    recorded = recorded_size(exif_ifd)
    if recorded is not None and not same_aspect(recorded, (width_px, height_px)):
        return None, "cropped"
    f35 = number(exif_ifd.get(_FOCAL_LENGTH_35))
    if f35 is not None and _sane(f35):
        return f35, "exif"
    f35 = _from_focal_plane(exif_ifd, recorded or (width_px, height_px))
    if f35 is not None and _sane(f35):
        return f35, "focal-plane"
    return None, "none"


def _from_focal_plane(exif_ifd: Mapping[int, Any], size: tuple[float, float]) -> float | None:
    focal = number(exif_ifd.get(_FOCAL_LENGTH))
    x_res = number(exif_ifd.get(_FOCAL_PLANE_X))
    if focal is None or x_res is None:
        return None
    y_res = number(exif_ifd.get(_FOCAL_PLANE_Y)) or x_res
    unit = exif_ifd.get(_FOCAL_PLANE_UNIT, 2)
    unit_mm = _UNIT_MM.get(unit) if isinstance(unit, int) else None
    if unit_mm is None:
        return None
    diagonal_mm = math.hypot(size[0] / x_res, size[1] / y_res) * unit_mm
    return focal * FRAME_DIAGONAL_MM / diagonal_mm


def recorded_size(exif_ifd: Mapping[int, Any]) -> tuple[float, float] | None:
    """Return the picture's width and height as the camera recorded them, None where absent."""
    x, y = number(exif_ifd.get(_PIXEL_X)), number(exif_ifd.get(_PIXEL_Y))
    return None if x is None or y is None else (x, y)


def same_aspect(a: tuple[float, float], b: tuple[float, float]) -> bool:
    """Say whether two pictures' sides have the same ratio, whichever way they are turned."""
    # Sorted, because some phones record the size before, some after the rotation.
    ratio_a, ratio_b = max(a) / min(a), max(b) / min(b)
    return abs(ratio_a / ratio_b - 1.0) <= _SAME_ASPECT


def _sane(f35: float) -> bool:
    return SANE_F35_MM[0] <= f35 <= SANE_F35_MM[1]


def number(value: Any) -> float | None:
    """Return a positive finite number, or None for whatever else a damaged tag may hold."""
    try:
        number = float(value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return number if math.isfinite(number) and number > 0.0 else None
