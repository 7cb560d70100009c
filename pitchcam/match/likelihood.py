"""How probable one reading is for a part of each size, and for a thread of no series."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import ReadingError
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
#: A thread of no series: pitch and diameter anywhere in these ranges by their logarithm, angle and
#: taper broad about what threads have, depth about that of a 60 degree thread.
OFF_PITCH_MM, OFF_MAJOR_MM = (0.15, 8.0), (0.7, 120.0)
OFF_ANGLE_DEG, OFF_TAPER = (57.0, 12.0), (0.03, 0.04)
OFF_DEPTH_OF_PITCH = 0.2
#: u below these is not believed; it also keeps the arithmetic sound.
FLOOR = (1e-5, 1e-4, 1e-4, 1e-4, 1e-3, 1e-5)


_IS_DIAMETER = np.isin(np.arange(len(NAMING_QUANTITIES)), DIAMETERS)


@dataclass(frozen=True, kw_only=True, slots=True)
class Vector:
    """The read quantities of one reading: which, their values (n,) and their covariance (n, n)."""

    index: Places
    value: Array
    covariance: Array


def vector(reading: ThreadReading) -> Vector:
    """Return the read quantities as one vector with its covariance.

    Raises
    ------
    ReadingError
        If nothing was read, or a value or its u is not a positive finite number.
    """
    read = [(i, getattr(reading, name)) for i, name in enumerate(NAMING_QUANTITIES)]
    held: list[tuple[int, Quantity]] = [(i, q) for i, q in read if q is not None]
    if not held:
        raise ReadingError("nothing of the thread was read.", "Give a pitch or a diameter.")
    for i, q in held:
        if not (math.isfinite(q.value) and math.isfinite(q.u)) or q.u < 0:
            raise ReadingError(f"{NAMING_QUANTITIES[i]} is not a number.", "Repeat the reading.")
        if i != TAPER and q.value <= 0:
            raise ReadingError(f"{NAMING_QUANTITIES[i]} is not above 0.", "Repeat the reading.")
    index = np.array([i for i, _ in held])
    u = np.array([max(q.u, FLOOR[i]) for i, q in held])
    correlation = np.eye(len(held))
    place = {NAMING_QUANTITIES[i]: at for at, (i, _) in enumerate(held)}
    for (a, b), r in reading.correlation.items():
        if a in place and b in place:
            x, y = place[a], place[b]
            correlation[x, y] = correlation[y, x] = r
    if reading.correlation:
        # Rounded coefficients may make the matrix slightly indefinite: the nearest sound is used.
        values, vectors = np.linalg.eigh(correlation)
        correlation = vectors @ np.diag(np.maximum(values, 1e-6)) @ vectors.T
    return Vector(
        index=index, value=np.array([q.value for _, q in held]),
        covariance=correlation * np.outer(u, u),
    )  # fmt: skip


def station_shift(parts: Population, station: Quantity | None) -> tuple[Array, Array]:
    """Return how far each size's diameters lie from those at the gauge plane, and its u; (sizes,).

    Without a station the reading may be anywhere along the useful thread. An internal thread is
    read at its mouth, which is the gauge plane, to within its first turn.
    """
    if parts.crest == MINOR:
        return np.zeros(len(parts.sizes)), parts.taper * parts.mean[:, 0, 0, PITCH]
    if station is None:
        length = parts.useful_length_mm
        return (
            parts.taper * (length / 2 - parts.gauge_length_mm),
            parts.taper * length / math.sqrt(12),
        )
    at = np.full(len(parts.sizes), station.value)
    at = np.where(parts.gauge_length_mm > 0, at, 0.0)
    return parts.taper * (at - parts.gauge_length_mm), parts.taper * max(station.u, 0.0)


def log_likelihood(reading: ThreadReading, parts: Population, far: float = FAR) -> Array:
    """Return the natural logarithm of the reading's density for each size, shape (sizes,).

    A size farther than ``far`` widened standard deviations in any one quantity cannot matter
    (e^-72 and less by default); it gets that bound without the full computation.
    """
    read = _roots_doubted(vector(reading), parts.crest)
    shift, u_shift = station_shift(parts, reading.diameter_station_mm)
    kinds = _reading_kinds(read)
    z = _least_distance(read, parts, shift, u_shift, max((c for _, c in kinds), key=np.trace))
    result: Array = -0.5 * z**2
    near = np.flatnonzero(z < far)
    if near.size:
        covariance = _at_station(parts, near, shift, u_shift)
        part = covariance[:, :, read.index[:, None], read.index]
        mean = parts.mean[near][..., read.index]
        mean[..., _IS_DIAMETER[read.index]] += shift[near, None, None, None]
        weight = parts.log_weight[near]
        logs = [_mixture(read.value - mean, part + c, weight) + math.log(s) for s, c in kinds]
        result[near] = np.logaddexp.reduce(logs, axis=0)
    return result


def _least_distance(
    read: Vector, parts: Population, shift: Array, u_shift: Array, wide: Array
) -> Array:
    """Return a lower bound of how many standard deviations off each size is, (sizes,)."""
    moved = _IS_DIAMETER[read.index]
    at = read.value - shift[:, None] * moved
    outside = np.maximum(parts.low[:, read.index] - at, at - parts.high[:, read.index])
    variance = parts.variance[:, read.index] + np.diagonal(wide)
    variance += _station_variance(parts, shift, u_shift)[:, None] * moved
    return np.asarray(np.maximum(outside / np.sqrt(variance), 0.0).max(axis=1))


def _roots_doubted(read: Vector, crest: int) -> Vector:
    """Return the reading with the roots of a poor photo made as uncertain as they are."""
    at, pitch = np.flatnonzero(read.index == MINOR), np.flatnonzero(read.index == PITCH)
    if crest == MINOR or not at.size or not pitch.size or not _poor(read):
        return read
    covariance = read.covariance.copy()
    covariance[at, at] += (POOR_ROOT_OF_PITCH * read.value[pitch]) ** 2
    return replace(read, covariance=covariance)


def _poor(read: Vector) -> bool:
    at = np.flatnonzero(read.index == ANGLE)
    return bool(at.size and read.covariance[at[0], at[0]] > POOR_ANGLE_DEG**2)


def _reading_kinds(read: Vector) -> list[tuple[float, Array]]:
    """Return how readings fall: (share, covariance) as stated, all wide, and the angle wide."""
    wide = OUTLIER_FACTOR**2 * read.covariance
    kinds = [(OUTLIER_SHARE, wide)]
    if _poor(read):
        stretch = np.where(read.index == ANGLE, OUTLIER_FACTOR, 1.0)
        kinds.append((POOR_ANGLE_SHARE, read.covariance * np.outer(stretch, stretch)))
    return [(1 - sum(s for s, _ in kinds), read.covariance), *kinds]


def _arm(parts: Population, shift: Array) -> Array:
    """Return how far the station lies from each size's gauge plane, 0 for parallel; (sizes,)."""
    return np.divide(shift, parts.taper, out=np.zeros_like(shift), where=parts.taper > 0)


def _station_variance(parts: Population, shift: Array, u_shift: Array) -> Array:
    """Return the variance that the station adds to each diameter, (sizes,).

    A part's own taper error acts over the distance from the gauge plane.
    """
    return u_shift**2 + parts.covariance[:, 0, TAPER, TAPER] * _arm(parts, shift) ** 2


def _at_station(parts: Population, near: Places, shift: Array, u_shift: Array) -> Array:
    """Return some sizes' covariance (near, classes, 6, 6) with what the station adds."""
    covariance = parts.covariance[near]
    common = _station_variance(parts, shift, u_shift)[near, None]
    lever = parts.covariance[near, :, TAPER, TAPER] * _arm(parts, shift)[near, None]
    for d in DIAMETERS:
        for e in DIAMETERS:
            covariance[:, :, d, e] += common
        covariance[:, :, d, TAPER] += lever
        covariance[:, :, TAPER, d] += lever
    return covariance


def _mixture(offset: Array, covariance: Array, log_weight: Array) -> Array:
    """Return log sum_k w_k N(offset_k; 0, covariance of k's class) for each size."""
    root = np.linalg.cholesky(covariance)
    z = np.linalg.solve(root, np.swapaxes(offset, 2, 3))  # (sizes, classes, read, cells)
    log_det = np.log(np.diagonal(root, axis1=2, axis2=3)).sum(axis=2)
    n = offset.shape[3]
    log = log_weight - 0.5 * (z**2).sum(axis=2) - log_det[..., None]
    log -= 0.5 * n * math.log(2 * math.pi)
    top = log.max(axis=(1, 2), keepdims=True)
    return np.asarray(top[:, 0, 0] + np.log(np.exp(log - top).sum(axis=(1, 2))))


def log_off_series(reading: ThreadReading) -> float:
    """Return the logarithm of the reading's density for a thread that belongs to no series."""
    total = 0.0
    pitch, widest = reading.pitch_mm, reading.major_mm or reading.pitch_diameter_mm
    widest = widest or reading.minor_mm
    total += _log_uniform(pitch, OFF_PITCH_MM) + _log_uniform(widest, OFF_MAJOR_MM)
    if widest is not None:
        for q in (reading.pitch_diameter_mm, reading.minor_mm):
            if q is not None and q is not widest:
                spread = OFF_DEPTH_OF_PITCH * (pitch.value if pitch else 0.1 * q.value)
                depth = (0.65 if q is reading.pitch_diameter_mm else 1.2) * spread / 0.2
                total += _gauss(widest.value - q.value - depth, math.hypot(spread, q.u, widest.u))
    if reading.angle_deg is not None:
        mean, spread = OFF_ANGLE_DEG
        total += _gauss(reading.angle_deg.value - mean, math.hypot(spread, reading.angle_deg.u))
    if reading.taper is not None:
        mean, spread = OFF_TAPER
        total += _gauss(reading.taper.value - mean, math.hypot(spread, reading.taper.u))
    return total


def _log_uniform(q: Quantity | None, span: tuple[float, float]) -> float:
    if q is None:
        return 0.0
    value = min(max(q.value, span[0]), span[1])
    return -math.log(value * math.log(span[1] / span[0]))


def _gauss(x: float, sigma: float) -> float:
    return -0.5 * (x / sigma) ** 2 - math.log(sigma * math.sqrt(2 * math.pi))
