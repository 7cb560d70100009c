"""How likely a reading is at all, at the scale as it is or another: of any thread, or of none."""

from __future__ import annotations

import functools
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pitchcam.match.likelihood import log_likelihoods_near, log_off_series
from pitchcam.match.population import geometries
from pitchcam.match.priors import PHOTO_TEMPER, prior_weights
from pitchcam.records import NAMING_QUANTITIES, Gender, Quantity, ThreadReading

Array = NDArray[np.float64]
#: What a wrong scale makes longer, all by the same share.
LENGTHS = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm")
#: Share of threads that belong to no series here (judgement: one in a hundred).
OFF_SERIES_PRIOR = 0.01
#: Where all threads together are asked, a size this many widened standard deviations off adds
#: nothing: it has e^-12 of what a thread that fits has, and less than one of no series.
FAR = 5.0


def rescaled(reading: ThreadReading, factor: float) -> ThreadReading:
    """Return the reading with all lengths, and their uncertainties, times a factor."""
    fields: dict[str, Any] = {
        n: Quantity(value=q.value * factor, u=q.u * factor)
        for n in (*LENGTHS, "diameter_station_mm")
        if (q := getattr(reading, n)) is not None
    }
    return replace(reading, **fields)


def with_common(reading: ThreadReading, spread: float) -> ThreadReading:
    """Return the reading with one more relative error, ``spread``, that all its lengths share."""
    if spread <= 0:
        return reading
    read = {n: q for n in NAMING_QUANTITIES if (q := getattr(reading, n)) is not None}
    common = {n: spread * q.value for n, q in read.items() if n in LENGTHS}
    wide = {n: math.hypot(q.u, common.get(n, 0.0)) for n, q in read.items()}
    pairs = {}
    for i, a in enumerate(read):
        for b in list(read)[i + 1 :]:
            held = reading.correlation.get((a, b), reading.correlation.get((b, a), 0.0))
            joint = held * read[a].u * read[b].u + common.get(a, 0.0) * common.get(b, 0.0)
            pairs[a, b] = joint / (wide[a] * wide[b]) if wide[a] * wide[b] else 0.0
    fields: dict[str, Any] = {n: Quantity(value=q.value, u=wide[n]) for n, q in read.items()}
    return replace(reading, correlation=pairs, **fields)


def log_evidence(reading: ThreadReading, factor: float = 1.0, folder: Path | None = None) -> float:
    """Return the log density of a reading over all threads, weighed by how common they are.

    It tells which of several explanations of one picture makes its threads such as exist; with a
    ``factor``, the true lengths are those read times it.

    Raises
    ------
    ReadingError
        If the reading is empty or holds impossible numbers.
    """
    return float(log_evidences(reading, np.array([factor]), folder)[0])


def log_evidences(reading: ThreadReading, factors: Array, folder: Path | None = None) -> Array:
    """Return :func:`log_evidence` under each of some factors, (factors,)."""
    fit = log_likelihoods_near(reading, factors, geometries(reading.gender, folder), FAR)
    # What is as unlikely as that by several quantities together is left out, too.
    log = np.where(fit <= -0.5 * FAR**2, -np.inf, fit) + _weights(reading.gender, folder)
    off = log_off_series(reading, factors) + math.log(OFF_SERIES_PRIOR)
    top = np.maximum(log.max(axis=1), off)
    total = top + np.log(np.exp(log - top[:, None]).sum(axis=1) + np.exp(off - top))
    return np.asarray(total + _as_taken(reading, factors))


def log_of_none(reading: ThreadReading, factors: Array) -> Array:
    """Return the log density of a reading of what is of no series, under each factor, (factors,).

    Factors as of :func:`log_evidences`.
    """
    return log_off_series(reading, factors) + _as_taken(reading, factors)


def _as_taken(reading: ThreadReading, factors: Array) -> Array:
    """Return what makes true lengths' density that of the reading as it was taken, (factors,)."""
    lengths = sum(getattr(reading, k) is not None for k in LENGTHS)
    return np.asarray(lengths * np.log(factors))


@functools.lru_cache(maxsize=4)
def _weights(gender: Gender, folder: Path | None) -> Array:
    """Return how common each geometry is in photos, as a logarithm, (geometries,)."""
    weight = prior_weights(geometries(gender, folder).sizes, None, temper=PHOTO_TEMPER)
    return np.asarray(np.log(weight / weight.sum()))
