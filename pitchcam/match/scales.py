"""What one reading's lengths may have to be multiplied by, and how probable each factor is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.match.evidence import log_evidences, with_common
from pitchcam.records import ThreadReading

Array = NDArray[np.float64]
Places = NDArray[np.intp]
#: The least probable explanations, up to this share together, change no name.
LEFT_OUT = 1e-3


@dataclass(frozen=True, kw_only=True, slots=True)
class Scales:
    """Explanations of a photo's scale.

    ``ratio`` (n,) is true lengths over those read, ``spread`` (n,) how far each is open by itself,
    as a relative standard uncertainty, ``weight`` (n,) its probability; they sum to 1.
    """

    ratio: Array
    spread: Array
    weight: Array

    def after(self, readings: list[ThreadReading]) -> Scales:
        """Return the explanations weighed by how well threads of one photo fit the series."""
        log = np.log(self.weight)
        for reading in readings:
            for places, wide in self.groups(reading):
                log[places] += log_evidences(wide, self.ratio[places])
        mass = np.exp(log - log.max())
        return Scales(ratio=self.ratio, spread=self.spread, weight=mass / mass.sum())

    def doubted(self, odds: float) -> Scales:
        """Return the explanations with all but the first so many times as likely beside it."""
        weight = np.append(self.weight[:1], odds * self.weight[1:])
        return Scales(ratio=self.ratio, spread=self.spread, weight=weight / weight.sum())

    def likely(self) -> Scales:
        """Return those that matter, the rest left out."""
        order = np.argsort(-self.weight, kind="stable")
        count = 1 + int(np.searchsorted(np.cumsum(self.weight[order]), 1 - LEFT_OUT))
        keep = np.sort(order[:count])
        weight = self.weight[keep]
        return Scales(
            ratio=self.ratio[keep], spread=self.spread[keep], weight=weight / weight.sum()
        )

    def groups(self, reading: ThreadReading) -> list[tuple[Places, ThreadReading]]:
        """Return the explanations of each spread, by place, and the reading as open as they are.

        Many explanations share a few spreads.
        """
        return [
            (np.flatnonzero(self.spread == s), with_common(reading, s))
            for s in sorted(set(self.spread.tolist()))
        ]


#: The scale is as stated.
AS_STATED = Scales(ratio=np.ones(1), spread=np.zeros(1), weight=np.ones(1))
