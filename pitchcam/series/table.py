"""Reads the catalogue's CSV files row by row; a bad cell is named by file, line and column."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

from pitchcam.calibration import calibration_path, read_rows
from pitchcam.errors import InputError
from pitchcam.frozen import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One row of a table, with its place for error messages."""

    file: str
    line: int
    cells: dict[str, str]

    def text(self, column: str) -> str:
        """Return a cell that must not be empty."""
        value = (self.cells.get(column) or "").strip()
        if not value:
            raise self.error(column, "is empty", "fill it in")
        return value

    def remark(self, column: str) -> str:
        """Return a cell that may be empty, or whose column may be missing."""
        return (self.cells.get(column) or "").strip()

    def number(self, column: str) -> float:
        """Return a cell that must be a positive, finite number."""
        value = self.optional(column)
        if value is None:
            raise self.error(column, "is empty", "fill it in")
        return value

    def optional(self, column: str) -> float | None:
        """Return a positive, finite number, or None for an empty cell."""
        text = (self.cells.get(column) or "").strip()
        if not text:
            return None
        try:
            value = float(text)
        except ValueError:
            raise self.error(column, f"is {text!r}", "write a plain number") from None
        if not (math.isfinite(value) and value > 0):
            raise self.error(column, f"is {text!r}", "write a number above 0")
        return value

    def choice(self, column: str, allowed: tuple[str, ...]) -> str:
        """Return a cell that must be one of a few words."""
        value = self.text(column)
        if value not in allowed:
            raise self.error(column, f"is {value!r}", "use one of: " + ", ".join(allowed))
        return value

    def error(self, column: str, what: str, advice: str) -> InputError:
        """Return the error for one cell, ready to raise."""
        return InputError(f"{self.file} line {self.line}: {column} {what}.", advice + ".")


def read_table(name: str, folder: Path | None = None) -> Iterator[Row]:
    """Yield the rows of ``calibration/series/NAME``, or of the same file in another folder.

    Raises
    ------
    InputError
        If the file cannot be read, or a row has more or fewer cells than the head.
    """
    path = calibration_path("series", name) if folder is None else folder / name
    for line, cells in read_rows(path):
        yield Row(file=path.name, line=line, cells=cells)


def size_inches(size: str) -> float:
    """Return the inches of a trade size such as '3/8' or '1-1/4'."""
    parts = [part.partition("/") for part in size.split("-")]
    return sum(float(above) / float(below or 1) for above, _, below in parts)
