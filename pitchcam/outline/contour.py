"""The outline of one object on the photo's own pixels, as the outermost edge of its shadow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from pitchcam.outline.field import PART_LEVEL, STEP, Field, Floats
from pitchcam.photo.linear import linear_table

#: Photo pixels kept around an object: room for the normals' profiles beyond the widest halo.
MARGIN = 28
#: Hairs and dust fibres are thinner than this in photo pixels; a crest's base is wider.
FIBRE_PX = 5


@dataclass(frozen=True, kw_only=True)
class Crop:
    """A part of the photo as light relative to the background (1 = background).

    ``light`` is (h, w) of the channel used; ``origin_px`` is the photo position of its (0, 0);
    ``mask`` is the object, filled, without its neighbours.
    """

    light: Floats
    origin_px: tuple[int, int]
    mask: NDArray[np.uint8]
    noise: float
    channel: str
    background_code: float

    def sample(self, xy: NDArray[np.float64], order: int = 1) -> NDArray[np.float64]:
        """Return the relative light at photo positions, (..., 2) -> (...)."""
        x = xy[..., 0] - self.origin_px[0]
        y = xy[..., 1] - self.origin_px[1]
        resample: Any = map_coordinates  # its stub knows no output type beside the input's
        out: NDArray[np.float64] = resample(
            self.light, [y, x], order=order, mode="nearest", output=np.float64
        )
        return out


def _relative(pixels: NDArray[np.generic], box: tuple[int, int, int, int], field: Field) -> Floats:
    x0, y0, x1, y1 = box
    light = linear_table(pixels.dtype)[pixels[y0:y1, x0:x1]]
    if light.ndim == 2:
        light = light[..., None]
    ys, xs = np.mgrid[y0:y1:8, x0:x1:8]
    level = field.plate.level(xs, ys)
    planes = []
    for c in range(light.shape[2]):
        full = cv2.resize(level[c], (x1 - x0, y1 - y0), interpolation=cv2.INTER_LINEAR)
        planes.append(light[..., c] / full)
    return np.stack(planes, axis=2).astype(np.float32)


def _channel(relative: Floats, inside: NDArray[np.uint8]) -> tuple[Floats, str]:
    """Choose blue for parts that mirror colour (brass, copper: darkest rim), else the mean."""
    if relative.shape[2] == 1:
        return relative[..., 0], "grey"
    lit = (inside > 0) & (relative[..., 2] > 0.12) & (relative[..., 2] < 0.97)
    if lit.sum() > max(50, 0.03 * inside.sum()):
        warm = float(np.median(relative[..., 2][lit] / np.maximum(relative[..., 0][lit], 0.02)))
        if warm > 1.25:
            return relative[..., 0].copy(), "blue"
    return relative.mean(axis=2), "mean"


def crop_object(
    pixels: NDArray[np.generic], field: Field, label: int, box_px: tuple[int, int, int, int],
    *, blobs: NDArray[np.int32] | None = None,
) -> Crop:  # fmt: skip
    """Cut one object out of the photo, relative to its background.

    Parameters
    ----------
    pixels
        The photo, (h, w) or (h, w, 3) BGR, uint8 or uint16.
    field
        The lit field of the same photo.
    label, box_px
        The object's label in ``blobs`` (default: the field's labels) and its box.
    """
    labels = field.labels if blobs is None else blobs
    h, w = pixels.shape[:2]
    x0, y0 = max(0, box_px[0] - MARGIN), max(0, box_px[1] - MARGIN)
    x1, y1 = min(w, box_px[2] + MARGIN), min(h, box_px[3] + MARGIN)
    relative = _relative(pixels, (x0, y0, x1, y1), field)
    own = _enlarge(labels == label, (x0, y0, x1, y1))
    others = _enlarge((labels != label) & (labels > 0), (x0, y0, x1, y1))
    # Own territory reaches the margin, but stops half way to a neighbour.
    territory = cv2.distanceTransform(1 - own, cv2.DIST_L2, 3) <= cv2.distanceTransform(
        1 - others, cv2.DIST_L2, 3
    )
    lowest = relative.min(axis=2)
    mask = ((lowest < PART_LEVEL) & territory).astype(np.uint8)
    mask = _largest_filled(mask, own)
    core = np.asarray(cv2.erode(mask, np.ones((5, 5), np.uint8)), np.uint8)
    light, channel = _channel(relative, core)
    far = cv2.dilate(mask, np.ones((17, 17), np.uint8)) == 0
    background = light[far & territory]
    noise = float(1.4826 * np.median(np.abs(background - np.median(background))))
    level = field.plate.level(np.array([(x0 + x1) / 2]), np.array([(y0 + y1) / 2]))
    code = float(level[0, 0] if channel == "blue" else level.mean())
    return Crop(
        light=light, origin_px=(x0, y0), mask=mask, noise=noise, channel=channel,
        background_code=code,
    )  # fmt: skip


def _enlarge(small: NDArray[np.bool_], box: tuple[int, int, int, int]) -> NDArray[np.uint8]:
    x0, y0, x1, y1 = box
    xs = np.minimum(np.arange(x0, x1) // STEP, small.shape[1] - 1)
    ys = np.minimum(np.arange(y0, y1) // STEP, small.shape[0] - 1)
    return small[np.ix_(ys, xs)].astype(np.uint8)


def _largest_filled(mask: NDArray[np.uint8], own: NDArray[np.uint8]) -> NDArray[np.uint8]:
    _, labels, _, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    counts = np.bincount(labels[own > 0].ravel(), minlength=2)
    counts[0] = 0
    body = (labels == int(np.argmax(counts))).astype(np.uint8)
    contours, _ = cv2.findContours(body, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros_like(body)
    cv2.drawContours(filled, [max(contours, key=cv2.contourArea)], -1, 1, cv2.FILLED)
    return _without_fibres(filled)


def _without_fibres(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Cut off fibres: what an opening removes, but for the stubs that are a crest's own tip."""
    opened = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((FIBRE_PX, FIBRE_PX), np.uint8))
    near = cv2.dilate(opened, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9)))
    kept: NDArray[np.uint8] = mask & np.asarray(near, np.uint8)
    return kept


def outline(
    crop: Crop, level: float = PART_LEVEL, *, fill_px: int | None = None
) -> NDArray[np.float64]:
    """Return the object's outline at a level of the relative light, (n, 2) photo pixels, closed.

    Marching squares on the channel in use; the interior (holes of mirrored light) is filled
    first, so that only the outermost crossing counts. ``fill_px`` is how deep inside the mask that
    begins: one pixel near the mask's own level, deeper at lower levels, whose crossing lies there.
    """
    light = crop.light.copy()
    deep = fill_px if fill_px is not None else (1 if level > 0.7 else 6)
    core = cv2.erode(crop.mask, np.ones((2 * deep + 1, 2 * deep + 1), np.uint8))
    light[core > 0] = np.minimum(light[core > 0], level * 0.8)
    outside = cv2.dilate(crop.mask, np.ones((5, 5), np.uint8)) == 0
    light[outside] = 1.0
    rings = _level_rings(light, level)
    ring = max(rings, key=lambda r: abs(cv2.contourArea(r.astype(np.float32))))
    points: NDArray[np.float64] = ring + np.array(crop.origin_px, dtype=float)
    return points


def _level_rings(light: Floats, level: float) -> list[NDArray[np.float64]]:
    from skimage.measure import find_contours

    rings: Any = find_contours(light, level)  # type: ignore[no-untyped-call]
    return [ring[:, ::-1] for ring in rings if len(ring) > 40]
