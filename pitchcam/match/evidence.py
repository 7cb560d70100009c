"""How likely a reading is at all: of any thread that exists, or of none."""

from __future__ import annotations

import math

import numpy as np

from pitchcam.match.likelihood import log_likelihood, log_off_series
from pitchcam.match.naming import OFF_SERIES_PRIOR
from pitchcam.match.population import population
from pitchcam.match.priors import prior_weights
from pitchcam.records import ThreadReading


def log_evidence(reading: ThreadReading) -> float:
    """Return the log density of a reading over all threads, weighed by how common they are.

    It tells which of several explanations of one picture makes its threads such as exist.

    Raises
    ------
    ReadingError
        If the reading is empty or holds impossible numbers.
    """
    parts = population(reading.gender)
    leaders = list(parts.leaders)
    weight = prior_weights(parts.sizes, None)[leaders]
    log = log_likelihood(reading, parts)[leaders] + np.log(weight / weight.sum())
    off = log_off_series(reading) + math.log(OFF_SERIES_PRIOR)
    top = max(float(log.max()), off)
    return top + math.log(float(np.exp(log - top).sum()) + math.exp(off - top))
