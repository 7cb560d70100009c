"""The angles of an axis that are weighed against each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

#: Inclinations that are considered, degrees.
GRID: Values = np.arange(-220, 221) / 10.0


def normal(off: Values, u: float) -> Values:
    """Return the normal distribution's density at distances from its mean."""
    out: Values = np.exp(-0.5 * (off / u) ** 2) / (np.sqrt(2 * np.pi) * u)
    return out
