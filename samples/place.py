"""Where things lie: parts at rest on the plate by their own weight, and flat references.

World: plate at z = 0, camera above at positive z, x to the right and y up in the picture, mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from samples.forms import Array
from samples.solids import Faces, Part, Turned


@dataclass(frozen=True, kw_only=True)
class Pose:
    """A part's place: heading of its axis (tip to back), incline (back end high), height of tip."""

    rotation: Array
    origin: Array
    incline_deg: float

    def world(self, xyz: Array) -> Array:
        """Return local points (n, 3) in the world."""
        return xyz @ self.rotation.T + self.origin

    def axis_height(self, z: float) -> float:
        """Return the height of the axis above the plate at position z along the part."""
        return float(self.world(np.array([[0.0, 0.0, z]]))[0, 2])


def rest(part: Part, *, at: tuple[float, float], heading_deg: float, shim_deg: float = 0.0) -> Pose:
    """Lay a part on the plate: on the two points of its underside that straddle its weight.

    Parameters
    ----------
    part : Part
        The part; its angle 0 points down.
    at : (float, float)
        World x, y of the middle of the part's axis, mm.
    heading_deg : float
        Direction from tip to back in the plate's plane.
    shim_deg : float
        More incline, as from a chip or burr under the back end (positive) or the tip.

    Returns
    -------
    Pose
        The place of rest.
    """
    z, r = part.rings()
    under_z, under_r = z[:, 0], r[:, 0]
    phi = _lie(under_z, under_r, _weight_at(z, r)) + np.deg2rad(shim_deg)
    height = float(np.max(under_r * np.cos(phi) - under_z * np.sin(phi)))
    psi = np.deg2rad(heading_deg)
    axis = np.array([np.cos(psi) * np.cos(phi), np.sin(psi) * np.cos(phi), np.sin(phi)])
    down = np.array([np.cos(psi) * np.sin(phi), np.sin(psi) * np.sin(phi), -np.cos(phi)])
    rotation = np.column_stack([down, np.cross(axis, down), axis])
    middle = axis * (z.max() / 2)
    origin = np.array([at[0] - middle[0], at[1] - middle[1], height])
    return Pose(rotation=rotation, origin=origin, incline_deg=float(np.rad2deg(phi)))


def _weight_at(z: Array, r: Array) -> float:
    """Axial position of the centre of mass of a solid part."""
    zm, area = z.mean(axis=1), (r**2).mean(axis=1)
    mass = (area[1:] + area[:-1]) / 2 * np.diff(zm)
    return float(np.sum(mass * (zm[1:] + zm[:-1]) / 2) / np.sum(mass))


def _lie(z: Array, r: Array, weight: float) -> float:
    """Angle of the axis when the lower hull's edge under the weight lies on the plate, radians."""
    order = np.lexsort((-r, z))
    hull: list[tuple[float, float]] = []
    for p in zip(z[order], -r[order], strict=True):
        while len(hull) > 1 and _turn(hull[-2], hull[-1], p) <= 0:
            hull.pop()
        hull.append((float(p[0]), float(p[1])))
    for (z0, y0), (z1, y1) in zip(hull[:-1], hull[1:], strict=True):
        if z0 <= weight <= z1:
            return float(-np.arctan2(y1 - y0, z1 - z0))
    raise ValueError("the part's weight lies outside of it")


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def pin(diameter: float, length: float) -> Part:
    """Return a ground pin with small chamfers."""
    e = 0.5
    return Part(
        segments=(
            Turned(
                stations=(
                    (0, diameter - 2 * e),
                    (e, diameter),
                    (length - e, diameter),
                    (length, diameter - 2 * e),
                )
            ),
        )
    )


def slab(outline: Array, thickness: float) -> tuple[Array, Faces]:
    """Return the mesh of a flat thing: a convex outline (n, 2), counter-clockwise, from z = 0."""
    n = len(outline)
    xyz = np.concatenate(
        [np.column_stack([outline, np.zeros(n)]), np.column_stack([outline, np.full(n, thickness)])]
    )
    i = np.arange(n)
    j = (i + 1) % n
    side = np.concatenate([np.stack([i, j, n + j], -1), np.stack([i, n + j, n + i], -1)])
    fan = np.stack([np.zeros(n - 2, int), i[1:-1], i[2:]], -1)
    return xyz, np.concatenate([side, n + fan, fan[:, ::-1]])


def circle(diameter: float, n: int = 1440) -> Array:
    """Return a round outline."""
    t = np.arange(n) * 2 * np.pi / n
    return np.column_stack([np.cos(t), np.sin(t)]) * diameter / 2


def card(width: float = 85.60, height: float = 53.98, radius: float = 3.18, n: int = 48) -> Array:
    """Return the outline of an ISO/IEC 7810 ID-1 card."""
    t = np.linspace(0, np.pi / 2, n)
    arc = radius * np.column_stack([np.cos(t), np.sin(t)])
    corner = np.array([width / 2 - radius, height / 2 - radius])
    quarters = []
    for k, (sx, sy) in enumerate([(1, 1), (-1, 1), (-1, -1), (1, -1)]):
        a = k * np.pi / 2
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        quarters.append(arc @ turn.T + corner * (sx, sy))
    return np.concatenate(quarters)


def jaw(gap: float, side: int, reach: float = 40.0) -> Array:
    """Return the outline of one caliper jaw; its straight inner face is at x = side * gap / 2."""
    inner = gap / 2
    points = np.array(
        [
            (inner, -reach / 2),
            (inner + 1.2, -reach / 2),
            (inner + 9.0, reach / 2),
            (inner, reach / 2),
        ]
    )
    return points if side > 0 else (points * (-1, 1))[::-1]


def turned(outline: Array, angle_deg: float, at: tuple[float, float]) -> Array:
    """Return an outline turned and moved."""
    a = np.deg2rad(angle_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    return outline @ turn.T + np.array(at)
