"""The thread angle of a thread seen aslant, by its whole outline.

What a slant leaves of straight flanks is short, and how its ends are cut is a matter of a few
pixels. Most of what the outline tells of the angle lies in how its crests, flanks and notches go
together: a thread of any angle, crest and root is drawn as it would be seen, and what of it is not
known takes its share of the uncertainty.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.section import USUAL
from pitchcam.frozen import dataclass, replace
from pitchcam.series.ridges import Ridge
from pitchcam.thread.aslant.fit import (
    COUNT,
    CREST,
    DRAWN_BY,
    FIRST_NOISE_PX,
    OUT,
    PITCH,
    ROOT,
    SLOPE,
    TAN,
    Outline,
    OutlineFit,
    Points,
    begin,
    chosen,
    fit_outline,
    outline_of,
    strangeness,
    trusted,
    u_of_sight,
    usual_bounds,
)
from pitchcam.thread.aslant.ridge import (
    BY_PITCH,
    ROOT_RADIUS,
    U_ROOT_RADIUS,
    Curve,
    ridge_outline,
    roundest,
)
from pitchcam.thread.aslant.rise import MovedByLight, flank_height, moved_by_light, moved_by_traced
from pitchcam.thread.aslant.weigh import STRANGE_BLURS
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.measure import ThreadShape
from pitchcam.thread.outlined import OutlineAngle

Values = NDArray[np.float64]

#: Two parameters more: how round a crest's corners are, as a share of the roundest that meets both
#: flanks, and how much farther out the outline lies at a flank's top than at its foot, pixels: the
#: light moves it in there.
CORNER, RISE = COUNT, COUNT + 1
#: Half angles that are tried, degrees, and where a fit begins: between all forms.
HALF_DEG, START_DEG = (18.0, 48.0), 28.75
#: Height of crests over the pitch line in pitches, over all forms, with its standard deviation,
#: wear with it; and the roundness of their corners: any.
CREST_HEIGHT, U_CREST_HEIGHT = 0.29, 0.05
ROUND, U_ROUND = 0.5, 0.35
#: What no drawn thread explains of an outline, alike on every ridge, in blurs: less than between
#: forms, whose corners an angle leaves free (109 known threads: with 0.055 instead of 0.08 they are
#: 0.45 degrees off at the median, not 0.52, and by 0.9 of u, not 0.8).
ALIKE_BLURS = 0.055
#: How far the pitch by the outline may lie off that by the crests, in u of the latter.
MOST_APART = 3.0


@dataclass(frozen=True, kw_only=True)
class _Any:
    """A thread of any angle whose crests are round or flat, mm."""

    seen: Outline
    pitch: float
    light: MovedByLight

    def ridge(self, q: Values) -> Curve:
        pitch, crest, tan, corner = q[[PITCH, CREST, TAN, CORNER]].tolist()
        largest, by_largest = roundest(pitch, crest, tan)
        radius = corner * largest / pitch
        any_angle = Ridge(angle_deg=0.0, radius=radius, crest=0.0, cut=False)
        ridge = ridge_outline(any_angle, pitch, crest, tan)
        by_radius = (corner * by_largest - radius * BY_PITCH) / pitch
        by = ridge.by + by_radius[:, None, None] * ridge.by[3]
        by[3] = largest / pitch * ridge.by[3]
        return replace(ridge, by=by)

    @property
    def places(self) -> tuple[int, ...]:
        return (*DRAWN_BY, CORNER)

    def bounds(self, start: Values) -> tuple[Values, Values]:
        low, high = usual_bounds(start, self.pitch, self.seen.u_slope)
        low[TAN], high[TAN] = np.tan(np.radians(HALF_DEG))
        low[CORNER], high[CORNER] = 0.0, 1.0
        return low, high

    def known(self) -> dict[int, tuple[float, float]]:
        """Return what is known beforehand: value and standard uncertainty by parameter."""
        return {
            OUT: (-self.light.inside[0], self.light.inside[1]),
            SLOPE: (0.0, self.seen.u_slope),
            ROOT: (ROOT_RADIUS * self.pitch, U_ROOT_RADIUS * self.pitch),
            CREST: (CREST_HEIGHT * self.pitch, U_CREST_HEIGHT * self.pitch),
            CORNER: (ROUND, U_ROUND),
            RISE: (-self.light.rise[0], self.light.rise[1]),
        }

    def off(self, q: Values) -> tuple[Values, Values]:
        known = self.known()
        places = list(known)
        value, u = np.array(list(known.values())).T
        pull = np.zeros((len(places), len(q)))
        pull[np.arange(len(places)), places] = 1 / u
        return (q[places] - value) / u, pull


def outline_angle(shape: CrestShape, u_slope_rad: float) -> OutlineAngle:
    """Return the included angle by which the outline of a thread seen aslant is drawn best.

    Parameters
    ----------
    shape
        The thread, measured by its crests.
    u_slope_rad
        Standard uncertainty of the axis's slope toward the camera.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the outline does not determine one, or is of no thread, as a left-handed one's.
    """
    seen, usual = outline_of(shape, u_slope_rad)
    light = moved_by_light(shape.sight, seen, flank_height(seen, usual))
    return _angle(seen, usual, light, shape.signed_slant, shape.u_pitch_mm)


def flanks_outline_angle(shape: ThreadShape, u_slope_rad: float) -> OutlineAngle:
    """Return the same of a thread whose flanks are seen, with the rise that their light has.

    Raises
    ------
    numpy.linalg.LinAlgError
        As :func:`outline_angle`; of threads that are not single and right-handed as well.
    """
    section, fit = shape.section, shape.section.fit
    if section.winding != USUAL or not shape.edges:
        raise np.linalg.LinAlgError("drawn threads are right-hand ones of one start")
    pitch, spans = abs(fit.pitch_mm), []
    for side in (1.0, -1.0):
        number = section.points.ridge[(section.points.side == side) & fit.used]
        if not len(number):
            raise np.linalg.LinAlgError("a side shows no flanks")
        middle = fit.phase_mm + (fit.lag_mm if side < 0 else 0.0)
        first, last = number.min() - 0.5, number.max() + 0.5
        spans.append((middle, middle + first * pitch, middle + last * pitch))
    zy = section.to_axis(shape.frame.from_photo(shape.outline_px))
    index = chosen(zy, spans)
    seen = Outline(
        zy=zy[index],
        side=np.sign(zy[index, 1]),
        pinhole=section.pinhole(shape.frame),
        mm_per_px=shape.mm_per_px,
        blur_px=shape.blur_mm / shape.mm_per_px,
        u_slope=u_of_sight(shape, u_slope_rad),
        ridges=fit.scatter.flanks / 4,
        index=index,
        columns=np.zeros((len(index), 0)),
    )
    crest = fit.pitch_radius_mm + CREST_HEIGHT * pitch
    middles = [middle for middle, _, _ in spans]
    usual = begin(seen, middles, (pitch, (shape.major_mm or 2 * crest) / 2, fit.taper / 2))
    light = moved_by_traced(shape.edges, seen.blur_px)
    return _angle(seen, usual, light, section.slant(shape.frame))


def _angle(
    seen: Outline, usual: Values, light: MovedByLight, slant: float, u_pitch_mm: float = 0.0
) -> OutlineAngle:
    pitch, height = float(usual[PITCH]), flank_height(seen, usual)
    start = np.concatenate([usual, [ROUND, 0.0]])
    start[CREST], start[TAN] = CREST_HEIGHT * pitch, np.tan(np.radians(START_DEG))
    seen = replace(seen, columns=np.stack([np.zeros(len(height)), height], axis=1))
    form = _Any(seen=seen, pitch=pitch, light=light)
    every = Points(scatter_px=FIRST_NOISE_PX, weight=np.ones(len(height)))
    fit = fit_outline(seen, form, start, every)
    for _ in range(2):
        scatter, weight = trusted(seen, fit)
        noise = float(np.hypot(scatter, ALIKE_BLURS * seen.blur_px * np.sqrt(seen.ridges)))
        sound = Points(scatter_px=noise, weight=weight)
        fit = fit_outline(seen, form, fit, sound)
    if strangeness(seen, fit, weight) > STRANGE_BLURS:
        raise np.linalg.LinAlgError("the outline is of no form")
    told = _told(form, fit, (scatter / noise) ** 2, slant)
    return told if u_pitch_mm == 0.0 else _with_pitch(told, form, fit, u_pitch_mm)


def _with_pitch(told: OutlineAngle, form: _Any, fit: OutlineFit, u_mm: float) -> OutlineAngle:
    """Return the same with the pitch over that by the crests' tops, which are good to ``u_mm``.

    A top is where a flat parabola is highest; the flanks and notches beside it are steep, and all
    of them are of one pitch. A fit that is farther off than the tops leave possible has lost count.
    """
    size = 1 / np.sqrt(np.maximum(np.diag(fit.information), 1e-12))
    inverse = np.linalg.inv(fit.information * size[:, None] * size)
    u = float(size[PITCH] * np.sqrt(max(float(inverse[PITCH, PITCH]), 0.0)))
    pitch = float(fit.q[PITCH])
    if not 0.0 < u < u_mm or abs(pitch - form.pitch) > MOST_APART * u_mm:
        return told
    return replace(told, longer=pitch / form.pitch, u_longer=u / form.pitch)


def _told(form: _Any, fit: OutlineFit, share: float, slant: float) -> OutlineAngle:
    """Return what a fit tells of the angle; ``share`` is that of its variance by single points."""
    # In units of what each is known to, so that the inverse knows none.
    size = 1 / np.sqrt(np.maximum(np.diag(fit.information), 1e-12))
    inverse = np.linalg.inv(fit.information * size[:, None] * size)
    column = inverse[TAN] * size[TAN] * size * np.degrees(2 / (1 + fit.q[TAN] ** 2))
    turned = np.degrees(2 / (1 + fit.q[TAN] ** 2))
    variance = column[TAN] * turned
    # An estimate goes with what was known beforehand by its covariance with it over the variance.
    by_u = {place: column[place] / u for place, (_, u) in form.known().items()}
    noise = max(variance - sum(u**2 for u in by_u.values()), 0.0)
    return OutlineAngle(
        angle_deg=float(2 * np.degrees(np.arctan(fit.q[TAN]))),
        u_noise_deg=float(np.sqrt(share * noise)),
        u_bend_deg=float(np.sqrt((1 - share) * noise)),
        u_light_deg=float(np.hypot(by_u[RISE], by_u[OUT])),
        u_form_deg=float(np.linalg.norm([by_u[ROOT], by_u[CREST], by_u[CORNER]])),
        by_slant_deg=float(by_u[SLOPE] / form.seen.u_slope),
        slant=slant,
    )
