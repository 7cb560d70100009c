"""A part's axis in space: the frame on it, and how both its sides are seen from the camera."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera, Point
from pitchcam.frozen import dataclass
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

    @cached_property
    def basis(self) -> Values:
        """The unit vectors as rows (3, 3), in the order z, y, x."""
        return np.array([self.along, self.across, self.toward])

    @cached_property
    def pinhole(self) -> Values:
        """The pinhole's position (z, y, x) in the frame."""
        out: Values = -(self.basis @ self.origin)
        return out

    @cached_property
    def mm_per_px(self) -> float:
        """The scale at the origin, square to the line of sight."""
        return float(np.linalg.norm(self.origin)) / self.camera.f_px

    @property
    def across_mm_per_px(self) -> float:
        """The scale across the axis: off the optical axis more pixels show the same diameter."""
        here = self.camera.project(self.origin)
        beside = self.camera.project(self.origin + 1e-3 * self.across)
        step = np.linalg.norm(beside - here)
        return float(1e-3 / step)

    def slant(self, z_mm: float = 0.0) -> float:
        """Return the tangent of the angle at which rays meet the axis's normal plane at ``z_mm``.

        Positive where the camera stands on the side of growing z.
        """
        return slant_from(self.pinhole, z_mm)

    def from_photo(self, xy: Values) -> Values:
        """Return where rays of photo positions meet the plane x = 0, as (z, y) in mm."""
        return self.from_rays(self.camera.straight(xy))

    def from_rays(self, q: Values) -> Values:
        """Return the same of directions, of :meth:`pitchcam.camera.pinhole.Camera.straight`."""
        ways = q @ self.basis[:, :2].T + self.basis[:, 2]
        z, y, x = self.pinhole
        reach = -x / ways[..., 2]
        out = np.empty(q.shape)
        out[..., 0], out[..., 1] = ways[..., 0] * reach + z, ways[..., 1] * reach + y
        return out

    def to_photo(self, zyx: Values) -> Values:
        """Return photo positions of points (z, y, x), shape (..., 3)."""
        return self.camera.project(self.origin + zyx @ self.basis)


def slant_from(pinhole: Values, z_mm: float) -> float:
    """Return :meth:`AxisFrame.slant` of an axis from which the camera is at (z, y, x), mm."""
    return float((pinhole[0] - z_mm) / pinhole[2])


@dataclass(frozen=True, kw_only=True)
class Framed:
    """What is seen or measured on an axis in space: a thread's sight, and its shape."""

    frame: AxisFrame

    @property
    def camera(self) -> Camera:
        """The camera over the plate that sees it."""
        return self.frame.camera

    @property
    def mm_per_px(self) -> float:
        """The scale on the axis in mid-thread."""
        return self.frame.mm_per_px


def axis_frame(
    camera: Camera, axis: ImageAxis, s_mid_px: float, height_mm: float, incline_rad: float = 0.0
) -> AxisFrame:
    """Place the frame on an axis seen in the photo, at a height above the plate.

    ``incline_rad`` lifts the axis out of the plate's direction: positive where it rises toward
    the camera in the direction of growing s. However much it rises, it is seen on its line in
    the photo: beside the picture's middle, where what rises is seen to lean outward, it has
    another direction over the plate.
    """
    (x, y), (dx, dy) = axis.point_px, axis.direction
    before, origin, after = (
        camera.point_on_plane(x + s * dx, y + s * dy, height_mm)
        for s in (float(s_mid_px) - 50.0, float(s_mid_px), float(s_mid_px) + 50.0)
    )
    along = _unit((after[0] - before[0], after[1] - before[1], after[2] - before[2]))
    nx, ny, nz = camera.normal
    up = (-nx, -ny, -nz)
    sight = _cross(before, after)  # normal of the plane through the pinhole and the line
    beside = _cross(up, along)
    lean = -math.tan(incline_rad) * _dot(up, sight) / _dot(beside, sight)
    lean = min(max(lean, -MOST_LEAN), MOST_LEAN)
    level = math.cos(incline_rad) * math.sqrt(1 - lean**2)
    aside, rise = math.cos(incline_rad) * lean, math.sin(incline_rad)
    along = (
        level * along[0] + aside * beside[0] + rise * up[0],
        level * along[1] + aside * beside[1] + rise * up[1],
        level * along[2] + aside * beside[2] + rise * up[2],
    )
    off = _dot(origin, along)
    toward = _unit(
        (off * along[0] - origin[0], off * along[1] - origin[1], off * along[2] - origin[2])
    )
    return AxisFrame(
        camera=camera,
        origin=np.array(origin),
        along=np.array(along),
        across=np.array(_cross(toward, along)),
        toward=np.array(toward),
    )


def _cross(a: Point, b: Point) -> Point:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def _dot(a: Point, b: Point) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _unit(a: Point) -> Point:
    length = math.sqrt(_dot(a, a))
    return a[0] / length, a[1] / length, a[2] / length


def cross_shift(camera: Camera, axis: ImageAxis, s_px: float) -> float:
    """Return how far, per pixel across the axis, points of one station lie apart along it.

    Away from the picture's middle the line square to the axis and to the line of sight is not
    seen square to the axis: the two sides of one ridge lie at different depths, and stand at
    different places along a part that is seen aslant.
    """
    frame = axis_frame(camera.over_plate(1.0), axis, s_px, 0.0)
    across = np.array([[0.0, -1e-3, 0.0], [0.0, 1e-3, 0.0]])
    (s0, t0), (s1, t1) = axis.to_axis(frame.to_photo(across))
    return float((s1 - s0) / (t1 - t0))
