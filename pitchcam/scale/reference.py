"""What a reference object gives: the camera's distance, and how well."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.lines import TrueEdge
from pitchcam.frozen import dataclass
from pitchcam.objects.shapes import Shape
from pitchcam.records import ScaleSpec

Points = NDArray[np.float64]
#: The true edges of every pin, by its blob's label.
Edges = dict[int, list[TrueEdge]]


@dataclass(frozen=True, kw_only=True)
class Reference:
    """A reference found in the photo.

    ``camera`` has its distance from the plate set. ``u_scale`` is the relative standard
    uncertainty of mm/px in the reference's own plane, ``height_mm`` that plane's height over the
    plate and ``u_height_mm`` its uncertainty; ``where_px`` the reference's middle, ``labels`` the
    blobs it takes up, ``outline_px`` its outline for the picture. ``read_px`` is the direction in
    the photo in which its size was read, None where every way.

    Where tilt and distortion were left open, what the reference tells hangs on them:
    ``depth_per_lean`` is how the logarithm of its depth goes with x and y of the plate's normal
    (1/rad), which ``u_scale`` leaves out, and ``lean_per_corner`` how these go with the lens's
    displacement at the corner (rad).
    """

    source: str
    camera: Camera
    u_scale: float
    height_mm: float
    u_height_mm: float
    where_px: Points
    labels: tuple[int, ...]
    outline_px: Points
    read_px: Points | None = None
    depth_per_lean: tuple[float, float] = (0.0, 0.0)
    lean_per_corner: tuple[float, float] = (0.0, 0.0)

    @property
    def place_mm(self) -> Points:
        """Its middle in the camera frame."""
        return self.camera.on_plane(self.where_px, self.height_mm)

    @property
    def pivot_mm(self) -> Points:
        """The point of its plane, in the camera frame, about which a wrong tilt turns the plate.

        That is its middle where its depth is told whatever the tilt is. A plane that turns by a
        about a point v beside the middle is nearer or farther there by a v over its distance.
        """
        normal, middle = np.array(self.camera.normal), self.place_mm
        away = float(normal @ middle) * np.array([*self.depth_per_lean, 0.0])
        pivot: Points = middle + away - (away @ normal) * normal
        return pivot


@dataclass(frozen=True, kw_only=True)
class Among:
    """What a reference is looked for in.

    ``shapes`` are objects, sharpening undone: to a finder, whole ones of its kind's shape, or all
    where it has none;
    ``camera`` is the camera with its tilt set, ``pins`` the true edges of every pin.
    """

    shapes: Sequence[Shape]
    camera: Camera
    pins: Edges


#: Finds all references of one kind, of the size that is stated.
Finder = Callable[[Among, ScaleSpec], list[Reference]]
