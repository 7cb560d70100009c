"""The stock kept in the record's SQLite file: rows as imported, and every change of a count.

A row's count is what the moves on it add up to, and moves are never changed or removed: what was
taken, put back or counted again stays to be seen, with who, why and when.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from pitchcam.errors import UsageError
from pitchcam.fitting.ends import End
from pitchcam.fitting.stock import Fitting, columns
from pitchcam.records import json_text
from pitchcam.store import Store
from pitchcam.store.database import Database

_TABLES = """
CREATE TABLE IF NOT EXISTS stock_row (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL,
    document TEXT NOT NULL,
    made_at TEXT NOT NULL
);
CREATE INDEX IF NOT EXISTS stock_row_by_id ON stock_row (id, number);
CREATE TABLE IF NOT EXISTS stock_move (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL,
    pieces INTEGER NOT NULL,
    who TEXT NOT NULL,
    why TEXT NOT NULL,
    made_at TEXT NOT NULL
);
CREATE INDEX IF NOT EXISTS stock_move_by_id ON stock_move (id);
"""
_GUARD = """
CREATE TRIGGER IF NOT EXISTS {table}_keeps_{verb} BEFORE {verb} ON {table}
BEGIN SELECT RAISE(ABORT, 'the stock record is never overwritten'); END;
"""
_SCRIPT = _TABLES + "".join(
    _GUARD.format(table=table, verb=verb)
    for table in ("stock_row", "stock_move")
    for verb in ("UPDATE", "DELETE")
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Move:
    """One change of a count: pieces in (positive) or out, who, why and when."""

    id: str
    pieces: int
    who: str
    why: str
    made_at: str


class StockStore:
    """The stock tables of one record file; made where they do not exist.

    Parameters
    ----------
    path
        The record's file.

    Raises
    ------
    InputError
        If the file is no record.
    """

    def __init__(self, path: Path) -> None:
        Store(path).close()
        self._file = Database(path)
        self._db = self._file.connection
        try:
            with self._file.plain_errors():
                self._db.executescript(f"BEGIN IMMEDIATE;{_SCRIPT}COMMIT;")
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> StockStore:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def take_in(self, rows: Sequence[Fitting], *, who: str, now: datetime) -> int:
        """Take a sheet's rows in, all or none; return how many rows or counts changed.

        A row that is known gets the sheet's sizes and count; one that the sheet does not name
        stays as it is.
        """
        at = now.isoformat(timespec="seconds")
        known = {f.id: f for f in self.rows()}
        changed = 0
        with self._file.commit():
            for f in rows:
                before = known.get(f.id)
                if before is None or replace(before, count=f.count) != f:
                    self._db.execute(
                        "INSERT INTO stock_row (id, document, made_at) VALUES (?, ?, ?)",
                        (f.id, _to_text(f), at),
                    )
                pieces = f.count - (0 if before is None else before.count)
                if pieces:
                    self._move(f.id, pieces, who, "counted in the sheet", at)
                changed += before != f
        return changed

    def take_out(self, identity: str, pieces: int, *, who: str, why: str, now: datetime) -> int:
        """Take pieces out (or with a negative number put them back); return how many are left.

        Raises
        ------
        UsageError
            If the row is unknown or has fewer pieces.
        """
        with self._file.commit():
            row = {f.id: f for f in self.rows()}.get(identity)
            if row is None:
                raise UsageError(f"stock has no row '{identity}'.", "See: pitchcam stock list")
            if pieces > row.count:
                raise UsageError(
                    f"{identity} has {row.count} left, {pieces} were asked for.",
                    "Count the drawer, or take fewer.",
                )
            self._move(identity, -pieces, who, why, now.isoformat(timespec="seconds"))
        return row.count - pieces

    def rows(self) -> tuple[Fitting, ...]:
        """Return the stock as it is now, in the order in which rows first came in."""
        with self._file.plain_errors():
            documents = dict(
                self._db.execute("SELECT id, document FROM stock_row ORDER BY number").fetchall()
            )
            counts = dict(
                self._db.execute("SELECT id, sum(pieces) FROM stock_move GROUP BY id").fetchall()
            )
        return tuple(
            replace(_from_text(text), count=counts.get(identity, 0))
            for identity, text in documents.items()
        )

    def moves(self, identity: str | None = None) -> tuple[Move, ...]:
        """Return every change of counts, the oldest first, of one row or of all."""
        with self._file.plain_errors():
            found = self._db.execute(
                "SELECT id, pieces, who, why, made_at FROM stock_move"
                " WHERE ? IS NULL OR id = ? ORDER BY number",
                (identity, identity),
            ).fetchall()
        names = ("id", "pieces", "who", "why", "made_at")
        return tuple(Move(**dict(zip(names, row, strict=True))) for row in found)

    def _move(self, identity: str, pieces: int, who: str, why: str, at: str) -> None:
        self._db.execute(
            "INSERT INTO stock_move (id, pieces, who, why, made_at) VALUES (?, ?, ?, ?, ?)",
            (identity, pieces, who, why, at),
        )


def _to_text(fitting: Fitting) -> str:
    document: dict[str, Any] = {}
    for f in fields(fitting):
        value = getattr(fitting, f.name)
        if isinstance(value, End):
            value = {k.name: getattr(value, k.name) for k in fields(value)}
        document[f.name] = value
    del document["count"]
    return json_text(document, sort_keys=True)


def _from_text(text: str) -> Fitting:
    document = json.loads(text)
    for side in ("end_a", "end_b"):
        document[side] = None if document[side] is None else End(**document[side])
    return Fitting(count=0, **document)


def stock_csv(rows: Sequence[Fitting]) -> str:
    """Return stock as the CSV that :func:`pitchcam.fitting.stock.read_stock` reads back."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    names = [name for name, _ in columns()]
    writer.writerow(names)
    for f in rows:
        writer.writerow([_cell(f, name) for name in names])
    return out.getvalue()


def _cell(f: Fitting, column: str) -> str:
    if column in ("end_a", "end_b"):
        end: End | None = getattr(f, column)
        if end is None:
            return "none"
        return end.written
    if column in ("gender_a", "gender_b"):
        end = f.end_a if column == "gender_a" else f.end_b
        return "" if end is None else "male" if end.gender == "external" else "female"
    for unit in ("", "_mm", "_bar", "_c", "_g"):
        if hasattr(f, column + unit):
            value = getattr(f, column + unit)
            if isinstance(value, float):
                return f"{value:.10g}"
            return "" if value is None else str(value)
    raise LookupError(column)
