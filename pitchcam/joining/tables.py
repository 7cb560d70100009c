"""The joining tables of the catalogue, row by row, as plain read-only mappings."""

from __future__ import annotations

from functools import cache
from types import MappingProxyType

from pitchcam.calibration import calibration_path, read_rows

Row = MappingProxyType[str, str]


@cache
def read_table(name: str) -> tuple[Row, ...]:
    """Return the rows of ``calibration/joining/NAME.csv``.

    Raises
    ------
    InputError
        If a row has another number of cells than the head: a table that is ours to mend.
    """
    path = calibration_path("joining", f"{name}.csv")
    return tuple(MappingProxyType(cells) for _, cells in read_rows(path))


@cache
def keyed(name: str) -> MappingProxyType[str, Row]:
    """Return a table by its ``key`` column; keys are unique.

    Raises
    ------
    ValueError
        If a key stands twice.
    """
    rows = read_table(name)
    result = {row["key"]: row for row in rows}
    if len(result) != len(rows):
        raise ValueError(f"{name}.csv: a key stands twice")
    return MappingProxyType(result)
