"""From points on the seen contour to the thread's axial section.

A silhouette is not the axial section: the camera sees a cylinder along tangent rays, and the
helix hides part of its own groove. Both follow from one condition: at a contour point the surface
normal is square to the ray. The surface of a flank is a helicoid, so the condition can be solved
for each measured point, which gives where on the helicoid the point lies; turning it back along
the helix by that angle puts it into the axial section.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pitchcam.scale.camera import Camera
from pitchcam.thread.axis import ImageAxis

Values = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class AxisFrame:
    """A right-handed frame on the thread axis: z along it, y across the view, x to the camera.

    ``origin`` and the unit vectors are in the camera frame; ``pinhole`` is the camera's position
    (z, y, x) in this frame, mm. y x x = z, so that a right-hand helix has z growing with the
    angle from y to x.
    """

    origin: Values
    along: Values
    across: Values
    toward: Values

    @property
    def pinhole(self) -> Values:
        """The pinhole's position (z, y, x) in the frame."""
        return np.array([-self.origin @ v for v in (self.along, self.across, self.toward)])

    def from_photo(self, camera: Camera, xy: Values) -> Values:
        """Return where rays of photo positions meet the plane x = 0, as (z, y) in mm."""
        rays = camera.rays(xy)
        reach = (self.origin @ self.toward) / (rays @ self.toward)
        rel = rays * reach[..., None] - self.origin
        return np.stack([rel @ self.along, rel @ self.across], axis=-1)

    def to_photo(self, camera: Camera, zyx: Values) -> Values:
        """Return photo positions of points (z, y, x), shape (..., 3)."""
        basis = np.stack([self.along, self.across, self.toward])
        return camera.project(self.origin + zyx @ basis)


def axis_frame(
    camera: Camera, axis: ImageAxis, s_mid_px: float, height_mm: float, incline_rad: float = 0.0
) -> AxisFrame:
    """Place the frame on an axis seen in the photo, at a height above the plate.

    ``incline_rad`` lifts the axis out of the plate's direction: positive where it rises toward
    the camera in the direction of growing s.
    """
    along_px = s_mid_px + np.array([-50.0, 0.0, 50.0])
    ends = axis.to_photo(np.stack([along_px, np.zeros(3)], axis=1))
    points = camera.on_plane(ends, height_mm)
    along = points[2] - points[0]
    along /= np.linalg.norm(along)
    up = -np.array(camera.normal)
    along = np.cos(incline_rad) * along + np.sin(incline_rad) * up
    origin = points[1]
    toward = -origin + (origin @ along) * along
    toward /= np.linalg.norm(toward)
    return AxisFrame(origin=origin, along=along, across=np.cross(toward, along), toward=toward)


def cross_shift(camera: Camera, axis: ImageAxis, s_px: float) -> float:
    """Return how far, per pixel across the axis, points of one station lie apart along it.

    Away from the picture's middle the line square to the axis and to the line of sight is not
    seen square to the axis: the two sides of one ridge lie at different depths, and stand at
    different places along a part that is seen aslant.
    """
    frame = axis_frame(camera.over_plate(1.0, np.nan), axis, s_px, 0.0)
    across = np.array([[0.0, -1e-3, 0.0], [0.0, 1e-3, 0.0]])
    (s0, t0), (s1, t1) = axis.to_axis(frame.to_photo(camera, across))
    return float((s1 - s0) / (t1 - t0))


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
