"""Whether an outline seen aslant is that of a thread's ridges.

Under a slant a crest's ellipse is seen as a parabola, and a flank comes out of it where both are as
steep. Ridges of one form and spacing on a round core draw no other outline, whatever their angle;
teeth, slots and a comb do.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.section import PER_POINT
from pitchcam.edges.sight import Sight
from pitchcam.frozen import dataclass
from pitchcam.least_squares import solve
from pitchcam.small import median, percentile
from pitchcam.thread.crest_lines import LEVEL_BLURS, CrestShape

Values = NDArray[np.float64]

#: The outline nearer to the notch of two ridges than so many blurs, and where ridges reach deeper
#: than so many pitches, is left out: what fills a groove's bottom is of many forms.
NOTCH_BLURS, DEEPEST = 1.7, 0.5
#: The form that is looked for: half the crest's flat and the radius of its rounding in pitches,
#: the flanks' cotangent, and how far each may be off (flat and sharp crests, 47 to 60 degrees).
FORM, U_FORM = (0.05, 0.05, 1.8), (0.03, 0.05, 0.5)
#: What the model leaves out, pixels: bands of the light, the ellipse's fourth order.
U_MODEL_PX = 0.2
#: Percentile of the radii that the crests reach.
TOP = 97
#: Rounds in which the points above the notches settle.
ROUNDS = 4
#: Share of the points that may be dirt; what the others of a normal distribution lie within, in
#: its standard deviations; and how many of them off a point draws the fit no more.
DIRT, NORMAL, FAR = 0.2, 1.28, 4.0
#: Depth of a whole groove, in pitches: 0.61 to 0.64 by ISO 68-1 and BS 84, NPT up to 0.8.
WHOLE = 0.62
#: Points over one pitch at which ridges are drawn.
DRAWN = 96
#: Misfit of an outline that is none of ridges: renders of known threads leave 0.004 to 0.02 of a
#: pitch, two at 11 and 16 pixels a pitch 0.025 and one worn at a chamfer 0.04; slots leave 0.2.
#: Below so many pixels it is the pixels'.
MOST_MISFIT, MOST_MISFIT_PX = 0.07, 0.7


def are_ridges(shape: CrestShape) -> bool:
    """Return whether the outline between the crests is that of a thread's ridges."""
    return misfit_mm(shape) < max(MOST_MISFIT * shape.pitch_mm, MOST_MISFIT_PX * shape.mm_per_px)


def misfit_mm(shape: CrestShape) -> float:
    """Return the standard deviation of the outline from the ridges that fit it best, mm.

    What a fifth of the points do, dirt on them, does not count.
    """
    sides = _sides(shape)
    if not sides:
        return 0.0
    pitch, mm = shape.pitch_mm, shape.mm_per_px
    rounded = FORM[1] * pitch + LEVEL_BLURS * shape.sight.blur_px * mm
    first = np.array([shape.major_mm / 2] * 2 + [0.0] * 2 + [FORM[0] * pitch, rounded, FORM[2]])
    for k, (z, r, _, _) in sides.items():
        level = r - shape.taper / 2 * z
        first[k], first[2 + k] = percentile(level, TOP), _phase(z, level, pitch)
    prior = np.array([U_FORM[0] * pitch, U_FORM[1] * pitch, U_FORM[2]])
    kept = {k: _above_notch(first, k, s, shape) for k, s in sides.items()}

    def model(q: Values) -> tuple[Values, Values]:
        rows, slopes = [], []
        for k, side in sides.items():
            off, by = _drop(q[0], k, side, shape)
            use = kept[k]
            rows.append(np.where(use, off, 0.0) / (U_MODEL_PX * mm))
            slopes.append(np.where(use[:, None], by, 0.0) / (U_MODEL_PX * mm))
        rows.append((q[0, 4:] - first[4:]) / prior)
        form = np.zeros((3, 7))
        form[:, 4:] = np.diag(1 / prior)
        return np.concatenate(rows)[None], np.concatenate([*slopes, form])[None]

    low = np.array([0.0, 0.0, -np.inf, -np.inf, 0.0, 1e-3 * pitch, 0.8])
    high = np.array([np.inf] * 4 + [0.25 * pitch, pitch, 5.0])
    at = first[None]
    for _ in range(ROUNDS):
        at = solve(model, at, low, high).parameters
        for k, side in sides.items():
            off = np.abs(_drop(at[0], k, side, shape)[0])
            near = off < FAR * max(percentile(off, 100 * (1 - DIRT)) / NORMAL, U_MODEL_PX * mm)
            kept[k] = near & _above_notch(at[0], k, side, shape)
    seen = {k: _above_notch(at[0], k, s, shape) for k, s in sides.items()}
    left = np.concatenate([np.abs(_drop(at[0], k, s, shape)[0])[seen[k]] for k, s in sides.items()])
    return percentile(left, 100 * (1 - DIRT)) / NORMAL if len(left) else 0.0


@dataclass(frozen=True, kw_only=True)
class Ripple:
    """The wave along one side: its amplitude as seen, and as ridges would draw it, mm.

    ``u`` is the standard uncertainty of the logarithm of their ratio: the outline's noise, and how
    well the slant is known.
    """

    seen_mm: float
    drawn_mm: float
    u: float


def ripples(shape: CrestShape, u_slope_rad: float) -> tuple[Ripple, ...]:
    """Return the wave of one pitch along each side: a known slant leaves it one height only."""
    pitch, blur = shape.pitch_mm, shape.sight.blur_px * shape.mm_per_px
    blurred = float(np.exp(-2 * (np.pi * blur / pitch) ** 2))
    out = []
    for z, r, slant, sign in _sides(shape).values():
        turn = 2 * np.pi * z / pitch
        columns = np.stack([np.ones_like(z), z - z.mean(), np.cos(turn), np.sin(turn)], axis=1)
        wave = np.linalg.lstsq(columns, r, rcond=None)[0]
        seen = float(np.hypot(wave[2], wave[3]))
        noise = float(np.std(r - columns @ wave)) * np.sqrt(2 / (PER_POINT * len(z)))
        lean = sign * pitch / (np.pi * shape.major_mm)
        drawn = [
            blurred * _drawn(shape, median(slant) - lean + off)
            for off in (0.0, u_slope_rad, -u_slope_rad)
        ]
        by_slope = abs(np.log(drawn[1] / drawn[2])) / 2
        u = float(np.hypot(noise / max(seen, noise), by_slope))
        out.append(Ripple(seen_mm=seen, drawn_mm=drawn[0], u=u))
    return tuple(out)


def _drawn(shape: CrestShape, slant: float) -> float:
    """Return the amplitude of the first harmonic of ridges under a slant, mm."""
    pitch = shape.pitch_mm
    x = (np.arange(DRAWN) / DRAWN - 0.5) * pitch
    u = np.maximum(np.abs(x) - FORM[0] * pitch, 0.0)
    bow = shape.major_mm / 2 * slant**2 + FORM[1] * pitch
    groove = np.minimum(_below(u, bow, FORM[2]), WHOLE * pitch)
    return float(2 * np.abs(np.mean(groove * np.exp(2j * np.pi * x / pitch))))


def _below(u: Values, bow: Values | float, cot: float) -> Values:
    """Return how far a ridge's outline lies below its top, ``u`` from its flat's edge."""
    flank = u > cot * bow
    return np.where(flank, cot * u - cot**2 * bow / 2, u**2 / (2 * bow))


_Side = tuple[Values, Values, Values, float]


def _sides(shape: CrestShape) -> dict[int, _Side]:
    """Return z, radius and slant of the outline's points on each side, and the side's sign."""
    sight: Sight = shape.sight
    cz, _, cx = sight.frame.pinhole
    st, zy = sight.axis.to_axis(sight.outline_px), sight.to_frame(sight.outline_px)
    out = {}
    for k, (crests, sign) in enumerate(zip(sight.region.crests, (1.0, -1.0), strict=True)):
        # From crest to crest: beyond them lie shoulders and chamfers.
        on = (st[:, 1] * sign > 0) & (st[:, 0] > crests[0]) & (st[:, 0] < crests[-1])
        seen = zy[on]
        if not len(seen):
            continue
        # As for the crests: a ray touches the circle of a ridge before it meets the axis's plane.
        r = np.abs(seen[:, 1]) * cx / np.hypot(cx, seen[:, 1])
        z = cz + (seen[:, 0] - cz) * (1 - (r / cx) ** 2)
        out[k] = (z, r, (cz - z) / cx, float(np.sign(median(seen[:, 1]))))
    return out


def _phase(z: Values, r: Values, pitch: float) -> float:
    turn = np.exp(2j * np.pi * z / pitch)
    return float(np.angle(np.sum((r - r.mean()) * turn)) / (2 * np.pi) * pitch)


def _from_ridge(q: Values, k: int, side: _Side, shape: CrestShape) -> tuple[Values, Values, Values]:
    """Return the distance from the ridge's middle, from its flat's edge, and the slant squared."""
    z, _, slant, sign = side
    x = (z - q[2 + k]) / shape.pitch_mm
    x = (x - np.round(x)) * shape.pitch_mm
    # The helix leans into the view on one side and out of it on the other.
    lean = shape.pitch_mm / (2 * np.pi * q[k])
    return x, np.maximum(np.abs(x) - q[4], 0.0), (slant - sign * lean) ** 2


def _drop(q: Values, k: int, side: _Side, shape: CrestShape) -> tuple[Values, Values]:
    """Return how far the points lie below the outline of ridges, and its derivatives (n, 7)."""
    z, r, _, _ = side
    x, u, squared = _from_ridge(q, k, side, shape)
    bow, cot = q[k] * squared + q[5], q[6]
    flank, below = u > cot * bow, _below(u, bow, cot)
    by_u = np.where(flank, cot, u / bow)
    by_bow = np.where(flank, -(cot**2) / 2, -(u**2) / (2 * bow**2))
    slopes = np.zeros((len(z), 7))
    slopes[:, k] = 1 - by_bow * squared
    slopes[:, 2 + k] = by_u * np.sign(x) * (u > 0)
    slopes[:, 4] = by_u * (u > 0)
    slopes[:, 5] = -by_bow
    slopes[:, 6] = -np.where(flank, u - cot * bow, 0.0)
    return q[k] + shape.taper / 2 * z - below - r, slopes


def _above_notch(q: Values, k: int, side: _Side, shape: CrestShape) -> NDArray[np.bool_]:
    x = _from_ridge(q, k, side, shape)[0]
    notch = shape.pitch_mm / 2 - NOTCH_BLURS * shape.sight.blur_px * shape.mm_per_px
    ridges = _drop(q, k, side, shape)[0] + side[1]
    depth = q[k] + shape.taper / 2 * side[0] - ridges
    keep: NDArray[np.bool_] = (np.abs(x) < notch) & (depth < DEEPEST * shape.pitch_mm)
    return keep
