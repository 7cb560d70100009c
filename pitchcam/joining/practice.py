"""Workshop figures for silver brazing, each with its meaning and source in the table."""

from __future__ import annotations

from pitchcam.joining.tables import keyed


def practice(key: str) -> float:
    """Return one figure of ``calibration/joining/practice.csv``, in the unit its row states.

    Raises
    ------
    KeyError
        If the table has no such figure.
    """
    return float(keyed("practice")[key]["value"])
