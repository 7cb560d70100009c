"""How high over the plate a part's axis lies: a part rests on its largest feature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pitchcam.scale.camera import Camera
from pitchcam.scale.shapes import Shape

Values = NDArray[np.float64]

#: Across corners over across flats of a hexagon.
CORNERS = 2 / np.sqrt(3)
#: A hexagon's corners are broken by a chamfer or a small radius, which takes up to 2 % of its
#: width (common practice, no source).
U_CORNERS = 0.008


@dataclass(frozen=True, kw_only=True)
class Rest:
    """The feature a part rests on: its width in the picture, and the axis's height over the plate.

    ``hexagon`` says that it was taken as a hexagon lying on a flat; ``stretch`` are its stations
    along the axis, pixels.
    """

    width_mm: float
    height_mm: float
    u_height_mm: float
    hexagon: bool
    stretch: tuple[float, float]


def widest_stretch(shape: Shape) -> tuple[float, float, float]:
    """Return start, end and width (pixels) of the part's widest straight stretch."""
    s, upper, lower = shape.stations
    width = upper - lower
    top = float(np.percentile(width, 99.3))
    on = np.flatnonzero(width > 0.985 * top)
    runs = np.split(on, np.flatnonzero(np.diff(on) > 2) + 1)
    run = max(runs, key=len)
    return float(s[run[0]]), float(s[run[-1]]), float(np.median(width[run]))


def rest_height(shape: Shape, camera: Camera) -> Rest:
    """Return the height of a part's axis over the plate.

    Parameters
    ----------
    shape
        The part's outline.
    camera
        The camera over the plate (distance set).

    Notes
    -----
    A hexagon on a flat shows its width across corners w and has its axis at w sqrt(3) / 4; a
    round collar or the thread itself has it at w / 2. A stretch that is wider than the rest of
    the part and carries no thread is taken for a hexagon; where the widest feature is the thread
    or a long cylinder, it is round.
    """
    start, end, width_px = widest_stretch(shape)
    middle = shape.axis.to_photo(np.array([[(start + end) / 2, 0.0]]))
    height = 0.433 * width_px * camera.distance_mm / camera.f_px
    hexagon = _stands_out(shape, start, end, width_px)
    width_mm = 0.0
    for _ in range(4):
        point = camera.on_plane(middle, height)[0]
        width_mm = width_px * float(np.linalg.norm(point)) / camera.f_px
        # The wide feature's contour is at the axis's height for a hexagon's corners; a round one
        # is seen along tangents, a little wider.
        if not hexagon:
            radius = width_mm / 2
            width_mm *= float(np.sqrt(1 - (radius / np.linalg.norm(point)) ** 2))
        height = width_mm * (np.sqrt(3) / 4 if hexagon else 0.5)
    u = U_CORNERS * height if hexagon else 0.01 * height
    # Rests also on what is below the hexagon's flat only if that is lower: small inclination.
    return Rest(
        width_mm=width_mm, height_mm=height, u_height_mm=float(np.hypot(u, 0.08)),
        hexagon=hexagon, stretch=(start, end),
    )  # fmt: skip


def _stands_out(shape: Shape, start: float, end: float, width_px: float) -> bool:
    s, upper, lower = shape.stations
    inside = (s >= start) & (s <= end)
    if any(r.start_px < end and r.end_px > start for r in shape.threads):
        return False
    rest = np.percentile((upper - lower)[~inside], 90) if (~inside).any() else 0.0
    return bool(end - start < 1.2 * width_px and rest < 0.97 * width_px)
