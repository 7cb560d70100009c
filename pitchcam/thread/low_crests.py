"""The lines through a thread's crests on both sides, where the end crests may be low.

Chamfers, run-outs and worn starts turn the first and last crests of a side down, never up. With
three or four crests on a side no fit tells by distances alone which of them is low: each way that
the ends may be low is one hypothesis, the lines are the mean over all, and their covariance counts
how far these are apart.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import OutlineError
from pitchcam.frozen import dataclass
from pitchcam.normal import normal_cdf
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
class _Ways:
    """All ways that a side's ends may be low, w of them, and what each leaves.

    ``line`` (w, 2) are its radius at z = 0 and slope, ``inverse`` (w, 2, 2) their covariance at
    unit variance, ``squares`` and ``count`` (w,) those of the crests that are not low, ``log``
    (w,) its log weight.
    """

    line: Values
    inverse: Values
    squares: Values
    count: Values
    log: Values


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
        sides.append(_ways(z[own][order], r[own][order], low_px))
    log, variance = _together(*sides)
    tapers = np.abs(np.add.outer(sides[0].line[:, 1], sides[1].line[:, 1]))
    if tapers.flat[log.argmax()] > MOST_TAPER:
        raise OutlineError("the crest lines of both sides are none of a thread")
    log = np.where(tapers > MOST_TAPER, -np.inf, log)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    return _mean(sides, weight, weight * variance)


def _together(a: _Ways, b: _Ways) -> tuple[Values, Values]:
    """Return log weight and scatter's variance of each way of one side with each of the other.

    Both sides scatter alike and lie along one axis. The lines are open beforehand and the scatter
    nearly so: a normal inverse gamma, whose marginal is Student's t. Shapes (ways, ways).
    """
    turn = np.subtract.outer(a.line[:, 1], b.line[:, 1]) / 2
    squares = SOUND_FREEDOM * SOUND_PX**2 + np.add.outer(a.squares, b.squares)
    count = np.add.outer(a.count, b.count)
    freedom = SOUND_FREEDOM + count - 4
    least = float(freedom.min())
    gamma = [math.lgamma((least + k) / 2) for k in range(int(freedom.max() - least) + 1)]
    log = np.add.outer(a.log, b.log) + np.array(gamma)[(freedom - least).astype(np.intp)]
    log -= freedom / 2 * np.log(squares / 2) + count / 2 * math.log(2 * math.pi)
    log -= np.log1p((turn / TURN) ** 2)
    return log, squares / np.maximum(freedom - 2, 1.0)


def _mean(sides: list[_Ways], weight: Values, scatter: Values) -> CrestLines:
    """Return the mean of all lines and its covariance, by each pair's weight."""
    shares, scatters = (weight.sum(1), weight.sum(0)), (scatter.sum(1), scatter.sum(0))
    value: Values = np.concatenate([w @ of.line for w, of in zip(shares, sides, strict=True)])
    covariance = np.zeros((4, 4))
    apart = [sides[0].line - value[:2], sides[1].line - value[2:]]
    for k, at in enumerate((slice(0, 2), slice(2, 4))):
        within = np.tensordot(scatters[k], sides[k].inverse, 1)
        covariance[at, at] = within + (shares[k][:, None] * apart[k]).T @ apart[k]
    # One side's lines go with the other's where the axis ties them.
    covariance[:2, 2:] = apart[0].T @ weight @ apart[1]
    covariance[2:, :2] = covariance[:2, 2:].T
    return CrestLines(value=value, covariance=covariance)


@cache
def _low(count: int) -> tuple[Mask, Values]:
    """Return which of a side's crests are low in each way, (w, crests), two or more left.

    With each way's log prior, (w,).
    """
    place = np.arange(count)
    ways, log = [], []
    for first, share_first in enumerate(LOW_SHARES):
        for last, share_last in enumerate(LOW_SHARES):
            if count - first - last >= 2:
                ways.append((place < first) | (place >= count - last))
                log.append(math.log(share_first * share_last))
    return np.array(ways).reshape(-1, count), np.array(log)


def _ways(z: Values, r: Values, low_px: float) -> _Ways:
    """Return each way's line without the low crests; these lie below it, exponentially.

    ``z`` and ``r`` (crests,) are in pixels, from one end to the other.
    """
    low, log = _low(len(z))
    if not len(log):
        raise OutlineError("a side has fewer than two crests")
    kept = (~low).astype(float)
    n = kept.sum(axis=1)
    middle, mean = kept @ z / n, kept @ r / n
    off = kept * (z - middle[:, None])
    spread = (off * off).sum(axis=1)
    slope = off @ r / spread
    line = np.stack([mean - slope * middle, slope], axis=1)
    inverse = np.empty((len(n), 2, 2))
    inverse[:, 0, 0] = 1 / n + middle**2 / spread
    inverse[:, 0, 1] = inverse[:, 1, 0] = -middle / spread
    inverse[:, 1, 1] = 1 / spread
    below = line[:, :1] + slope[:, None] * z - r
    u = SOUND_PX * np.sqrt(1 + (1 / n)[:, None] + (z - middle[:, None]) ** 2 / spread[:, None])
    chance = np.log(normal_cdf(below / u) + 1e-12) - np.maximum(below, 0.0) / low_px
    return _Ways(
        line=line,
        inverse=inverse,
        squares=(kept * below**2).sum(axis=1),
        count=n,
        log=log - 0.5 * np.log(n * spread) + (low * (chance - math.log(low_px))).sum(axis=1),
    )
