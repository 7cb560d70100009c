"""How probable one reading is for a part of each size, and for a thread of no series."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import ReadingError
from pitchcam.frozen import dataclass
from pitchcam.match.forms import beside_forms, log_told
from pitchcam.match.mixture import Rows, mixture, normal
from pitchcam.match.population import ANGLE, DIAMETERS, MINOR, PITCH, TAPER, Population
from pitchcam.records import NAMING_QUANTITIES, Quantity, ThreadReading

Array = NDArray[np.float64]
Places = NDArray[np.intp]

#: One reading in two hundred is worse than its budget says: every u is then three times as large
#: (judgement: on the sample photos 2 in 100 quantities lie beyond 2 u and none beyond 3 u, so the
#: budgets hold; it keeps a reading that is far from all sizes from being named with certainty).
OUTLIER_SHARE, OUTLIER_FACTOR = 0.005, 3.0
#: An angle that is uncertain by more than this comes from a poor photo (blur, rim, dirt), whose
#: errors have longer tails: one in twenty is then three times as bad as stated, and its roots are
#: filled or burred by up to a quarter of the pitch (judgement). Of 137 such angles on renders of
#: known threads 2 were beyond 2.5 u, and 2.4 are expected; none or up to 7 in 100 would do as well,
#: one in four is e^14 times less likely.
POOR_ANGLE_DEG, POOR_ANGLE_SHARE, POOR_ROOT_OF_PITCH = 1.0, 0.05, 0.25
#: Widened standard deviations beyond which a size is out of the question.
FAR = 12.0
#: A thread of no series: pitch anywhere in this range by its logarithm, and so the diameter, in the
#: second range where no pitch was read, else in so many pitches (series: 3.3 to 49).
OFF_PITCH_MM, OFF_MAJOR_MM, OFF_PITCHES = (0.15, 8.0), (0.7, 120.0), (3.2, 60.0)
#: Nine in ten are cut with the tools of the series (judgement): pitch or diameter alone is odd, and
#: depths, angle and taper are a series' own. Taken to be of any form, a special thread beside a
#: right reference was a standard one beside a wrong one, at 1,000 to 1 and more. Shares, angle,
#: taper, and depths of pitch diameter and root below the crest, in pitches (ISO 68-1, BS 84, BS 93,
#: ASME B1.20.1, crests a little low by tolerance and wear); what all of these scatter (shares and
#: scatter are judgement).
OFF_CUT = 0.9
OFF_FORMS = (
    (0.65, 60.0, 0.0, (0.62, 1.20)),
    (0.20, 55.0, 0.0, (0.62, 1.26)),
    (0.05, 47.5, 0.0, (0.58, 1.18)),
    (0.06, 60.0, 1 / 16, (0.77, 1.54)),
    (0.04, 55.0, 1 / 16, (0.62, 1.26)),
)
U_OFF_DEPTHS, U_OFF_ANGLE_DEG, U_OFF_TAPER = (0.06, 0.08), 0.5, 0.002
#: The others have angle and taper broad about what threads have, depth about that of 60 degrees.
OFF_ANGLE_DEG, OFF_TAPER = (57.0, 12.0), (0.03, 0.04)
OFF_ANY_DEPTHS, U_OFF_ANY_DEPTHS = (0.65, 1.2), (0.2, 0.2)
#: u below these is not believed; it also keeps the arithmetic sound.
FLOOR = (1e-5, 1e-4, 1e-4, 1e-4, 1e-3, 1e-5)


_IS_DIAMETER = np.isin(np.arange(len(NAMING_QUANTITIES)), DIAMETERS)
_IS_LENGTH = np.isin(np.arange(len(NAMING_QUANTITIES)), (PITCH, *DIAMETERS))


#: A reading as it is.
AS_READ = np.ones(1)
#: So many pairs of a factor and a size are evaluated at once: some MiB.
BLOCK = 4096


@dataclass(frozen=True, kw_only=True, slots=True)
class Vectors:
    """The read quantities of one reading, its lengths under each of some factors.

    ``index`` (n,) says which quantities; ``value`` (factors, n), ``covariance`` (factors, n, n).
    """

    index: Places
    value: Array
    covariance: Array


def vectors(reading: ThreadReading, factors: Array = AS_READ) -> Vectors:
    """Return the read quantities as vectors with their covariance, lengths times each factor.

    Raises
    ------
    ReadingError
        If nothing was read, or a length or an angle is not above 0.
    """
    read = [(i, getattr(reading, name)) for i, name in enumerate(NAMING_QUANTITIES)]
    held: list[tuple[int, Quantity]] = [(i, q) for i, q in read if q is not None]
    if not held:
        raise ReadingError("nothing of the thread was read.", "Give a pitch or a diameter.")
    for i, q in held:
        if i != TAPER and q.value <= 0:
            raise ReadingError(f"{NAMING_QUANTITIES[i]} is not above 0.", "Repeat the reading.")
    index = np.array([i for i, _ in held])
    stretch = np.where(_IS_LENGTH[index], factors[:, None], 1.0)
    u = np.maximum(stretch * [q.u for _, q in held], np.array(FLOOR)[index])
    return Vectors(
        index=index,
        value=stretch * [q.value for _, q in held],
        covariance=_correlation(reading, index) * u[:, :, None] * u[:, None, :],
    )


def _correlation(reading: ThreadReading, index: Places) -> Array:
    correlation = np.eye(len(index))
    place = {NAMING_QUANTITIES[i]: at for at, i in enumerate(index)}
    for (a, b), r in reading.correlation.items():
        if a in place and b in place:
            x, y = place[a], place[b]
            correlation[x, y] = correlation[y, x] = r
    if reading.correlation:
        # Rounded coefficients may make the matrix slightly indefinite: the nearest sound is used.
        values, axes = np.linalg.eigh(correlation)
        correlation = axes @ np.diag(np.maximum(values, 1e-6)) @ axes.T
    return correlation


def station_shift(
    parts: Population, station: Quantity | None, factors: Array = AS_READ
) -> tuple[Array, Array]:
    """Return how far each size's diameters lie from those at the gauge plane, and its u.

    Both (factors, sizes); the station is a length and counts times each factor. Without a station
    the reading may be anywhere along the useful thread. An internal thread is read at its mouth,
    which is the gauge plane, to within its first turn.
    """
    if parts.crest == MINOR:
        shift, u = np.zeros(len(parts.sizes)), parts.taper * parts.mean[:, 0, 0, PITCH]
    elif station is None:
        length = parts.useful_length_mm
        shift, u = (
            parts.taper * (length / 2 - parts.gauge_length_mm),
            parts.taper * length / math.sqrt(12),
        )
    else:
        shift, u = (
            parts.taper * (station.value * factors[:, None] - parts.gauge_length_mm),
            parts.taper * max(station.u, 0.0) * factors[:, None],
        )
    shape = (len(factors), len(parts.sizes))
    return np.broadcast_to(shift, shape), np.broadcast_to(u, shape)


def log_likelihood(reading: ThreadReading, parts: Population, far: float = FAR) -> Array:
    """Return the natural logarithm of the reading's density for each size, shape (sizes,).

    A size farther than ``far`` widened standard deviations in any one quantity cannot matter
    (e^-72 and less by default); it gets that bound without the full computation.
    """
    return np.asarray(log_likelihoods(reading, AS_READ, parts, far)[0])


def log_likelihoods(
    reading: ThreadReading, factors: Array, parts: Population, far: float = FAR
) -> Array:
    """Return :func:`log_likelihood` with all lengths times each factor, shape (factors, sizes)."""
    told, reading = log_told(reading, parts), beside_forms(reading)
    read = _roots_doubted(vectors(reading, factors), parts.crest)
    kinds = _reading_kinds(read)
    station = station_shift(parts, reading.diameter_station_mm, factors)
    everywhere = np.indices(station[0].shape).reshape(2, -1)
    z = _distance(read, parts, _widest(kinds), _pairs(parts, station, *everywhere))
    result: Array = (-0.5 * z**2).reshape(station[0].shape)
    near = _pairs(parts, station, *everywhere[:, z < far])
    result[near.factor, near.size] = _log_densities(read, kinds, parts, near)
    return result + told


def log_likelihoods_near(
    reading: ThreadReading, factors: Array, parts: Population, far: float
) -> Array:
    """Return :func:`log_likelihoods`, minus infinity for sizes that are out of the question.

    Most are by their pitch alone, under most factors: nothing else is worked out for them. So are
    those whose density is sure to be less than that of ``far`` standard deviations.
    """
    told, reading = log_told(reading, parts), beside_forms(reading)
    read = _roots_doubted(vectors(reading, factors), parts.crest)
    kinds = _reading_kinds(read)
    station = station_shift(parts, reading.diameter_station_mm, factors)
    near = _by_pitch(read, parts, _widest(kinds), far)
    pairs = _pairs(parts, station, *near)
    pairs = _pairs(parts, station, *near[:, _distance(read, parts, _widest(kinds), pairs) < far])
    result = np.full(station[0].shape, -np.inf)
    least = -0.5 * far**2 - float(np.max(told, initial=0.0))
    result[pairs.factor, pairs.size] = _log_densities(read, kinds, parts, pairs, least)
    return result + told


@dataclass(frozen=True, kw_only=True, slots=True)
class _Pairs:
    """Pairs of a factor and a size, and what the station does to the diameters there; all (pairs,).

    ``arm`` is how far it lies from the size's gauge plane, 0 for parallel ones; ``variance`` is
    what it adds to that of each diameter: a part's own taper error acts over the arm.
    """

    factor: Places
    size: Places
    shift: Array
    arm: Array
    variance: Array


def _pairs(parts: Population, station: tuple[Array, Array], factor: Places, size: Places) -> _Pairs:
    shift, u_shift = (of[factor, size] for of in station)
    taper = parts.taper[size]
    arm = np.divide(shift, taper, out=np.zeros(shift.shape), where=taper > 0)
    return _Pairs(
        factor=factor,
        size=size,
        shift=shift,
        arm=arm,
        variance=u_shift**2 + parts.covariance[size, 0, TAPER, TAPER] * arm**2,
    )


def _rows(parts: Population, size: Places) -> Rows:
    count = parts.classes[size]
    first = np.cumsum(count) - count
    pair = np.repeat(np.arange(len(size)), count)
    kind = np.arange(len(pair)) - first[pair]
    return Rows(
        pair=pair, kind=kind, first=first, log_weight=parts.log_weight_worn[size[pair], kind]
    )


def _log_densities(
    read: Vectors,
    kinds: list[tuple[float, Array]],
    parts: Population,
    pairs: _Pairs,
    least: float = -np.inf,
) -> Array:
    """Return the logarithm of the reading's density for each pair, (pairs,).

    It is minus infinity where it surely lies below ``least``.
    """
    found = np.empty(len(pairs.size))
    for start in range(0, len(found), BLOCK):
        some = slice(start, start + BLOCK)
        block = _Pairs(**{f.name: getattr(pairs, f.name)[some] for f in fields(pairs)})
        rows = _rows(parts, block.size)
        offsets, covariance = _departure(read, parts, block, rows)
        # Whatever way a reading falls, it lies as far from the parts.
        wide = np.stack([_last(c[block.factor[rows.pair]]) for _, c in kinds], axis=2)
        shares = np.log([s for s, _ in kinds])
        found[some] = mixture(normal(offsets, covariance[:, :, None] + wide), rows, shares, least)
    return found


def _last(matrices: Array) -> Array:
    """Return matrices (rows, n, n) as (n, n, rows)."""
    return matrices.transpose(1, 2, 0)


def _widest(kinds: list[tuple[float, Array]]) -> Array:
    """Return the widest of the covariances that a reading may have, (factors, n, n)."""
    return max((c for _, c in kinds), key=lambda c: float(np.trace(c[0])))


def _by_pitch(read: Vectors, parts: Population, wide: Array, far: float) -> NDArray[np.intp]:
    """Return factors and sizes, (2, pairs), whose pitches lie near; all where none was read."""
    if read.index[0] != PITCH:
        return np.indices((len(read.value), len(parts.sizes))).reshape(2, -1)
    at, low, high = read.value[:, 0, None], parts.low[:, PITCH], parts.high[:, PITCH]
    reach = far * np.sqrt(parts.variance[:, PITCH] + wide[:, 0, 0, None])
    return np.array(np.nonzero((at > low - reach) & (at < high + reach)))


def _distance(read: Vectors, parts: Population, wide: Array, pairs: _Pairs) -> Array:
    """Return a lower bound of how many standard deviations off each pair's size is, (pairs,)."""
    z, f, s = np.zeros(len(pairs.size)), pairs.factor, pairs.size
    for x, q in enumerate(read.index):
        at, variance = read.value[f, x], parts.variance[s, q] + wide[f, x, x]
        if _IS_DIAMETER[q]:
            at, variance = at - pairs.shift, variance + pairs.variance
        outside = np.maximum(parts.low[s, q] - at, at - parts.high[s, q])
        np.maximum(z, outside / np.sqrt(variance), out=z)
    return z


def _roots_doubted(read: Vectors, crest: int) -> Vectors:
    """Return the reading with the roots of a poor photo made as uncertain as they are."""
    at, pitch = np.flatnonzero(read.index == MINOR), np.flatnonzero(read.index == PITCH)
    if crest == MINOR or not at.size or not pitch.size or not _poor(read):
        return read
    covariance = read.covariance.copy()
    covariance[:, at, at] += (POOR_ROOT_OF_PITCH * read.value[:, pitch]) ** 2
    return replace(read, covariance=covariance)


def _poor(read: Vectors) -> bool:
    at = np.flatnonzero(read.index == ANGLE)
    return bool(at.size and read.covariance[0, at[0], at[0]] > POOR_ANGLE_DEG**2)


def _reading_kinds(read: Vectors) -> list[tuple[float, Array]]:
    """Return how readings fall: (share, covariance) as stated, all wide, and the angle wide."""
    wide = OUTLIER_FACTOR**2 * read.covariance
    kinds = [(OUTLIER_SHARE, wide)]
    if _poor(read):
        stretch = np.where(read.index == ANGLE, OUTLIER_FACTOR, 1.0)
        kinds.append((POOR_ANGLE_SHARE, read.covariance * np.outer(stretch, stretch)))
    return [(1 - sum(s for s, _ in kinds), read.covariance), *kinds]


def _departure(
    read: Vectors, parts: Population, pairs: _Pairs, rows: Rows
) -> tuple[list[Array], Array]:
    """Return how far the reading lies from the parts of each row, and the parts' covariance.

    Of each read quantity (rows, cells), or (rows, 1) where all cells have the same mean, as all
    quantities but the crest's; and (n, n, rows) with what the station adds.
    """
    f, s, k = pairs.factor[rows.pair], pairs.size[rows.pair], rows.kind
    offsets = []
    for x, q in enumerate(read.index):
        cells = slice(None) if q == parts.crest else slice(1)
        at = read.value[f, x] - pairs.shift[rows.pair] * _IS_DIAMETER[q]
        offsets.append(at[:, None] - parts.mean[s, k, cells, q])
    covariance = _last(
        parts.covariance[s[:, None, None], k[:, None, None], read.index[:, None], read.index]
    )
    moved, taper = _IS_DIAMETER[read.index], read.index == TAPER
    lever = parts.covariance[s, k, TAPER, TAPER] * pairs.arm[rows.pair]
    covariance[np.ix_(moved, moved)] += pairs.variance[rows.pair]
    covariance[np.ix_(moved, taper)] += lever
    covariance[np.ix_(taper, moved)] += lever
    return offsets, covariance


def log_off_series(reading: ThreadReading, factors: Array = AS_READ) -> Array:
    """Return the logarithm of the reading's density for a thread of no series, (factors,).

    All lengths count times each factor.
    """
    reading = beside_forms(reading)
    total = np.zeros(len(factors))
    pitch, widest = reading.pitch_mm, reading.major_mm or reading.pitch_diameter_mm
    widest = widest or reading.minor_mm
    if pitch is not None:
        total += _log_uniform(pitch.value * factors, OFF_PITCH_MM)
    if pitch is not None and widest is not None:
        pitches = np.array(widest.value / pitch.value)
        total += _log_uniform(pitches, OFF_PITCHES) - np.log(pitch.value * factors)
    elif widest is not None:
        total += _log_uniform(widest.value * factors, OFF_MAJOR_MM)
    # Without a pitch nothing tells how deep a thread is.
    narrow = U_OFF_DEPTHS if pitch else U_OFF_ANY_DEPTHS
    forms = [
        math.log(OFF_CUT * share)
        + _angle_and_taper(reading, (angle, U_OFF_ANGLE_DEG), (taper, U_OFF_TAPER))
        + _depths(reading, factors, depths, narrow)
        for share, angle, taper, depths in OFF_FORMS
    ]
    rest = _depths(reading, factors, OFF_ANY_DEPTHS, U_OFF_ANY_DEPTHS)
    rest += math.log(1 - OFF_CUT) + _angle_and_taper(reading, OFF_ANGLE_DEG, OFF_TAPER)
    return np.asarray(total + np.logaddexp.reduce([*forms, rest]))


def _depths(
    reading: ThreadReading, factors: Array, depths: Sequence[float], spreads: Sequence[float]
) -> Array:
    """Return the log density of how far two diameters lie below the widest one, (factors,).

    Depths and spreads are those of pitch diameter and root below the crest, in pitches.
    """
    total, pitch = np.zeros(len(factors)), reading.pitch_mm
    asked = (reading.major_mm, reading.pitch_diameter_mm, reading.minor_mm)
    held = [(q, d, u) for q, d, u in zip(asked, (0.0, *depths), (0.0, *spreads), strict=True) if q]
    for q, depth, spread in held[1:]:
        widest, from_, _ = held[0]
        p = pitch.value if pitch else 0.1 * q.value
        sigma = math.hypot(spread * p, q.u, widest.u)
        total += _gauss((widest.value - q.value - (depth - from_) * p) * factors, sigma * factors)
    return total


def _angle_and_taper(
    reading: ThreadReading, angle: tuple[float, float], taper: tuple[float, float]
) -> float:
    total = 0.0
    for q, (mean, spread) in ((reading.angle_deg, angle), (reading.taper, taper)):
        if q is not None:
            total += float(_gauss(np.array(q.value - mean), np.array(math.hypot(spread, q.u))))
    return total


def _log_uniform(value: Array, span: tuple[float, float]) -> Array:
    return np.asarray(-np.log(np.clip(value, *span) * math.log(span[1] / span[0])))


def _gauss(x: Array, sigma: Array) -> Array:
    return np.asarray(-0.5 * (x / sigma) ** 2 - np.log(sigma * math.sqrt(2 * math.pi)))
