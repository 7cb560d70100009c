"""From readings by hand to the probability of each size and of each way to slip."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.match.evidence import OFF_SERIES_PRIOR
from pitchcam.match.hand import Factor, HandReadings, factors, off_series
from pitchcam.match.naming import NAMED, NAMED_BY_READING
from pitchcam.match.population import population
from pitchcam.match.priors import prior_weights
from pitchcam.series import ThreadSize

Array = NDArray[np.float64]

#: A name stands on readings that are taken as good: with this probability none of them slipped.
SOUND = 0.5
#: No slip: a thread read from its large end is as well read.
HARMLESS = ("order",)


@dataclass(frozen=True, kw_only=True, slots=True)
class HandPosterior:
    """What a batch of readings says, one size standing for each geometry.

    ``probability`` and ``flat`` (n, sizes) are those of each size with the priors and with all
    sizes equally common; ``sound`` (n, sizes) that none of the readings slipped if it is that
    size; ``slips`` (n, sizes) each slip's share of a size's probability; ``off_series`` (n,).
    """

    sizes: tuple[ThreadSize, ...]
    probability: Array
    flat: Array
    sound: Array
    slips: Mapping[str, Array]
    off_series: Array

    def names(self) -> NDArray[np.intp]:
        """Return each reading's named size by its place in ``sizes``, -1 for none, (n,)."""
        rows, top = np.arange(len(self.probability)), self.probability.argmax(axis=1)
        sure = (
            (self.probability[rows, top] >= NAMED)
            & (self.flat[rows, top] >= NAMED_BY_READING)
            & (self.sound[rows, top] >= SOUND)
        )
        return np.where(sure, top, -1)


def hand_posterior(
    read: HandReadings, *, priors: Mapping[str, float] | None = None, folder: Path | None = None
) -> HandPosterior:
    """Return what readings by hand say of each size, slips competing with careful readings."""
    parts = population(read.gender, folder)
    leaders = list(parts.leaders)
    held = [_of(f, leaders) for f in factors(read, parts, folder)]
    density = np.ones((1, 1))
    sound = np.ones((1, 1))
    slips: dict[str, Array] = {}
    for f in held:
        total = np.maximum(f.total, 1e-300)
        density = density * total
        good = f.careful + sum(f.slips.get(name, np.zeros((1, 1))) for name in HARMLESS)
        sound = sound * good / total
        slips |= {name: chance / total for name, chance in f.slips.items()}
    off = off_series(read, folder) * OFF_SERIES_PRIOR
    weight = prior_weights(parts.sizes, priors)[leaders]
    probability, lost = _normal(density, weight, off)
    flat, _ = _normal(density, np.ones(len(leaders)), off)
    shape = probability.shape
    return HandPosterior(
        sizes=tuple(parts.sizes[i] for i in leaders),
        probability=probability,
        flat=flat,
        sound=np.broadcast_to(sound, shape),
        slips={name: np.broadcast_to(s, shape) for name, s in slips.items()},
        off_series=lost,
    )


def _of(factor: Factor, leaders: list[int]) -> Factor:
    return Factor(
        careful=factor.careful[:, leaders],
        slips={name: chance[:, leaders] for name, chance in factor.slips.items()},
    )


def _normal(density: Array, weight: Array, off: Array) -> tuple[Array, Array]:
    """Return probabilities (n, sizes) and that of no series (n,)."""
    mass = density * (weight / weight.sum() * (1 - OFF_SERIES_PRIOR))
    total = mass.sum(axis=1) + off
    return mass / total[:, None], off / total
