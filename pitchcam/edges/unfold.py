"""From points on the seen contour to the thread's axial section.

A silhouette is not the axial section: the camera sees a cylinder along tangent rays, and the
helix hides part of its own groove. Both follow from one condition: at a contour point the surface
normal is square to the ray. The surface of a flank is a helicoid, so the condition can be solved
for each measured point, which gives where on the helicoid the point lies; turning it back along
the helix by that angle puts it into the axial section.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]


def unfold_flank(
    zy: Values, pinhole: Values, side: Values, flank: Values, lead_mm: float, tan_half: Values
) -> tuple[Values, Values]:
    """Map contour points on flanks to the axial section.

    Parameters
    ----------
    zy
        Seen positions on the plane x = 0, (n, 2) mm, y measured from the axis.
    pinhole
        The camera (z, y, x) in the axis frame, mm.
    side, flank
        +1 or -1 per point: the side of the axis (sign of y), and the flank of its ridge (+1 for
        the one that faces growing z).
    lead_mm
        Advance per turn, positive for a right-hand thread.
    tan_half
        Tangent of the flank's half angle, per point.

    Returns
    -------
    z, r
        Position along the axis and radius in the axial section, mm. The two sides of a
        single-start thread are half a lead apart in z.

    Notes
    -----
    With k = lead / 2 pi the flank is z = z0 + k theta - flank (r - r2) tan a; the contour lies
    where its normal is square to the ray (secant steps on the point's height over the axis
    plane; four suffice, the error falls below a nanometre).
    """
    k = lead_mm / (2 * np.pi)
    cz, cy, cx = pinhole

    dz, dy = zy[:, 0] - cz, zy[:, 1] - cy
    tan = flank * tan_half

    def surface(x: Values) -> tuple[Values, Values, Values]:
        t = 1 - x / cx
        to_camera = t * dy
        y = cy + to_camera
        r2 = x * x + y * y
        r = np.sqrt(r2)
        # The ray's part along each of the normal's two terms: x - cx is -cx t.
        turned = (x * to_camera + y * (t * cx)) * (k / r2)
        steep = (y * to_camera - x * (t * cx)) * (tan / r)
        return t * dz + turned + steep, t, r

    radius = np.abs(zy[:, 1])
    x0 = np.zeros(len(zy))
    x1 = _within(side * flank * k / np.maximum(tan_half, 0.1), 0.5 * radius)
    x1 += radius**2 / cx + 1e-6
    # On the plane of the axis itself the condition is short.
    f0 = dz + k * cx / zy[:, 1] + np.sign(zy[:, 1]) * tan * dy
    for _ in range(4):
        f1 = surface(x1)[0]
        change = f1 - f0
        moved = np.abs(change) > 1e-15
        step = np.where(moved, x1 - x0, 0.0) / np.where(moved, change, 1.0)
        x0, f0, x1 = x1, f1, _within(x1 - f1 * step, 0.6 * radius)
    _, t, r = surface(x1)
    theta = np.arcsin(np.minimum(np.maximum(x1 / r, -1), 1)) * side
    return cz + t * dz - k * theta, r


def _within(x: Values, most: Values) -> Values:
    out: Values = np.minimum(np.maximum(x, -most), most)
    return out
