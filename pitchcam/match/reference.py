"""The wrong reference in a photo: pitch over diameter is free of scale and tells its true size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from pitchcam.match.likelihood import log_likelihood, log_off_series
from pitchcam.match.population import population
from pitchcam.match.priors import PHOTO_TEMPER, prior_weights
from pitchcam.match.slips import slip_shares
from pitchcam.records import NAMING_QUANTITIES, Quantity, ThreadReading, Verdict
from pitchcam.series import ThreadSize

Array = NDArray[np.float64]
LENGTHS = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm")
#: A wrong reference is another pin, disc or card of the same box: within a third (judgement).
RATIOS = (0.75, 1.33)
#: A first look goes over the ratios in steps, each with so much doubt of its own that none is
#: missed; the best are then looked at as finely as a pitch is known, 0.2 %.
LOOK, FINE = 0.008, 0.002
#: One thread of a box in twenty is of no series or read badly, whatever the scale (judgement).
STRAY = 0.05
#: The reference is doubted from this probability on, and by two threads or more.
DOUBTED, FEWEST = 0.9, 2


@dataclass(frozen=True, kw_only=True, slots=True)
class ReferenceDoubt:
    """True size of the reference over the stated one, and how many of the threads say so."""

    ratio: Quantity
    threads: int
    of: int


def open_scale(reading: ThreadReading) -> ThreadReading:
    """Return the reading with its scale left open: all lengths may be off by one ratio."""
    return _with_common(reading, math.log(RATIOS[1] / RATIOS[0]) / math.sqrt(12))


def _blurred(reading: ThreadReading) -> ThreadReading:
    """Return the reading with the doubt of one step of the first look."""
    return _with_common(reading, LOOK / 2)


def _with_common(reading: ThreadReading, spread: float) -> ThreadReading:
    """Return the reading with one more relative error that all its lengths share."""
    read = {n: q for n in NAMING_QUANTITIES if (q := getattr(reading, n)) is not None}
    common = {n: spread * q.value for n, q in read.items() if n in LENGTHS}
    wide = {n: math.hypot(q.u, common.get(n, 0.0)) for n, q in read.items()}
    pairs = {}
    for i, a in enumerate(read):
        for b in list(read)[i + 1 :]:
            held = reading.correlation.get((a, b), reading.correlation.get((b, a), 0.0))
            joint = held * read[a].u * read[b].u + common.get(a, 0.0) * common.get(b, 0.0)
            pairs[a, b] = joint / (wide[a] * wide[b])
    fields: dict[str, Any] = {n: Quantity(value=q.value, u=wide[n]) for n, q in read.items()}
    return replace(reading, correlation=pairs, **fields)


def scaled(reading: ThreadReading, ratio: float) -> ThreadReading:
    """Return the reading with all its lengths times one ratio."""
    fields: dict[str, Any] = {
        n: Quantity(value=q.value * ratio, u=q.u * ratio)
        for n in (*LENGTHS, "diameter_station_mm") if (q := getattr(reading, n)) is not None
    }  # fmt: skip
    return replace(reading, **fields)


def reference_doubt(
    readings: Sequence[ThreadReading], folder: Path | None = None
) -> ReferenceDoubt | None:
    """Return by which ratio the threads of one photo say that its reference is wrong, or None.

    Every ratio is tried on all threads together: each is either a thread of a series at that scale
    or a stray. The stated scale stands unless the rest is more probable than it by ten to one, a
    wrong reference beforehand being as rare as ``slips.csv`` says.

    Parameters
    ----------
    readings : sequence of ThreadReading
        The threads that share one reference; those without pitch or diameter tell nothing.
    folder : Path, optional
        Another folder of series tables.
    """
    held = [r for r in readings if r.pitch_mm is not None and r.major_mm is not None]
    if len(held) < FEWEST:
        return None
    steps = np.arange(math.log(RATIOS[0]), math.log(RATIOS[1]), LOOK)
    wide = [_blurred(r) for r in held]
    look = np.array([sum(_fit(r, k, folder) for r in wide) for k in np.exp(steps)])
    as_stated = sum(_fit(r, 1.0, folder) for r in held)
    share = slip_shares(folder)["reference"]
    other = float(logsumexp(look)) - math.log(len(look)) + math.log(share)
    probability = 1 / (1 + math.exp(min(as_stated + math.log(1 - share) - other, 700.0)))
    if probability < DOUBTED:
        return None
    fine = steps[look.argmax()] + np.arange(-1.5 * LOOK, 1.5 * LOOK, FINE)
    fits = np.array([[_fit(r, k, folder) for k in np.exp(fine)] for r in held])
    total = fits.sum(axis=0)
    agree = int((fits[:, total.argmax()] > math.log(2 * STRAY)).sum())
    if agree < max(FEWEST, len(held) / 2):
        return None
    weight, ratios = np.exp(total - total.max()), np.exp(fine)
    mean = float((weight * ratios).sum() / weight.sum())
    u = float(np.sqrt((weight * (ratios - mean) ** 2).sum() / weight.sum()))
    return ReferenceDoubt(
        ratio=Quantity(value=mean, u=math.hypot(u, FINE / 2)), threads=agree, of=len(held)
    )


def _fit(reading: ThreadReading, ratio: float, folder: Path | None) -> float:
    """Return the log of how much better a thread fits the series than no series at all."""
    at = scaled(reading, ratio)
    parts = population(reading.gender, folder)
    leaders = list(parts.leaders)
    weight = prior_weights(parts.sizes, None, temper=PHOTO_TEMPER)[leaders]
    fit = log_likelihood(at, parts)[leaders] + np.log(weight / weight.sum())
    return float(np.logaddexp(
        math.log(1 - STRAY) + logsumexp(fit) - log_off_series(at), math.log(STRAY)
    ))  # fmt: skip


def wrong_reference(
    reading: ThreadReading, weight: Array, folder: Path | None = None
) -> tuple[float, float, ThreadSize]:
    """Return how a wrong reference explains one thread.

    Parameters
    ----------
    reading : ThreadReading
        A photo's reading, with a pitch.
    weight : Array
        How common each geometry is, (geometries,), sum 1.
    folder : Path, optional
        Another folder of series tables.

    Returns
    -------
    log_mass, ratio, size
        The log density times the share of wrong references, and the true size of the reference
        over the stated one if the thread is the size that it speaks for most.
    """
    assert reading.pitch_mm is not None
    parts = population(reading.gender, folder)
    leaders = list(parts.leaders)
    log = log_likelihood(open_scale(reading), parts)[leaders] + np.log(weight)
    size = parts.sizes[leaders[int(log.argmax())]]
    share = math.log(slip_shares(folder)["reference"])
    return float(logsumexp(log)) + share, size.pitch_mm / reading.pitch_mm.value, size


def without_name(verdict: Verdict, doubt: ReferenceDoubt, stated_mm: float | None) -> Verdict:
    """Return a verdict of a photo whose reference is doubted: what it says, and no name."""
    if verdict.status not in ("named", "ambiguous", "off-series"):
        return verdict
    return replace(
        verdict, status="ambiguous" if verdict.status == "named" else verdict.status,
        designation=None, standard=None, probability=None, same_geometry=(),
        next_step=doubt_words(doubt, stated_mm),
    )  # fmt: skip


def doubt_words(doubt: ReferenceDoubt, stated_mm: float | None) -> str:
    """Return what the threads say of the reference, with its true size where one was stated."""
    size = f" ({stated_mm:g} mm was stated)" if stated_mm is not None else ""
    true = doubt.ratio.value * stated_mm if stated_mm is not None else None
    said = f"{true:.2f} mm" if true is not None else f"{doubt.ratio.value:.3f} times its size"
    return (
        f"Measure the reference: {doubt.threads} of {doubt.of} threads fit the series if it is "
        f"{said}{size}; then state that and measure again."
    )
