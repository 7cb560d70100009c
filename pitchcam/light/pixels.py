"""What pixels do to an edge that a lens has blurred: each is as wide as it is.

A pixel gathers its own width's light, and light between two of them is taken on a line: together
the blur of a quadratic B-spline, a quarter of a square pixel. Where lens and mosaic blur two or
three times that, all together is a bell. In a photo made smaller, or taken through a sharp lens,
pixels are most of the blur, and an edge's foot ends sooner than a bell's. Taken for a bell's it
leaves light to be explained at the dark side: a pin made smaller by 0.45 was given a mirrored band
of 0.8 px for 0.3, which made it 1.5 % thick.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.normal import normal_cdf

Values = NDArray[np.float64]

#: Blur that no lens takes away, px: a pixel's width (1/12 px^2) and the line between two (1/6).
STILL_PX = 0.5
#: Fourth cumulant of that blur, px^4: a width of one has -1/120, and here are three.
FOURTH = -3 / 120
#: Blur of a photo as phones take it, px; at this the whole of it is a bell (renders with a mosaic
#: keep to one within 0.002 of the light). Of a sharper one, or one made smaller, what lens and
#: mosaic have beside it shrinks with the fourth power, and the pixels' stays.
USUAL_PX = 0.95


def bell_curve(x: Values) -> Values:
    """Return the normal distribution's density."""
    out: Values = np.exp(-0.5 * x * x) / np.sqrt(2 * np.pi)
    return out


def fall(off: Values, spread: Values | float) -> tuple[Values, Values, Values]:
    """Return an edge's fall, ``off`` standard deviations of its blur ``spread`` (px) from it.

    Returns
    -------
    below, density, narrower
        The share of the light, its change by ``off``, and what it loses by the spread's logarithm.

    Notes
    -----
    The normal distribution with its first correction for the fourth cumulant (Gram and Charlier's
    series): off by 0.001 from the spline that a bell blurs, down to a spread of 0.55 px.
    """
    square = off * off
    bell = bell_curve(off)
    third = off * (square - 3) * bell
    excess, steeper = _excess(spread)
    below: Values = normal_cdf(off) - excess * third
    density: Values = bell + excess * (square * (square - 6) + 3) * bell
    return below, density, off * density + steeper * third


def _excess(spread: Values | float) -> tuple[Values, Values]:
    """Return the fourth cumulant over 24 spread^4, and its change by the spread's logarithm."""
    squared = np.square(np.maximum(spread, STILL_PX))
    still = STILL_PX**2
    native = np.minimum((squared - still) / (USUAL_PX**2 - still), 1.0)
    excess: Values = FOURTH * (1 - native**2) / (24 * squared**2)
    by_native = np.where(native < 1, 4 * native / (USUAL_PX**2 - still) / squared, 0.0)
    steeper: Values = -4 * excess - FOURTH / 24 * by_native
    return excess, np.where(np.asarray(spread) > STILL_PX, steeper, 0.0)
