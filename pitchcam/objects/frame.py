"""A part's axis in space: the frame on it, and how both its sides are seen from the camera."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.objects.axis import ImageAxis

Values = NDArray[np.float64]


#: Sine of the turn beyond which an inclined axis is not followed: none lies so at a field's border.
MOST_LEAN = 0.7


@dataclass(frozen=True, kw_only=True)
class AxisFrame:
    """A right-handed frame on the thread axis: z along it, y across the view, x to the camera.

    ``camera`` is the one that sees it; ``origin`` and the unit vectors are in the camera frame;
    ``pinhole`` is the camera's position (z, y, x) in this frame, mm. y x x = z, so that a
    right-hand helix has z growing with the angle from y to x.
    """

    camera: Camera
    origin: Values
    along: Values
    across: Values
    toward: Values

    @property
    def pinhole(self) -> Values:
        """The pinhole's position (z, y, x) in the frame."""
        return np.array([-self.origin @ v for v in (self.along, self.across, self.toward)])

    @property
    def mm_per_px(self) -> float:
        """The scale at the origin, square to the line of sight."""
        return float(np.linalg.norm(self.origin)) / self.camera.f_px

    def from_photo(self, xy: Values) -> Values:
        """Return where rays of photo positions meet the plane x = 0, as (z, y) in mm."""
        rays = self.camera.rays(xy)
        reach = (self.origin @ self.toward) / (rays @ self.toward)
        rel = rays * reach[..., None] - self.origin
        return np.stack([rel @ self.along, rel @ self.across], axis=-1)

    def to_photo(self, zyx: Values) -> Values:
        """Return photo positions of points (z, y, x), shape (..., 3)."""
        basis = np.stack([self.along, self.across, self.toward])
        return self.camera.project(self.origin + zyx @ basis)


def axis_frame(
    camera: Camera, axis: ImageAxis, s_mid_px: float, height_mm: float, incline_rad: float = 0.0
) -> AxisFrame:
    """Place the frame on an axis seen in the photo, at a height above the plate.

    ``incline_rad`` lifts the axis out of the plate's direction: positive where it rises toward
    the camera in the direction of growing s. However much it rises, it is seen on its line in
    the photo: beside the picture's middle, where what rises is seen to lean outward, it has
    another direction over the plate.
    """
    along_px = s_mid_px + np.array([-50.0, 0.0, 50.0])
    ends = axis.to_photo(np.stack([along_px, np.zeros(3)], axis=1))
    points = camera.on_plane(ends, height_mm)
    along = points[2] - points[0]
    along /= np.linalg.norm(along)
    up = -np.array(camera.normal)
    sight = np.cross(points[0], points[2])  # normal of the plane through the pinhole and the line
    beside = np.cross(up, along)
    lean = -np.tan(incline_rad) * float(up @ sight) / float(beside @ sight)
    lean = float(np.clip(lean, -MOST_LEAN, MOST_LEAN))
    level = np.sqrt(1 - lean**2) * along + lean * beside
    along = np.cos(incline_rad) * level + np.sin(incline_rad) * up
    origin = points[1]
    toward = -origin + (origin @ along) * along
    toward /= np.linalg.norm(toward)
    return AxisFrame(
        camera=camera, origin=origin, along=along, across=np.cross(toward, along), toward=toward
    )


def cross_shift(camera: Camera, axis: ImageAxis, s_px: float) -> float:
    """Return how far, per pixel across the axis, points of one station lie apart along it.

    Away from the picture's middle the line square to the axis and to the line of sight is not
    seen square to the axis: the two sides of one ridge lie at different depths, and stand at
    different places along a part that is seen aslant.
    """
    frame = axis_frame(camera.over_plate(1.0, np.nan), axis, s_px, 0.0)
    across = np.array([[0.0, -1e-3, 0.0], [0.0, 1e-3, 0.0]])
    (s0, t0), (s1, t1) = axis.to_axis(frame.to_photo(across))
    return float((s1 - s0) / (t1 - t0))
