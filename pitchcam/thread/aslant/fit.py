"""Fits a drawn thread to the outline of one in a photo: corners, crests and roots with it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.crests import LOWEST
from pitchcam.edges.section import PER_POINT
from pitchcam.frozen import dataclass
from pitchcam.least_squares import soft, solve_one
from pitchcam.normal import normal_cdf
from pitchcam.objects.contour import LIT_LEVEL
from pitchcam.small import distinct, median
from pitchcam.thread.aslant.contour import NODES, Beside, Changes, Side, Wound, light_beside
from pitchcam.thread.aslant.ridge import ROOT_RADIUS, Curve, root_outline
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.measure import ThreadShape

Values = NDArray[np.float64]

#: Points of a side's outline that are used: more say nothing new.
MOST_POINTS = 150
#: Where a fit begins: how far the outline at LIT_LEVEL lies inside of where a black part's would,
#: in blurs (renders of known threads, black to polished: 0 to 1, see ``rise.py``).
INSIDE_BLURS = 0.43
#: Scatter of points that a first fit takes, pixels; the least that they have; and beyond how many
#: scatters a point counts less, and not at all: dirt, a shoulder, the run-out.
FIRST_NOISE_PX, LEAST_PX, LESS_BEYOND, NOT_BEYOND = 0.3, 0.05, 2.5, 6.0
#: A ridge whose middle point lies off the outline by so many scatters, and pixels, is left out.
RIDGE_OFF, RIDGE_OFF_PX = 2.0, 0.2
#: What lies farther off the outline, pixels, draws the fit no more; and how far off it may lie.
FAR_PX, MOST_PX = 0.6, 3.0
#: Principal point and distortion turn the line of sight by so much, radians (20 pixels of 3,000).
U_SIGHT_RAD = 0.006
#: The normal distribution, tabled for its inverse, and the inverse at the outline's level.
DEVIATIONS: Values = np.linspace(-6.0, 6.0, 1201)
BELOW: Values = normal_cdf(DEVIATIONS)
LIT_PLACE = float(np.interp(LIT_LEVEL, BELOW, DEVIATIONS))
#: Of a straight edge's slope a notch that fills with shadow is taken to keep this share.
LEAST_SLOPE = 0.3
SETTLED = 1e-4

#: The parameters that every drawn thread has: middles of ridge 0 on both sides, pitch, crest's
#: radius at the origin, half the taper, turn and offset of the axis in the picture's plane, crest's
#: height over the pitch line, tangent of the half angle, how far out the outline lies (pixels),
#: turn toward the camera, and the roots' radius.
FIRST, PITCH, RADIUS, TAPER, TURN, OFFSET = 0, 2, 3, 4, 5, 6
CREST, TAN, OUT, SLOPE, ROOT = 7, 8, 9, 10, 11
COUNT = 12
#: Those with which the drawing changes by itself; the others move the thread in the picture.
DRAWN_BY = (PITCH, CREST, TAN, ROOT, SLOPE)
#: What a ridge's and a root's outline change with, as :class:`Curve` has it; one more than the
#: usual parameters may say how round the corners are.
RIDGE_PLACES, ROOT_PLACES = (PITCH, CREST, TAN, COUNT), (PITCH, CREST, TAN, ROOT)


@dataclass(frozen=True, kw_only=True)
class Outline:
    """Points of both sides: z and y in the frame, mm, and their side; what is known beforehand.

    ``u_slope`` is the standard uncertainty of the axis's slope toward the camera, by which it may
    be seen otherwise; ``ridges`` how many a side shows; ``index`` (n,) each point's place in the
    part's outline. ``columns`` (n, p - COUNT) is how far out
    further parameters move the outline, pixels for one of each.
    """

    zy: Values
    side: Values
    pinhole: Values
    mm_per_px: float
    blur_px: float
    u_slope: float
    ridges: float
    index: NDArray[np.intp]
    columns: Values


class Form(Protocol):
    """What is drawn of a thread besides its place, by its parameters, of which COUNT are usual."""

    def ridge(self, q: Values) -> Curve:
        """Return the ridge; the last of its slopes is that by what is drawn besides DRAWN_BY."""
        ...

    @property
    def places(self) -> tuple[int, ...]:
        """The parameters with which its drawing changes by itself, DRAWN_BY and more."""
        ...

    def off(self, q: Values) -> tuple[Values, Values]:
        """Return how far the parameters are off what is known, in its u (m,), and slopes (m, p)."""
        ...

    def bounds(self, start: Values) -> tuple[Values, Values]:
        """Return the least and the largest parameters."""
        ...


@dataclass(frozen=True, kw_only=True)
class OutlineFit:
    """The parameters, how far outside the model's outline points lie, and half of chi squared.

    ``slopes`` (n, p) are the changes of ``rest_px`` (n,); ``information`` (p, p) is the inverse of
    the parameters' covariance, with what was known.
    """

    q: Values
    rest_px: Values
    slopes: Values
    cost: float
    information: Values


def outline_of(shape: CrestShape, u_slope_rad: float) -> tuple[Outline, Values]:
    """Return the points of the outline along the crests, and where a fit begins."""
    sight, pitch = shape.sight, shape.pitch_mm
    crests, spans = sight.to_frame(shape.crests.xy), []
    for side in (1.0, -1.0):
        own = np.sort(crests[np.sign(crests[:, 1]) == side, 0])
        if not len(own):
            raise np.linalg.LinAlgError("a side shows no crests")
        number = np.round((own - own[0]) / pitch)
        middle = median(own - number * pitch)
        spans.append((middle, own[0] - pitch / 2, own[-1] + pitch / 2))
    zy = sight.to_frame(sight.outline_px)
    index = chosen(zy, spans)
    seen = Outline(
        zy=zy[index],
        side=np.sign(zy[index, 1]),
        pinhole=sight.frame.pinhole,
        mm_per_px=shape.mm_per_px,
        blur_px=sight.blur_px,
        u_slope=u_of_sight(shape, u_slope_rad),
        ridges=len(shape.crests.xy) / 2,
        index=index,
        columns=np.zeros((len(index), 0)),
    )
    middles = [middle for middle, _, _ in spans]
    return seen, begin(seen, middles, (pitch, shape.major_mm / 2, shape.taper / 2))


def u_of_sight(shape: CrestShape | ThreadShape, u_slope_rad: float) -> float:
    """Return the standard uncertainty of the angle at which a thread's axis is seen, radians."""
    by_lens = shape.slant * shape.camera.u_lens
    return float(np.sqrt(u_slope_rad**2 + U_SIGHT_RAD**2 + by_lens**2))


def chosen(zy: Values, spans: Sequence[tuple[float, float, float]]) -> NDArray[np.intp]:
    """Return which points of an outline to use, for spans (middle, start, end) of either side."""
    index = []
    for side, (_, start, end) in zip((1.0, -1.0), spans, strict=True):
        on = (np.sign(zy[:, 1]) == side) & (zy[:, 0] > start) & (zy[:, 0] < end)
        own = np.flatnonzero(on)
        if not len(own):
            raise np.linalg.LinAlgError("a side shows no outline along its crests")
        index.append(own[:: max(1, -(-len(own) // MOST_POINTS))])
    return np.concatenate(index)


def begin(seen: Outline, middles: Sequence[float], along: tuple[float, float, float]) -> Values:
    """Return the parameters that a fit begins with, by pitch, crests' radius and half the taper."""
    start = np.zeros(COUNT)
    start[[PITCH, RADIUS, TAPER]] = along
    start[FIRST : FIRST + 2] = middles
    start[OUT], start[ROOT] = -INSIDE_BLURS * seen.blur_px, ROOT_RADIUS * along[0]
    return start


def usual_bounds(start: Values, pitch: float, u_slope: float) -> tuple[Values, Values]:
    """Return bounds of the usual parameters around a start, open where none is needed."""
    low, high = np.full(len(start), -np.inf), np.full(len(start), np.inf)
    low[[PITCH, CREST, ROOT]] = 0.9 * pitch, LOWEST * pitch, 0.01 * pitch
    high[[PITCH, CREST, ROOT]] = 1.1 * pitch, 0.46 * pitch, 0.25 * pitch
    for place, reach in (
        (FIRST, 0.3 * pitch),
        (FIRST + 1, 0.3 * pitch),
        (RADIUS, 0.1 * pitch),
        (TAPER, 0.03),
        (TURN, 0.03),
        (OFFSET, 0.1 * pitch),
        (OUT, MOST_PX),
        (SLOPE, 5 * u_slope),
    ):
        low[place], high[place] = start[place] - reach, start[place] + reach
    return low, high


@dataclass(frozen=True, kw_only=True)
class Points:
    """How far points scatter, pixels, and how much each counts (n,)."""

    scatter_px: float
    weight: Values


def fit_outline(
    seen: Outline, form: Form, start: Values | OutlineFit, points: Points
) -> OutlineFit:
    """Fit a form to the outline, from parameters on or from where a fit of the same form ended."""
    scale = points.weight * np.sqrt(PER_POINT) / points.scatter_px
    drawn = dict[bytes, tuple[Values, Values]]()
    if isinstance(start, OutlineFit):
        # Points that count otherwise are drawn alike.
        drawn[start.q.tobytes()] = start.rest_px, start.slopes
        start = start.q

    def cost(q: Values) -> tuple[Values, Values]:
        at = q.tobytes()
        plain = drawn[at] = drawn[at] if at in drawn else rest_and_slopes(seen, form, q)
        rest, slopes = soft(*plain, FAR_PX)
        off, pull = form.off(q)
        return (
            np.concatenate([rest * scale, off]),
            np.concatenate([slopes * scale[:, None], pull]),
        )

    found = solve_one(cost, start, *form.bounds(start), settled=SETTLED)
    q = found.parameters[0]
    rest_px, slopes = drawn[q.tobytes()]
    return OutlineFit(
        q=q,
        rest_px=rest_px,
        slopes=slopes,
        cost=float(found.cost[0]),
        information=found.information[0],
    )


def trusted(seen: Outline, fit: OutlineFit) -> tuple[float, Values]:
    """Return the points' scatter about a fit, pixels, and how much each counts, 0 to 1."""
    scatter = max(1.4826 * median(np.abs(fit.rest_px)), LEAST_PX)
    off = np.abs(fit.rest_px) / scatter
    weight = np.where(off < NOT_BEYOND, 1 / np.maximum(1.0, off / LESS_BEYOND), 0.0)
    weight *= _whole(seen, fit, scatter)
    return scatter, weight


def strangeness(seen: Outline, fit: OutlineFit, weight: Values) -> float:
    """Return how far an outline lies off a form, in blurs (root mean square)."""
    return float(np.sqrt(np.average(fit.rest_px**2, weights=weight))) / seen.blur_px


def _whole(seen: Outline, fit: OutlineFit, scatter: float) -> NDArray[np.bool_]:
    """Return which points are of ridges that lie on the thread's outline, not of its run-out."""
    z, _ = on_axis(seen, fit.q)
    first = np.where(seen.side > 0, fit.q[FIRST], fit.q[FIRST + 1])
    number = np.round((z - first) / fit.q[PITCH]) * seen.side + 0.25 * seen.side
    keep = np.ones(len(z), bool)
    for own in distinct(number):
        on = number == own
        keep[on] = abs(median(fit.rest_px[on])) < max(RIDGE_OFF * scatter, RIDGE_OFF_PX)
    return keep


def rest_and_slopes(seen: Outline, form: Form, q: Values) -> tuple[Values, Values]:
    """Return how far outside the model's outline points lie, pixels, and its slopes (n, p)."""
    z, y = on_axis(seen, q)
    wound, sides, changes = _drawn(seen, form, q)
    groups = [np.flatnonzero(seen.side == side.side) for side in sides]
    blur = seen.blur_px * seen.mm_per_px
    points = [(z[on], y[on]) for on in groups]
    rest, along, across = np.empty((3, len(z)))
    slopes = np.zeros((len(q), len(rest)))
    every = light_beside(points, (wound, sides), blur, changes)
    for i, (on, beside) in enumerate(zip(groups, every, strict=True)):
        rest[on], pull = _distance(beside, blur)
        along[on], across[on] = np.einsum("mn,mn->n", pull, beside.rise), -pull.sum(axis=0)
        slopes[FIRST + i, on] = -along[on]
        by_form = np.einsum("mn,pmn->pn", pull, beside.moved)
        for place, by in zip(form.places, by_form, strict=True):
            slopes[place, on] = by
    # What moves the thread in the picture moves the points against it.
    slopes[RADIUS], slopes[TAPER] = -across, -across * z
    slopes[TURN] = seen.side * (along * y - across * z)
    slopes[OFFSET] = -across * seen.side
    slopes /= seen.mm_per_px
    slopes[OUT] = -1.0
    slopes[COUNT:] -= seen.columns.T
    return rest / seen.mm_per_px - q[OUT] - seen.columns @ q[COUNT:], slopes.T


def _distance(beside: Beside, blur: float) -> tuple[Values, Values]:
    """Return how far outside of the outline points are, mm (n,), by their light.

    And what of it goes with the drawn thread's height at each station that the blur gathers (m, n).
    """
    # In standard deviations of the blur the light's change is even across a straight edge.
    place = np.interp(beside.light, BELOW, DEVIATIONS)
    density = np.exp(-0.5 * place**2) / np.sqrt(2 * np.pi)
    slope, least = np.hypot(beside.along, beside.across), LEAST_SLOPE * density / blur
    steep = np.maximum(slope, least)
    rest = (place - LIT_PLACE) * density / steep
    # The slope itself changes as well, but where the least one stands for it.
    by_light = 1 - (place - LIT_PLACE) * place
    by_slope = np.where(slope > least, rest / (blur * steep), 0.0)
    by_light = np.where(slope > least, by_light, 1.0)
    turned = by_slope * (beside.along * NODES[:, None] - beside.across * beside.off)
    return rest, (turned - by_light) * beside.weights / steep


def _drawn(seen: Outline, form: Form, q: Values) -> tuple[Wound, list[Side], Changes]:
    """Return a drawn thread, both of its sides, and how it changes with the form's places."""
    pitch, places = float(q[PITCH]), form.places
    ridge, root = form.ridge(q), root_outline(pitch, float(q[TAN]), float(q[ROOT]))
    cosine, sine = np.cos(q[TURN]), np.sin(q[TURN])
    hole_z, hole_y, hole_x = seen.pinhole
    hole_y = hole_y - q[OFFSET]
    turned = cosine * hole_z + sine * hole_y, cosine * hole_y - sine * hole_z
    wound = Wound(
        pitch=pitch,
        line=float(q[RADIUS] - q[CREST]),
        half_taper=float(q[TAPER]),
        ridge=ridge,
        root=root,
        pinhole=np.array([turned[0] + q[SLOPE] * hole_x, turned[1], hole_x]),
    )
    whole = ridge.whole().by
    outline = np.zeros((len(places), 3, whole.shape[2] + root.by.shape[2]))
    ridges, roots = outline[:, :, : whole.shape[2]], outline[:, :, whole.shape[2] :]
    for own, place in enumerate(places):
        if place in RIDGE_PLACES:
            ridges[own] = whole[RIDGE_PLACES.index(place)]
        if place in ROOT_PLACES:
            roots[own] = root.by[ROOT_PLACES.index(place)]
    # The pitch line lies below the crest by its height.
    outline[places.index(CREST), 1] -= 1.0
    unit = np.eye(len(places))
    changes = Changes(
        outline=outline,
        pitch=unit[places.index(PITCH)],
        pinhole_z=hole_x * unit[places.index(SLOPE)],
    )
    sides = [Side(first=float(q[FIRST + i]), side=side) for i, side in enumerate((1.0, -1.0))]
    return wound, sides, changes


def on_axis(seen: Outline, q: Values) -> tuple[Values, Values]:
    """Return the points' stations on the thread's own axis, and their distances from it."""
    cosine, sine = np.cos(q[TURN]), np.sin(q[TURN])
    z, y = seen.zy[:, 0], seen.zy[:, 1] - q[OFFSET]
    return cosine * z + sine * y, seen.side * (cosine * y - sine * z)
