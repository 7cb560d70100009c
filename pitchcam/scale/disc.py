"""Scale from a round disc or coin blank lying flat."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from pitchcam.outline.contour import outline
from pitchcam.scale.camera import Camera
from pitchcam.scale.reference import Reference
from pitchcam.scale.shapes import Shape, fit_circle

Points = NDArray[np.float64]

#: Thickness of a coin or coin blank where it is not stated: 1.6-2.4 mm (common practice, no
#: source).
THICKNESS_MM = 1.95
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
    top = THICKNESS_MM if thickness_mm is None else thickness_mm
    u_top = U_THICKNESS_MM if thickness_mm is None else 0.05
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
    # The half circle's radius is as good as a tenth of a pixel of its edge's model.
    u_edge = float(np.hypot(0.10, scatter / 10)) / radius
    return Reference(
        source="disc", camera=camera.over_plate(reach + top, np.nan), u_scale=u_edge,
        height_mm=top, u_height_mm=u_top, where_px=centre, labels=(shape.blob.label,),
        outline_px=points,
    )  # fmt: skip


def _basis(normal: Points) -> Points:
    x = np.array([1.0, 0.0, 0.0]) - normal[0] * normal
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(normal, x)])
