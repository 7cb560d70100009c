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
    FlankProfiles`), None where it is the photo's. ``u_shear_rad`` is how far rows of the picture
    may shear it, where nothing straight shows that they are in place. ``roots`` says that its roots
    are asked for.
    """

    crop: Crop
    field: Field
    rims: Rims
    region: Region
    outline_px: Values
    axis: ImageAxis
    own_blur_px: tuple[float, float] | None = None
    u_shear_rad: float = 0.0
    roots: bool = True

    @property
    def flank_blur_px(self) -> tuple[float, float]:
        """Standard deviation of the blur across flanks of both ways."""
        return self.own_blur_px or (self.blur_px, self.blur_px)

    @property
    def along_px(self) -> float:
        """Standard deviation of the blur along the axis, a motion's part included.

        Edges across the normal (cos a, sin a), along the axis and across it, are blurred by the
        lens and by a motion's part along that normal; flanks lie so with the half angle a, to
        either side (60 degrees between them). The photo's blur is that across the axis: that of
        straight sides along the part.
        """
        if self.own_blur_px is None:
            return self.blur_px
        square = (float(np.mean(np.square(self.own_blur_px))) - self.blur_px**2 / 4) / 0.75
        return float(np.sqrt(max(square, 0.0)))

    @property
    def widened_px(self) -> float:
        """The even sweep, to either side, that makes the blur along the axis of the photo's."""
        return float(np.sqrt(3 * max(self.along_px**2 - self.blur_px**2, 0.0)))

    @property
    def swept_px(self) -> float:
        """How far a motion carried the thread along its axis, to either side, pixels.

        More than what widens the photo's blur where it also crossed the axis: that part is in the
        photo's blur as well, beside the lens's, and blurs the flanks of one way more than those of
        the other by their product.
        """
        if self.own_blur_px is None:
            return 0.0
        one, other = self.own_blur_px
        product = (one**2 - other**2) ** 2 / 3
        apart = self.along_px**2 - self.blur_px**2
        return float(np.sqrt(1.5 * (apart + np.sqrt(apart**2 + 4 * product))))

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
        return abs(self.frame.slant())

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
