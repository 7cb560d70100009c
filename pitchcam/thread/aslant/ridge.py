"""The outline of a ridge and of the groove beside it, in the axial section."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.series.ridges import Ridge

Values = NDArray[np.float64]

#: Points on a crest's rounding, on the corner where a circle is cut off, and on a root's rounding.
#: Between them the outline is straight, and of a corner seen aslant it is an arc: by ten points a
#: crest's chords took as much from a form's likelihood as another form (7 of the logarithm). A cut
#: circle's corner has points of its own: were those of the circle moved there one by one, a fit
#: would halt at the crest's height where each passes it.
CREST_POINTS, CORNER_POINTS, ROOT_POINTS = 20, 10, 15
#: A flank is followed beyond the root, to where the next ridge is met; in pitches from the middle.
BEYOND: Values = np.array([0.5, 0.8])
#: Radius of roots, in pitches, and its standard deviation: 0.125 to 0.144 by ISO 68-1 and ASME
#: B1.1, 0.137 by BS 84 and ISO 228-1. A taper pipe thread's flat of 0.04 lies within 3 of it.
ROOT_RADIUS, U_ROOT_RADIUS = 0.135, 0.03
#: What an outline changes with: the pitch, the crest's height, the tangent of the half angle, and
#: the radius of what is round, a root's in mm, a crest's in pitches, as its form has it.
BY_PITCH, BY_CREST, BY_TAN, BY_RADIUS = np.eye(4)
#: Falls of points, as shares of a flank's, or of that at which a corner ends.
CREST_FALLS: Values = np.linspace(0.0, 1.0, CREST_POINTS)
CORNER_FALLS: Values = np.linspace(0.0, 1.0, CORNER_POINTS, endpoint=False)
ROOT_FALLS: Values = np.linspace(1.0, -1.0, ROOT_POINTS)


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Half a ridge and half a groove from their middles: place, height, fall; (n,) each.

    ``across`` is the distance from the ridge's middle and ``height`` that over the pitch line, mm;
    ``fall`` is how much the outline falls per length outward. A corner has several falls at one
    place. ``by`` (4, 3, n) is how the three change with pitch, crest's height, tangent and radius.
    """

    across: Values
    height: Values
    fall: Values
    by: Values

    def whole(self) -> Curve:
        """Return it with its mirror image before it."""
        there = self.by[:, :, ::-1] * np.array([[-1.0], [1.0], [-1.0]])
        return Curve(
            across=np.concatenate([-self.across[::-1], self.across]),
            height=np.concatenate([self.height[::-1], self.height]),
            fall=np.concatenate([-self.fall[::-1], self.fall]),
            by=np.concatenate([there, self.by], axis=2),
        )


def roundest(pitch: float, crest: float, tan: float) -> tuple[float, Values]:
    """Return the radius of the circle that meets both flanks at a crest's height, and its slopes.

    It is the largest that a corner's rounding can have; the slopes (4,) are those of ``Curve.by``.
    """
    sharp, steep = pitch / 4 / tan, 1 / tan
    over, by_over = float(np.hypot(1.0, steep)) - 1, -(steep**3) / float(np.hypot(1.0, steep))
    if crest >= sharp:
        return 0.0, np.zeros(4)
    radius = (sharp - crest) / over
    by_tan = (-sharp * steep - radius * by_over) / over
    return radius, np.array([steep / 4 / over, -1 / over, by_tan, 0.0])


def ridge_outline(form: Ridge, pitch: float, crest: float, tan: float) -> Curve:
    """Return a ridge from its middle down a flank that goes on as if there were no root.

    Parameters
    ----------
    form
        What its crest is like. Its radius, in pitches, is that of the slopes.
    pitch, crest
        The pitch, and the crest's height over the pitch line, mm.
    tan
        Tangent of the half angle.
    """
    sharp, steep = pitch / 4 / tan, 1 / tan
    by_sharp, by_steep = (steep * BY_PITCH / 4 - sharp * steep * BY_TAN), -(steep**2) * BY_TAN
    over_sine = float(np.hypot(1.0, steep))  # one over the sine of the half angle
    over, by_over = over_sine - 1, -(steep**3) / over_sine * BY_TAN
    # The circle that touches both flanks at the crest's height is the largest there is.
    radius, by_radius = roundest(pitch, crest, tan)
    crest, by_crest = (crest, BY_CREST) if crest < sharp else (sharp, by_sharp)
    edge, by_edge = pitch / 4 - crest * tan, BY_PITCH / 4 - tan * by_crest - crest * BY_TAN
    own = form.radius * pitch
    if own <= radius:
        radius, by_radius = own, form.radius * BY_PITCH + pitch * BY_RADIUS
    by_reach = over * by_radius + radius * by_over
    if form.cut:
        top, by_top = sharp - radius * over, by_sharp - by_reach
        middle, by_middle = 0.0, np.zeros(4)
        first, by_first = _cut_at(radius, top - crest, (by_radius, by_top - by_crest))
    else:
        top, by_top = crest, by_crest
        middle = edge - radius * over * tan
        by_middle = by_edge - tan * by_reach - radius * over * BY_TAN
        first, by_first = 0.0, np.zeros(4)
    if first >= steep:
        # Cut below the circle, on the flank, all of it is a corner.
        first, by_first, radius, by_radius = steep, by_steep, 0.0, np.zeros(4)
        top, by_top, middle, by_middle = crest, by_crest, edge, by_edge
    fall = first + (steep - first) * CREST_FALLS
    by_fall = by_first[:, None] + (by_steep - by_first)[:, None] * CREST_FALLS
    level = 1 / np.hypot(1.0, fall)
    across, height = middle + radius * fall * level, top - radius * (1 - level)
    by_across = by_middle[:, None] + by_radius[:, None] * (fall * level)
    by_across += radius * level**3 * by_fall
    by_height = by_top[:, None] - by_radius[:, None] * (1 - level)
    by_height -= radius * fall * level**3 * by_fall
    every = np.stack([by_across, by_height, by_fall], axis=1)
    # Where a circle is cut off, a corner is left with every fall up to its own.
    falls = first * CORNER_FALLS if form.cut else CORNER_FALLS[:0]
    corner = np.repeat(every[:, :, :1], len(falls), axis=2)
    corner[:, 2] = by_first[:, None] * CORNER_FALLS[: len(falls)]
    far, flank = BEYOND * pitch, (0.25 - BEYOND) * pitch / tan
    by_far = np.zeros((4, 3, 2))
    by_far[0, 0], by_far[0, 1] = BEYOND, (0.25 - BEYOND) / tan
    by_far[2, 1], by_far[2, 2] = -flank / tan, by_steep[2]
    by_top_point = np.zeros((4, 3, 1))
    by_top_point[:, 1] = every[:, 1, :1]
    return Curve(
        across=np.concatenate([[0.0], np.repeat(across[:1], len(falls)), across, far]),
        height=np.concatenate([np.repeat(height[:1], 1 + len(falls)), height, flank]),
        fall=np.concatenate([[0.0], falls, fall, [steep, steep]]),
        by=np.concatenate([by_top_point, corner, every, by_far], axis=2),
    )


def _cut_at(radius: float, off: float, by: tuple[Values, Values]) -> tuple[float, Values]:
    """Return the fall at which a circle goes on of which so much is cut off, and its slopes.

    ``by`` are those of the radius and of what is off; the fall of a whole circle does not change.
    """
    below, by_below = radius - off, by[0] - by[1]
    if off <= 1e-9 * radius:
        return 0.0, np.zeros(4)
    if below <= 0:
        return np.inf, np.zeros(4)
    half = float(np.sqrt(radius**2 - below**2))
    by_half = (radius * by[0] - below * by_below) / half
    return half / below, (by_half - half / below * by_below) / below


def root_outline(pitch: float, tan: float, radius: float) -> Curve:
    """Return the groove's rounding after a ridge, from one flank to the other."""
    steep = 1 / tan
    over_sine = float(np.hypot(1.0, steep))
    bottom = -pitch / 4 * steep + radius * (over_sine - 1)
    fall = steep * ROOT_FALLS
    level = 1 / np.hypot(1.0, fall)
    by = np.zeros((4, 3, ROOT_POINTS))
    by[0, 0], by[0, 1] = 0.5, -steep / 4
    by[2, 2] = -(steep**2) * ROOT_FALLS
    by[2, 0] = -radius * level**3 * by[2, 2]
    by[2, 1] = pitch / 4 * steep**2 - radius * steep**3 / over_sine
    by[2, 1] += radius * fall * level**3 * by[2, 2]
    by[3, 0], by[3, 1] = -fall * level, over_sine - level
    return Curve(
        across=pitch / 2 - radius * fall * level,
        height=bottom + radius * (1 - level),
        fall=fall,
        by=by,
    )
