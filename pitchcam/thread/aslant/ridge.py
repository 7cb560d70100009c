"""The outline of a ridge and of the groove beside it, in the axial section."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.series.ridges import Ridge

Values = NDArray[np.float64]

#: Points on a crest's rounding or corner, and on a root's.
CREST_POINTS, ROOT_POINTS = 10, 15
#: A flank is followed beyond the root, to where the next ridge is met; in pitches from the middle.
BEYOND = (0.5, 0.8)
#: Radius of roots, in pitches, and its standard deviation: 0.125 to 0.144 by ISO 68-1 and ASME
#: B1.1, 0.137 by BS 84 and ISO 228-1. A taper pipe thread's flat of 0.04 lies within 3 of it.
ROOT_RADIUS, U_ROOT_RADIUS = 0.135, 0.03


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Half a ridge and half a groove from their middles: place, height, fall; (n,) each.

    ``across`` is the distance from the ridge's middle and ``height`` that over the pitch line, mm;
    ``fall`` is how much the outline falls per length outward. A corner has several falls at one
    place.
    """

    across: Values
    height: Values
    fall: Values

    def whole(self) -> Curve:
        """Return it with its mirror image before it."""
        return Curve(
            across=np.concatenate([-self.across[::-1], self.across]),
            height=np.concatenate([self.height[::-1], self.height]),
            fall=np.concatenate([-self.fall[::-1], self.fall]),
        )


def ridge_outline(form: Ridge, pitch: float, crest: float, tan: float) -> Curve:
    """Return a ridge from its middle down a flank that goes on as if there were no root.

    Parameters
    ----------
    form
        What its crest is like.
    pitch, crest
        The pitch, and the crest's height over the pitch line, mm.
    tan
        Tangent of the half angle.
    """
    sharp, steep = pitch / 4 / tan, 1 / tan
    over_sine = np.hypot(1.0, tan) / tan  # one over the sine of the half angle
    crest = min(crest, sharp)
    edge = pitch / 4 - crest * tan
    # The circle that touches both flanks at the crest's height is the largest there is.
    radius = min(form.radius * pitch, (sharp - crest) / (over_sine - 1)) if not form.cut else 0.0
    top, middle = crest, edge - radius * (over_sine - 1) * tan
    if form.cut:
        radius = form.radius * pitch
        if sharp - radius * (over_sine - 1) < crest:
            radius = (sharp - crest) / (over_sine - 1)
        top, middle = sharp - radius * (over_sine - 1), 0.0
    fall = np.linspace(0.0, steep, CREST_POINTS)
    level = 1 / np.hypot(1.0, fall)
    across, height = middle + radius * fall * level, top - radius * (1 - level)
    off = height > crest + 1e-9
    if off.any():
        # Where the circle is cut off, a corner is left with every fall up to its own; cut below the
        # circle, on the flank.
        below = radius - (top - crest)
        corner = edge if off.all() else float(np.sqrt(radius**2 - below**2))
        across, height = np.where(off, corner, across), np.where(off, crest, height)
    far = np.array(BEYOND) * pitch
    return Curve(
        across=np.concatenate([[0.0], across, far]),
        height=np.concatenate([[height[0]], height, (pitch / 4 - far) / tan]),
        fall=np.concatenate([[0.0], fall, [steep, steep]]),
    )


def root_outline(pitch: float, tan: float, radius: float) -> Curve:
    """Return the groove's rounding after a ridge, from one flank to the other."""
    over_sine = np.hypot(1.0, tan) / tan
    bottom = -pitch / 4 / tan + radius * (over_sine - 1)
    fall = np.linspace(1 / tan, -1 / tan, ROOT_POINTS)
    level = 1 / np.hypot(1.0, fall)
    return Curve(
        across=pitch / 2 - radius * fall * level, height=bottom + radius * (1 - level), fall=fall
    )
