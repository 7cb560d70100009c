"""The true edges of crests that are seen aslant, by the light beside them.

Under a slant a crest's circle is seen as a parabola, and beyond it the ray meets the crest's
cylinder, which mirrors the panel as every round edge does (:mod:`pitchcam.edges.rims`): the level
at which outlines are found is crossed the farther inside, the brighter the metal. The light
along a line across the axis, through the crests' tops, is compared with what such an edge would
show, blurred along and across (:mod:`pitchcam.light.mirrored`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.flanks import panel_behind
from pitchcam.edges.lines import reach_to_border
from pitchcam.edges.rims import mirror_angle
from pitchcam.edges.sight import Sight
from pitchcam.frozen import dataclass
from pitchcam.least_squares import solve
from pitchcam.light.metal import UNSEEN
from pitchcam.light.mirrored import Mirrored, light_slopes
from pitchcam.light.stations import Line, Moved, Stretch, middle_line
from pitchcam.small import median, medians

Values = NDArray[np.float64]

#: Half of a crest's flat and the radius of its rounding, in pitches: between the forms of flat and
#: of round crests (ISO 68-1: 1/16 and none; BS 84: none and 0.137). Under a slant the crest's
#: ellipse is wider than either.
HALF_FLAT, ROUNDING = 0.05, 0.05
#: How far inside the level's crossing the light is compared, pixels; steps of half a pixel carry
#: all that the blur lets through.
INSIDE_PX, STEP_PX = 3.5, 0.5
#: How far out, in blurs and pixels.
OUTSIDE_BLURS, OUTSIDE_PX = 3.5, 1.0
#: Lines side by side, pixels: the top itself, less its noise.
BESIDE_PX = np.array([-0.4, 0.0, 0.4])
#: What the model of the light agrees to down to so many pixels inside, and for how many more pixels
#: it is as much worse; and how well the light right beside a part is known.
LIGHT_NOISE, KNOWN_PX, DEEPER_PX, U_BACKGROUND = 0.02, 1.0, 0.5, 0.03
#: Relative standard uncertainties of the angle up to which the panel is mirrored: of one that the
#: straight edges tell the distance of, and of any other.
U_ANGLES, U_NEAR_ANGLES = 0.3, 0.5
#: How far from the level's crossing an edge is looked for, pixels.
FARTHEST_PX = 5.0


@dataclass(frozen=True, kw_only=True)
class CrestSide:
    """The tops of one side's crests in the plane of the axis, (n, 2) as (z, y) mm, and the pitch.

    They lie where a step from light to dark would have its edge.
    """

    tops: Values
    pitch_mm: float


@dataclass(frozen=True, kw_only=True)
class CrestEdge:
    """How far outward of such a step the edge truly lies, pixels; ``misfit`` is the light's."""

    shift_px: float
    u_px: float
    misfit: float


@dataclass(frozen=True, kw_only=True)
class _Crest:
    """One side's crest and its light.

    ``flat_mm`` is half the flat that is seen and ``bow_mm`` the radius of the bow beyond it;
    ``line`` has the points at which the light (n,) was taken, each weighed with ``weight``;
    ``angle_rad`` is that up to which the panel is mirrored, ``mm`` the length of a pixel.
    """

    radius_mm: float
    flat_mm: float
    bow_mm: float
    line: Line
    light: Values
    weight: Values
    angle_rad: float
    mm: float

    def outline(self, end: Values) -> Stretch:
        """Return the outlines of crests that end at radii (p, 1) and keep their form."""
        z, weights = (a * np.ones_like(end) for a in self.line.stations)
        beyond = np.maximum(z - self.flat_mm, 0.0)
        slope = beyond / self.bow_mm
        still = np.zeros_like(z)
        # All around the crest the panel is mirrored up to one angle.
        return Stretch(
            y=end - beyond * slope / 2,
            cos_b=1 / np.hypot(1.0, slope),
            lean=still,
            weights=weights,
            moved=Moved(y=np.ones_like(z), cos_b=still, lean=still, weights=still),
        )

    def deviations(self, q: Values) -> tuple[Values, Values]:
        """Return the light's deviations (p, n) and their derivatives (p, n, 6).

        ``q`` (p, 6) has the edge's shift in pixels, loss, the logarithms of angle and roughness,
        share, and the background's light.
        """
        loss, wider, rougher, share, background = (column[:, None] for column in q.T[1:])
        mirror = Mirrored(
            loss=loss,
            angles_rad=self.angle_rad * np.exp(wider) * np.ones(3),
            roughness=UNSEEN.roughness.value * np.exp(rougher),
            share=share,
        )
        end = self.radius_mm + q[:, :1] * self.mm
        drawn, slopes = light_slopes(self.line, self.outline(end), mirror)
        slopes[..., 0] *= self.mm
        slopes = np.concatenate([slopes * background[..., None], drawn[..., None]], axis=2)
        rest = background * drawn - self.light
        return rest * self.weight, slopes * self.weight[:, None]


def crest_edge(sight: Sight, side: CrestSide) -> CrestEdge:
    """Return where the edge of one side's crests lies.

    Parameters
    ----------
    sight
        How the thread is seen.
    side
        The crests.
    """
    crest = _crest(sight, side)
    u_angle = U_ANGLES if sight.rims.common else U_NEAR_ANGLES
    metal = UNSEEN
    expected = np.array([metal.loss.value, 0.0, 0.0, metal.share.value, 1.0])
    spread = np.array([metal.loss.u, u_angle, metal.roughness.u, metal.share.u, U_BACKGROUND])
    pull = np.eye(5, 6, 1)[None] / spread[:, None]

    def cost(q: Values) -> tuple[Values, Values]:
        rest, slopes = crest.deviations(q)
        known = (q[:, 1:] - expected) / spread
        return np.concatenate([rest, known], axis=1), np.concatenate([slopes, pull], axis=1)

    fit = solve(
        cost,
        np.concatenate([[0.0], expected])[None],
        np.array([-FARTHEST_PX, 0.05, -2.0, -2.0, 0.0, 0.8]),
        np.array([FARTHEST_PX, 1.2, 2.0, 2.0, 1.0, 1.2]),
    )
    misfit = float(np.sqrt(np.mean(fit.residuals[0, :-5] ** 2))) * LIGHT_NOISE
    return CrestEdge(
        shift_px=float(fit.parameters[0, 0]),
        u_px=float(fit.sigma(0)[0]) * max(1.0, misfit / LIGHT_NOISE),
        misfit=misfit,
    )


def _crest(sight: Sight, side: CrestSide) -> _Crest:
    mm = sight.frame.across_mm_per_px
    z, y = side.tops.T
    up, radius = float(np.sign(median(y))), median(np.abs(y))
    across_px = np.arange(-INSIDE_PX, OUTSIDE_BLURS * sight.blur_px + OUTSIDE_PX, STEP_PX)
    cz, _, cx = sight.frame.pinhole
    # The helix leans into the view on one side and out of it on the other.
    lean = median((cz - z) / cx) - up * side.pitch_mm / (2 * np.pi * radius)
    return _Crest(
        radius_mm=radius,
        flat_mm=HALF_FLAT * side.pitch_mm,
        bow_mm=radius * lean**2 + ROUNDING * side.pitch_mm,
        line=middle_line(radius + across_px * mm, sight.blur_mm),
        light=_light(sight, side, up * across_px * mm),
        # Deep inside, the part's own shine is anything.
        weight=1 / (LIGHT_NOISE * (1 + np.maximum(-KNOWN_PX - across_px, 0.0) / DEEPER_PX)),
        angle_rad=_mirrored_to(sight, radius, up),
        mm=mm,
    )


def _light(sight: Sight, side: CrestSide, across_mm: Values) -> Values:
    """Return the light of a usual crest, (n,), 1 = the background's."""
    z, y = side.tops.T[:, :, None, None]
    along = z + sight.mm_per_px * BESIDE_PX[:, None] + 0 * across_mm
    zyx = np.stack([along, y + across_mm + 0 * along, 0 * along], axis=-1)
    # Dirt, nicks and what stands beside an end are few crests'.
    return medians(sight.light(zyx).mean(axis=1))


def _mirrored_to(sight: Sight, radius_mm: float, up: float) -> float:
    """Return the grazing angle up to which the crests mirror the panel."""
    ends = sight.to_photo(np.array([[0.0, up * radius_mm, 0.0], [0.0, up * radius_mm + up, 0.0]]))
    outward = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    behind, _ = panel_behind(sight.rims)
    reach = reach_to_border(sight.field, ends[0], outward)
    return mirror_angle(reach, sight.camera.f_px, behind / (1 + behind))
