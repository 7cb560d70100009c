"""How far apart two sizes lie for one way to measure, parts and reading together."""

from __future__ import annotations

import math

import numpy as np

from pitchcam.match.means import Means
from pitchcam.match.population import MAJOR, MINOR, Population


def separation(parts: Population, i: int, j: int, means: Means, apart: float) -> float:
    """Return how far two sizes' readings lie apart, in standard deviations of one of them."""
    a, b = _typical(parts, i, means.quantity), _typical(parts, j, means.quantity)
    spread = math.sqrt((a[1] ** 2 + b[1] ** 2) / 2 + means.u_at(max(a[0], b[0]), apart) ** 2)
    return abs(a[0] - b[0]) / spread


def _typical(parts: Population, i: int, quantity: int) -> tuple[float, float]:
    """Return mean and standard deviation of one quantity over a size's parts, at the small end."""
    weight = np.exp(parts.log_weight[i])
    values = parts.mean[i, ..., quantity]
    mean = float((weight * values).sum())
    within = parts.covariance[i, :, quantity, quantity][:, None]
    variance = float((weight * ((values - mean) ** 2 + within)).sum())
    if quantity in (MAJOR, MINOR):
        mean -= float(parts.taper[i] * parts.gauge_length_mm[i])
    return mean, math.sqrt(variance)
