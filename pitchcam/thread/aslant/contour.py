"""The light beside a thread of a given form, as a camera sees it under a slant.

Every point of the axial section is carried around the helix to where the line of sight touches the
surface; what is seen of all ridges and roots together is the outermost. So the crests' ellipses
cover their flanks here as they do in the photo, whatever of a flank is left.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.normal import normal_cdf
from pitchcam.thread.aslant.ridge import Curve
from pitchcam.thread.aslant.skyline import Skyline, ridges_of, roots_of, skylines

Values = NDArray[np.float64]

#: Newton's steps to where a line of sight touches: after the third it lies within a nanometre at
#: a slant of 14 degrees, within 60 at 20.
STEPS = 3
#: Most turn about the axis from the side of the part to where it is touched, radians.
MOST_TURN = 1.2
#: Where the blur is sampled along the axis, in standard deviations.
NODES: Values = np.linspace(-2.4, 2.4, 9)
WEIGHTS: Values = np.exp(-(NODES**2) / 2) / np.exp(-(NODES**2) / 2).sum()


@dataclass(frozen=True, kw_only=True)
class Wound:
    """A thread's section on its axis: radii at z = 0, mm; ``ridge`` and ``root`` about a middle.

    ``line`` is the pitch line's radius, ``half_taper`` the growth of radii per z, and ``pinhole``
    the camera (z, y, x) in the axis's frame, mm.
    """

    pitch: float
    line: float
    half_taper: float
    ridge: Curve
    root: Curve
    pinhole: Values

    def outline(self) -> Values:
        """Return place, height and fall of a whole ridge's points and of the root's, (3, n)."""
        curves = (self.ridge.whole(), self.root)
        rows = [[c.across for c in curves], [c.height for c in curves], [c.fall for c in curves]]
        return np.array([np.concatenate(row) for row in rows])


@dataclass(frozen=True, kw_only=True)
class Side:
    """One side of a thread in its place: the middle of ridge 0, mm, and the side, +1 or -1."""

    first: float
    side: float


@dataclass(frozen=True, kw_only=True)
class Changes:
    """How a thread changes with p parameters.

    The points of its outline (p, 3, n), in place, distance from the axis and fall, its pitch (p,)
    and the camera's place along the axis (p,).
    """

    outline: Values
    pitch: Values
    pinhole_z: Values


@dataclass(frozen=True, kw_only=True)
class Touched:
    """Where points of sections are seen, (sides, ridges, n): z, and distance to the axis.

    ``by_z`` and ``by_y`` (p, sides, ridges, n) are how they change.
    """

    z: Values
    y: Values
    by_z: Values
    by_y: Values


def touched(
    wound: Wound, sides: Sequence[Side], numbers: Values, changes: Changes | None = None
) -> Touched:
    """Return where points of sections are seen, and how that changes with what is asked for.

    Parameters
    ----------
    wound, sides
        The thread and its sides.
    numbers
        The ridges, counted from ridge 0, (ridges,).
    changes
        How the thread changes; without it nothing does.

    Notes
    -----
    With k = pitch / 2 pi a point of a right-hand thread at u, r lies at z = u + k t, y = r cos t,
    x = r sin t (on the other side z falls). The normal there is (fall, cos t + q sin t, sin t - q
    cos t) with q = k fall / r; it is touched where that is square to the line of sight. Where
    that is moves with what the point depends on, by the theorem of implicit functions.
    """
    across, height, fall = wound.outline()
    side = np.array([s.side for s in sides])[:, None, None]
    first = np.array([s.first for s in sides])[:, None, None]
    cz, cy, cx = wound.pinhole.tolist()
    cy = side * cy
    half_taper = wound.half_taper
    along = first + wound.pitch * numbers[:, None] + across
    radius = wound.line + height + half_taper * along
    advance = side * (wound.pitch / (2 * np.pi))
    lean = advance * fall / radius
    ahead, climb = along - cz, advance * fall
    # The first step is from no turn, whose sine is 0.
    turn = (fall * ahead + radius - cy + lean * cx) / (cx - climb + lean * cy)
    for left in reversed(range(STEPS)):
        turn = np.minimum(np.maximum(turn, -MOST_TURN), MOST_TURN)
        sine, cosine = np.sin(turn), np.cos(turn)
        toward, beside = cosine * cy + sine * cx, cosine * cx - sine * cy
        slope = climb - beside - lean * toward
        if left:
            off = fall * (ahead + advance * turn) + radius - toward + lean * beside
            turn = turn - off / slope
    x, own_y, own_z = radius * sine, radius * cosine, ahead + advance * turn
    nearer = cx / (cx - x)
    z, y = cz + own_z * nearer, cy + (own_y - cy) * nearer
    if changes is None:
        none = np.zeros((0, *z.shape))
        return Touched(z=z, y=y, by_z=none, by_y=none)
    by_across, by_height, by_fall = changes.outline.transpose(1, 0, 2)[:, :, None, None]
    by_pitch, by_cz = (c[:, None, None, None] for c in (changes.pitch, changes.pinhole_z))
    by_along = by_pitch * numbers[:, None] + by_across
    by_radius = by_height + half_taper * by_along
    by_advance = by_pitch * (side / (2 * np.pi))
    wind = by_along + by_advance * turn - by_cz
    by_off = by_fall * (own_z + advance * beside / radius) + fall * wind
    by_off += by_radius * (1 - lean * beside / radius) + by_advance * (fall * beside / radius)
    # A turn that is held at its limit does not move.
    by_turn = np.where(np.abs(turn) < MOST_TURN, by_off / -slope, 0.0)
    by_nearer = nearer / (cx - x) * (sine * by_radius + own_y * by_turn)
    return Touched(
        z=z,
        y=y,
        by_z=by_cz + nearer * (wind + advance * by_turn) + own_z * by_nearer,
        by_y=nearer * (cosine * by_radius - x * by_turn) + (own_y - cy) * by_nearer,
    )


def edges(
    stations: Sequence[Values], wound: Wound, sides: Sequence[Side], changes: Changes | None = None
) -> list[tuple[Skyline, Values]]:
    """Return the outermost that is seen of each side at stations (m, n) of its own, mm.

    With it goes how its distances from the axis change, (p, m, n). Where nothing of a thread is
    seen it lies below zero.
    """
    first, pitch = np.array([s.first for s in sides]), wound.pitch
    least, most = (np.array([f(z) for z in stations]) for f in (np.min, np.max))
    low = float(np.floor((least - first) / pitch).min()) - 1
    high = float(np.ceil((most - first) / pitch).max()) + 1
    numbers = np.arange(low, high + 1)
    seen = touched(wound, sides, numbers, changes)
    root = seen.z.shape[2] - len(wound.root.across)
    ridges = ridges_of(seen.z[:, :, :root], seen.y[:, :, :root])
    roots = roots_of(seen.z[:, :, root:], seen.y[:, :, root:])
    middles = first[:, None] + pitch * numbers
    tops = skylines(stations, middles, ridges, roots)
    return [(top, _moved(top, seen, i, root)) for i, top in enumerate(tops)]


def _moved(top: Skyline, seen: Touched, which: int, root: int) -> Values:
    """Return how the chords between points that are seen change at their stations, (p, m, n)."""
    if not len(seen.by_z):
        return np.zeros((0, *top.height.shape))

    def rows(by: Values) -> Values:
        own = by[:, which]
        parts = [x.reshape(len(x), -1) for x in (own[:, :, :root], own[:, :, root:])]
        return np.concatenate(parts, axis=1)

    by_z, by_y = rows(seen.by_z), rows(seen.by_y)
    left, right = (by_y.take(at, 1) - top.rise * by_z.take(at, 1) for at in (top.left, top.right))
    right -= left
    right *= top.share
    left += right
    return np.asarray(left)


@dataclass(frozen=True, kw_only=True)
class Beside:
    """The light at points beside a side, 0 in the part and 1 beside it, and its slopes, (n,) each.

    ``weights`` (m, n) is what each of the stations that the blur gathers adds to the slope across,
    ``off`` how far out the point lies there, in blurs; ``rise`` the outline's slope there and
    ``moved`` (p, m, n) how it changes.
    """

    light: Values
    along: Values
    across: Values
    weights: Values
    off: Values
    rise: Values
    moved: Values


def light_beside(
    points: Sequence[tuple[Values, Values]],
    thread: tuple[Wound, Sequence[Side]],
    blur: float,
    changes: Changes | None = None,
) -> list[Beside]:
    """Return the blurred light at points beside each side of a black thread by itself.

    Parameters
    ----------
    points
        Of each side the points' stations and distances from the axis, (n,) each, mm.
    thread
        The thread, and the sides that are asked for.
    blur
        Standard deviation of the blur, mm.
    changes
        How the thread changes with what is asked for.
    """
    stations = [z + blur * NODES[:, None] for z, _ in points]
    out = []
    for (_, y), (top, moved) in zip(points, edges(stations, *thread, changes), strict=True):
        off = (y - top.height) / blur
        below = normal_cdf(off)
        weights = np.exp(-0.5 * off**2) * (WEIGHTS / (np.sqrt(2 * np.pi) * blur))[:, None]
        out.append(
            Beside(
                light=WEIGHTS @ below,
                along=(NODES * WEIGHTS / blur) @ below,
                across=weights.sum(axis=0),
                weights=weights,
                off=off,
                rise=top.rise,
                moved=moved,
            )
        )
    return out
