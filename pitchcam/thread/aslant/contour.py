"""The light beside a thread of a given form, as a camera sees it under a slant.

Every point of the axial section is carried around the helix to where the line of sight touches the
surface; what is seen of all ridges and roots together is the outermost. So the crests' ellipses
cover their flanks here as they do in the photo, whatever of a flank is left.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.normal import normal_cdf
from pitchcam.thread.aslant.ridge import Curve

Values = NDArray[np.float64]

#: Secant steps to where a line of sight touches: the fifth moves it by less than a nanometre.
STEPS = 5
#: Most turn about the axis from the side of the part to where it is touched, radians.
MOST_TURN = 1.2
#: Where the blur is sampled along the axis, in standard deviations.
NODES: Values = np.linspace(-2.4, 2.4, 9)
WEIGHTS: Values = np.exp(-(NODES**2) / 2) / np.exp(-(NODES**2) / 2).sum()
#: How far from its middle a ridge is followed, in pitches; and a radius that is inside every part.
REACH, INSIDE = 1.3, -1.0


@dataclass(frozen=True, kw_only=True)
class Wound:
    """A thread's section on its axis: radii at z = 0, mm; ``ridge`` and ``root`` about a middle.

    ``line`` is the pitch line's radius, ``half_taper`` the growth of radii per z.
    """

    pitch: float
    line: float
    half_taper: float
    ridge: Curve
    root: Curve


def touched(
    outline: Curve, middles: Values, wound: Wound, side: float, pinhole: Values
) -> tuple[Values, Values]:
    """Return where points of the section are seen, each (ridges, n): z, and distance to the axis.

    Parameters
    ----------
    outline
        Points about a ridge's middle.
    middles
        The ridges' middles on this side, (ridges,).
    wound
        The thread.
    side
        +1 or -1: the side of the axis.
    pinhole
        The camera (z, y, x) in the axis's frame, mm.

    Notes
    -----
    With k = pitch / 2 pi a point of a right-hand thread at u, r lies at z = u + k t, y = r cos t,
    x = r sin t (on the other side z falls). The normal there is (fall, cos t + q sin t, sin t - q
    cos t) with q = k fall / r; it is touched where that is square to the line of sight.
    """
    cz, cy, cx = float(pinhole[0]), side * float(pinhole[1]), float(pinhole[2])
    along = middles[:, None] + outline.across
    radius = wound.line + outline.height + wound.half_taper * along
    advance = side * wound.pitch / (2 * np.pi)
    lean = advance * outline.fall / radius

    def off(turn: Values) -> Values:
        sine, cosine = np.sin(turn), np.cos(turn)
        z = along + advance * turn - cz
        y, x = radius * cosine - cy, radius * sine - cx
        return np.asarray(
            outline.fall * z + (cosine + lean * sine) * y + (sine - lean * cosine) * x
        )

    before, turn = np.zeros_like(radius), np.full_like(radius, 0.05)
    was = off(before)
    for _ in range(STEPS):
        now = off(turn)
        change = now - was
        moved = np.abs(change) > 1e-14
        step = np.where(moved, now * (turn - before) / np.where(moved, change, 1.0), 0.0)
        before, was, turn = turn, now, np.clip(turn - step, -MOST_TURN, MOST_TURN)
    x = radius * np.sin(turn)
    z, y = along + advance * turn, radius * np.cos(turn)
    nearer = x / (cx - x)
    return z + (z - cz) * nearer, y + (y - cy) * nearer


def edge(z: Values, wound: Wound, first: float, side: float, pinhole: Values) -> Values:
    """Return the outermost distance from the axis that is seen at stations (n, m) of one side.

    ``first`` is the middle of ridge 0. Where nothing of the thread is seen it is below zero.
    """
    low = int(np.floor((z.min() - first) / wound.pitch)) - 1
    high = int(np.ceil((z.max() - first) / wound.pitch)) + 1
    middles = first + wound.pitch * np.arange(low, high + 1, dtype=float)
    ridges = touched(wound.ridge.whole(), middles, wound, side, pinhole)
    roots = touched(wound.root, middles, wound, side, pinhole)
    order = np.argsort(z[:, z.shape[1] // 2], kind="stable")
    centre = z[order, z.shape[1] // 2]
    out = np.full(z.shape, INSIDE)
    for i, middle in enumerate(middles.tolist()):
        start, end = np.searchsorted(
            centre, [middle - REACH * wound.pitch, middle + REACH * wound.pitch]
        )
        near = order[start:end]
        if not len(near):
            continue
        shown = _shown(roots[0][i])
        pieces = ((ridges[0][i], ridges[1][i]), (roots[0][i][shown], roots[1][i][shown]))
        for seen, height in pieces:
            if not len(seen):
                continue
            own = np.interp(z[near], seen, height, left=INSIDE, right=INSIDE)
            out[near] = np.maximum(out[near], own)
    return out


def _shown(z: Values) -> slice:
    """Return which points of a root are seen: those about its middle that are passed in order.

    What the ridges cover is passed in the other direction.
    """
    middle = len(z) // 2
    rises = np.diff(z) > 0
    if not (rises[middle - 1] and rises[middle]):
        return slice(0)
    after = np.flatnonzero(~rises[middle:])
    before = np.flatnonzero(~rises[:middle][::-1])
    start = middle - (before[0] if len(before) else middle)
    end = middle + (after[0] if len(after) else len(z) - 1 - middle)
    return slice(int(start), int(end) + 1)


@dataclass(frozen=True, kw_only=True)
class Beside:
    """The light at points, 0 in the part and 1 beside it, and its slopes along and across, (n,)."""

    light: Values
    along: Values
    across: Values


def light_beside(
    zy: tuple[Values, Values],
    wound: Wound,
    place: tuple[float, float],
    pinhole: Values,
    blur: float,
) -> Beside:
    """Return the blurred light at points of one side of a black thread.

    Parameters
    ----------
    zy
        The points' stations and distances from the axis, (n,) each, mm.
    wound
        The thread.
    place
        The middle of ridge 0, and the side.
    pinhole
        The camera in the axis's frame.
    blur
        Standard deviation of the blur, mm.
    """
    z, y = zy
    seen = edge(z[:, None] + blur * NODES, wound, *place, pinhole)
    off = (y[:, None] - seen) / blur
    below = normal_cdf(off)
    density = np.exp(-0.5 * off**2) / np.sqrt(2 * np.pi)
    return Beside(
        light=below @ WEIGHTS,
        along=(below * NODES) @ WEIGHTS / blur,
        across=density @ WEIGHTS / blur,
    )
