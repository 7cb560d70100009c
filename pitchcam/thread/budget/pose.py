"""The terms of how the part lies."""

from __future__ import annotations

import numpy as np

from pitchcam.records import BudgetLine
from pitchcam.thread.budget.geometry import Geometry, values
from pitchcam.thread.measure import ThreadShape, remeasure

#: A part resting on a hexagon whose other end touches, or whose flats are not true, lies inclined
#: by about this (common practice, no source; the sample photos of workshops reach 4.5 degrees).
U_INCLINE_RAD = np.radians(1.2)


def inclination(shape: ThreadShape, place: Geometry) -> BudgetLine:
    """Measure again with the axis inclined by its u: taper in first order, pitch in second."""
    now = values(shape)
    larger: dict[str, float] = dict.fromkeys(now, 0.0)
    for sign in (1.0, -1.0):
        turned = values(remeasure(shape, shape.camera, place.height_mm, sign * U_INCLINE_RAD))
        for k in now.keys() & turned.keys():
            change = turned[k] - now[k]
            if abs(change) > abs(larger[k]):
                larger[k] = change
    return BudgetLine(source="inclination of the part", contributions=larger)
