"""Whether a small live picture is framed well: what to change before the photo is taken.

It looks at what spoils a measurement and can still be mended while the phone is in the hand; it
measures nothing. A frame of about 1000 px across is enough.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera, camera_from_exif
from pitchcam.errors import InputError, PitchcamError
from pitchcam.frozen import dataclass
from pitchcam.objects.field import Blob, Field, find_field
from pitchcam.objects.shapes import describe
from pitchcam.records import ScaleSpec
from pitchcam.reference_kinds import REFERENCE_KINDS
from pitchcam.scale.tilt import window_tilt

#: A phone's main camera, where the frame does not say (common practice, no source); it only
#: scales the tilt that is shown.
_F35_MM = 26.0
#: From this tilt on it costs more than the rest of the budget (one percent of scale across a part
#: of a third of the frame).
_TILTED_DEG = 3.0
#: A part whose box has a diagonal below this share of the frame's width has few pixels per turn:
#: those of the sample photos that are named surely have 0.16 and more.
_SHORT = 0.15
#: A part longer than this share leaves no room beside it for the reference.
_LONG = 0.8
#: Share of clipped background from which edges are eaten.
_CLIPPED = 0.02
#: Movement between frames in shares of the width: at a fifth of a second between frames and a
#: tenth of a second of exposure, half of it is the blur in the photo; 1/2000 is 2 px of 4000.
_STILL = 0.001
#: Objects smaller than this share of the frame are dust.
_DUST = 0.0005
#: The largest frame that is looked at: more would not be done in time.
_MOST_PX = 1600

#: What each hint says, in the order in which they are mended.
HINTS: dict[str, str] = {
    "no light": "Show the lit panel behind the part",
    "too bright": "Too bright: lower the exposure until the background is light grey",
    "no part": "Lay a part on the light",
    "no reference": "The reference is not seen: lay it beside the part, not touching",
    "cut": "Move the part to the middle of the light",
    "touching": "Leave a finger's width between the objects",
    "closer": "Closer",
    "farther": "Farther away",
    "tilted": "Tilted: hold the phone level",
    "hold still": "Hold still",
}


@dataclass(frozen=True, kw_only=True)
class Framing:
    """What is seen in a frame: hints by key of :data:`HINTS`, the worst first.

    ``box`` is the part's (x0, y0, x1, y1) in shares of the frame; ``light`` the small picture to
    hand in with the next frame.
    """

    hints: tuple[str, ...]
    box: tuple[float, float, float, float] | None
    light: NDArray[np.float32]

    @property
    def ready(self) -> bool:
        """Whether the photo may be taken now."""
        return not self.hints


def look_at(jpeg: bytes, scale: ScaleSpec, before: NDArray[np.float32] | None = None) -> Framing:
    """Say what is to be changed in a frame.

    Parameters
    ----------
    jpeg
        The frame as a JPEG file.
    scale
        The reference that is to lie in the picture.
    before
        ``light`` of the frame before, None at the first.

    Raises
    ------
    InputError
        If the frame is no picture, or too large.
    """
    pixels = _decode(jpeg)
    light = _small(pixels)
    still = before is not None and before.shape == light.shape and _moved(before, light) < _STILL
    try:
        field = find_field(pixels)
    except PitchcamError:
        return Framing(hints=("no light",), box=None, light=light)
    hints, box = _objects(pixels, field, scale)
    if field.clipped_share > _CLIPPED:
        hints.append("too bright")
    found = window_tilt(field, camera_from_exif(pixels.shape[1], pixels.shape[0], _F35_MM))
    if found is not None and np.degrees(np.arccos(min(1.0, found[0][2]))) > _TILTED_DEG:
        hints.append("tilted")
    if not still:
        hints.append("hold still")
    return Framing(hints=tuple(key for key in HINTS if key in hints), box=box, light=light)


def _decode(jpeg: bytes) -> NDArray[np.uint8]:
    pixels = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR) if jpeg else None
    if pixels is None or max(pixels.shape) > _MOST_PX or min(pixels.shape[:2]) < 100:
        raise InputError("the frame is no small picture;", "send a JPEG of about 1000 pixels")
    return np.asarray(pixels, dtype=np.uint8)


def _small(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return a grey picture 256 px wide, to see movement by."""
    height = max(1, round(256 * pixels.shape[0] / pixels.shape[1]))
    grey = cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY)
    small = cv2.resize(grey, (256, height), interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.float32)


def _moved(before: NDArray[np.float32], now: NDArray[np.float32]) -> float:
    """Return the shift between two frames as a share of the width."""
    (dx, dy), _ = cv2.phaseCorrelate(before, now)
    return float(np.hypot(dx, dy) / now.shape[1])


def _objects(
    pixels: NDArray[np.uint8], field: Field, scale: ScaleSpec
) -> tuple[list[str], tuple[float, float, float, float] | None]:
    """Return the hints that the objects give, and the part's box in shares of the frame."""
    height, width = pixels.shape[:2]
    blobs = [b for b in field.blobs if b.area_px > _DUST * width * height]
    hints: list[str] = []
    kind = REFERENCE_KINDS.get(scale.source)
    wanted = None if kind is None else kind.shape
    # Two jaws are cut by the frame; a sheet is many squares; a part alone needs neither.
    camera = camera_from_exif(width, height, _F35_MM)
    kinds = {b.label: _kind(pixels, field, b, camera) for b in blobs} if wanted else {}
    if wanted and wanted not in kinds.values():
        hints.append("no reference")
    parts = [b for b in blobs if kinds.get(b.label) != wanted] if wanted else blobs
    if scale.source not in ("jaws", "auto", "sheet") and any(b.cut for b in parts):
        hints.append("cut")
    if any(b.touching for b in parts):
        hints.append("touching")
    if not parts:
        return [*hints, "no part"], None
    part = max(parts, key=lambda b: b.area_px)
    x0, y0, x1, y1 = part.box_px
    longest = float(np.hypot(x1 - x0, y1 - y0)) / width
    if longest < _SHORT:
        hints.append("closer")
    elif longest > _LONG:
        hints.append("farther")
    return hints, (x0 / width, y0 / height, x1 / width, y1 / height)


def _kind(pixels: NDArray[np.uint8], field: Field, blob: Blob, camera: Camera) -> str:
    try:
        return describe(pixels, field, blob, camera).kind
    except Exception:  # a shape too small to be described is no reference
        return "other"
