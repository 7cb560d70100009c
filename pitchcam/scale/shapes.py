"""What each object on the light is: a part, or one of the references by its shape."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.outline.contour import Crop, crop_object, outline
from pitchcam.outline.field import Blob, Field
from pitchcam.thread.axis import ImageAxis, envelope, find_axis
from pitchcam.thread.regions import Region, find_regions

Points = NDArray[np.float64]
Kind = Literal["bar", "disc", "card", "other"]

#: A pin or drill shank is at least this many times longer than wide, and at most.
BAR_ASPECT = (1.7, 25.0)
#: ISO/IEC 7810 ID-1: 85.60 mm x 53.98 mm; perspective changes the ratio by a percent or two.
CARD_ASPECT = 85.60 / 53.98
CARD_TOLERANCE = 0.06


@dataclass(frozen=True, kw_only=True)
class Shape:
    """One object: its outline at the part level, axis, envelope, repeating regions and kind."""

    blob: Blob
    crop: Crop
    outline_px: Points
    axis: ImageAxis
    stations: tuple[Points, Points, Points]
    threads: tuple[Region, ...]
    others: tuple[Region, ...]
    kind: Kind

    @property
    def length_px(self) -> float:
        """Extent along the axis."""
        return float(len(self.stations[0]))

    @property
    def width_px(self) -> float:
        """Largest extent across the axis (the upper percent left out)."""
        _, upper, lower = self.stations
        return float(np.percentile(upper - lower, 99))

    @property
    def centre_px(self) -> Points:
        """Middle of the outline's box."""
        return (self.outline_px.min(axis=0) + self.outline_px.max(axis=0)) / 2


def describe(pixels: NDArray[np.generic], field: Field, blob: Blob) -> Shape:
    """Cut out one object and find its outline, axis, threads and kind."""
    crop = crop_object(pixels, field, blob.label, blob.box_px)
    points = outline(crop)
    axis = find_axis(points)
    stations = envelope(axis.to_axis(points))
    threads, others = find_regions(*stations)
    kind: Kind = "other" if threads or others else _kind(points)
    return Shape(
        blob=blob, crop=crop, outline_px=points, axis=axis, stations=stations,
        threads=tuple(threads), others=tuple(others), kind=kind,
    )  # fmt: skip


def _kind(points: Points) -> Kind:
    contour = points.astype(np.float32)
    area = cv2.contourArea(contour)
    (_, radius) = cv2.minEnclosingCircle(contour)
    # A disc cut a little by the light's border still fills its circle better than any part.
    if area > 0.90 * np.pi * radius**2:
        return "disc"
    _, (w, h), _ = cv2.minAreaRect(contour)
    w, h = max(w, h), max(min(w, h), 1.0)
    if area > 0.96 * w * h and abs(w / h / CARD_ASPECT - 1) < CARD_TOLERANCE:
        return "card"
    if area > 0.93 * w * h and BAR_ASPECT[0] <= w / h <= BAR_ASPECT[1]:
        return "bar"
    return "other"
