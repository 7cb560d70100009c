"""What one object of a picture tells of its own scale: not one value, but all that it may be.

A thread is of some series nearly always, so that its lengths fit at a few scales and hardly
between; which of them is right nobody knows beforehand. The densities of all threads together make
a curve over the scale, which is kept as a few normal distributions and a floor: the thread is of no
series, or was misread, and tells nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass, replace
from pitchcam.match.evidence import LENGTHS, OFF_SERIES_PRIOR, log_evidences
from pitchcam.match.likelihood import log_off_series
from pitchcam.records import NAMING_QUANTITIES, BudgetLine, Quantity, ThreadReading
from pitchcam.records.quantities import least_u

Values = NDArray[np.float64]

#: How far the scale is looked for, in its own u, and the step, which no pitch is known better than.
REACH, STEP = 5.0, 0.0004
#: Grid points at least and at most.
FEWEST, MOST = 41, 401
#: Peaks that hold less of all are left out.
LEAST = 1e-6
IS_LENGTH = np.isin(NAMING_QUANTITIES, LENGTHS)
IS_DIAMETER = IS_LENGTH & (np.array(NAMING_QUANTITIES) != "pitch_mm")
MAJOR, TAPER = NAMING_QUANTITIES.index("major_mm"), NAMING_QUANTITIES.index("taper")


@dataclass(frozen=True, kw_only=True, slots=True)
class Telling:
    """The density of what was measured, over s = ln(true length / read length).

    It is the sum of ``weight`` (n,) times normal densities with ``mean`` and ``u`` (n,), plus
    ``floor``, the same for every scale.
    """

    weight: Values
    mean: Values
    u: Values
    floor: float


def covariance_of(reading: ThreadReading) -> Values:
    """Return the covariance of a reading's quantities, (6, 6), zero for what was not read."""
    u = np.array([0.0 if q is None else q.u for q in _quantities(reading)])
    r = np.eye(len(u))
    place = {name: i for i, name in enumerate(NAMING_QUANTITIES)}
    for (a, b), c in reading.correlation.items():
        r[place[a], place[b]] = r[place[b], place[a]] = c
    out: Values = r * np.outer(u, u)
    return out


def with_covariance(
    reading: ThreadReading, covariance: Values, factor: float, of_major: float | None = None
) -> ThreadReading:
    """Return the reading with another covariance (6, 6), its lengths times a factor.

    The major diameter's is ``of_major`` where it has one of its own.

    Raises
    ------
    LostTermError
        If it leaves a quantity less uncertainty than any photo does: it is none of these.
    """
    quantities = _quantities(reading)
    by = np.where(IS_LENGTH, factor, 1.0)
    by[MAJOR] = factor if of_major is None else of_major
    u = np.sqrt(np.maximum(np.diagonal(covariance), 0.0)) * by
    fields: dict[str, Any] = {
        name: None if q is None else Quantity.measured(q.value * float(b), float(x))
        for name, q, b, x in zip(NAMING_QUANTITIES, quantities, by, u, strict=True)
    }
    known = [i for i, q in enumerate(quantities) if q is not None and u[i] > 0]
    correlation = {
        (NAMING_QUANTITIES[i], NAMING_QUANTITIES[j]): float(
            np.clip(covariance[i, j] * by[i] * by[j] / (u[i] * u[j]), -0.999, 0.999)
        )
        for i in known
        for j in known
        if i < j
    }
    station = reading.diameter_station_mm
    if station is not None:
        station = Quantity(value=station.value * factor, u=station.u * factor)
    return replace(reading, correlation=correlation, diameter_station_mm=station, **fields)


def with_scale_left(line: BudgetLine, left: Mapping[str, float]) -> BudgetLine:
    """Return a term of the scale of whose lengths so much is left; angles and taper keep theirs."""
    if not line.of_scale:
        return line
    own = {k: c * left.get(k, 1.0) for k, c in line.contributions.items()}
    return replace(line, contributions=own)


def scale_share(
    lines: Sequence[BudgetLine],
    after: Sequence[BudgetLine],
    taper_sign: int,
    reading: ThreadReading,
) -> Values:
    """Return by how much a reading's covariance (6, 6) grows as its scale comes to be known.

    Parameters
    ----------
    lines, after
        The budget before and then, the same lines in their order.
    taper_sign
        -1 where the reading's taper is that of the budget with its sign changed.
    reading
        What was read. A taper's diameters are stated at its large end, half the way to the small
        one from where the budget has them: what moves the taper moves them there too.
    """
    total = np.zeros((6, 6))
    sign = np.where(np.array(NAMING_QUANTITIES) == "taper", taper_sign, 1)
    read = np.array([q is not None for q in _quantities(reading)])
    station = reading.diameter_station_mm
    stated = np.diag(read.astype(float))
    if station is not None:
        stated[IS_DIAMETER & read, TAPER] = station.value / 2
    for line, then in zip(lines, after, strict=True):
        if not line.of_scale:
            continue
        had, has = (
            stated @ (sign * [one.contributions.get(k, 0.0) for k in NAMING_QUANTITIES])
            for one in (line, then)
        )
        total += np.outer(has, has) - np.outer(had, had)
    return total


def thread_tells(
    reading: ThreadReading, lines: Sequence[BudgetLine], taper_sign: int, u_scale: float
) -> Telling | None:
    """Return what a thread tells of its scale; None where it has no pitch or the scale no doubt.

    Parameters
    ----------
    reading, lines, taper_sign
        The thread as measured.
    u_scale
        Relative standard uncertainty of its scale.
    """
    if reading.pitch_mm is None or reading.starts > 1 or u_scale <= 0:
        return None
    known = [with_scale_left(line, dict.fromkeys(LENGTHS, 0.0)) for line in lines]
    own = covariance_of(reading) + scale_share(lines, known, taper_sign, reading)
    # A diameter that a caliper read is the scale's alone.
    least = [0.0 if q is None else 2 * least_u(q.value) for q in _quantities(reading)]
    np.fill_diagonal(own, np.maximum(own.diagonal(), np.square(least)))
    alone = with_covariance(reading, own, 1.0)
    n = int(np.clip(2 * REACH * u_scale / STEP, FEWEST, MOST)) | 1
    s = np.linspace(-REACH * u_scale, REACH * u_scale, n)
    factors = np.exp(s)
    every = log_evidences(alone, factors)
    lengths = sum(getattr(reading, k) is not None for k in LENGTHS)
    none = log_off_series(alone, factors) + math.log(OFF_SERIES_PRIOR) + lengths * s
    top = float(every.max())
    floor = np.exp(none - top)
    return peaks(s, np.maximum(np.exp(every - top) - floor, 0.0), float(floor.mean()))


def peaks(s: Values, density: Values, floor: float) -> Telling | None:
    """Return a density over an even grid as one normal distribution a peak; None where it is zero.

    A peak reaches to the lowest place between it and the next.
    """
    step = float(s[1] - s[0])
    total = float(density.sum())
    if total <= 0:
        return None
    inner = density[1:-1]
    low = 1 + np.flatnonzero((inner <= density[:-2]) & (inner < density[2:]))
    weight, mean, u = [], [], []
    for some in np.split(np.arange(len(s)), low):
        mass = density[some]
        if mass.sum() < LEAST * total:
            continue
        at = float((mass * s[some]).sum() / mass.sum())
        spread = float((mass * (s[some] - at) ** 2).sum() / mass.sum())
        weight.append(float(mass.sum()) * step)
        mean.append(at)
        u.append(math.sqrt(spread + step**2 / 12))
    return Telling(weight=np.array(weight), mean=np.array(mean), u=np.array(u), floor=floor)


def _quantities(reading: ThreadReading) -> list[Quantity | None]:
    return [getattr(reading, name) for name in NAMING_QUANTITIES]
