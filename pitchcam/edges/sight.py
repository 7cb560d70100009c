"""How one thread is seen: its part's light, the lit field, and its axis in space."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.rims import Rims
from pitchcam.frozen import dataclass
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.contour import Crop
from pitchcam.objects.field import Field
from pitchcam.objects.frame import AxisFrame, Framed, axis_frame
from pitchcam.objects.regions import Region

Values = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Sight(Framed):
    """One thread as the photo shows it, built once and handed on.

    ``crop`` is the part's light with the phone's sharpening undone, ``field`` the lit field,
    ``rims`` what the photo's straight edges tell of blur and panel. ``outline_px`` (n, 2) is the
    part's outline at LIT_LEVEL; ``axis`` is the thread's own in the photo, ``region`` where the
    thread lies along it, ``frame`` that axis in space, with the camera that sees it.
    ``own_blur_px`` is the blur across flanks of both ways (:class:`~pitchcam.edges.flank_place.
    FlankProfiles`), None where it is the photo's.
    """

    crop: Crop
    field: Field
    rims: Rims
    region: Region
    outline_px: Values
    axis: ImageAxis
    own_blur_px: tuple[float, float] | None = None

    @property
    def flank_blur_px(self) -> tuple[float, float]:
        """Standard deviation of the blur across flanks of both ways."""
        return self.own_blur_px or (self.blur_px, self.blur_px)

    @property
    def swept_px(self) -> float:
        """How far a motion carried the thread along its axis, to either side, pixels.

        A motion widens the blur across a flank of the half angle a by its parts along the axis and
        across it, times cos a and sin a (60 degrees between the flanks). What it makes across the
        axis is in the photo's blur, which straight sides tell.
        """
        if self.own_blur_px is None:
            return 0.0
        square = (float(np.mean(np.square(self.own_blur_px))) - self.blur_px**2 / 4) / 0.75
        return float(np.sqrt(3 * max(square - self.blur_px**2, 0.0)))

    @property
    def blur_px(self) -> float:
        """Standard deviation of the photo's blur."""
        return self.rims.spread.blur_px

    @property
    def blur_mm(self) -> float:
        """The same on the axis."""
        return self.blur_px * self.mm_per_px

    @property
    def slant(self) -> float:
        """Tangent of the angle at which rays meet the axis's normal plane in mid-thread."""
        z, _, x = self.frame.pinhole
        return float(abs(z) / x)

    def to_frame(self, xy: Values) -> Values:
        """Return where photo positions meet the plane of the axis, (z, y) in mm."""
        return self.frame.from_photo(xy)

    def to_photo(self, zyx: Values) -> Values:
        """Return the photo positions of points (z, y, x) in the frame."""
        return self.frame.to_photo(zyx)

    def light(self, zyx: Values) -> Values:
        """Return the light, 1 = the background's, seen at points (z, y, x) in the frame."""
        return self.crop.sample(self.to_photo(zyx))

    def laid(self, camera: Camera, height_mm: float, incline_rad: float) -> Sight:
        """Return the thread as seen in another geometry; all that was seen stays."""
        frame = laid_frame(self.frame, self.axis, camera, height_mm, incline_rad)
        return replace(self, frame=frame)


def laid_frame(
    frame: AxisFrame, axis: ImageAxis, camera: Camera, height_mm: float, incline_rad: float
) -> AxisFrame:
    """Return the frame of the same middle of a thread under another camera, height, inclination."""
    middle = float(axis.to_axis(frame.camera.project(frame.origin))[0])
    return axis_frame(camera, axis, middle, height_mm, incline_rad)
