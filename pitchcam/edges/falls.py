"""How blurred a photo can be at most, by the sharpest that its outlines show.

Metal mirrors the light along its edge and a wall's foot shows beside it: light then falls over tens
of pixels that are drawn as sharply as all others. Defocus widens every edge, and a shake those
across it by the sine of the angle between both; so whatever is seen sharp, in two directions,
bounds them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import OutlineError
from pitchcam.objects.contour import outline
from pitchcam.objects.shapes import Shape
from pitchcam.small import percentile

Values = NDArray[np.float64]

#: Directions of edges are told apart in so many sectors of half a turn; of an outline so many
#: points are looked at, and its direction is taken over so many to either side.
SECTORS, EDGE_POINTS, TANGENT = 6, 400, 5
#: Shakes are tried along so many directions; along an edge's own, within this sine (3 degrees), no
#: edge tells of one.
SHAKES, BESIDE = 24, 0.05
#: Of a sector's edges this share is as sharp as the photo is; the others show mirrored light. Where
#: blur alone makes the fall, the sharpest tenth is within a twentieth of the sharpest fifth (two
#: photos); over a panel close behind, where only corners are sharp, it is half or two thirds of it.
SHARPEST = 10.0


def most_blur(shapes: Sequence[Shape]) -> float:
    """Return the widest blur, pixels (standard deviation), that the photo's edges leave possible.

    It is rough: from the outlines' fall of light. No more than the widest fall of a direction.
    """
    found = [e for e in (edge_falls(s) for s in shapes) if e is not None]
    if not found:
        return 0.0
    falls, ways = np.concatenate(found, axis=1)
    sectors = (ways / np.pi * SECTORS).astype(int) % SECTORS
    counts = np.bincount(sectors, minlength=SECTORS)
    seen = np.flatnonzero(counts >= len(falls) / (4 * SECTORS))

    def sharpest(widths: Values) -> list[float]:
        return [percentile(widths[sectors == k], SHARPEST) for k in seen]

    shakes = np.arange(SHAKES) * np.pi / SHAKES
    turned = (falls / np.maximum(np.abs(np.sin(ways - shake)), BESIDE) for shake in shakes)
    return min(max(sharpest(falls)), max(min(sharpest(widths)) for widths in turned))


def edge_falls(shape: Shape) -> Values | None:
    """Return the blur at points of an outline, pixels, and the directions of its edge there."""
    try:
        low, high = outline(shape.crop, 0.3, fill_px=30), shape.outline_px
    except OutlineError:
        return None
    along = np.roll(high, -TANGENT, axis=0) - np.roll(high, TANGENT, axis=0)
    every = max(1, len(high) // EDGE_POINTS)
    some, along = high[::every], along[::every]
    apart = np.linalg.norm(some[:, None] - low[None], axis=2).min(axis=1)
    # Levels 0.86 and 0.3 of an edge lie 1.6 standard deviations apart.
    return np.array([apart / 1.6, np.arctan2(along[:, 1], along[:, 0]) % np.pi])
