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

    def surface(x: Values) -> tuple[Values, Values, Values, Values]:
        t = 1 - x / cx
        y = cy + t * (zy[:, 1] - cy)
        z = cz + t * (zy[:, 0] - cz)
        r2 = x * x + y * y
        r = np.sqrt(r2)
        n_y = k * x / r2 + flank * tan_half * y / r
        n_x = -k * y / r2 + flank * tan_half * x / r
        out = (z - cz) + n_y * (y - cy) + n_x * (x - cx)
        return out, y, z, r

    radius = np.abs(zy[:, 1])
    x0 = np.zeros(len(zy))
    x1 = np.clip(side * flank * k / np.maximum(tan_half, 0.1), -0.5 * radius, 0.5 * radius)
    x1 = x1 + radius**2 / cx + 1e-6
    f0 = surface(x0)[0]
    for _ in range(4):
        f1 = surface(x1)[0]
        step = np.where(np.abs(f1 - f0) > 1e-15, (x1 - x0) / np.where(f1 == f0, 1, f1 - f0), 0.0)
        x0, f0, x1 = x1, f1, np.clip(x1 - f1 * step, -0.6 * radius, 0.6 * radius)
    _, y, z, r = surface(x1)
    theta = np.arcsin(np.clip(x1 / r, -1, 1)) * side
    return z - k * theta, r
