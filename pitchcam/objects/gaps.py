"""Light that shows through an object, between the coils of a spring."""

from __future__ import annotations

import numpy as np

from pitchcam.objects.regions import Region
from pitchcam.objects.shapes import Shape

#: Light as bright as the background's, in shares of it: noise and sharpening move it by a tenth.
AS_BACKGROUND = (0.9, 1.15)
#: How far from the axis light is looked for, in radii: farther out metal mirrors the panel.
CORE = 0.6
#: Share of the core that is lit from which on it is seen through (renders: springs 0.058 to 0.46,
#: of 220 threads none above 0.010, and those where a lamp glints); and that of the turns in which
#: some of it is.
SEEN_THROUGH, IN_TURNS = 0.025, 0.5


def is_seen_through(shape: Shape, region: Region) -> bool:
    """Return whether light shows between the turns of a region, as through a spring."""
    s, upper, lower = shape.stations
    box = _box(shape, region)
    y, x = np.mgrid[box]
    places = np.stack([x, y], axis=-1) + np.array(shape.crop.origin_px, float)
    along, across = np.moveaxis(shape.axis.to_axis(places), -1, 0)
    within = (along > region.start_px) & (along < region.end_px)
    along, across, light = along[within], across[within], shape.crop.light[box][within]
    middle, half = (np.interp(along, s, (upper + e * lower) / 2) for e in (1, -1))
    core = np.abs(across - middle) < CORE * half
    along, light = along[core], light[core]
    if not len(light):
        return False
    lit = (light > AS_BACKGROUND[0]) & (light < AS_BACKGROUND[1])
    turn = ((along - region.start_px) / region.spacing_px).astype(int)
    turns = np.bincount(turn)
    through = np.bincount(turn, weights=lit) > SEEN_THROUGH / 2 * turns
    return float(lit.mean()) > SEEN_THROUGH and float(through[turns > 0].mean()) > IN_TURNS


def _box(shape: Shape, region: Region) -> tuple[slice, slice]:
    """Return every second row and column of the crop that a region's core may reach."""
    _, upper, lower = shape.stations
    ends = [
        [s, t]
        for s in (region.start_px, region.end_px)
        for t in (float(lower.min()), float(upper.max()))
    ]
    corners = shape.axis.to_photo(np.array(ends)) - np.array(shape.crop.origin_px, float)
    (x0, y0), (x1, y1) = np.floor(corners.min(axis=0)), np.ceil(corners.max(axis=0))
    height, width = shape.crop.light.shape
    rows, columns = (
        slice(max(int(low) // 2 * 2, 0), min(int(high) + 1, size), 2)
        for low, high, size in ((y0, y1, height), (x0, x1, width))
    )
    return rows, columns
