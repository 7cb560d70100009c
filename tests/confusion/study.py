"""Counts how often each size's parts are named, and how often an ideal judge would name them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from pitchcam.match.likelihood import log_likelihood
from pitchcam.match.naming import (
    LISTED_EACH,
    LISTED_SHARE,
    NAMED,
    NAMED_BY_READING,
    has_name,
    weigh,
)
from pitchcam.match.population import population
from pitchcam.match.priors import PHOTO_TEMPER, prior_weights
from pitchcam.records import Gender, ThreadReading
from pitchcam.series import ThreadSize
from tests.confusion.ideal import log_densities, probabilities
from tests.confusion.parts import Way, draw_parts, read_parts, to_reading

#: The share that every row of photo-grade readings is to reach.
WANTED = 0.99
#: A row is drawn again, more often, where the ideal judge stays under this or a part was missed.
CLEAR = 0.996
#: Draws for the ideal judge: to see who is near the line, and to say what it reaches (0.07 %).
GLANCE, CAREFUL = 1000, 20000


@dataclass(frozen=True, kw_only=True, slots=True)
class Ideal:
    """What the ideal judge reaches: named right, the same with an equal prior, wrong names."""

    named: float
    named_flat: float
    wrong: float


@dataclass
class Row:
    """Counts of one size, and the ideal judge beside them where it was asked."""

    size: ThreadSize
    n: int = 0
    named: int = 0
    top: int = 0
    wrong: int = 0
    listed: int = 0
    ideal: Ideal | None = None
    against: Counter[str] = field(default_factory=Counter)

    @property
    def share(self) -> float:
        """Share of the parts that were named right."""
        return self.named / self.n

    @property
    def surely_under(self) -> bool:
        """Whether a row that reaches what is wanted shows so few once in a thousand studies."""
        return float(binom.cdf(self.named, self.n, WANTED)) < 0.001


@dataclass(frozen=True, kw_only=True, slots=True)
class Study:
    """One way to read parts of one gender, and how common threads are taken to be."""

    way: Way
    gender: Gender
    seed: int
    priors: Mapping[str, float] | None

    @property
    def sizes(self) -> tuple[ThreadSize, ...]:
        """One size of each geometry."""
        parts = population(self.gender)
        return tuple(parts.sizes[i] for i in parts.leaders)

    @property
    def weight(self) -> NDArray[np.float64]:
        """How common each of ``sizes`` is."""
        parts = population(self.gender)
        weight = prior_weights(parts.sizes, self.priors, temper=PHOTO_TEMPER)
        return weight[list(parts.leaders)]

    def readings(self, k: int, n: int, turn: int) -> NDArray[np.float64]:
        """Return ``n`` readings (n, 6) of parts of the k-th size; other turns, other parts."""
        rng = np.random.default_rng([self.seed, turn, k])
        return read_parts(draw_parts(self.sizes[k], self.gender, rng, n), self.way, rng)

    def row(self, k: int, n: int, turn: int) -> Row:
        """Return the counts over ``n`` parts of the k-th size."""
        row = Row(size=self.sizes[k])
        for values in self.readings(k, n, turn):
            judge(row, to_reading(values, self.way, self.gender), self.priors)
        return row

    def ideal(self, k: int, n: int, turn: int) -> Ideal:
        """Return how the ideal judge fares with parts of the k-th size."""
        logs = log_densities(self.readings(k, n, turn), self.sizes, self.way, self.gender)
        after = probabilities(logs, self.weight)
        flat = probabilities(logs, np.ones(len(self.sizes)))
        named = (after >= NAMED) & (flat >= NAMED_BY_READING)
        return Ideal(
            named=float(named[:, k].mean()),
            named_flat=float((flat[:, k] >= NAMED).mean()),
            wrong=float(np.delete(named, k, axis=1).any(axis=1).mean()),
        )


def judge(row: Row, reading: ThreadReading, priors: Mapping[str, float] | None) -> None:
    """Name one reading and count how that went."""
    parts = population(reading.gender)
    fit = log_likelihood(reading, parts)
    plain = weigh(reading, parts, fit, {})
    after = plain if priors == {} else weigh(reading, parts, fit, priors)
    named = has_name(after, plain)
    place = next(i for i, s in enumerate(after.sizes) if s.geometry == row.size.geometry)
    p = after.probability
    row.n += 1
    row.top += place == 0
    row.named += place == 0 and named
    row.wrong += place != 0 and named
    before = float(p[:place].sum())
    listed = before < LISTED_SHARE * (1 - after.off_series) or p[place] >= LISTED_EACH
    row.listed += bool(listed and after.off_series < NAMED)
    if not (place == 0 and named):
        row.against[after.sizes[1 if place == 0 else 0].designation] += 1


def rows(study: Study, n: int, more: int) -> Iterator[Row]:
    """Yield each size's row; those that need a closer look are drawn ``more`` times afresh.

    In way (a) these are the sizes near the line, in (b) those with a wrong name. A size that stays
    under what is wanted where the ideal judge does not is drawn a third time, ``CAREFUL`` times.

    Draws that choose who is drawn again are dropped: the choice does not colour the figures.
    """
    for k in range(len(study.sizes)):
        row = study.row(k, n, 0)
        if study.way == "a":
            closer = row.named < n or study.ideal(k, GLANCE, 1).named < CLEAR
        else:
            closer = row.wrong > 0
        if closer:
            ideal = study.ideal(k, CAREFUL, 3)
            row = study.row(k, more, 2)
            if study.way == "a" and row.share < WANTED <= ideal.named:
                row = study.row(k, CAREFUL, 4)
            row.ideal = ideal
        yield row
