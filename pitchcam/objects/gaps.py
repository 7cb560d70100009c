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
    height, width = shape.crop.light.shape
    s, upper, lower = shape.stations
    y, x = np.mgrid[0:height:2, 0:width:2]
    places = np.stack([x, y], axis=-1) + np.array(shape.crop.origin_px, float)
    along, across = np.moveaxis(shape.axis.to_axis(places), -1, 0)
    middle, half = (np.interp(along, s, (upper + e * lower) / 2) for e in (1, -1))
    core = (along > region.start_px) & (along < region.end_px)
    core &= np.abs(across - middle) < CORE * half
    light = shape.crop.light[::2, ::2][core]
    if not len(light):
        return False
    lit = (light > AS_BACKGROUND[0]) & (light < AS_BACKGROUND[1])
    turn = ((along[core] - region.start_px) / region.spacing_px).astype(int)
    turns = np.bincount(turn)
    through = np.bincount(turn, weights=lit) > SEEN_THROUGH / 2 * turns
    return float(lit.mean()) > SEEN_THROUGH and float(through[turns > 0].mean()) > IN_TURNS
