"""From a reading to a name, or to what it could be and what to measure next."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.match.advice import best_measurement, tell_twins
from pitchcam.match.evidence import OFF_SERIES_PRIOR
from pitchcam.match.forms import told_by_outline
from pitchcam.match.likelihood import log_likelihoods, log_off_series
from pitchcam.match.population import Population, population
from pitchcam.match.priors import PHOTO_TEMPER, prior_weights
from pitchcam.match.scales import AS_STATED, Scales
from pitchcam.records import Candidate, ThreadReading, Verdict
from pitchcam.series import ThreadSize, same_geometry

Array = NDArray[np.float64]

#: The contract's probability for a name.
NAMED = 0.95
#: A name must also stand on the reading alone: at 9 to 1 with all sizes equally common.
#: No prior, however strong, then names one of two threads that cannot be told apart.
NAMED_BY_READING = 0.9
#: From here on a thread of no series, or a wrong reading, is likelier than all sizes together.
DOUBTFUL = 0.5
#: Candidates are listed until they hold this share, and each above this probability.
LISTED_SHARE, LISTED_EACH = 0.999, 0.002


@dataclass(frozen=True, kw_only=True, slots=True)
class Posterior:
    """Probability of each geometry, most probable first; ``off_series`` of none of them."""

    sizes: tuple[ThreadSize, ...]
    probability: Array
    off_series: float


def name_thread(
    reading: ThreadReading,
    *,
    priors: Mapping[str, float] | None = None,
    folder: Path | None = None,
    scales: Scales = AS_STATED,
) -> Verdict:
    """Name the thread of one reading, or say what it may be and what to measure next.

    Parameters
    ----------
    reading : ThreadReading
        What was read; quantities that are None are left out of the comparison.
    priors : mapping, optional
        How common threads are, by designation, family or commonness; None takes the catalogue's
        own (``priors.csv``), an empty mapping takes all as equally common.
    folder : Path, optional
        Another folder of series tables.
    scales : Scales
        What the scale of the reading may be: by default as it is.

    Returns
    -------
    Verdict
        ``named`` from a probability of 0.95 on. Designations of one geometry count as one name.

    Raises
    ------
    ReadingError
        If the reading is empty or holds impossible numbers.

    Examples
    --------
    >>> from pitchcam.records import Quantity
    >>> name_thread(ThreadReading(
    ...     pitch_mm=Quantity(value=1.5002, u=0.0016), major_mm=Quantity(value=13.80, u=0.03),
    ...     angle_deg=Quantity(value=60.1, u=0.6), taper=Quantity(value=0.0003, u=0.002),
    ... )).designation
    'M14x1.5'
    """
    parts = population(reading.gender, folder)
    fits = _fits(reading, parts, scales)
    after = _mixed(fits, parts, priors)
    if reading.starts > 1:
        return _multi_start(reading, after)
    flat = _mixed(fits, parts, {})
    listed = candidates(after)
    angles = {size.angle_deg for size in after.sizes[: len(listed)]}
    notes = (*told_by_outline(reading, angles), *_prior_note(after, flat))
    if after.off_series >= NAMED:
        return Verdict(
            status="off-series",
            candidates=listed,
            notes=notes,
            next_step="Read it once more. If the readings stand, no series here has "
            "this thread: nearest are " + ", ".join(s.designation for s in after.sizes[:3]) + ".",
        )
    top = after.sizes[0]
    if has_name(after, flat):
        twins = same_geometry(top, reading.gender, folder)
        return Verdict(
            status="named",
            designation=top.designation,
            standard=top.standard,
            probability=float(after.probability[0]),
            same_geometry=twins,
            candidates=listed,
            notes=notes,
            next_step=tell_twins(top, reading.gender, folder),
        )
    if after.off_series > DOUBTFUL:
        notes = (*notes, "The readings fit no series well: one of them may be wrong.")
    open_ = leading(after)
    step = best_measurement(open_, after.probability[: len(open_)], reading, folder)
    return Verdict(status="ambiguous", candidates=listed, notes=notes, next_step=step)


def posterior(
    reading: ThreadReading,
    *,
    priors: Mapping[str, float] | None = None,
    folder: Path | None = None,
    scales: Scales = AS_STATED,
) -> Posterior:
    """Return the probability of every geometry after a reading; see :func:`name_thread`."""
    parts = population(reading.gender, folder)
    return _mixed(_fits(reading, parts, scales), parts, priors)


def weigh(
    reading: ThreadReading, parts: Population, fit: Array, priors: Mapping[str, float] | None
) -> Posterior:
    """Return the probability of every geometry from each size's log density ``fit``, (sizes,)."""
    return _mixed([(1.0, float(log_off_series(reading)[0]), fit)], parts, priors)


#: One explanation of the scale: its weight, and the log densities of no series and of the sizes.
_Fit = tuple[float, float, Array]


def _fits(reading: ThreadReading, parts: Population, scales: Scales) -> list[_Fit]:
    fits: list[_Fit] = []
    for places, wide in scales.groups(reading):
        ratio, weight = scales.ratio[places], scales.weight[places].tolist()
        # This first: it refuses a reading that is none.
        sizes = log_likelihoods(wide, ratio, parts)
        fits += zip(weight, log_off_series(wide, ratio).tolist(), sizes, strict=True)
    return fits


def _mixed(
    fits: Sequence[_Fit], parts: Population, priors: Mapping[str, float] | None
) -> Posterior:
    """Return the probability of every geometry over all explanations of the scale."""
    leaders = np.array(parts.leaders)  # a list is made one for every fit
    weight = prior_weights(parts.sizes, priors, temper=PHOTO_TEMPER)[leaders]
    common = np.log(weight / weight.sum()) + math.log(1 - OFF_SERIES_PRIOR)
    share, none = np.zeros(len(leaders)), 0.0
    for held, none_of, fit in fits:
        log = fit[leaders] + common
        off = none_of + math.log(OFF_SERIES_PRIOR)
        top = max(float(log.max()), off)
        mass = np.exp(log - top)
        total = float(mass.sum() + math.exp(off - top))
        share += held * mass / total
        none += held * math.exp(off - top) / total
    order = np.argsort(-share, kind="stable")
    return Posterior(
        sizes=tuple(parts.sizes[leaders[i]] for i in order),
        probability=share[order],
        off_series=none,
    )


def candidates(after: Posterior, share: float = LISTED_SHARE) -> tuple[Candidate, ...]:
    """Return what is worth listing: until nearly all is held, and whatever has a share."""
    held = 0.0
    listed: list[Candidate] = []
    for size, p in zip(after.sizes, after.probability, strict=True):
        if listed and held >= share * (1 - after.off_series) and p < LISTED_EACH:
            break
        listed.append(
            Candidate(designation=size.designation, standard=size.standard, probability=float(p))
        )
        held += float(p)
    return tuple(listed)


def leading(after: Posterior) -> tuple[ThreadSize, ...]:
    """Return the candidates that the next measurement must tell apart: those above 2 percent."""
    n = max(2, int((after.probability > 0.02).sum()))
    return after.sizes[:n]


def has_name(after: Posterior, flat: Posterior) -> bool:
    """Return whether the first candidate is a name: by all that is known, and by the reading."""
    sure = bool(after.probability[0] >= NAMED)
    return sure and _alone(after.sizes[0], flat) >= NAMED_BY_READING


def _alone(size: ThreadSize, flat: Posterior) -> float:
    """Return the probability that the reading alone gives a size."""
    return float(flat.probability[flat.sizes.index(size)])


def _prior_note(after: Posterior, flat: Posterior) -> tuple[str, ...]:
    first, plain = after.sizes[0], flat.sizes[0]
    p, q = float(after.probability[0]), float(flat.probability[0])
    if p >= NAMED and _alone(first, flat) < NAMED_BY_READING:
        return (
            f"{first.designation} leads by how common it is said to be; the reading alone gives it "
            f"{_alone(first, flat):.2f}, which is no name.",
        )
    if first is plain and (p >= NAMED) == (q >= NAMED):
        return ()
    return (
        f"How common threads are was counted: it puts {first.designation} ({p:.2f}) first; with "
        f"all equally common {plain.designation} leads with {q:.2f}.",
    )


def _multi_start(reading: ThreadReading, after: Posterior) -> Verdict:
    return Verdict(
        status="off-series",
        notes=(
            f"The two sides show a thread of {reading.starts} starts; every series here has one "
            "start.",
        ),
        next_step="Count the starts at the end face. If there is one only, retake the photo with "
        "the axis level; the nearest single-start size is "
        f"{after.sizes[0].designation}.",
    )
