"""The terms of how the part lies."""

from __future__ import annotations

from pitchcam.records import BudgetLine
from pitchcam.thread.budget.geometry import Geometry, values
from pitchcam.thread.measure import ThreadShape, remeasure

#: By what share one change must exceed the other to be the larger one of two.
LARGER = 0.01


def inclined(place: Geometry, sign: float) -> tuple[float, float]:
    """Return height and slope of the axis with the slope off by its u: the height goes with it."""
    return sloped(place, sign * place.u_slope_rad)


def sloped(place: Geometry, off_rad: float) -> tuple[float, float]:
    """Return height and slope of the axis with the slope off by an angle."""
    rises = place.lever_mm if place.scale_on_axis else place.height_per_rad
    return place.height_mm + rises * off_rad, place.slope_rad + off_rad


def inclination(shape: ThreadShape, place: Geometry) -> BudgetLine:
    """Measure again with the axis inclined by its u more and less.

    Taper goes with it in first order; so does the pitch, unless the thread is seen square. What
    goes with it in first order changes by as much either way: all of it is then taken of more
    inclination, so that rounding does not choose the signs, which correlate the quantities.
    """
    now = values(shape)
    larger: dict[str, float] = dict.fromkeys(now, 0.0)
    for sign in (1.0, -1.0):
        turned = values(remeasure(shape, shape.camera, *inclined(place, sign)))
        for k in now.keys() & turned.keys():
            change = turned[k] - now[k]
            if abs(change) > (1 + LARGER) * abs(larger[k]):
                larger[k] = change
    return BudgetLine(source="inclination of the part", contributions=larger)
