"""How likely a reading is at all, at the scale as it is or another: of any thread, or of none."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from pitchcam.match.likelihood import log_likelihood, log_off_series
from pitchcam.match.naming import OFF_SERIES_PRIOR
from pitchcam.match.population import population
from pitchcam.match.priors import prior_weights
from pitchcam.records import Quantity, ThreadReading

#: What a wrong scale makes longer, all by the same share.
LENGTHS = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm")


def rescaled(reading: ThreadReading, factor: float) -> ThreadReading:
    """Return the reading with all lengths, and their uncertainties, times a factor."""

    def longer(q: Quantity | None) -> Quantity | None:
        return None if q is None else Quantity(value=q.value * factor, u=q.u * factor)

    return replace(
        reading, pitch_mm=longer(reading.pitch_mm), major_mm=longer(reading.major_mm),
        pitch_diameter_mm=longer(reading.pitch_diameter_mm), minor_mm=longer(reading.minor_mm),
        diameter_station_mm=longer(reading.diameter_station_mm),
    )  # fmt: skip


def log_evidence(reading: ThreadReading, factor: float = 1.0) -> float:
    """Return the log density of a reading over all threads, weighed by how common they are.

    It tells which of several explanations of one picture makes its threads such as exist; with a
    ``factor``, the true lengths are those read times it.

    Raises
    ------
    ReadingError
        If the reading is empty or holds impossible numbers.
    """
    scaled = reading if factor == 1.0 else rescaled(reading, factor)
    parts = population(reading.gender)
    leaders = list(parts.leaders)
    weight = prior_weights(parts.sizes, None)[leaders]
    log = log_likelihood(scaled, parts)[leaders] + np.log(weight / weight.sum())
    off = log_off_series(scaled) + math.log(OFF_SERIES_PRIOR)
    top = max(float(log.max()), off)
    total = top + math.log(float(np.exp(log - top).sum()) + math.exp(off - top))
    # The density is that of the reading as it was taken.
    return total + sum(getattr(reading, k) is not None for k in LENGTHS) * math.log(factor)
