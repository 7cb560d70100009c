"""Axial profiles of the standard thread forms, exact to their corner and tangent points.

A profile is a ridge centred on z = 0 with period P; y is the radius minus the pitch radius, so
y = 0 is the pitch line, where ridge and groove are equally wide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Form:
    """A symmetric thread form; heights and radii are in pitches.

    ``crest`` and ``root`` are the distances of crest and root from the pitch line. A rounded crest
    or root has the given radius, tangent to both flanks, and its height follows from it.
    """

    angle_deg: float
    crest: float | None = None
    crest_radius: float | None = None
    root: float | None = None
    root_radius: float | None = None

    @property
    def half_angle(self) -> float:
        return float(np.deg2rad(self.angle_deg / 2))

    @property
    def half_triangle(self) -> float:
        """Half the height of the sharp V, in pitches."""
        return 0.25 / float(np.tan(self.half_angle))

    def _extent(self, flat: float | None, radius: float | None) -> float:
        if radius is not None:
            return self.half_triangle - radius * (1 / float(np.sin(self.half_angle)) - 1)
        if flat is None:
            raise ValueError("a form needs a height or a radius at its crest and at its root")
        return flat

    @property
    def crest_height(self) -> float:
        return self._extent(self.crest, self.crest_radius)

    @property
    def root_depth(self) -> float:
        return self._extent(self.root, self.root_radius)

    @property
    def depth(self) -> float:
        """Radial distance from crest to root, in pitches."""
        return self.crest_height + self.root_depth

    def _tip(self, x: Array, flat: float | None, radius: float | None) -> Array:
        """Height of one tip (crest, or root turned over) at distance x from its middle."""
        flank = self.half_triangle - x / np.tan(self.half_angle)
        if radius is None:
            return np.minimum(flank, self._extent(flat, None))
        centre = self.half_triangle - radius / np.sin(self.half_angle)
        arc = centre + np.sqrt(np.maximum(radius**2 - x**2, 0))
        return np.where(x < radius * np.cos(self.half_angle), arc, flank)

    def height(self, z: Array) -> Array:
        """Radius minus pitch radius at axial position z (both in pitches), period 1."""
        x = np.abs(z - np.round(z))
        return np.where(
            x < 0.25,
            self._tip(x, self.crest, self.crest_radius),
            -self._tip(0.5 - x, self.root, self.root_radius),
        )

    def _reach(self, flat: float | None, radius: float | None) -> float:
        """Axial half-width of the tip: where its flank begins."""
        if radius is not None:
            return radius * float(np.cos(self.half_angle))
        return (self.half_triangle - self._extent(flat, None)) * float(np.tan(self.half_angle))

    def knots(self, per_arc: int = 8, per_flank: int = 8) -> Array:
        """Axial positions in [0, 1) that hold every corner and tangent point, for a mesh."""
        c = self._reach(self.crest, self.crest_radius)
        r = 0.5 - self._reach(self.root, self.root_radius)
        half = np.concatenate(
            [
                np.linspace(0, c, per_arc, endpoint=False),
                np.linspace(c, r, per_flank, endpoint=False),
                np.linspace(r, 0.5, per_arc + 1),
            ]
        )
        return np.unique(np.round(np.concatenate([half, 1 - half[1:]]), 12))


#: ISO 68-1: crest flat P/8; ISO 965-1 root contour of a rolled or well cut external thread,
#: radius H/6, which makes the minor diameter d3 = d - 1.226869 P.
ISO_60 = Form(angle_deg=60, crest=0.75 * 0.8660254037844386 / 2, root_radius=0.8660254037844386 / 6)
#: BS 84, ISO 228-1 and ISO 7-1: H/6 cut off at both ends, radius 0.137329 P.
WHITWORTH_55 = Form(angle_deg=55, crest_radius=0.13732908, root_radius=0.13732908)
#: ASME B1.20.1: V of 60 degrees cut by 0.033 P at crest and root (h = 0.8 P).
NPT_60 = Form(angle_deg=60, crest=0.4, root=0.4)
#: BS 93: height 0.6 P, radius 2P/11 at both ends.
BA_47 = Form(angle_deg=47.5, crest_radius=0.1808346, root_radius=0.1808346)
