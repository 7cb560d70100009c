"""Photos that contradict the others: found by what the others predict for them, and told why."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from pitchcam.adjust.observed import PITCH, TAPER, Observation
from pitchcam.adjust.system import adjust, shared
from pitchcam.frozen import dataclass
from pitchcam.records import NAMING_QUANTITIES

Values = NDArray[np.float64]

#: A photo whose results would be met by chance in fewer than one of so many is one that disagrees.
RARE = 1e-3
#: What a wrong scale makes longer, and what a person calls each quantity.
LENGTHS = np.array([name.endswith("_mm") for name in NAMING_QUANTITIES])
CALLED = ("pitch", "major diameter", "pitch diameter", "minor diameter", "thread angle", "taper")


@dataclass(frozen=True, kw_only=True)
class Gap:
    """How one observation lies off what others say of it, (6,), with the gap's covariance."""

    values: Values
    covariance: Values

    @property
    def known(self) -> NDArray[np.intp]:
        """Places of what both measured."""
        return np.flatnonzero(np.isfinite(self.values))

    def log_chance(self, values: Values | None = None, lost: int = 0) -> float:
        """Return the logarithm of the probability of a gap as large.

        ``lost`` degrees of freedom were fitted.
        """
        gap = (self.values if values is None else values)[self.known]
        sub = self.covariance[np.ix_(self.known, self.known)]
        squared = float(gap @ np.linalg.solve(sub, gap))
        return log_upper(squared, max(len(gap) - lost, 1))


def log_upper(x: float, freedom: int) -> float:
    """Return the logarithm of the upper tail of chi-square, also where the tail itself is zero.

    Far out it is x^(k/2 - 1) e^(-x/2) / (2^(k/2 - 1) Gamma(k/2)), the leading term of the expansion
    of the incomplete gamma function (Abramowitz and Stegun, 6.5.32).
    """
    near = float(chi2.sf(x, freedom))
    if near > 1e-200:
        return math.log(near)
    half = freedom / 2
    return -x / 2 + (half - 1) * math.log(x / 2) - math.lgamma(half)


def gap(one: Observation, others: Sequence[Observation]) -> Gap:
    """Return how an observation lies off what the others predict for it."""
    rest = adjust(others)
    values = one.values - rest.values
    cross = sum(
        (shared(one, o) @ rest.gain[:, i].T for i, o in enumerate(others)), np.zeros((6, 6))
    )
    covariance = one.covariance() + rest.covariance - cross - cross.T
    covariance = covariance + 1e-6 * np.diag(one.covariance().diagonal() + 1e-12)
    return Gap(values=values, covariance=covariance)


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """Which observations of a thread agree, and why each of the others does not.

    ``open`` says that too few agree for anybody to say which are right: those that contradict are
    then told of in ``left_out`` and kept as well.
    """

    kept: tuple[Observation, ...]
    left_out: tuple[tuple[Observation, str], ...] = ()
    open: bool = False


def agreeing(observations: Sequence[Observation]) -> Agreement:
    """Leave out, one after the other, the observation that the rest contradict most.

    What is kept outnumbers what is left out, or it stays open which are right: two photos that
    contradict each other accuse nobody.
    """
    kept = list(observations)
    out: list[tuple[Observation, str]] = []
    while len(kept) > 1:
        chances = [_chance(kept, i) for i in range(len(kept))]
        worst = int(np.argmin(chances))
        if chances[worst] > math.log(RARE / len(observations)):
            break
        rest = [o for j, o in enumerate(kept) if j != worst]
        out.append((kept[worst], reason(gap(kept[worst], rest), kept[worst])))
        kept = rest
    # Two photos that contradict each other leave one against one.
    if len(kept) <= len(out):
        return Agreement(kept=tuple(observations), left_out=tuple(out), open=True)
    return Agreement(kept=tuple(kept), left_out=tuple(out))


def _chance(kept: Sequence[Observation], i: int) -> float:
    rest = [o for j, o in enumerate(kept) if j != i]
    return gap(kept[i], rest).log_chance()


def reason(found: Gap, one: Observation) -> str:
    """Say in words how a photo contradicts the others: its scale, another part, or one quantity."""
    if np.isfinite(found.values[PITCH]):
        predicted = one.values - found.values
        share = found.values[PITCH] / predicted[PITCH]
        rest = found.values - np.where(LENGTHS, share * predicted, 0.0)
        if found.log_chance(rest, lost=1) > math.log(RARE):
            way = "larger" if share > 0 else "smaller"
            return (
                f"all its lengths are {100 * abs(share):.1f} % {way} than by the others while "
                "pitch over diameter agrees: its reference has another size than stated, or lies "
                "at another height"
            )
    each = np.abs(found.values) / np.sqrt(np.maximum(found.covariance.diagonal(), 1e-18))
    each = np.where(np.isfinite(each), each, 0.0)
    worst = int(np.argmax(each))
    unit = {4: f"{abs(found.values[4]):.1f} degrees", TAPER: f"{abs(found.values[TAPER]):.4f}"}
    off = unit.get(worst, f"{abs(found.values[worst]):.3f} mm")
    return (
        f"its {CALLED[worst]} is {off} off the others', {each[worst]:.0f} times its uncertainty: "
        "another part, another thread of it, or damage seen from this side only"
    )
