"""What a photo's tags and size tell of its way from the sensor to here.

The focal length in pixels holds for the whole frame that the sensor gave. A copy that was shrunk
keeps it in proportion, one that was cropped does not. Nothing is concluded here: what it means for
the camera is for :mod:`pitchcam.camera` to say.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pitchcam.frozen import dataclass
from pitchcam.photo.exif import number, recorded_size, same_aspect

#: DigitalZoomRatio of the EXIF standard (CIPA DC-008 / JEITA CP-3451).
_ZOOM = 0xA404
#: Make, Model (TIFF 6.0) and LensModel (CIPA DC-008).
_MAKE, _MODEL, _LENS = 0x010F, 0x0110, 0xA434
#: No name is longer.
_MOST_NAME = 80

#: Sides of a phone's sensor and of its frames; 3:2 and 16:9 frames of a 4:3 sensor are cropped, and
#: a camera's 3:2 is not (common practice, no source).
SENSOR_ASPECT = 4 / 3


@dataclass(frozen=True, kw_only=True, slots=True)
class Origin:
    """Signs of what was done to a photo after it was taken.

    Attributes
    ----------
    recorded_px
        Width and height as the camera recorded them; None where they are absent.
    shrunk
        The picture's longer side over the recorded one; None where that is absent. Below 1 it was
        made smaller, or cropped to the same shape.
    sensor_aspect
        Its sides have the ratio of a phone's sensor.
    zoom
        Digital zoom by its tag, 1 for none; None where absent. The focal length that is stated
        beside it includes the zoom on some phones and not on others.
    camera
        Make, model and lens as the tags name them; None where no model is named.
    """

    recorded_px: tuple[float, float] | None = None
    shrunk: float | None = None
    sensor_aspect: bool = False
    zoom: float | None = None
    camera: str | None = None


def origin_of(
    exif_ifd: Mapping[int, Any],
    width_px: int,
    height_px: int,
    tags: Mapping[int, Any] | None = None,
) -> Origin:
    """Return what tags and size tell of a picture's way.

    Parameters
    ----------
    exif_ifd
        The EXIF sub-directory, tag number to value.
    width_px, height_px
        Size of the stored picture; the order of the two does not matter.
    tags
        The main directory, which names the camera.
    """
    recorded = recorded_size(exif_ifd)
    return Origin(
        recorded_px=recorded,
        shrunk=None if recorded is None else max(width_px, height_px) / max(recorded),
        sensor_aspect=same_aspect((width_px, height_px), (SENSOR_ASPECT, 1.0)),
        zoom=number(exif_ifd.get(_ZOOM)),
        camera=_camera(tags or {}, exif_ifd),
    )


def _camera(tags: Mapping[int, Any], exif_ifd: Mapping[int, Any]) -> str | None:
    model = _name(tags.get(_MODEL))
    if not model:
        return None
    said = (_name(tags.get(_MAKE)), model, _name(exif_ifd.get(_LENS)))
    return ", ".join(s for s in said if s)


def _name(value: Any) -> str:
    """Return a tag's text, printable and short; nothing where it is no text."""
    if not isinstance(value, str):
        return ""
    return "".join(c for c in value if c.isprintable()).strip()[:_MOST_NAME]
