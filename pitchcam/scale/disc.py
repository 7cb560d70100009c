"""Scale from a round disc or coin blank lying flat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from pitchcam.outline.contour import Crop, outline
from pitchcam.outline.walls import Slant, wall_height
from pitchcam.scale.camera import Camera
from pitchcam.scale.reference import Reference
from pitchcam.scale.shapes import Shape, fit_circle

Points = NDArray[np.float64]

#: Thickness of a coin or coin blank where it is not stated: 1.6-2.4 mm (common practice, no
#: source).
THICKNESS_MM = 1.85
U_THICKNESS_MM = 0.30
#: The far half's circle, carried to the near side.
U_NEAR_PX = 0.15


@dataclass(frozen=True, kw_only=True)
class Rim:
    """The upper rim as a circle on the plane at unit distance from the pinhole.

    ``middle`` and ``radius`` are in units of that distance, along the plane's ``basis`` (2, 3),
    counted from the camera's foot: where the perpendicular from the pinhole meets the plane.
    """

    camera: Camera
    basis: Points
    middle: Points
    radius: float
    scatter_px: float

    @property
    def lever(self) -> float:
        """Tangent of the slant under which the wall nearest to the foot is seen; negative: hid."""
        return float(np.hypot(*self.middle)) - self.radius

    def lines(self, toward_foot: bool, across_px: Points) -> Points:
        """Return photo positions (n, m, 2) on lines across the rim's arc toward or off the foot."""
        way = -self.middle if toward_foot else self.middle
        turn = np.arctan2(way[1], way[0]) + np.radians(np.arange(-14, 15, 1.0))
        out = np.stack([np.cos(turn), np.sin(turn)], axis=1)
        normal = np.array(self.camera.normal)
        at = normal + (self.middle + self.radius * out) @ self.basis
        on = self.camera.project(at)
        step = self.camera.project(at + 1e-4 * out @ self.basis) - on
        step /= np.hypot(*step.T)[:, None]
        lines: Points = on[:, None] + across_px[:, None] * step[:, None]
        return lines


def disc_reference(
    shape: Shape, camera: Camera, diameter_mm: float, thickness_mm: float | None = None
) -> Reference:
    """Return the camera's distance from a disc's outline.

    Parameters
    ----------
    shape
        The disc, with the phone's sharpening undone in its crop.
    camera
        Camera with its tilt set.
    diameter_mm, thickness_mm
        The disc; the thickness is assumed where it is neither given nor seen.

    Notes
    -----
    On the side away from the camera's foot the upper rim makes the outline, on the side toward
    it the lower one, and there the disc's wall mirrors the panel. Only the upper rim's half is
    used: a circle of the disc's radius on the plane of its top.
    """
    points = outline(shape.crop, _half(shape.crop))
    # The border of the light may cut the disc: what lies off its circle is left out.
    centre, radius, on = fit_circle(points, tolerance_px=3.0)
    rim = _upper_rim(points[on], centre, radius, camera)
    reach = diameter_mm / 2 / rim.radius
    top, u_top = (thickness_mm, 0.05) if thickness_mm else _thickness(shape.crop, rim, reach)
    # The half circle's radius is as good as a tenth of a pixel of its edge's model.
    u_edge = float(np.hypot(0.10, rim.scatter_px / 10)) / radius
    return Reference(
        source="disc", camera=camera.over_plate(reach + top, np.nan), u_scale=u_edge,
        height_mm=top, u_height_mm=u_top, where_px=centre, labels=(shape.blob.label,),
        outline_px=points,
    )  # fmt: skip


def _half(crop: Crop) -> float:
    """Return the light half way between the disc's own top, which gives back the room's, and 1."""
    inside = crop.light[crop.mask > 0]
    return 0.5 + 0.5 * float(np.clip(np.median(inside), 0.0, 0.2))


def _upper_rim(points: Points, centre: Points, radius: float, camera: Camera) -> Rim:
    normal = np.array(camera.normal)
    foot_px = camera.project(normal)
    out = (points - centre) / np.hypot(*(points - centre).T)[:, None]
    upper = np.sum((points - foot_px) * out, axis=1) > 0
    # About the foot all of the outline is upper rim.
    use = upper if np.hypot(*(centre - foot_px)) > 0.2 * radius else np.ones(len(points), bool)
    unit, basis = camera.over_plate(1.0, 0.0), _basis(normal)
    xy = unit.on_plane(points[use]) @ basis.T

    def cost(q: Points) -> Points:
        off: Points = (np.hypot(xy[:, 0] - q[0], xy[:, 1] - q[1]) - q[2]) * camera.f_px
        return off

    start = [*xy.mean(axis=0), float(np.ptp(xy, axis=0).max()) / 2]
    fit = least_squares(cost, start, loss="soft_l1", f_scale=0.15, x_scale=[0.01, 0.01, 0.01])
    return Rim(
        camera=unit, basis=basis, middle=fit.x[:2], radius=float(fit.x[2]),
        scatter_px=float(np.sqrt(np.mean(np.minimum(fit.fun**2, 1.0)))),
    )  # fmt: skip


def _thickness(crop: Crop, rim: Rim, reach_mm: float) -> tuple[float, float]:
    """Return the disc's thickness and its u from its wall, seen on the side toward the foot.

    The lower rim stands t times the lever's tangent inside the upper one there. Combined with what
    discs usually have.
    """
    usual = THICKNESS_MM, U_THICKNESS_MM
    px_per_mm = rim.camera.f_px / reach_mm * rim.lever
    if px_per_mm * THICKNESS_MM < 0.3:
        return usual
    widest = px_per_mm * (THICKNESS_MM + 3 * U_THICKNESS_MM)
    across = np.arange(-8.0, 8.0 + widest, 0.25)
    sides = [_plain(crop.sample(rim.lines(near, across)), across) for near in (True, False)]
    if sides[0] is None or sides[1] is None:
        return usual
    known = Slant(
        height_mm=THICKNESS_MM, u_height_mm=U_THICKNESS_MM, px_per_mm=px_per_mm,
        u_px_per_mm=rim.camera.f_px / reach_mm * rim.camera.u_tilt_rad, u_place_px=U_NEAR_PX,
    )  # fmt: skip
    return wall_height(across, sides[0], sides[1], known)


def _plain(light: Points, across_px: Points) -> Points | None:
    """Return the middle profile of those that end on plain light, from 0 to 1; None if few do."""
    outer, inner = across_px > across_px[-1] - 3.0, across_px < -6.0
    good = light[np.ptp(light[:, outer], axis=1) < 0.1]
    if len(good) < 10:
        return None
    middle = np.median(good, axis=0)
    low, high = float(np.median(middle[inner])), float(np.median(middle[outer]))
    scaled: Points = (middle - low) / (high - low)
    return scaled


def _basis(normal: Points) -> Points:
    x = np.array([1.0, 0.0, 0.0]) - normal[0] * normal
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(normal, x)])
