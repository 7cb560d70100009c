"""What stands out of a part on one side of its axis only: a line in the picture, an arm, a fibre.

A turned part and a hexagon show as much on one side of the axis as on the other. What does not is
no feature of revolution, and its extent across the axis is no diameter that the part rests on.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.small import percentile

Values = NDArray[np.float64]
Stations = tuple[Values, Values, Values]

#: A side that reaches beyond the part's largest extent on both by this share, and so many pixels
#: more, is one-sided: an axis that the outline tells a degree wrong moves a long part's ends by a
#: fifth of that, a hexagon's corners that are turned and near the camera by a twentieth.
BEYOND, BEYOND_PX = 0.15, 3.0


def two_sided(stations: Stations) -> Stations:
    """Return stations with no side that reaches beyond what the part shows on both sides.

    Parameters
    ----------
    stations
        Stations along the axis and the outermost of both sides, of
        :func:`pitchcam.objects.axis.envelope`, arrays (n,), pixels.

    Returns
    -------
    stations
        The same where nothing is one-sided; elsewhere such a side is as far out as the other.
    """
    s, upper, lower = stations
    both = np.minimum(upper, -lower)
    widest = percentile(both, 99)
    most = (1 + BEYOND) * widest + BEYOND_PX
    if float(max(upper.max(), -lower.min())) <= most:
        return stations
    out = np.where(upper > most, both, upper), np.where(-lower > most, -both, lower)
    return s, *out
