"""How well each form of thread explains a thread's outline, whether it hides its flanks or not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.section import PER_POINT
from pitchcam.frozen import dataclass
from pitchcam.least_squares import soft, solve_one
from pitchcam.normal import normal_cdf
from pitchcam.objects.contour import LIT_LEVEL
from pitchcam.series.ridges import RIDGES, Ridge
from pitchcam.small import distinct, median
from pitchcam.thread.aslant.contour import Wound, light_beside
from pitchcam.thread.aslant.crest_height import height_pull
from pitchcam.thread.aslant.ridge import ROOT_RADIUS, U_ROOT_RADIUS, ridge_outline, root_outline
from pitchcam.thread.crest_lines import CrestShape

Values = NDArray[np.float64]

#: Points of a side's outline that are used: more say nothing new.
MOST_POINTS = 150
#: How far the outline at LIT_LEVEL lies inside of where a dark part's would, in blurs: what the
#: part mirrors next to its edge takes from it; and the standard uncertainty, pixels (renders of
#: known threads, black to polished: 0.36 to 0.52, 0.06 between them).
INSIDE_BLURS, U_INSIDE_PX = 0.43, 0.12
#: What no form explains of an outline, alike on every ridge, in blurs: how the light changes along
#: a ridge, a corner's sharpness, a blur that is not even. Outlines of known threads lie 0.03 to
#: 0.1 off that of their own form; of 103 threads named so, with 0.1 at 0.89 on the mean, 101 were
#: right, which is likeliest with 0.06 to 0.08.
ALIKE_BLURS = 0.08
#: Scatter of points that a first fit takes, pixels; the least that they have; and beyond how many
#: scatters a point counts less, and not at all: dirt, a shoulder, the run-out.
FIRST_NOISE_PX, LEAST_PX, LESS_BEYOND, NOT_BEYOND = 0.3, 0.05, 2.5, 6.0
#: A ridge whose middle point lies off the outline by so many scatters, and pixels, is left out.
RIDGE_OFF, RIDGE_OFF_PX = 2.0, 0.2
#: What lies farther off the outline, pixels, draws the fit no more; and how far off it may lie.
FAR_PX, MOST_PX = 0.6, 3.0
#: Standard deviation of half an included angle as threads are made, degrees: that of the match.
U_HALF_DEG = 0.25
#: Principal point and distortion turn the line of sight by so much, radians (20 pixels of 3,000).
U_SIGHT_RAD = 0.006
#: The normal distribution, tabled for its inverse, and the inverse at the outline's level.
DEVIATIONS: Values = np.linspace(-6.0, 6.0, 1201)
BELOW: Values = normal_cdf(DEVIATIONS)
LIT_PLACE = float(np.interp(LIT_LEVEL, BELOW, DEVIATIONS))
#: Of a straight edge's slope a notch that fills with shadow is taken to keep this share.
LEAST_SLOPE = 0.3
SETTLED = 1e-4
#: How far off its best form an outline lies, in blurs (root mean square), beyond which it is of
#: none: known threads are off by 0.1, noise and all, left-handed ones by 0.5 to 2, and of those the
#: own form may seem the worst of all.
STRANGE_BLURS = 0.4
#: Steps of the differences, in pitches, tangents and radians.
STEP = 1e-4

#: The parameters: middles of ridge 0 on both sides, pitch, crest's radius at the origin, half the
#: taper, turn and offset of the axis in the picture's plane, crest's height over the pitch line,
#: tangent of the half angle, how far out the outline lies (pixels), turn toward the camera, and the
#: roots' radius.
FIRST, PITCH, RADIUS, TAPER, TURN, OFFSET = 0, 2, 3, 4, 5, 6
CREST, TAN, OUT, SLOPE, ROOT = 7, 8, 9, 10, 11
COUNT = 12


@dataclass(frozen=True, kw_only=True)
class _Seen:
    """Points of both sides: z and y in the frame, mm, and their side; what is known beforehand."""

    zy: Values
    side: Values
    pinhole: Values
    mm_per_px: float
    blur_px: float
    u_slope: float


@dataclass(frozen=True, kw_only=True)
class _Fit:
    q: Values
    rest_px: Values
    cost: float


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
    seen, start = _seen(shape, u_slope_rad)
    weight = np.ones(len(seen.zy))
    tried = {name: _fitted(seen, RIDGES[name], start, FIRST_NOISE_PX, weight) for name in names[:2]}
    first = min(tried, key=lambda name: tried[name].cost)
    best = tried[first]
    for _ in range(2):
        scatter = max(1.4826 * median(np.abs(best.rest_px)), LEAST_PX)
        off = np.abs(best.rest_px) / scatter
        weight = np.where(off < NOT_BEYOND, 1 / np.maximum(1.0, off / LESS_BEYOND), 0.0)
        weight *= _whole(seen, best, scatter)
        best = _fitted(seen, RIDGES[first], best.q, scatter, weight)
    ridges = len(shape.crests.xy) / 2
    noise = float(np.hypot(scatter, ALIKE_BLURS * seen.blur_px * np.sqrt(ridges)))
    fits = {name: _fitted(seen, RIDGES[name], best.q, noise, weight) for name in names}
    likeliest = min(fits.values(), key=lambda fit: fit.cost)
    off = float(np.average(likeliest.rest_px**2, weights=weight)) ** 0.5
    if off > STRANGE_BLURS * seen.blur_px:
        raise np.linalg.LinAlgError("the outline is of no form")
    return {name: likeliest.cost - fit.cost for name, fit in fits.items()}


def _seen(shape: CrestShape, u_slope_rad: float) -> tuple[_Seen, Values]:
    """Return the points of the outline along the crests, and where a fit begins."""
    sight, pitch = shape.sight, shape.pitch_mm
    outline, crests = sight.to_frame(sight.outline_px), sight.to_frame(shape.crests.xy)
    points, sides, middles = [], [], []
    for side in (1.0, -1.0):
        own = np.sort(crests[np.sign(crests[:, 1]) == side, 0])
        if not len(own):
            raise np.linalg.LinAlgError("a side shows no crests")
        number = np.round((own - own[0]) / pitch)
        middles.append(median(own - number * pitch))
        on = np.sign(outline[:, 1]) == side
        on &= (outline[:, 0] > own[0] - pitch / 2) & (outline[:, 0] < own[-1] + pitch / 2)
        of_side = outline[on]
        if not len(of_side):
            raise np.linalg.LinAlgError("a side shows no outline along its crests")
        points.append(of_side[:: max(1, -(-len(of_side) // MOST_POINTS))])
        sides.append(np.full(len(points[-1]), side))
    seen = _Seen(
        zy=np.concatenate(points),
        side=np.concatenate(sides),
        pinhole=sight.frame.pinhole,
        mm_per_px=shape.mm_per_px,
        blur_px=sight.blur_px,
        u_slope=float(
            np.sqrt(u_slope_rad**2 + U_SIGHT_RAD**2 + (shape.slant * shape.camera.u_lens) ** 2)
        ),
    )
    start = np.zeros(COUNT)
    start[[PITCH, RADIUS, TAPER]] = pitch, shape.major_mm / 2, shape.taper / 2
    start[FIRST : FIRST + 2] = middles
    start[OUT], start[ROOT] = -INSIDE_BLURS * seen.blur_px, ROOT_RADIUS * pitch
    return seen, start


def _fitted(seen: _Seen, ridge: Ridge, start: Values, noise: float, weight: Values) -> _Fit:
    """Fit one form to the outline; ``cost`` is half of chi squared."""
    pitch = float(start[PITCH])
    q = start.copy()
    q[CREST], q[TAN] = ridge.crest * pitch, ridge.tan_half
    low, high = np.full(COUNT, -np.inf), np.full(COUNT, np.inf)
    low[[PITCH, CREST, ROOT]] = 0.9 * pitch, 0.04 * pitch, 0.01 * pitch
    high[[PITCH, CREST, ROOT]] = 1.1 * pitch, 0.46 * pitch, 0.25 * pitch
    low[TAN], high[TAN] = 0.8 * ridge.tan_half, 1.2 * ridge.tan_half
    for place, reach in (
        (FIRST, 0.3 * pitch),
        (FIRST + 1, 0.3 * pitch),
        (RADIUS, 0.1 * pitch),
        (TAPER, 0.03),
        (TURN, 0.03),
        (OFFSET, 0.1 * pitch),
        (OUT, MOST_PX),
        (SLOPE, 5 * seen.u_slope),
    ):
        low[place], high[place] = start[place] - reach, start[place] + reach
    # Known beforehand: parameter, value, standard uncertainty.
    u_tan = np.radians(U_HALF_DEG) * (1 + ridge.tan_half**2)
    places = np.array([OUT, SLOPE, ROOT, TAN])
    expected = np.array([-INSIDE_BLURS * seen.blur_px, 0.0, ROOT_RADIUS * pitch, ridge.tan_half])
    spread = np.array([U_INSIDE_PX, seen.u_slope, U_ROOT_RADIUS * pitch, u_tan])
    pull = np.zeros((len(places) + 1, COUNT))
    pull[np.arange(len(places)), places] = 1 / spread
    scale = weight * np.sqrt(PER_POINT) / noise

    def cost(q: Values) -> tuple[Values, Values]:
        rest, slopes = _rest(seen, ridge, q)
        rest, slopes = soft(rest, slopes, FAR_PX)
        low_by, steep = height_pull(ridge, float(q[CREST]) / pitch)
        pull[-1, CREST] = steep / pitch
        return (
            np.concatenate([rest * scale, (q[places] - expected) / spread, [low_by]]),
            np.concatenate([slopes * scale[:, None], pull]),
        )

    found = solve_one(cost, q, low, high, settled=SETTLED)
    q = found.parameters[0]
    return _Fit(q=q, rest_px=_distances(seen, ridge, q)[0], cost=float(found.cost[0]))


def _whole(seen: _Seen, fit: _Fit, scatter: float) -> NDArray[np.bool_]:
    """Return which points are of ridges that lie on the thread's outline, not of its run-out."""
    z, _ = _on_axis(seen, fit.q)
    first = np.where(seen.side > 0, fit.q[FIRST], fit.q[FIRST + 1])
    number = np.round((z - first) / fit.q[PITCH]) * seen.side + 0.25 * seen.side
    keep = np.ones(len(z), bool)
    for own in distinct(number):
        on = number == own
        keep[on] = abs(median(fit.rest_px[on])) < max(RIDGE_OFF * scatter, RIDGE_OFF_PX)
    return keep


def _rest(seen: _Seen, ridge: Ridge, q: Values) -> tuple[Values, Values]:
    """Return how far outside the model's outline points lie, pixels, and its slopes (n, 12)."""
    rest, along, across = _distances(seen, ridge, q)
    z, y = _on_axis(seen, q)
    slopes = np.empty((len(rest), COUNT))
    # What moves the thread in the picture moves the points against it.
    for i, side in enumerate((1.0, -1.0)):
        slopes[:, FIRST + i] = np.where(seen.side == side, -along, 0.0)
    slopes[:, RADIUS], slopes[:, TAPER] = -across, -across * z
    slopes[:, TURN] = along * seen.side * y - across * seen.side * z
    slopes[:, OFFSET], slopes[:, OUT] = -across * seen.side, -1.0
    pitch = q[PITCH]
    for place, step in (
        (PITCH, STEP * pitch),
        (CREST, STEP * pitch),
        (TAN, STEP),
        (SLOPE, STEP),
        (ROOT, STEP * pitch),
    ):
        moved = q.copy()
        moved[place] += step
        slopes[:, place] = (_distances(seen, ridge, moved)[0] - rest) / step
    return rest, slopes


def _on_axis(seen: _Seen, q: Values) -> tuple[Values, Values]:
    """Return the points' stations on the thread's own axis, and their distances from it."""
    cosine, sine = np.cos(q[TURN]), np.sin(q[TURN])
    z, y = seen.zy[:, 0], seen.zy[:, 1] - q[OFFSET]
    return cosine * z + sine * y, seen.side * (cosine * y - sine * z)


def _distances(seen: _Seen, ridge: Ridge, q: Values) -> tuple[Values, Values, Values]:
    """Return the distances in pixels, and their slopes along and across, per mm."""
    z, y = _on_axis(seen, q)
    cosine, sine = np.cos(q[TURN]), np.sin(q[TURN])
    hole_z, hole_y, hole_x = seen.pinhole
    hole_y = hole_y - q[OFFSET]
    along_z = cosine * hole_z + sine * hole_y + q[SLOPE] * hole_x
    pinhole = np.array([along_z, cosine * hole_y - sine * hole_z, hole_x])
    pitch, tan = float(q[PITCH]), float(q[TAN])
    wound = Wound(
        pitch=pitch,
        line=float(q[RADIUS] - q[CREST]),
        half_taper=float(q[TAPER]),
        ridge=ridge_outline(ridge, pitch, float(q[CREST]), tan),
        root=root_outline(pitch, tan, float(q[ROOT])),
    )
    rest, along, across = (np.empty(len(z)) for _ in range(3))
    blur = seen.blur_px * seen.mm_per_px
    for i, side in enumerate((1.0, -1.0)):
        on = np.flatnonzero(seen.side == side)
        beside = light_beside((z[on], y[on]), wound, (float(q[FIRST + i]), side), pinhole, blur)
        # In standard deviations of the blur the light's change is even across a straight edge.
        place = np.interp(beside.light, BELOW, DEVIATIONS)
        density = np.exp(-0.5 * place**2) / np.sqrt(2 * np.pi)
        steep = np.maximum(np.hypot(beside.along, beside.across), LEAST_SLOPE * density / blur)
        rest[on] = (place - LIT_PLACE) * density / steep / seen.mm_per_px
        along[on] = beside.along / steep / seen.mm_per_px
        across[on] = beside.across / steep / seen.mm_per_px
    return rest - q[OUT], along, across
