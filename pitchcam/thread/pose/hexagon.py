"""Whether the widest stretch of a part is a hexagon or round: its axis lies a seventh lower then.

A hexagon on its flat shows its corners, and lies on flats that are 0.866 of that. Three things tell
it from a collar: its length; the end face, which its chamfer makes smaller; and its light. Flat
faces mirror evenly, with steps where two of them meet, half the width apart. A round side mirrors
the panel toward its edge, ever more of it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.objects.end_face import end_face
from pitchcam.objects.shapes import Shape
from pitchcam.small import median, medians, percentile

Values = NDArray[np.float64]
Stretch = tuple[float, float]

#: No hexagon is thinner than this share of its width over corners, as washers are: ISO 4035's thin
#: nuts have 0.27, thin hexagons of fittings 0.2 (common practice, no source).
THINNEST = 0.125
#: A hexagon's corners are turned off to a circle of 0.95 of its flats (ISO 4014, from memory) to
#: all of them, 0.866 of its corners, which is read within 0.02; round heads have more.
HEXAGON_FACE, U_HEXAGON_FACE = 0.845, 0.025
#: Share of hexagons whose face is another, and the shares of its width that any face may have:
#: smaller ones belong to something else that stands before it.
OTHER_FACE, FACES = 0.08, (0.76, 1.0)
#: How far from its end, in widths, a face may be a stretch's own: its chamfer, and the face itself
#: where it is seen.
OWN_FACE = 0.25
#: How far from a part's end its head is looked for, in widths of the part.
HEAD_WITHIN = 0.45
#: Logarithm of the odds for a hexagon: by all the same, by the logarithm of length over width, by
#: the face (log odds), by a hexagon's face beyond it; then by the light: by the logarithms of what
#: flat faces leave over what a round side leaves, of the former, and of the light within the edge.
#: By maximum likelihood over 393 parts in renders; of those left out of the fit, a fifth at a time,
#: it mistakes 14, a rule of length and face alone 34, and probabilities hold.
ODDS, BY_LENGTH, BY_FACE, BY_HEAD = 1.4, 2.3, 2.5, -3.2
BY_FLAT, BY_REST, BY_RIM = -2.0, -0.75, -1.45
#: The same where the light tells nothing.
NO_LIGHT = 6.4
#: What is so dark within its edges and so even mirrors nothing: painted, or a shadow.
DARK_RIM, EVEN = 0.06, 0.03
#: Places across a stretch and along it whose light is taken, within this share of its half width
#: and its length.
ACROSS, ALONG, REACH, INNER = 161, 40, 1.1, 0.6
#: Smallest half width, pixels, of which the light is read: its blur hides the steps of less.
LEAST_PX = 15.0
#: What is left out beside a step, in half widths, and the light that counts as none.
BESIDE_STEP, NO_LIT = 0.035, 0.02
#: What noise leaves at least of the logarithm of light.
LEAST_REST = 1e-3
#: Powers of the angle that describe the light of a round side.
POWERS = 6


def hexagon_share(shape: Shape, stretch: Stretch, width_px: float, blur_px: float) -> float:
    """Return the probability that a stretch of a part is a hexagon, 0 to 1.

    Parameters
    ----------
    shape
        The part, with the phone's sharpening undone in its crop.
    stretch
        Stations along the axis of its start and end, pixels.
    width_px
        Its width.
    blur_px
        Standard deviation of the photo's blur.
    """
    if carries_thread(shape, stretch):
        return 0.0
    s, upper, lower = shape.stations
    width = upper - lower
    start, end = stretch
    inside = (s >= start) & (s <= end)
    rest = percentile(width[~inside], 90) if (~inside).any() else 0.0
    if end - start > 1.2 * width_px or rest > 0.97 * width_px:
        return 0.0
    for r in shape.threads:
        own = width[(s > r.start_px) & (s < r.end_px)]
        # No hexagon's flats are narrower than the thread it turns.
        if len(own) and np.sqrt(3) / 2 * width_px < percentile(own, 90):
            return 0.0
    odds = BY_LENGTH * np.log(max(end - start, 1.0) / width_px)
    odds += BY_FACE * _log_odds(own_face(shape, stretch, width_px))
    if head_stretches(shape, stretch):
        odds += BY_HEAD
    light = _by_light(shape, stretch, blur_px)
    odds += NO_LIGHT if light is None else ODDS + light
    return float(1 / (1 + np.exp(-np.clip(odds, -30.0, 30.0))))


def carries_thread(shape: Shape, stretch: Stretch) -> bool:
    """Return whether a thread lies on a stretch."""
    return any(r.start_px < stretch[1] and r.end_px > stretch[0] for r in shape.threads)


def own_face(shape: Shape, stretch: Stretch, width_px: float) -> float | None:
    """Return the diameter of a stretch's end face as a share of its width.

    None where it lies inside the part, or no face is seen that is its own.
    """
    first, last = shape.stations[0][[0, -1]]
    for side, gap in ((-1.0, stretch[0] - first), (1.0, last - stretch[1])):
        if gap < OWN_FACE * width_px:
            face = end_face(shape.outline_px, shape.axis, side)
            share = 0.0 if face is None else 2 * face.radius_px / width_px
            if share >= FACES[0]:
                return share
    return None


def _log_odds(face: float | None) -> float:
    """Return the log odds for a hexagon by the share of its width that its end face has."""
    if face is None:
        return 0.0
    any_face = 1 / (FACES[1] - FACES[0])
    off = (face - HEXAGON_FACE) / U_HEXAGON_FACE
    own = np.exp(-0.5 * off**2) / (U_HEXAGON_FACE * np.sqrt(2 * np.pi))
    return float(np.log((1 - OTHER_FACE) * own / any_face + OTHER_FACE))


def head_stretches(shape: Shape, stretch: Stretch) -> list[Stretch]:
    """Return the stretches at the ends of a part that are hexagons beside a wider one.

    A wider one beside a hexagon is a flange, and such a plug falls on both.
    """
    s, upper, lower = shape.stations
    width = upper - lower
    out: list[Stretch] = []
    if carries_thread(shape, stretch):
        return out
    reach = HEAD_WITHIN * percentile(width, 99)
    for near in (s < s[0] + reach, s > s[-1] - reach):
        # The wide stretch itself may reach in; its own shoulder is where it stops.
        on = np.flatnonzero(near & ((s < stretch[0] - 3) | (s > stretch[1] + 3)))
        if len(on) < 10:
            continue
        top = percentile(width[on], 60)
        level = on[np.abs(width[on] - top) < 0.015 * top]
        if not len(level):  # two widths alone, and the percentile lies between them
            continue
        runs = np.split(level, np.flatnonzero(np.diff(level) > 2) + 1)
        run = max(runs, key=len)
        head = float(s[run[0]]), float(s[run[-1]])
        if carries_thread(shape, head) or head[1] - head[0] <= THINNEST * top:
            continue
        if _log_odds(own_face(shape, head, top)) > 0:
            out.append(head)
    return out


def _by_light(shape: Shape, stretch: Stretch, blur_px: float) -> float | None:
    """Return the log odds for a hexagon by the light across a stretch; None where none tells."""
    t, light, half = _across(shape, stretch)
    edge = (3 * blur_px + 1.5) / half
    on = np.abs(t) < 1 - edge
    if half < LEAST_PX or on.sum() < ACROSS // 4:
        return None
    within = 1 - (2.5 * blur_px + 1.5) / half
    rim = max(float(np.interp(side * within, t, light)) for side in (-1, 1))
    seen = np.log(light[on] + NO_LIT)
    flat, curved = _flat_rest(t[on], seen), _round_rest(t[on], seen)
    if rim < DARK_RIM and curved < EVEN:
        return None
    return float(BY_FLAT * np.log(flat / curved) + BY_REST * np.log(flat) + BY_RIM * np.log(rim))


def _across(shape: Shape, stretch: Stretch) -> tuple[Values, Values, float]:
    """Return the light across a stretch, its places in half widths, and the half width, px."""
    s, upper, lower = shape.stations
    start, end = stretch
    trim = (1 - INNER) / 2 * (end - start)
    along = np.linspace(start + trim, end - trim, int(np.clip(end - start, 5, ALONG)))
    high, low = np.interp(along, s, upper), np.interp(along, s, lower)
    t = np.linspace(-REACH, REACH, ACROSS)
    across = ((high + low) / 2)[:, None] + ((high - low) / 2)[:, None] * t
    st = np.stack([np.broadcast_to(along[:, None], across.shape), across], axis=-1)
    xy = shape.axis.to_photo(st.reshape(-1, 2)).reshape(st.shape)
    light = medians(shape.crop.sample(xy))
    return t, np.maximum(light, 0.0), median((high - low) / 2)


def _flat_rest(t: Values, y: Values) -> float:
    """Return the rms that three flat faces leave: lines between steps that lie 1 apart."""
    first = np.arange(-1.0, 0.001, 0.02)
    sums = np.zeros((6, len(t) + 1))
    np.cumsum([np.ones_like(t), t, t * t, y, t * y, y * y], axis=1, out=sums[:, 1:])
    rest, count = np.zeros(len(first)), np.zeros(len(first))
    gap = BESIDE_STEP
    for low, high in (
        (np.full_like(first, -9.0), first - gap),
        (first + gap, first + 1 - gap),
        (first + 1 + gap, np.full_like(first, 9.0)),
    ):
        i, j = np.searchsorted(t, low), np.searchsorted(t, high)
        n, st, stt, sy, sty, syy = sums[:, j] - sums[:, i]
        some = np.maximum(n, 1.0)
        spread = stt - st**2 / some
        slope = (sty - st * sy / some) / np.where(n > 2, spread, np.inf)
        left = syy - sy**2 / some - slope**2 * spread
        rest += np.where(n > 2, np.maximum(left, 0.0), 0.0)
        count += np.where(n > 2, n, 0.0)
    return float(np.sqrt(np.min(rest / count))) + LEAST_REST


def _round_rest(t: Values, y: Values) -> float:
    """Return the rms that a smooth change of light around the side leaves."""
    powers = np.vander(np.arcsin(np.clip(t, -1, 1)) / 1.5, POWERS)
    off = y - powers @ np.linalg.lstsq(powers, y, rcond=None)[0]
    return float(np.sqrt(np.mean(off**2))) + LEAST_REST
