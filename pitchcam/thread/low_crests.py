"""The lines through a thread's crests on both sides, where the end crests may be low.

Chamfers, run-outs and worn starts turn the first and last crests of a side down, never up. With
three or four crests on a side no fit tells by distances alone which of them is low: each way that
the ends may be low is one hypothesis, the lines are the mean over all, and their covariance counts
how far these are apart.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import OutlineError
from pitchcam.frozen import dataclass
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
    log, variance = _together(*sides)
    slopes = [np.array([way.line[1] for way in ways]) for ways in sides]
    tapers = np.abs(slopes[0][:, None] + slopes[1])
    if tapers.flat[log.argmax()] > MOST_TAPER:
        raise OutlineError("the crest lines of both sides are none of a thread")
    log = np.where(tapers > MOST_TAPER, -np.inf, log)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    return _mean(sides, weight, weight * variance)


def _together(a: list[_Way], b: list[_Way]) -> tuple[Values, Values]:
    """Return log weight and scatter's variance of each way of one side with each of the other.

    Both sides scatter alike and lie along one axis. The lines are open beforehand and the scatter
    nearly so: a normal inverse gamma, whose marginal is Student's t. Shapes (ways, ways).
    """

    def both(of: Callable[[_Way], float]) -> Values:
        columns = [np.array([of(way) for way in ways], float) for ways in (a, b)]
        return np.asarray(np.add.outer(*columns))

    turn = (np.array([way.line[1] for way in a])[:, None] - [way.line[1] for way in b]) / 2
    squares = SOUND_FREEDOM * SOUND_PX**2 + both(lambda way: way.squares)
    count = both(lambda way: way.count)
    freedom = SOUND_FREEDOM + count - 4
    gamma = {f: math.lgamma(f / 2) for f in set(freedom.flat)}
    log = both(lambda way: way.log) + np.vectorize(gamma.get, otypes=[float])(freedom)
    log -= freedom / 2 * np.log(squares / 2) + count / 2 * math.log(2 * math.pi)
    log -= np.log1p((turn / TURN) ** 2)
    return log, squares / np.maximum(freedom - 2, 1.0)


def _mean(sides: list[list[_Way]], weight: Values, scatter: Values) -> CrestLines:
    """Return the mean of all lines and its covariance, by each pair's weight."""
    lines = [np.array([way.line for way in ways]) for ways in sides]
    inverse = [np.array([way.inverse for way in ways]) for ways in sides]
    shares, scatters = (weight.sum(1), weight.sum(0)), (scatter.sum(1), scatter.sum(0))
    value: Values = np.concatenate([w @ of for w, of in zip(shares, lines, strict=True)])
    covariance = np.zeros((4, 4))
    apart = [lines[0] - value[:2], lines[1] - value[2:]]
    for k, at in enumerate((slice(0, 2), slice(2, 4))):
        within = np.einsum("h,hij->ij", scatters[k], inverse[k])
        covariance[at, at] = within + np.einsum("h,hi,hj->ij", shares[k], apart[k], apart[k])
    # One side's lines go with the other's where the axis ties them.
    covariance[:2, 2:] = np.einsum("gh,gi,hj->ij", weight, apart[0], apart[1])
    covariance[2:, :2] = covariance[:2, 2:].T
    return CrestLines(value=value, covariance=covariance)


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
