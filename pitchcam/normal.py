"""The integral of the normal distribution.

Here, since the library that has it takes longer to import than a photo takes to measure.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

# Abramowitz and Stegun, Handbook of Mathematical Functions (1964), 7.1.26: off by at most 1.5e-7,
# a thousandth of what an eight-bit code tells apart.
_P = 0.3275911
_A = (0.254829592, -0.284496736, 1.421413741, -1.453152027, 1.061405429)


def erf(x: Values) -> Values:
    """Return the error function to 1.5e-7."""
    size = np.abs(x)
    t = 1 / (1 + _P * size)
    a, b, c, d, e = _A
    tail = t * (a + t * (b + t * (c + t * (d + t * e)))) * np.exp(-size * size)
    out: Values = np.copysign(1 - tail, x)
    return out


def ndtr(x: Values) -> Values:
    """Return the share of a normal distribution below x standard deviations, to 1e-7."""
    out: Values = 0.5 + 0.5 * erf(x * np.sqrt(0.5))
    return out
