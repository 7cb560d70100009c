"""What an ideal judge would name, who knows how :mod:`tests.confusion.parts` draws its parts.

Its densities are those of the draw itself: an even spread (less exponential wear) folded with a
Gaussian has a closed form; a taper thread's place and taper are integrated over. It shares no code
with the model that names threads, so that what the two reach can be compared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr

from pitchcam.match.population import ANGLE, MAJOR, MINOR, PITCH, PITCH_DIAMETER, TAPER
from pitchcam.records import Gender
from pitchcam.series import ThreadSize
from tests.confusion.parts import (
    ANGLE_SCATTER_DEG,
    LEAD_SCATTER,
    NPT_TAPER,
    WEAR_OF_PITCH,
    Way,
    class_shares,
    quantities_read,
    truncated,
    uncertainty,
)

Array = NDArray[np.float64]

#: Nodes for a taper thread's place along the axis, and for its taper.
PLACES, TAPERS = 16, 8
#: Rivals farther than this in pitch or in diameters have no share (12 u and the widest limits).
RIVAL_PITCH, RIVAL_DIAMETER_MM = 0.08, 2.5
LEAST = 1e-300


def log_densities(values: Array, sizes: Sequence[ThreadSize], way: Way, gender: Gender) -> Array:
    """Return the natural log of each reading's density for each size, (n, sizes)."""
    columns = []
    typical = np.median(values, axis=0)
    lead = MAJOR if gender == "external" else MINOR
    for size in sizes:
        basic = size.major_at(0.0) if gender == "external" else size.basic_minor_mm
        near = abs(size.pitch_mm / typical[PITCH] - 1) < RIVAL_PITCH
        if near and abs(basic - typical[lead]) < RIVAL_DIAMETER_MM:
            columns.append(np.log(np.maximum(_density(values, size, way, gender), LEAST)))
        else:
            columns.append(np.full(len(values), -np.inf))
    return np.stack(columns, axis=1)


def probabilities(logs: Array, weight: Array) -> Array:
    """Return each size's probability after the reading for prior weights (sizes,), (n, sizes)."""
    with_prior = logs + np.log(weight)
    mass = np.exp(with_prior - with_prior.max(axis=1, keepdims=True))
    return np.asarray(mass / mass.sum(axis=1, keepdims=True))


def _density(values: Array, size: ThreadSize, way: Way, gender: Gender) -> Array:
    u = uncertainty(way, size.pitch_mm)
    u_pitch = np.hypot(u[PITCH], LEAD_SCATTER * size.pitch_mm)
    pitch = gauss(values[:, PITCH] - size.pitch_mm, u_pitch)
    if way == "a":
        pitch *= gauss(values[:, ANGLE] - size.angle_deg, np.hypot(u[ANGLE], ANGLE_SCATTER_DEG))
    if size.taper:
        return pitch * _taper(values, size, way, gender)
    if way == "a":
        pitch *= gauss(values[:, TAPER], u[TAPER])
    total = np.zeros(len(values))
    classes = size.limits(gender)
    for share, limits in zip(class_shares(len(classes)), classes, strict=True):
        fields = {
            MAJOR: limits.major_mm,
            PITCH_DIAMETER: limits.pitch_diameter_mm,
            MINOR: limits.minor_mm,
        }
        total += share * _diameters(values, fields, size.pitch_mm, way, gender)
    return pitch * total


def _taper(values: Array, size: ThreadSize, way: Way, gender: Gender) -> Array:
    """Return the density of taper and diameters, integrated over place and taper of the part."""
    x, wx = np.polynomial.legendre.leggauss(PLACES)
    total = np.zeros(len(values))
    (least, most), (deepest, flattest) = truncated(size, gender)
    for taper, wt in tapers(size):
        seen = np.ones(len(values))
        if way == "a":
            seen = gauss(values[:, TAPER] - taper, uncertainty(way, 1.0)[TAPER])
        for place, w in zip(x, wx / 2, strict=True):
            shift = place * size.position_mm[gender == "internal"] * size.taper
            if gender == "external":
                shift -= taper * (size.gauge_length_mm or 0.0)
            middle = size.basic_pitch_diameter_mm + shift
            fields = {
                MAJOR: (least + shift, most + shift),
                PITCH_DIAMETER: (middle, middle),
                MINOR: (deepest + shift, flattest + shift),
            }
            total += wt * w * seen * _diameters(values, fields, size.pitch_mm, way, gender)
    return total


def tapers(size: ThreadSize) -> list[tuple[float, float]]:
    """Return the tapers that a size's parts have, with their weights."""
    if not size.family.startswith("NPT"):
        return [(size.taper, 1.0)]
    x, w = np.polynomial.legendre.leggauss(TAPERS)
    low, high = NPT_TAPER
    share = (low + high) / 2 + (high - low) / 2 * x
    return [(size.taper * (1 + s), k / 2) for s, k in zip(share, w, strict=True)]


def _diameters(
    values: Array, fields: Mapping[int, tuple[float, float]], pitch: float, way: Way, gender: Gender
) -> Array:
    u, lead = uncertainty(way, 1.0)[MAJOR], MAJOR if gender == "external" else MINOR
    total = np.ones(len(values))
    for d in (MAJOR, PITCH_DIAMETER, MINOR):
        if d not in quantities_read(way, gender):
            continue
        a, b = fields[d]
        if d != lead:
            total *= _even(values[:, d], a, b, u)
        elif gender == "external":
            total *= worn_density(values[:, d], a, b, u, WEAR_OF_PITCH * pitch)
        else:
            total *= worn_density(-values[:, d], -b, -a, u, WEAR_OF_PITCH * pitch)
    return total


def gauss(x: Array, u: float) -> Array:
    """Return the density of a Gaussian."""
    return np.asarray(np.exp(-0.5 * (x / u) ** 2) / (u * np.sqrt(2 * np.pi)))


def _even(x: Array, a: float, b: float, u: float) -> Array:
    """Return the density of an even spread over a to b, read with u."""
    if b - a < 1e-6:
        return gauss(x - a, u)
    return np.asarray((ndtr((x - a) / u) - ndtr((x - b) / u)) / (b - a))


def worn_density(x: Array, a: float, b: float, u: float, wear: float) -> Array:
    """Return the density of an even spread over a to b, less exponential wear, read with u."""
    b = max(b, a + 1e-6)
    return np.maximum((_lowered(x - a, u, wear) - _lowered(x - b, u, wear)) / (b - a), 0.0)


def _lowered(t: Array, u: float, wear: float) -> Array:
    """Return the distribution of a Gaussian less an exponential."""
    tail = u**2 / (2 * wear**2) + t / wear + log_ndtr(-t / u - u / wear)
    return np.asarray(ndtr(t / u) + np.exp(tail))
