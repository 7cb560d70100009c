"""The far half of a disc's rim as a sharp edge that tells the photo's blur and sharpening."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.lines import PROFILE_STEP, StraightEdge, mean_profile
from pitchcam.objects.shapes import Shape, fit_circle

Points = NDArray[np.float64]

#: Off the camera's foot by this much to both sides the wall under a disc's rim is hidden, so that
#: the rim is a sharp edge; it is taken in arcs, along which a tilted circle stays round.
FAR_RAD = np.radians(60.0)
ARCS = 4
#: Reach of a profile to both sides, as along straight edges.
REACH_PX = 9.0
#: Plain light is even to this, and a disc's top is darker than this.
EVEN, DARK = 0.15, 0.5


def rim_arcs(shape: Shape, centre_px: tuple[float, float]) -> list[StraightEdge]:
    """Return arcs of a disc's rim on the side away from the picture's centre.

    ``start`` and ``end`` of each are its ends, ``normal`` points outward at its middle.
    """
    ring = shape.outline_px
    away = ring.mean(axis=0) - np.array(centre_px)
    middle = float(np.arctan2(away[1], away[0]))
    # The near half is the lower rim; right under the camera both are one circle.
    far = (ring - ring.mean(axis=0)) @ away >= 0.2 * np.hypot(*away) * np.ptp(
        ring, axis=0
    ).max() / 2
    centre, radius, on = fit_circle(ring[far], tolerance_px=2.0)
    if on.mean() < 0.5:
        return []
    across = np.arange(-REACH_PX, REACH_PX + 1e-9, PROFILE_STEP)
    width = 2 * FAR_RAD / ARCS
    out = []
    for i in range(ARCS):
        first = middle - FAR_RAD + i * width
        turns = np.arange(first, first + width, 1 / radius)
        rays = np.stack([np.cos(turns), np.sin(turns)], axis=1)
        light = shape.crop.sample(centre + (radius + across[None, :, None]) * rays[:, None, :])
        outer, inner = light[:, across > 7.0], light[:, across < -7.0]
        if np.abs(outer - 1).max() > EVEN or inner.max() > DARK:
            continue  # cut by the border of the light, or beside something
        out.append(
            StraightEdge(
                start=centre + radius * rays[0],
                end=centre + radius * rays[-1],
                normal=rays[len(rays) // 2],
                at=(0.0,),
                profiles=(mean_profile(across, light, shape.crop.background_code, None, 0.0),),
            )
        )
    return out
