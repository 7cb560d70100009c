"""Reads the joining tables: one CSV per table, validated row by row, into plain dictionaries."""

from __future__ import annotations

import csv
from functools import cache
from types import MappingProxyType

from pitchcam.calibration import calibration_path

Row = MappingProxyType[str, str]


@cache
def read_table(name: str) -> tuple[Row, ...]:
    """Return the rows of ``calibration/joining/NAME.csv`` as read-only string mappings.

    Raises
    ------
    ValueError
        If a row has another number of cells than the header: a table that is ours to mend.
    """
    path = calibration_path("joining", f"{name}.csv")
    with path.open(newline="", encoding="utf-8") as handle:
        reader = csv.reader(handle)
        header = next(reader)
        rows = []
        for number, cells in enumerate(reader, start=2):
            if len(cells) != len(header):
                raise ValueError(
                    f"{path.name} line {number}: {len(cells)} cells, {len(header)} wanted"
                )
            rows.append(MappingProxyType(dict(zip(header, cells, strict=True))))
    return tuple(rows)


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
