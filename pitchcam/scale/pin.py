"""Scale from a plain ground pin lying on the plate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.scale.camera import Camera

Points = NDArray[np.float64]


def edge_plane(camera: Camera, start: Points, end: Points) -> Points:
    """Return the unit normal of the plane through the pinhole and an edge in the photo."""
    a, b = camera.rays(np.stack([start, end]))
    n: Points = np.cross(a, b)
    return n / np.linalg.norm(n)


def pin_distance(
    camera: Camera, edges: tuple[tuple[Points, Points], tuple[Points, Points]],
    diameter_mm: float,
) -> tuple[float, float]:  # fmt: skip
    """Return the pinhole's distance from the plate and the pin's convergence in the view.

    Each edge of the shadow spans a plane with the pinhole that touches the cylinder. Half the
    angle d between both planes gives the axis's distance r / sin d, wherever in the picture the
    pin lies; with the axis parallel to the plate, r above it, the plate's distance follows.

    Returns
    -------
    distance_mm
        Perpendicular distance of the pinhole from the plate for the camera's ``normal``.
    slope
        Angle in radians between the axis as the edges' convergence shows it and the plate:
        a measure of the tilt along the pin; 0 where the tilt is right.
    """
    n1 = edge_plane(camera, *edges[0])
    n2 = edge_plane(camera, *edges[1])
    if n1 @ n2 < 0:
        n2 = -n2
    half = 0.5 * float(np.arctan2(np.linalg.norm(np.cross(n1, n2)), n1 @ n2))
    bisector = (n1 + n2) / np.linalg.norm(n1 + n2)
    normal = np.array(camera.normal)
    along = np.cross(bisector, normal)
    along /= np.linalg.norm(along)
    seen = np.cross(n1, n2)
    seen /= np.linalg.norm(seen)
    slope = float(np.arcsin(np.clip(seen @ normal * np.sign(seen @ along), -1, 1)))
    radius = diameter_mm / 2
    foot = np.cross(along, bisector)
    foot *= np.sign(foot[2]) * radius / np.sin(half)
    return float(normal @ foot) + radius, slope
