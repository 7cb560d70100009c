"""What the lines of a budget give together (JCGM 100, 5.1 and 5.2)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcam.records import NAMING_QUANTITIES, BudgetLine

#: Correlations are kept this far below one: naming inverts their matrix.
MOST_CORRELATION = 0.999
#: The least variance of a quantity, that no division by it fails.
LEAST_VARIANCE = 1e-18


def combined(lines: Sequence[BudgetLine]) -> tuple[dict[str, float], dict[tuple[str, str], float]]:
    """Return the combined standard uncertainties and the correlation coefficients.

    The inputs of different lines are independent. A correlated line is one input with a
    sensitivity of each quantity to it; one that is not stands for an input per quantity.
    """
    names = NAMING_QUANTITIES
    n = len(names)
    covariance = np.zeros((n, n))
    for line in lines:
        c = np.array([line.contributions.get(k, 0.0) for k in names])
        covariance += np.outer(c, c) if line.correlated else np.diag(c**2)
    u = np.sqrt(np.maximum(np.diag(covariance), LEAST_VARIANCE))
    correlation = {
        (names[i], names[j]): float(
            np.clip(covariance[i, j] / (u[i] * u[j]), -MOST_CORRELATION, MOST_CORRELATION)
        )
        for i in range(n)
        for j in range(i + 1, n)
    }
    return dict(zip(names, (float(x) for x in u), strict=True)), correlation


def relative_u_scale(lines: Sequence[BudgetLine], pitch_mm: float) -> float:
    """Return the relative standard uncertainty of the scale on the axis: of its own lines alone.

    A wrong scale makes the pitch wrong by the same share, so the pitch's contributions tell it.
    """
    own = [line.contributions["pitch_mm"] for line in lines if line.of_scale]
    return float(np.linalg.norm(own)) / pitch_mm
