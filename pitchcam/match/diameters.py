"""How probable a diameter over the crests is for each size, wherever on the thread it was read.

A size's parts are cells of its leading diameter (:mod:`pitchcam.match.population`). A taper
thread's reading lies anywhere on the useful thread until its place is stated: the place is
integrated over, in nodes so close that their spread is little beside that of the cells.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.match.population import PITCH, Population
from pitchcam.normal import normal_cdf
from pitchcam.records import Quantity

Array = NDArray[np.float64]
Places = NDArray[np.intp]
#: Places along the useful thread of a taper: 13 mm in 12 nodes are 0.07 mm of diameter apart.
NODES = 12
#: Badly worn crests are low by anything up to this share of the pitch (0.1 to 0.3 mm is seen on
#: badly worn 1.5 mm threads: judgement).
BADLY_WORN = 0.25
#: Sizes farther than this many standard deviations have no share.
FAR = 8.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Caliper:
    """How a diameter was read: which (MAJOR or MINOR), with which u, and where.

    ``station_mm`` is its place from the small end or the mouth, None for anywhere on the useful
    thread. Two diameters ``span_mm`` apart count by their mean, whose place this is.
    """

    quantity: int
    u_mm: float
    station_mm: Quantity | None = None
    span_mm: float = 0.0

    def range(self, parts: Population) -> tuple[Array, Array]:
        """Return the ends of the place, (sizes,), in mm from the gauge plane to the large end.

        The gauge plane of an internal thread is its mouth, and the thread runs to the small end.
        """
        gauge = np.array([s.gauge_length_mm or 0.0 for s in parts.sizes])
        length = np.array([s.useful_length_mm or 0.0 for s in parts.sizes])
        half = self.span_mm / 2
        if self.station_mm is not None:
            low = high = np.full(len(gauge), self.station_mm.value)
        else:
            low, high = np.minimum(half, length / 2), np.maximum(length - half, length / 2)
        if parts.external:
            return low - gauge, high - gauge
        return -high, -low


def crest_densities(read_mm: Array, parts: Population, caliper: Caliper) -> tuple[Array, Array]:
    """Return the density of each diameter for each size's parts, and for badly worn ones.

    Parameters
    ----------
    read_mm : Array
        Diameters in mm, shape (n,).
    parts : Population
        The sizes.
    caliper : Caliper
        How they were read.

    Returns
    -------
    tuple of Array
        Two densities per mm, shape (n, sizes). Only the crests wear, not the roots that a cast
        shows as its crests.
    """
    n = len(read_mm)
    plain, worn = np.zeros((n, len(parts.sizes))), np.zeros((n, len(parts.sizes)))
    tapered = parts.taper > 0
    for some in (np.flatnonzero(~tapered), np.flatnonzero(tapered)):
        near = _near(read_mm, parts, some, caliper)
        if near.size:
            plain[:, near], worn[:, near] = _mixtures(read_mm, parts, near, caliper)
    return plain, worn


def _near(read_mm: Array, parts: Population, some: Places, caliper: Caliper) -> Places:
    """Return which of some sizes any of the readings can belong to."""
    quantity = caliper.quantity
    low, high = caliper.range(parts)
    wear = BADLY_WORN * parts.mean[some, 0, 0, PITCH]
    t, sd = parts.taper[some], np.sqrt(parts.variance[some, quantity] + caliper.u_mm**2)
    margin = FAR * sd + wear
    bottom = parts.low[some, quantity] + t * low[some] - margin
    top = parts.high[some, quantity] + t * high[some] + margin
    return np.asarray(some[(read_mm.max() >= bottom) & (read_mm.min() <= top)])


def _mixtures(
    read_mm: Array, parts: Population, near: Places, caliper: Caliper
) -> tuple[Array, Array]:
    quantity = caliper.quantity
    mean = parts.mean[near, :, :, quantity]
    weight = np.exp(parts.log_weight[near])
    variance = (
        np.broadcast_to(parts.covariance[near, :, quantity, quantity][:, :, None], mean.shape)
        + caliper.u_mm**2
    )
    mean, weight, variance = (x.reshape(len(near), -1) for x in (mean, weight, variance))
    held = weight.max(axis=0) > 1e-200
    mean, weight, variance = mean[:, held], weight[:, held], variance[:, held]
    taper = parts.taper[near]
    if taper[0] > 0:
        mean, weight, variance = _spread(parts, near, caliper, (mean, weight, variance))
    sd = np.sqrt(variance)
    side = 1.0 if parts.external else -1.0
    z = (read_mm[:, None, None] - mean) / sd
    plain = (weight * np.exp(-0.5 * z**2) / sd).sum(axis=2) / math.sqrt(2 * math.pi)
    if quantity != parts.crest:
        return plain, plain
    loss = (BADLY_WORN * parts.mean[near, 0, 0, PITCH])[:, None]
    step = np.abs(normal_cdf(z + side * loss / sd) - normal_cdf(z))
    return plain, np.asarray((weight * step / loss).sum(axis=2))


def _spread(
    parts: Population, near: Places, caliper: Caliper, cells: tuple[Array, Array, Array]
) -> tuple[Array, Array, Array]:
    """Return a taper's cells at each node of its place: means, weights, variances (sizes, k)."""
    mean, weight, variance = cells
    low, high = (x[near] for x in caliper.range(parts))
    taper = parts.taper[near]
    u_place = caliper.station_mm.u if caliper.station_mm is not None else 0.0
    nodes = (np.arange(NODES) + 0.5) / NODES if np.any(high > low) else np.array([0.5])
    at = low[:, None] + (high - low)[:, None] * nodes
    shift = (taper[:, None] * at)[:, :, None]
    width = taper * (high - low) / len(nodes)
    more = (width**2 / 12 + (taper * u_place) ** 2)[:, None, None]
    n, k = len(near), len(nodes)
    return (
        (mean[:, None, :] + shift).reshape(n, -1),
        np.repeat(weight[:, None, :] / k, k, axis=1).reshape(n, -1),
        (np.repeat(variance[:, None, :], k, axis=1) + more).reshape(n, -1),
    )
