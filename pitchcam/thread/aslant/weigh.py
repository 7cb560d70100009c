"""How well each form of thread explains a thread's outline, whether it hides its flanks or not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.series.ridges import RIDGES, Ridge
from pitchcam.thread.aslant.crest_height import height_pull
from pitchcam.thread.aslant.fit import (
    COUNT,
    CREST,
    DRAWN_BY,
    FIRST_NOISE_PX,
    OUT,
    PITCH,
    RADIUS,
    ROOT,
    SLOPE,
    TAN,
    Outline,
    OutlineFit,
    Points,
    fit_outline,
    outline_of,
    strangeness,
    trusted,
    usual_bounds,
)
from pitchcam.thread.aslant.ridge import ROOT_RADIUS, U_ROOT_RADIUS, Curve, ridge_outline
from pitchcam.thread.aslant.rise import MovedByLight, flank_height, moved_by_light
from pitchcam.thread.crest_lines import CrestShape

Values = NDArray[np.float64]

#: What no form explains of an outline, alike on every ridge, in blurs: how the light changes along
#: a ridge, a corner's sharpness, a blur that is not even. Most of it is light along flanks: what is
#: left of outlines, folded over their ridges, beside the best form is 0.053 (root mean square) for
#: 107 known threads that show flanks, and 0.040 for 23 whose flanks are hidden, with what a fit
#: takes of it made good. Of 103 threads named with 0.1 at 0.89 on the mean, 101 were right, which
#: is likeliest with 0.06 to 0.08. Hidden flanks have as much above theirs, and the 15 % to which 23
#: threads tell it.
ALIKE_BLURS, ALIKE_HIDDEN_BLURS = 0.06, 0.05
#: Standard deviation of half an included angle as threads are made, degrees: that of the match.
U_HALF_DEG = 0.25
#: One parameter more: how much farther out the outline lies at a flank's top than at its foot,
#: pixels: the light moves it in there, as it does beside any angle (``rise.py``).
RISE = COUNT
#: A fit that ends with a cut crest over its whole circle is begun anew so far below it, in pitches.
#: From there on a crest's height rounds it no more, but sharpens it, and a fit that comes from
#: above halts (of 165 fits to known threads twelve did, 0.3 to 15 of the logarithm above the least;
#: begun below from the first, as many of other forms miss it).
BELOW_WHOLE = 0.015
#: How far off its best form an outline lies, in blurs (root mean square), beyond which it is of
#: none: known threads are off by 0.1, noise and all, left-handed ones by 0.5 to 2, and of those the
#: own form may seem the worst of all.
STRANGE_BLURS = 0.4


@dataclass(frozen=True, kw_only=True)
class _Made:
    """A form as threads are made, the outline that is asked for it, and the pitch, mm."""

    of: Ridge
    seen: Outline
    pitch: float
    light: MovedByLight

    def ridge(self, q: Values) -> Curve:
        return ridge_outline(self.of, float(q[PITCH]), float(q[CREST]), float(q[TAN]))

    def over_whole(self, q: Values) -> float:
        """Return how far over its whole circle a cut crest stands, mm; of others nothing."""
        if not self.of.cut:
            return 0.0
        return float(q[CREST] - self.of.whole(float(q[TAN])) * q[PITCH])

    def lowered(self, q: Values) -> Values:
        """Return the same with a cut crest well below its whole circle; the pitch line stays."""
        q = q.copy()
        q[[RADIUS, CREST]] -= max(self.over_whole(q) + BELOW_WHOLE * q[PITCH], 0.0) * self.of.cut
        return q

    @property
    def places(self) -> tuple[int, ...]:
        return DRAWN_BY

    def bounds(self, start: Values) -> tuple[Values, Values]:
        low, high = usual_bounds(start, self.pitch, self.seen.u_slope)
        low[TAN], high[TAN] = 0.8 * self.of.tan_half, 1.2 * self.of.tan_half
        return low, high

    def off(self, q: Values) -> tuple[Values, Values]:
        pitch, seen, tan = self.pitch, self.seen, self.of.tan_half
        places = [OUT, SLOPE, ROOT, TAN, RISE]
        (inside, u_inside), (rise, u_rise) = self.light.inside, self.light.rise
        expected = np.array([-inside, 0.0, ROOT_RADIUS * pitch, tan, -rise])
        u_tan = np.radians(U_HALF_DEG) * (1 + tan**2)
        spread = np.array([u_inside, seen.u_slope, U_ROOT_RADIUS * pitch, u_tan, u_rise])
        low_by, steep = height_pull(self.of, float(q[CREST]) / pitch)
        pull = np.zeros((len(places) + 1, len(q)))
        pull[np.arange(len(places)), places] = 1 / spread
        pull[-1, CREST] = steep / pitch
        return np.append((q[places] - expected) / spread, low_by), pull


def weigh_forms(
    shape: CrestShape, u_slope_rad: float, names: Sequence[str] = tuple(RIDGES)
) -> dict[str, float]:
    """Return the logarithm of each form's likelihood, the best one's 0.

    Parameters
    ----------
    shape
        The thread, measured by its crests.
    u_slope_rad
        Standard uncertainty of the axis's slope toward the camera.
    names
        The forms of :data:`RIDGES` that are asked for.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the outline does not determine a form, or is of none, as a left-handed thread's.

    Notes
    -----
    Each form has the place, the size, the pose and, within what is made, crest height and angle
    that suit it best; what is left is noise of single points and what no model explains, which is
    alike on every ridge and counts once, however many ridges are seen.
    """
    seen, start = outline_of(shape, u_slope_rad)
    height = flank_height(seen, start)
    light = moved_by_light(shape.sight, seen, height)
    seen, start = replace(seen, columns=height[:, None]), np.append(start, -light.rise[0])

    def fitted(name: str, begin: Values, noise: float, weight: Values) -> OutlineFit:
        pitch, q = float(begin[PITCH]), begin.copy()
        form = _Made(of=RIDGES[name], seen=seen, pitch=pitch, light=light)
        q[TAN] = form.of.tan_half
        points = Points(scatter_px=noise, weight=weight)
        found = fit_outline(seen, form, q, points)
        if form.over_whole(found.q) <= 0.0:
            return found
        again = fit_outline(seen, form, form.lowered(found.q), points)
        return min((found, again), key=lambda fit: fit.cost)

    weight = np.ones(len(seen.zy))
    tried = {}
    for name in names[:2]:
        start[CREST] = RIDGES[name].crest * start[PITCH]
        tried[name] = fitted(name, start, FIRST_NOISE_PX, weight)
    first = min(tried, key=lambda name: tried[name].cost)
    best = tried[first]
    for _ in range(2):
        scatter, weight = trusted(seen, best)
        best = fitted(first, best.q, scatter, weight)
    alike = ALIKE_HIDDEN_BLURS if shape.half_angles_deg is None else ALIKE_BLURS
    noise = float(np.hypot(scatter, alike * seen.blur_px * np.sqrt(seen.ridges)))
    fits = {name: fitted(name, best.q, noise, weight) for name in names}
    likeliest = min(fits.values(), key=lambda fit: fit.cost)
    if strangeness(seen, likeliest, weight) > STRANGE_BLURS:
        raise np.linalg.LinAlgError("the outline is of no form")
    return {name: likeliest.cost - fit.cost for name, fit in fits.items()}
