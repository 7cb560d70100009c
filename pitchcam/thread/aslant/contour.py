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
from pitchcam.thread.aslant.skyline import ridges_of, roots_of, skylines

Values = NDArray[np.float64]

#: Secant steps to where a line of sight touches: the fifth moves it by less than a nanometre.
STEPS = 5
#: The turn that is tried first, besides none, with its sine and cosine.
FIRST_TURN = 0.05
FIRST_SINE, FIRST_COSINE = float(np.sin(FIRST_TURN)), float(np.cos(FIRST_TURN))
#: Most turn about the axis from the side of the part to where it is touched, radians.
MOST_TURN = 1.2
#: Where the blur is sampled along the axis, in standard deviations.
NODES: Values = np.linspace(-2.4, 2.4, 9)
WEIGHTS: Values = np.exp(-(NODES**2) / 2) / np.exp(-(NODES**2) / 2).sum()


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

    def outline(self) -> Values:
        """Return place, height and fall of a whole ridge's points and of the root's, (3, n)."""
        curves = (self.ridge.whole(), self.root)
        rows = [[c.across for c in curves], [c.height for c in curves], [c.fall for c in curves]]
        return np.array([np.concatenate(row) for row in rows])


@dataclass(frozen=True, kw_only=True)
class Side:
    """One side of a thread in its place.

    ``first`` is the middle of ridge 0, ``side`` +1 or -1, and ``pinhole`` the camera (z, y, x) in
    the axis's frame, mm.
    """

    wound: Wound
    first: float
    side: float
    pinhole: Values


def touched(sides: Sequence[Side], numbers: Values) -> tuple[Values, Values]:
    """Return where points of sections are seen, (sides, ridges, n): z, and distance to the axis.

    Parameters
    ----------
    sides
        Sides of threads, their outlines of as many points.
    numbers
        The ridges, counted from ridge 0, (ridges,).

    Notes
    -----
    With k = pitch / 2 pi a point of a right-hand thread at u, r lies at z = u + k t, y = r cos t,
    x = r sin t (on the other side z falls). The normal there is (fall, cos t + q sin t, sin t - q
    cos t) with q = k fall / r; it is touched where that is square to the line of sight.
    """
    across, height, fall = np.stack([s.wound.outline() for s in sides], axis=1)[:, :, None]
    side, first = _each([s.side for s in sides]), _each([s.first for s in sides])
    pitch, line, half_taper = (
        _each([getattr(s.wound, name) for s in sides]) for name in ("pitch", "line", "half_taper")
    )
    cz, cy, cx = (_each([float(s.pinhole[i]) for s in sides]) for i in range(3))
    cy = side * cy
    along = first + pitch * numbers[:, None] + across
    radius = line + height + half_taper * along
    advance = side * pitch / (2 * np.pi)
    lean = advance * fall / radius

    def off(turned: Values | float, sine: Values | float, cosine: Values | float) -> Values:
        z, y, x = along + turned - cz, radius * cosine - cy, radius * sine - cx
        return np.asarray(fall * z + (cosine + lean * sine) * y + (sine - lean * cosine) * x)

    was, now = off(0.0, 0.0, 1.0), off(advance * FIRST_TURN, FIRST_SINE, FIRST_COSINE)
    before, turn = np.zeros_like(radius), np.full_like(radius, FIRST_TURN)
    for left in reversed(range(STEPS)):
        change = now - was
        moved = np.abs(change) > 1e-14
        step = np.where(moved, now * (turn - before) / np.where(moved, change, 1.0), 0.0)
        before, was = turn, now
        turn = np.minimum(np.maximum(turn - step, -MOST_TURN), MOST_TURN)
        if left:
            now = off(advance * turn, np.sin(turn), np.cos(turn))
    x = radius * np.sin(turn)
    z, y = along + advance * turn, radius * np.cos(turn)
    nearer = x / (cx - x)
    return z + (z - cz) * nearer, y + (y - cy) * nearer


def _each(values: list[float]) -> Values:
    return np.array(values)[:, None, None]


def edges(z: Values, sides: Sequence[Side]) -> Values:
    """Return the outermost distances from the axis that are seen of sides, (sides, n, m).

    ``z`` (n, m) are stations along the axis. Where nothing of a thread is seen it is below zero.
    """
    first, pitch = np.array([s.first for s in sides]), np.array([s.wound.pitch for s in sides])
    low = float(np.floor((z.min() - first) / pitch).min()) - 1
    high = float(np.ceil((z.max() - first) / pitch).max()) + 1
    numbers = np.arange(low, high + 1)
    seen_z, seen_y = touched(sides, numbers)
    root = seen_z.shape[2] - len(sides[0].wound.root.across)
    ridges = ridges_of(seen_z[:, :, :root], seen_y[:, :, :root])
    roots = roots_of(seen_z[:, :, root:], seen_y[:, :, root:])
    return skylines(z, first[:, None] + pitch[:, None] * numbers, ridges, roots)


@dataclass(frozen=True, kw_only=True)
class Beside:
    """The light at points, 0 in the part and 1 beside it, and its slopes along and across.

    Each (sides, n).
    """

    light: Values
    along: Values
    across: Values


def light_beside(zy: tuple[Values, Values], sides: Sequence[Side], blur: float) -> Beside:
    """Return the blurred light at points beside black threads, of each by itself.

    Parameters
    ----------
    zy
        The points' stations and distances from the axis, (n,) each, mm.
    sides
        The threads.
    blur
        Standard deviation of the blur, mm.
    """
    z, y = zy
    seen = edges(z[:, None] + blur * NODES, sides)
    off = (y[:, None] - seen) / blur
    below = normal_cdf(off)
    density = np.exp(-0.5 * off**2) / np.sqrt(2 * np.pi)
    return Beside(
        light=below @ WEIGHTS,
        along=(below * NODES) @ WEIGHTS / blur,
        across=density @ WEIGHTS / blur,
    )
