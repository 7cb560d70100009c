"""What a photo's tags and size tell of its way from the sensor to here.

The focal length in pixels holds for the whole frame that the sensor gave. A copy that was shrunk
keeps it in proportion, one that was cropped does not, and a messenger's copy tells of neither.
Nothing is concluded here: what it means for the camera is for :mod:`pitchcam.scale` to say.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pitchcam.photo.exif import number, recorded_size, same_aspect

# Tag numbers of the EXIF standard (CIPA DC-008 / JEITA CP-3451) and of TIFF 6.0.
_MAKE, _MODEL, _SOFTWARE, _CHANGED = 0x010F, 0x0110, 0x0131, 0x0132
_TAKEN, _DIGITIZED = 0x9003, 0x9004
_FOCAL_LENGTH = 0x920A
_ZOOM = 0xA404

#: Sides of a phone's sensor and of its frames; 3:2 and 16:9 frames of a 4:3 sensor are cropped, and
#: a camera's 3:2 is not (common practice, no source).
SENSOR_ASPECT = 4 / 3
#: Main cameras of phones write 8 megapixels and more since 2012; what has less was made smaller
#: (common practice, no source).
LEAST_MEGAPIXELS = 7.0
#: Longer sides that programs which send pictures shrink them to (common practice, no source).
SENT_SIDES_PX = frozenset({960, 1024, 1080, 1280, 1440, 1600, 1920, 2048, 2560, 2800, 3840})


@dataclass(frozen=True, kw_only=True, slots=True)
class Origin:
    """Signs of what was done to a photo after it was taken.

    Attributes
    ----------
    has_exif, has_camera
        Whether there are any EXIF tags, and whether they name a camera.
    recorded_px
        Width and height that the camera recorded; None where absent.
    shrunk
        The picture's longer side over the recorded one; None where that is absent. Below 1 it was
        made smaller or cropped, see ``aspect_changed``.
    aspect_changed
        Its sides no longer have the recorded ratio: cropped. None where none is recorded.
    sensor_aspect
        Its sides have the ratio of a phone's sensor.
    few_pixels
        It has fewer pixels than a phone's main camera writes.
    sent_side
        Its longer side is one to which programs shrink what they send.
    zoom
        Digital zoom by its tag, 1 for none; None where absent. The focal length that is stated
        beside it includes the zoom on some phones and not on others.
    focal_mm
        The lens's own focal length; None where absent.
    software
        The program that wrote it last, as it says itself.
    changed_later
        Its time of change is another than that of the shot; None where either is absent.
    """

    has_exif: bool = False
    has_camera: bool = False
    recorded_px: tuple[float, float] | None = None
    shrunk: float | None = None
    aspect_changed: bool | None = None
    sensor_aspect: bool = False
    few_pixels: bool = False
    sent_side: bool = False
    zoom: float | None = None
    focal_mm: float | None = None
    software: str = ""
    changed_later: bool | None = None

    @property
    def messenger(self) -> bool:
        """Whether it looks like a messenger's copy: no tags of a camera, and made smaller."""
        return not self.has_exif and (self.few_pixels or self.sent_side)

    @property
    def whole_frame(self) -> bool | None:
        """Whether it shows the sensor's whole frame: yes, no, or None where nothing tells."""
        if self.aspect_changed or not self.sensor_aspect:
            return False
        if self.recorded_px is not None and self.shrunk == 1.0 and not self.changed_later:
            return True
        return None


def origin_of(
    tags: Mapping[int, Any], exif_ifd: Mapping[int, Any], width_px: int, height_px: int
) -> Origin:
    """Return what tags and size tell of a picture's way.

    Parameters
    ----------
    tags, exif_ifd
        The first directory of the EXIF tags and its EXIF sub-directory, tag number to value.
    width_px, height_px
        Size of the stored picture; the order of the two does not matter.
    """
    size = (float(width_px), float(height_px))
    recorded = recorded_size(exif_ifd)
    changed, taken = tags.get(_CHANGED), exif_ifd.get(_TAKEN) or exif_ifd.get(_DIGITIZED)
    return Origin(
        has_exif=bool(exif_ifd), has_camera=_MAKE in tags or _MODEL in tags, recorded_px=recorded,
        shrunk=None if recorded is None else max(size) / max(recorded),
        aspect_changed=None if recorded is None else not same_aspect(recorded, size),
        sensor_aspect=same_aspect(size, (SENSOR_ASPECT, 1.0)),
        few_pixels=width_px * height_px < LEAST_MEGAPIXELS * 1e6,
        sent_side=max(width_px, height_px) in SENT_SIDES_PX,
        zoom=number(exif_ifd.get(_ZOOM)), focal_mm=number(exif_ifd.get(_FOCAL_LENGTH)),
        software=_text(tags.get(_SOFTWARE)),
        changed_later=str(changed) != str(taken) if changed and taken else None,
    )  # fmt: skip


def _text(value: Any) -> str:
    """Return a tag's text on one line, whatever a damaged one may hold."""
    text = value if isinstance(value, str) else ""
    return "".join(c for c in text if c.isprintable())[:80].strip()
