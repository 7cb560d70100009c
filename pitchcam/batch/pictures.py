"""Small pictures for the contact sheet: the whole photo, and each part cut out."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from pitchcam.photo.record import Photo, Pixels

    Image = NDArray[np.uint8]

#: Longest side in px: 45 mm of paper at 200 dots per inch, sharp enough to tell parts apart.
SIDE_PX = 360
#: The same for a photo of several parts, which takes the width of a page.
CROWDED_SIDE_PX = 1100
#: Room left around a part, as a share of its longer side: enough to see its neighbours.
MARGIN = 0.08
#: Room around all parts together, for the number above a part at the border.
_CROWD_MARGIN = 0.12
_JPEG_QUALITY = 85
#: Photos at least this large are decoded at a quarter of their size, which JPEG gives for free.
_QUARTER_FROM_PX = 2400


def small_pictures(
    path: Path, document: Mapping[str, Any], coarse: Pixels | None = None
) -> dict[int, bytes]:
    """Return small JPEG pictures by part id; id 0 is the whole photo.

    Parameters
    ----------
    path
        The photo.
    document
        The contract's document of the photo, or an empty mapping where there is none.
    coarse
        What :func:`coarse_enough` gave of it, where it was opened before.

    Raises
    ------
    PitchcamError
        If the photo cannot be opened.
    """
    image = _coarse(path) if coarse is None else _shown(coarse)
    shrink = image.shape[1] / document["photo"]["width_px"] if document.get("photo") else 1.0
    crowd = crowd_box(document)
    if crowd is None:
        pictures = {0: _encode(image, SIDE_PX)}
    else:
        pictures = {0: _encode(_cut(image, crowd, shrink, margin=0.0), CROWDED_SIDE_PX)}
    for part in document.get("parts", ()):
        pictures[part["id"]] = _encode(_cut(image, part["box_px"], shrink), SIDE_PX)
    return pictures


def crowd_box(document: Mapping[str, Any]) -> list[float] | None:
    """Return the box in px around all parts of a photo of several, with room; else None."""
    parts = document.get("parts", ())
    if len(parts) < 2:
        return None
    low = [min(part["box_px"][i] for part in parts) for i in (0, 1)]
    high = [max(part["box_px"][i] for part in parts) for i in (2, 3)]
    room = _CROWD_MARGIN * max(high[0] - low[0], high[1] - low[1])
    size = document["photo"]["width_px"], document["photo"]["height_px"]
    return [max(0.0, v - room) for v in low] + [
        min(float(s), v + room) for v, s in zip(high, size, strict=True)
    ]


def _coarse(path: Path) -> Image:
    """Open the photo, upright, as 8-bit colour; large JPEG files at a quarter of their size."""
    quick = _quick_jpeg(path)
    if quick is not None:
        return quick
    from pitchcam.photo import load_photo

    return _shown(load_photo(path).pixels)


def coarse_enough(photo: Photo) -> Pixels | None:
    """Return an opened photo at a quarter of its size, None where that is too small to show."""
    return photo.quarter if max(photo.width_px, photo.height_px) >= _QUARTER_FROM_PX else None


def _shown(pixels: Pixels) -> Image:
    """Return pixels as 8-bit colour."""
    import cv2
    import numpy as np

    deep = pixels.dtype == np.uint16
    image = (pixels >> 8).astype(np.uint8) if deep else pixels.astype(np.uint8, copy=False)
    if image.ndim == 2:
        return np.asarray(cv2.cvtColor(image, cv2.COLOR_GRAY2BGR), dtype=np.uint8)
    return image


def _quick_jpeg(path: Path) -> Image | None:
    with path.open("rb") as handle:
        if handle.read(2) != b"\xff\xd8":
            return None
    import cv2
    import numpy as np
    from PIL import Image as Pillow

    with Pillow.open(path) as header:
        if header.mode not in ("RGB", "L") or max(header.size) < _QUARTER_FROM_PX:
            return None
    quarter = cv2.imread(str(path), cv2.IMREAD_REDUCED_COLOR_4)
    return None if quarter is None else np.asarray(quarter, dtype=np.uint8)


def _cut(image: Image, box_px: list[float], shrink: float, margin: float = MARGIN) -> Image:
    x0, y0, x1, y1 = (v * shrink for v in box_px)
    room = margin * max(x1 - x0, y1 - y0)
    rows = slice(max(0, int(y0 - room)), max(1, int(y1 + room) + 1))
    cols = slice(max(0, int(x0 - room)), max(1, int(x1 + room) + 1))
    return image[rows, cols]


def _encode(image: Image, side_px: int) -> bytes:
    import cv2
    import numpy as np

    scale = side_px / max(image.shape[:2])
    if scale < 1:
        size = (max(1, round(image.shape[1] * scale)), max(1, round(image.shape[0] * scale)))
        image = np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    if not done:
        raise ValueError("the small picture could not be encoded")
    return data.tobytes()
