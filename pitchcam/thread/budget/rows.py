"""The term of a picture in which nothing straight shows whether its rows are in place."""

from __future__ import annotations

import math

from pitchcam.records import BudgetLine
from pitchcam.thread.budget.geometry import LENGTHS, Geometry, Measured, values
from pitchcam.thread.measure import ThreadShape
from pitchcam.thread.runs import run_of

#: What a hand stretches a picture by, relative: it turns a phone by half a degree to one a second
#: and a phone reads its rows over 10 to 30 ms, so by 0.0003 rad from the first row to the last,
#: which see nearly 1 rad (a lens of 26 mm; judgement).
U_STRETCH = 0.0003


def moved_rows(shape: Measured, place: Geometry) -> BudgetLine | None:
    """Return what a hand's motion contributes while the rows are read, where no edge shows it.

    Along the rows' way it stretches lengths, across it not: pitch and diameters go each by itself.
    What of the ridges runs off their steps may be the rest of a wave that stretches as well.
    """
    if place.rows_shown:
        return None
    v = values(shape)
    run = run_of(shape).stretch if isinstance(shape, ThreadShape) else 0.0
    own = {k: math.hypot(U_STRETCH, run) * v[k] for k in LENGTHS if k in v}
    return BudgetLine(source="rows of the picture", contributions=own, correlated=False)
