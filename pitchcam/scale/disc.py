"""Scale from a round disc or coin blank lying flat."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from pitchcam.outline.contour import outline
from pitchcam.outline.walls import fit_wall
from pitchcam.scale.camera import Camera
from pitchcam.scale.reference import Reference
from pitchcam.scale.shapes import Shape, fit_circle

Points = NDArray[np.float64]

#: Thickness of a coin or coin blank where it is not stated: 1.6-2.4 mm (common practice, no
#: source).
THICKNESS_MM = 1.85
U_THICKNESS_MM = 0.30


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
        The disc; the thickness is assumed where it is not given.

    Notes
    -----
    On the side away from the picture's centre the upper rim makes the outline, on the side toward
    it the lower one, and there the disc's wall mirrors the panel. Only the upper rim's half is
    used: a circle of the disc's radius on the plane of its top.
    """
    points = outline(shape.crop, 0.5)
    # The border of the light may cut the disc: what lies off its circle is left out.
    centre, radius, on = fit_circle(points, tolerance_px=3.0)
    away = centre - np.array(camera.centre_px)
    normal = (points - centre) / np.hypot(*(points - centre).T)[:, None]
    side = np.sum((points - np.array(camera.centre_px)) * normal, axis=1)
    # Near the picture's centre all of the outline is upper rim.
    use = on & (side > 0) if np.hypot(*away) > 0.2 * radius else on
    unit = camera.over_plate(1.0, 0.0)
    flat = unit.on_plane(points[use], 0.0)
    basis = _basis(np.array(camera.normal))
    xy = flat @ basis.T
    start = [*xy.mean(axis=0), float(np.ptp(xy, axis=0).max()) / 2]
    pixel = 1.0 / camera.f_px

    def cost(q: Points) -> Points:
        out: Points = (np.hypot(xy[:, 0] - q[0], xy[:, 1] - q[1]) - q[2]) / pixel
        return out

    fit = least_squares(cost, start, loss="soft_l1", f_scale=0.15, x_scale=[0.01, 0.01, 0.01])
    reach = diameter_mm / 2 / float(fit.x[2])
    scatter = float(np.sqrt(np.mean(np.minimum(fit.fun**2, 1.0))))
    top, u_top = (thickness_mm, 0.05) if thickness_mm else _thickness(
        shape, camera, centre, radius, float(fit.x[2]), diameter_mm
    )
    # The half circle's radius is as good as a tenth of a pixel of its edge's model.
    u_edge = float(np.hypot(0.10, scatter / 10)) / radius
    return Reference(
        source="disc", camera=camera.over_plate(reach + top, np.nan), u_scale=u_edge,
        height_mm=top, u_height_mm=u_top, where_px=centre, labels=(shape.blob.label,),
        outline_px=points,
    )  # fmt: skip


def _thickness(
    shape: Shape, camera: Camera, centre: Points, radius: float, spread: float, diameter_mm: float
) -> tuple[float, float]:
    """Return the disc's thickness from its wall, seen on the side toward the picture's centre.

    The lower rim's edge lies t (s - R) / L nearer to the centre than the upper rim's would, with
    s the disc's distance from the centre. Combined with what discs usually have.
    """
    away = np.array(camera.centre_px) - centre
    far = float(np.hypot(*away))
    reach_mm = diameter_mm / 2 / spread
    lever = (far - radius) / camera.f_px
    if lever * camera.f_px < 0.3 * radius:
        return THICKNESS_MM, U_THICKNESS_MM
    direction = np.arctan2(away[1], away[0])
    across = np.arange(-12.0, 10.01, 0.25)
    profiles = []
    for turn in np.radians(np.arange(-14, 15, 1.0)):
        normal = np.array([np.cos(direction + turn), np.sin(direction + turn)])
        line = centre + (radius + across[:, None]) * normal
        profiles.append(shape.crop.sample(line))
    wall = fit_wall(across, np.median(np.array(profiles), axis=0))
    if wall.width_px <= 0 or wall.misfit > 0.04:
        return THICKNESS_MM, U_THICKNESS_MM
    # The wall's width in the picture is that of the rims' distance t seen under the slant s / L.
    seen = wall.width_px / camera.f_px * reach_mm / lever
    u_seen = 0.35 / camera.f_px * reach_mm / lever
    weights = np.array([1 / U_THICKNESS_MM**2, 1 / u_seen**2])
    mean = float(np.average([THICKNESS_MM, seen], weights=weights))
    return mean, float(1 / np.sqrt(weights.sum()))


def _basis(normal: Points) -> Points:
    x = np.array([1.0, 0.0, 0.0]) - normal[0] * normal
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(normal, x)])
