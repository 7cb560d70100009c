"""A thread that is oval or bent shows other diameters from other sides: what a roll tells.

Of photo i of a thread that was rolled in between, major, pitch and minor diameter are all larger by
one number d_i, while pitch, angle and taper stay: a wrong scale would move the pitch as well, dirt
or wear one diameter. The d_i are taken as drawn with an unknown standard deviation s, and s as that
of the largest restricted likelihood,

    -2 ln L(s) = ln |C_s| + ln |H' C_s^-1 H| + r' C_s^-1 r

with C_s the observations' covariance and s^2 added between the diameters of each laying, H which
quantity each is, and r what the estimate with C_s leaves (Patterson and Thompson).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from pitchcam.adjust.disagree import RARE
from pitchcam.adjust.observed import DIAMETERS, TAPER, TAPER_SEEN, Observation, Term
from pitchcam.adjust.sharing import Sharing
from pitchcam.adjust.system import NUGGET, stacked
from pitchcam.frozen import dataclass
from pitchcam.records import NAMING_QUANTITIES

Values = NDArray[np.float64]

#: The line of the budget.
SOURCE = "out of round"
#: Standard deviations that are tried, mm, and the most that is believed: with more it is another
#: part, or spoiled (judgement: 0.18 mm between two sides is as much as the tolerance of
#: a usual diameter).
TRIED_MM, MOST_MM = np.geomspace(0.003, 0.3, 20), 0.09
#: -2 ln of the likelihoods' ratio from which on it is believed: as rare as a photo that disagrees,
#: s lying on one side of zero.
BELIEVED = float(chi2.isf(2 * RARE, 1))
IS_DIAMETER = np.isin(NAMING_QUANTITIES, DIAMETERS)


@dataclass(frozen=True, kw_only=True)
class Roundness:
    """Observations with the term of what is out of round, and its s in mm, 0 where it is round."""

    observations: tuple[Observation, ...]
    s_mm: float


def rolled(observations: Sequence[Observation]) -> Roundness:
    """Return the observations of a thread with what their diameters tell of its roundness.

    A taper is left alone: its diameters are moved by where they are stated.
    """
    as_it_is = Roundness(observations=tuple(observations), s_mm=0.0)
    tapers = [abs(o.values[TAPER]) for o in observations if o.measured[TAPER]]
    layings = {o.laying for o in observations if (o.measured & IS_DIAMETER).any()}
    if len(layings) < 2 or (tapers and np.median(tapers) > TAPER_SEEN):
        return as_it_is
    tried = [misfit(observations, float(s)) for s in TRIED_MM]
    best = int(np.argmin([t.minus_2_ln for t in tried]))
    s = float(TRIED_MM[best])
    gain = misfit(observations, 0.0).minus_2_ln - tried[best].minus_2_ln
    # Where one diameter alone is off, or the pitch too, no s explains it.
    if gain < BELIEVED or s > MOST_MM or tried[best].chance < RARE:
        return as_it_is
    return Roundness(observations=tuple(_with_term(o, s) for o in observations), s_mm=s)


@dataclass(frozen=True, kw_only=True)
class Misfit:
    """How badly observations fit.

    ``minus_2_ln`` is that of the restricted likelihood, but for what does not hang on s, ``chance``
    the probability of a misfit as large.
    """

    minus_2_ln: float
    chance: float


def misfit(observations: Sequence[Observation], s_mm: float) -> Misfit:
    """Return how badly observations fit with diameters of so much out of round, mm."""
    y, c = stacked(observations)
    n = len(observations)
    layings = np.repeat([o.laying for o in observations], 6)
    diameter = np.tile(IS_DIAMETER, n)
    together = (layings[:, None] == layings) & diameter[:, None] & diameter
    seen = np.isfinite(y)
    u = np.sqrt(np.diagonal(c)[seen])
    c = (c + s_mm**2 * together)[np.ix_(seen, seen)] / np.outer(u, u) + NUGGET * np.eye(len(u))
    names = np.tile(np.arange(6), n)[seen]
    h = (names[:, None] == np.unique(names)) / u[:, None]
    inner = h.T @ np.linalg.solve(c, h)
    rest = y[seen] / u
    rest = rest - h @ np.linalg.solve(inner, h.T @ np.linalg.solve(c, rest))
    logs = np.linalg.slogdet(c)[1] + np.linalg.slogdet(inner)[1]
    squared = float(rest @ np.linalg.solve(c, rest))
    chance = float(chi2.sf(squared, max(len(rest) - h.shape[1], 1)))
    return Misfit(minus_2_ln=float(logs) + squared, chance=chance)


def _with_term(one: Observation, s_mm: float) -> Observation:
    term = Term(
        source=SOURCE,
        key=f"photo {one.photo}",
        shares=np.where(IS_DIAMETER & one.measured, s_mm, 0.0),
        together=True,
        sharing=Sharing(owner="photo", lasting=0.0),
    )
    return replace(one, terms=(*one.terms, term))


def note(s_mm: float) -> str:
    """Say what the photos tell of a thread's roundness."""
    return (
        f"Its diameters differ by about {2 * s_mm:.2f} mm between the photos while the pitch "
        "agrees: the thread is oval or bent. The ± counts it; roll it and look from more sides."
    )
