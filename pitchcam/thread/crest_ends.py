"""The lines through a thread's crests on both sides, where the end crests may be low.

Chamfers, run-outs and worn starts turn the first and last crests of a side down, never up. With
three or four crests on a side no fit tells by distances alone which of them is low: each way that
the ends may be low is one hypothesis, the lines are the mean over all, and their covariance counts
how far these are apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import OutlineError
from pitchcam.small import median

Values = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: What sound crests scatter by, pixels, and for how many degrees of freedom that counts: 1,400
#: inner crests of renders did by 0.06, one in twenty threads by three times as much.
SOUND_PX, SOUND_FREEDOM = 0.08, 3.0
#: Prior share of ends of a side at which no crest, one or two are low, and by how much in pitches
#: on average: of 470 such ends 7 in 100 were low by 0.01 to 0.2.
LOW_SHARES = (0.9, 0.07, 0.03)
LOW_OF_PITCH = 0.06
#: How far the mean of both sides is turned from the axis in the photo, at the median: it was drawn
#: through the same sides. A few of three crests are turned by ten times as much (Cauchy).
TURN = 0.005
#: Steeper tapers than this no thread has (pipe and metric tapers have 1:16; judgement).
MOST_TAPER = 0.15
#: Inner crests farther off than so many standard deviations are dirt, and rounds to find them.
FAR, ROUNDS = 3.5, 3


@dataclass(frozen=True, kw_only=True)
class CrestLines:
    """Radius at z = 0 and slope of the + side, then of the - side, with their covariance (4, 4)."""

    value: Values
    covariance: Values

    @property
    def major_mm(self) -> float:
        """The diameter at z = 0."""
        return float(self.value[0] + self.value[2])

    @property
    def taper(self) -> float:
        """The change of diameter per length."""
        return float(self.value[1] + self.value[3])

    @property
    def u_major_mm(self) -> float:
        """Standard uncertainty of the diameter, from the crests alone."""
        c = self.covariance
        return float(np.sqrt(c[0, 0] + c[2, 2] + 2 * c[0, 2]))

    @property
    def u_taper(self) -> float:
        """Standard uncertainty of the taper, from the crests alone."""
        c = self.covariance
        return float(np.sqrt(c[1, 1] + c[3, 3] + 2 * c[1, 3]))


@dataclass(frozen=True, kw_only=True)
class _Way:
    """One way that a side's ends may be low: its line, what that leaves, and its log weight."""

    line: Values
    inverse: Values
    squares: float
    count: int
    log: float


@dataclass(frozen=True, kw_only=True)
class _Pair:
    """Both sides' lines (4,), their covariance (4, 4), and the log weight of it."""

    lines: Values
    covariance: Values
    log: float

    @property
    def taper(self) -> float:
        return float(self.lines[1] + self.lines[3])


@dataclass(frozen=True, kw_only=True)
class _Side:
    """Crests of one side, from one end to the other; lengths in pixels."""

    z: Values
    r: Values
    low_px: float


def lines_of_crests(
    z: Values, radius: Values, above: Mask, scale: tuple[float, float]
) -> CrestLines:
    """Fit the lines of both sides' crests.

    Parameters
    ----------
    z, radius
        Where crests are along the axis and how far from it, mm, (n,).
    above
        Which of them are of the + side, (n,).
    scale
        Pitch, and millimetres per pixel.

    Raises
    ------
    OutlineError
        If a side has fewer than two crests, or both sides' lines are none of a thread.
    """
    pitch, mm = scale
    use = np.ones(len(z), bool)
    for _ in range(ROUNDS):
        lines = _weighed(z[use] / mm, radius[use] / mm, above[use], LOW_OF_PITCH * pitch / mm)
        off = radius / mm - _radius(lines.value, z / mm, above)
        spread = max(1.4826 * median(np.abs(off[use])), SOUND_PX)
        inner = ~(_ends(z, above, use))
        keep = ~(inner & (np.abs(off) > FAR * spread)) & use
        if (keep == use).all() or min(keep[above].sum(), keep[~above].sum()) < 3:
            break
        use = keep
    unit = np.array([mm, 1.0, mm, 1.0])
    return CrestLines(value=lines.value * unit, covariance=lines.covariance * np.outer(unit, unit))


def _radius(lines: Values, z: Values, above: Mask) -> Values:
    return np.asarray(np.where(above, lines[0] + lines[1] * z, lines[2] + lines[3] * z))


def _ends(z: Values, above: Mask, use: Mask) -> Mask:
    """Return which crests are the two first or last of their side."""
    end = np.zeros(len(z), bool)
    for side in (above & use, ~above & use):
        order = np.flatnonzero(side)[np.argsort(z[side])]
        end[order[:2]] = end[order[-2:]] = True
    return end


def _weighed(z: Values, r: Values, above: Mask, low_px: float) -> CrestLines:
    """Return the lines over all ways that ends may be low, lengths in pixels."""
    sides = []
    for own in (above, ~above):
        order = np.argsort(z[own])
        sides.append(_ways(_Side(z=z[own][order], r=r[own][order], low_px=low_px)))
    pairs = [_pair(a, b) for a in sides[0] for b in sides[1]]
    if abs(max(pairs, key=lambda pair: pair.log).taper) > MOST_TAPER:
        raise OutlineError("the crest lines of both sides are none of a thread")
    pairs = [pair for pair in pairs if abs(pair.taper) <= MOST_TAPER]
    log = np.array([pair.log for pair in pairs])
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    lines = np.array([pair.lines for pair in pairs])
    value: Values = weight @ lines
    within = np.einsum("h,hij->ij", weight, np.array([pair.covariance for pair in pairs]))
    apart = np.einsum("h,hi,hj->ij", weight, lines - value, lines - value)
    return CrestLines(value=value, covariance=np.asarray(within + apart))


def _pair(a: _Way, b: _Way) -> _Pair:
    """Return both sides together, which scatter alike and lie along one axis.

    The lines are open beforehand and the scatter nearly so: a normal inverse gamma, whose marginal
    is Student's t.
    """
    turn = (a.line[1] - b.line[1]) / 2
    squares = SOUND_FREEDOM * SOUND_PX**2 + a.squares + b.squares
    freedom = SOUND_FREEDOM + a.count + b.count - 4
    log = math.lgamma(freedom / 2) - freedom / 2 * math.log(squares / 2)
    log -= (a.count + b.count) / 2 * math.log(2 * math.pi) + math.log1p((turn / TURN) ** 2)
    covariance = np.zeros((4, 4))
    covariance[:2, :2], covariance[2:, 2:] = a.inverse, b.inverse
    return _Pair(
        lines=np.concatenate([a.line, b.line]),
        covariance=covariance * squares / max(freedom - 2, 1.0),
        log=a.log + b.log + log,
    )


def _ways(side: _Side) -> list[_Way]:
    """Return every way that so many crests of either end are low, two or more left."""
    ways = []
    for first, share_first in enumerate(LOW_SHARES):
        for last, share_last in enumerate(LOW_SHARES):
            if len(side.z) - first - last >= 2:
                ways.append(_way(side, first, last, math.log(share_first * share_last)))
    if not ways:
        raise OutlineError("a side has fewer than two crests")
    return ways


def _way(side: _Side, first: int, last: int, log: float) -> _Way:
    """Return the line without the low crests; these lie below it, exponentially."""
    kept = slice(first, len(side.z) - last)
    z, r = side.z[kept], side.r[kept]
    n, middle = len(z), z.mean()
    spread = float(((z - middle) ** 2).sum())
    slope = float(((z - middle) * r).sum()) / spread
    line = np.array([r.mean() - slope * middle, slope])
    inverse = np.array(
        [[1 / n + middle**2 / spread, -middle / spread], [-middle / spread, 1 / spread]]
    )
    rest = r - line[0] - slope * z
    log -= 0.5 * math.log(n * spread)
    for i in (*range(first), *range(len(side.z) - last, len(side.z))):
        low = float(line[0] + slope * side.z[i] - side.r[i])
        u = SOUND_PX * math.sqrt(1 + 1 / n + (side.z[i] - middle) ** 2 / spread)
        below = 0.5 * math.erfc(-low / (u * math.sqrt(2)))
        log += math.log(below + 1e-12) - max(low, 0.0) / side.low_px - math.log(side.low_px)
    return _Way(line=line, inverse=inverse, squares=float(rest @ rest), count=n, log=log)
