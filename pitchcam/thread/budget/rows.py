"""The term of a picture in which nothing straight shows whether its rows are in place."""

from __future__ import annotations

from pitchcam.records import BudgetLine
from pitchcam.thread.budget.geometry import LENGTHS, Geometry, Measured, values

#: What a hand stretches a picture by, relative: it turns a phone by half a degree to one a second
#: and a phone reads its rows over 10 to 30 ms, so by 0.0003 rad from the first row to the last,
#: which see nearly 1 rad (a lens of 26 mm; judgement).
U_STRETCH = 0.0003


def moved_rows(shape: Measured, place: Geometry) -> BudgetLine | None:
    """Return what a hand's motion contributes while the rows are read, where no edge shows it.

    Along the rows' way it stretches lengths, across it not: pitch and diameters go each by itself.
    """
    if place.rows_shown:
        return None
    v = values(shape)
    own = {k: U_STRETCH * v[k] for k in LENGTHS if k in v}
    return BudgetLine(source="rows of the picture", contributions=own, correlated=False)
