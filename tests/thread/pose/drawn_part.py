"""Silhouettes of turned parts with hexagons, projected vertex by vertex through a pinhole.

A part is a stack of convex slices, rings of vertices from end to end; its shadow is the union of
the slices' convex hulls. Where it comes to rest is found by letting its centre of mass sink. None
of it knows of ellipses, hulls of profiles or the measuring frame.
"""

from dataclasses import dataclass

import cv2
import numpy as np

ANGLES = np.linspace(0, 2 * np.pi, 720, endpoint=False)
FINE = 4


def round_ring(z, radius):
    return z, np.full(len(ANGLES), float(radius))


def hexagon(start, length, flats, chamfer=0.95):
    """Return rings of a hexagon with 30 degree chamfers; angle 0 is the middle of a flat."""
    off = (ANGLES + np.pi / 6) % (np.pi / 3) - np.pi / 6
    edge = flats / 2 / np.cos(off)
    deep = (flats / np.sqrt(3) - chamfer * flats / 2) * np.tan(np.radians(30))
    rings = []
    for z in [*np.linspace(0, deep, 8), *(length - np.linspace(deep, 0, 8))]:
        cone = chamfer * flats / 2 + min(z, length - z) / np.tan(np.radians(30))
        rings.append((start + z, np.minimum(edge, cone)))
    return rings


def cylinder(start, length, radius, edge=0.4):
    return [
        round_ring(start, radius - edge),
        round_ring(start + edge, radius),
        round_ring(start + length - edge, radius),
        round_ring(start + length, radius - edge),
    ]


def vertices(rings):
    """Return the vertices, (rings, angles, 3): along the axis, across, down (angle 0)."""
    return np.array(
        [
            np.stack([np.full(len(r), z), r * np.sin(ANGLES), r * np.cos(ANGLES)], axis=1)
            for z, r in rings
        ]
    )


def weight_at(rings):
    """Return where the centre of mass lies along the axis."""
    z = np.array([z for z, _ in rings])
    area = np.array([np.mean(r**2) for _, r in rings])
    slices = (area[1:] + area[:-1]) / 2 * np.diff(z)
    return float(np.sum(slices * (z[1:] + z[:-1]) / 2) / slices.sum())


def _axis_height(rings, rad):
    """Return the height of the axis at z = 0 with the part inclined and touching the plate."""
    v = vertices(rings).reshape(-1, 3)
    return float((v[:, 2] * np.cos(rad) - v[:, 0] * np.sin(rad)).max())


def comes_to_rest(rings):
    """Return the inclination, degrees, in which the centre of mass has sunk as far as it can."""
    z = weight_at(rings)
    degrees = np.arange(-25, 25.01, 0.05)
    heights = [_axis_height(rings, a) + z * np.sin(a) for a in np.radians(degrees)]
    at = int(np.argmin(np.abs(degrees)))
    while 0 < at < len(degrees) - 1:
        below = min(at - 1, at + 1, key=lambda k: heights[k])
        if heights[below] >= heights[at]:
            break
        at = below
    return float(degrees[at])


@dataclass(frozen=True)
class Lying:
    """A part on the plate under a camera: ``incline_deg`` positive where it rises with its z."""

    rings: list
    incline_deg: float
    heading_deg: float = 0.0
    at_mm: tuple[float, float] = (0.0, 0.0)
    distance_mm: float = 200.0
    f_px: float = 6000.0
    centre_px: tuple[float, float] = (2015.5, 1511.5)
    lifted_mm: float = 0.0

    def axis_height(self, z):
        """Return the height of the axis over the plate at a place along the part."""
        a = np.radians(self.incline_deg)
        return _axis_height(self.rings, a) + z * np.sin(a) + self.lifted_mm

    def photo(self, points):
        """Return photo positions of points of the part, (..., 3) as of :func:`vertices`."""
        a, b = np.radians([self.incline_deg, self.heading_deg])
        middle = (self.rings[0][0] + self.rings[-1][0]) / 2
        along, across, down = points[..., 0] - middle, points[..., 1], points[..., 2]
        out = np.cos(a) * along + np.sin(a) * down
        depth = self.distance_mm - self.axis_height(middle) - np.sin(a) * along + np.cos(a) * down
        x = self.at_mm[0] + np.cos(b) * out - np.sin(b) * across
        y = self.at_mm[1] + np.sin(b) * out + np.cos(b) * across
        return np.stack([x, y], -1) / depth[..., None] * self.f_px + np.array(self.centre_px)

    def outline(self):
        """Return the closed outline of the shadow, (n, 2) photo pixels."""
        seen = self.photo(vertices(self.rings))
        first = np.floor(seen.min(axis=(0, 1))) - 4
        size = np.ceil(seen.max(axis=(0, 1))) + 4 - first
        shadow = np.zeros((size[::-1] * FINE).astype(int), np.uint8)
        for a, b in zip(seen[:-1], seen[1:], strict=True):
            points = (np.concatenate([a, b]) - first) * FINE
            body = cv2.convexHull(np.round(points * 16).astype(np.int32))
            cv2.fillConvexPoly(shadow, body, 1, shift=4)
        contours, _ = cv2.findContours(shadow, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        ring = max(contours, key=len)[:, 0, :].astype(float)
        return ring[:: FINE // 2] / FINE + first


def bolt():
    """A screw: a thread's cylinder, and a head on which it falls."""
    return [*cylinder(0, 26, 5.5), *hexagon(26, 7, 17)]


def sender():
    """A sender: stub, thread, collar, hexagon, and a long body."""
    return [
        *cylinder(0, 14, 6.9),
        *cylinder(14, 2, 9.6, 0.1),
        *hexagon(16, 9, 18),
        *cylinder(25, 16, 7.5),
        *cylinder(41, 6, 3.5, 0.2),
    ]


def stud():
    """A stud: one cylinder, which lies level."""
    return cylinder(0, 32, 6.0, 0.8)


def cap_screw():
    """A screw with a round head, its edges broken."""
    return [*cylinder(0, 24, 5.0), *cylinder(24, 9, 8.5, 0.5)]


def plug():
    """A plug: thread, a round flange, and a smaller hexagon."""
    return [*cylinder(0, 14, 8.0), *cylinder(14, 2.0, 11.5, 0.1), *hexagon(16, 8, 17)]
