"""The shop's stock: fittings with two ends each, read from the CSV that a person keeps."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable
from dataclasses import field
from functools import cache
from pathlib import Path
from typing import Any

from pitchcam.errors import InputError, PitchcamError
from pitchcam.files import read_whole
from pitchcam.frozen import dataclass
from pitchcam.joining.mating.ends import End, parse_end
from pitchcam.joining.stock import amounts
from pitchcam.joining.tables import read_table
from pitchcam.records import Gender
from pitchcam.series import find

#: More rows than any shop's sheet: a larger file is another thing than a stock list.
_MOST_BYTES = 20_000_000
_MOST_ROWS = 100_000
#: Longer than any name, note or designation.
_MOST_CELL = 2000
#: Faults that are told one by one; a sheet with more is another table.
_MOST_FAULTS = 1000
_GENDERS: dict[str, Gender] = {
    "male": "external",
    "m": "external",
    "external": "external",
    "female": "internal",
    "f": "internal",
    "internal": "internal",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Fitting:
    """One row of stock; ``end_a`` or ``end_b`` is None where that end is closed or plain.

    ``pressure_bar`` and ``temperature_c`` are ratings, None where not stated. ``hex_mm`` is
    across flats, or the diameter of a round one.
    """

    id: str
    name: str = ""
    end_a: End | None
    end_b: End | None
    bore_mm: float
    length_mm: float
    hex_mm: float | None = None
    thread_a_mm: float | None = None
    thread_b_mm: float | None = None
    material: str
    plating: str = ""
    pressure_bar: float | None = None
    temperature_c: float | None = None
    mass_g: float | None = None
    count: int
    note: str = ""

    @property
    def text(self) -> str:
        """The row in one line for people."""
        ends = " / ".join("closed" if e is None else e.text for e in (self.end_a, self.end_b))
        return f"{self.id} {self.name}: {ends}".replace(" :", ":")


class StockError(InputError):
    """A stock sheet with faults; ``lines`` names each by line and column."""

    def __init__(self, path: str, lines: tuple[str, ...]) -> None:
        more = f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""
        super().__init__(f"{path} {lines[0]}{more}", "Nothing was taken from the file.")
        self.lines = lines


@dataclass(slots=True)
class _RowReader:
    """Reads one row's cells and gathers what is wrong with them."""

    line: int
    cells: dict[str, str]
    faults: list[str] = field(default_factory=list)

    def read(self, column: str, convert: Callable[[str], Any], needed: bool = False) -> Any:
        text = self.cells.get(column, "").strip()
        if not text:
            if needed:
                self.fault(column, "is empty.")
            return None
        try:
            return convert(text)
        except PitchcamError as error:
            self.fault(column, f"{error}")
            return None

    def fault(self, column: str, what: str) -> None:
        self.faults.append(f"line {self.line}, column {column}: {what}")


def columns() -> tuple[tuple[str, bool], ...]:
    """Return the columns of a stock sheet as (name, whether it must be there)."""
    return tuple((row["column"], row["needed"] == "yes") for row in read_table("stock_columns"))


def read_stock(path: Path) -> tuple[Fitting, ...]:
    """Read a stock sheet, whole or not at all.

    Parameters
    ----------
    path
        CSV as a spreadsheet writes it: comma, semicolon or tab, UTF-8 or the older Windows
        encoding, first line the column names. See ``pitchcam stock columns``.

    Raises
    ------
    InputError
        If the file is missing or no such table.
    StockError
        If any row is faulty; it lists every fault by line and column.
    """
    return parse_stock(_text_of(path), str(path.name))


def parse_stock(text: str, name: str) -> tuple[Fitting, ...]:
    """Read a stock sheet from its text; ``name`` is used in messages. Raises as read_stock."""
    reader = _table(text, name)
    fittings: list[Fitting] = []
    faults: list[str] = []
    first_line: dict[str, int] = {}
    for cells in reader:
        if not any((value or "").strip() for value in cells.values() if isinstance(value, str)):
            continue
        if len(fittings) + len(faults) > _MOST_ROWS or len(faults) > _MOST_FAULTS:
            faults.append(f"line {reader.line_num}: more than can be read; the rest was left out.")
            break
        row = _RowReader(line=reader.line_num, cells=_clean(cells))
        if any(len(text) > _MOST_CELL for text in row.cells.values()):
            faults.append(f"line {row.line}: a cell has more than {_MOST_CELL} characters.")
            continue
        if None in cells:
            row.fault("(end)", "more cells than columns; quote a cell that holds the separator.")
        fitting = _fitting(row)
        earlier = first_line.setdefault(row.cells.get("id", "").strip().lower(), row.line)
        if earlier != row.line and row.cells.get("id"):
            row.fault("id", f"'{row.cells['id'].strip()}' stands already in line {earlier}.")
        faults.extend(row.faults)
        if fitting is not None and not row.faults:
            fittings.append(fitting)
    if faults:
        raise StockError(name, tuple(faults))
    if not fittings:
        raise InputError(f"{name} has no rows of stock.", "See: pitchcam stock columns")
    return tuple(fittings)


def _text_of(path: Path) -> str:
    raw = read_whole(path, _MOST_BYTES, advice="name the stock's CSV file")
    if b"\0" in raw[:4096]:
        raise InputError(f"{path} is no CSV text.", "Save the sheet as CSV (UTF-8).")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def _table(text: str, name: str) -> csv.DictReader[str]:
    head = text.split("\n", 1)[0]
    separator = max(",;\t", key=head.count)
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        found = [str(c).strip().lower() for c in reader.fieldnames or ()]
    except csv.Error as error:
        raise InputError(f"{name} line 1: {error}.", "Save the sheet as CSV again.") from None
    missing = [c for c, needed in columns() if needed and c not in found]
    if missing:
        raise InputError(
            f"{name} line 1: no column {', '.join(missing)}.", "See: pitchcam stock columns"
        )
    unknown = [c for c in found if c and c not in dict(columns())]
    if unknown:
        raise InputError(
            f"{name} line 1: unknown column {', '.join(unknown)}.", "See: pitchcam stock columns"
        )
    twice = {c for c in found if c and found.count(c) > 1}
    if twice:
        raise InputError(f"{name} line 1: column {', '.join(twice)} stands twice.", "Remove one.")
    reader.fieldnames = found
    return _Guarded(reader, name)  # type: ignore[return-value]


class _Guarded:
    """The reader, with the module's errors turned into a line of ours."""

    def __init__(self, reader: csv.DictReader[str], name: str) -> None:
        self._reader, self._name = reader, name

    def __iter__(self) -> _Guarded:
        return self

    def __next__(self) -> dict[str | Any, str | Any]:
        try:
            return next(self._reader)
        except csv.Error as error:
            raise InputError(
                f"{self._name} line {self.line_num + 1}: {error}.", "Look for an open quote."
            ) from None

    @property
    def line_num(self) -> int:
        """The line just read."""
        return self._reader.line_num


def _clean(cells: dict[str | Any, str | Any]) -> dict[str, str]:
    return {k: (v or "") for k, v in cells.items() if isinstance(k, str)}


def _fitting(row: _RowReader) -> Fitting | None:
    end_a, end_b = _end(row, "a"), _end(row, "b")
    values: dict[str, Any] = {
        "bore_mm": row.read("bore", amounts.length_mm, True),
        "length_mm": row.read("length", amounts.length_mm, True),
        "hex_mm": row.read("hex", amounts.length_mm),
        "thread_a_mm": row.read("thread_a", amounts.length_mm),
        "thread_b_mm": row.read("thread_b", amounts.length_mm),
        "pressure_bar": row.read("pressure", amounts.pressure_bar),
        "temperature_c": row.read("temperature", amounts.temperature_c),
        "mass_g": row.read("mass", amounts.mass_g),
        "count": row.read("count", amounts.whole_number, True),
    }
    names = ("id", "name", "material", "plating", "note")
    texts: dict[str, Any] = {c: row.cells.get(c, "").strip() for c in names}
    for column in ("id", "material"):
        if not texts[column]:
            row.fault(column, "is empty.")
    if end_a is None and end_b is None and not row.faults:
        row.fault("end_a", "both ends are none.")
    if row.faults:
        return None
    fitting = Fitting(end_a=end_a, end_b=end_b, **texts, **values)
    for column, what in _contradictions(fitting):
        row.fault(column, what)
    return fitting


def _end(row: _RowReader, side: str) -> End | None:
    text = row.cells.get(f"end_{side}", "").strip()
    if text.lower() == "none":
        return None
    word = row.cells.get(f"gender_{side}", "").strip().lower()
    if word not in _GENDERS:
        row.fault(f"gender_{side}", f"'{word}' is neither male nor female.")
        return None
    gender = _GENDERS[word]
    if not text:
        row.fault(f"end_{side}", "is empty; write none for a closed end.")
        return None
    end: End | None = row.read(f"end_{side}", lambda t: _cached_end(t, gender), True)
    return end


@cache
def _cached_end(text: str, gender: Gender) -> End:
    return parse_end(text, gender)


def _contradictions(f: Fitting) -> Iterable[tuple[str, str]]:
    """Yield (column, fault) of sizes that cannot be together: mostly a unit left out."""
    if f.length_mm < 3.0:
        yield "length", f"{f.length_mm:g} mm is too short for a fitting; in inches write 1.5in."
    if f.hex_mm is not None and f.hex_mm < 4.0:
        yield "hex", f"{f.hex_mm:g} mm is too small for a fitting; in inches write 3/4in."
    if f.hex_mm is not None and f.bore_mm >= f.hex_mm:
        yield "bore", f"{f.bore_mm:g} mm is wider than the hex."
    threads = (f.thread_a_mm or 0.0) + (f.thread_b_mm or 0.0)
    both_male = all(e is None or e.gender == "external" for e in (f.end_a, f.end_b))
    if both_male and threads > f.length_mm:
        yield "length", "is less than its two threads together."
    for end in (f.end_a, f.end_b):
        room = _bore_limit(end)
        if room is not None and f.bore_mm >= room:
            yield "bore", f"{f.bore_mm:g} mm does not fit inside {end.text if end else ''}."


def _bore_limit(end: End | None) -> float | None:
    """Return the diameter that the bore must be under: a male's root, a hose tail's hose."""
    if end is None or end.gender != "external":
        return None
    return float(end.designation[5:]) if end.is_hose else find(end.designation).basic_minor_mm
