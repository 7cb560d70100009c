"""The stock kept in the record's SQLite file: rows as imported, and every change of a count.

A row's count is what the moves on it add up to, and moves are never changed or removed: what was
taken, put back or counted again stays to be seen, with who, why and when.
"""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from pitchcam.errors import InputError, UsageError
from pitchcam.frozen import dataclass
from pitchcam.joining.mating.ends import End
from pitchcam.joining.stock.sheet import Fitting, columns
from pitchcam.records import json_text
from pitchcam.store.digest import row_digest
from pitchcam.store.opened import OpenedRecord
from pitchcam.store.schema import guards
from pitchcam.store.store import Store

_TABLES = """
CREATE TABLE IF NOT EXISTS stock_row (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL,
    document TEXT NOT NULL,
    made_at TEXT NOT NULL,
    digest TEXT
);
CREATE INDEX IF NOT EXISTS stock_row_by_id ON stock_row (id, number);
CREATE TABLE IF NOT EXISTS stock_move (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL,
    pieces INTEGER NOT NULL,
    who TEXT NOT NULL,
    why TEXT NOT NULL,
    made_at TEXT NOT NULL,
    digest TEXT
);
CREATE INDEX IF NOT EXISTS stock_move_by_id ON stock_move (id);
"""
_KEYS = {"stock_row": "number = NEW.number", "stock_move": "number = NEW.number"}
_ROW = "id, document, made_at"
_MOVE = "id, pieces, who, why, made_at"


@dataclass(frozen=True, kw_only=True, slots=True)
class Move:
    """One change of a count: pieces in (positive) or out, who, why and when."""

    id: str
    pieces: int
    who: str
    why: str
    made_at: str


class StockStore(OpenedRecord):
    """The stock tables of one record file; made where they do not exist.

    Parameters
    ----------
    path
        The record's file.
    only_read
        Nothing is to be written, so that a record on a medium that cannot be written is read too.

    Attributes
    ----------
    damaged
        Ids of the stock rows of which something in the record turned out damaged.

    Raises
    ------
    InputError
        If the file is no record.
    """

    def __init__(self, path: Path, *, only_read: bool = False) -> None:
        Store(path, only_read=only_read).close()
        #: Whether the rows have checksums; those of older records have none.
        self._checked = True
        super().__init__(path, only_read=only_read)

    def _prepare(self) -> None:
        with self._file.plain_errors():
            self._checked = self._is_ready()
        if self._checked or self._file.fixed:
            return
        with self._file.commit() as db:
            for statement in _TABLES.split(";"):
                db.execute(statement)
            for table in _KEYS:
                if "digest" not in self._columns(table):
                    # Rows from before have none, and are taken as they are.
                    db.execute(f"ALTER TABLE {table} ADD COLUMN digest TEXT")
            for statement in guards(_KEYS, "the stock record"):
                db.execute(statement)
        self._checked = True

    def _columns(self, table: str) -> set[str]:
        return {str(row[1]) for row in self._db.execute(f"PRAGMA table_info({table})")}

    def _is_ready(self) -> bool:
        return all("digest" in self._columns(table) for table in _KEYS)

    def take_in(self, rows: Sequence[Fitting], *, who: str, now: datetime) -> int:
        """Take a sheet's rows in, all or none; return how many rows or counts changed.

        A row that is known gets the sheet's sizes and count; one that the sheet does not name
        stays as it is.
        """
        at = now.isoformat(timespec="seconds")
        changed = 0
        with self._file.commit():
            # Inside the transaction: another import may have ended just now.
            known = {f.id: f for f in self.rows()}
            self.refuse_damage()
            for f in rows:
                before = known.get(f.id)
                if before is None or replace(before, count=f.count) != f:
                    cells = (f.id, _to_text(f), at)
                    self._db.execute(
                        f"INSERT INTO stock_row ({_ROW}, digest) VALUES (?, ?, ?, ?)",
                        (*cells, row_digest(*cells)),
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
            self.refuse_damage(identity)
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
        """Return the stock as it is now, in the order in which rows first came in.

        A row of which anything is damaged is left out, and its id stands in ``damaged``: its count
        would be wrong.
        """
        documents = {row[0]: row[1] for row in self._whole("stock_row", _ROW)}
        counts: Counter[str] = Counter()
        for identity, pieces, *_ in self._whole("stock_move", _MOVE):
            counts[identity] += pieces
        return tuple(
            replace(_from_text(text), count=counts[identity])
            for identity, text in documents.items()
            if identity not in self.damaged
        )

    def _whole(self, table: str, cells: str) -> list[tuple[Any, ...]]:
        """Return the rows of a table whose checksum holds; the ids of the others are noted."""
        if self._file.fixed and not self._columns(table):
            return []
        digest = "digest" if self._checked else "NULL"
        with self._file.plain_errors():
            rows = self._db.execute(
                f"SELECT {cells}, {digest} FROM {table} ORDER BY number"
            ).fetchall()
        whole = []
        for row in rows:
            if row[-1] is None or row_digest(*row[:-1]) == row[-1]:
                whole.append(row[:-1])
            else:
                self.damaged.add(str(row[0]))
        return whole

    def refuse_damage(self, identity: str | None = None) -> None:
        """Raise where rows of the stock are damaged, or the one that is asked for.

        Raises
        ------
        InputError
            If so; it names them.
        """
        if self.damaged and (identity is None or identity in self.damaged):
            raise InputError(
                f"{self.path}: damaged rows of stock: {', '.join(sorted(self.damaged)[:8])};",
                "restore the record from a copy, or import the counted sheet into a new one",
            )

    def moves(self, identity: str | None = None) -> tuple[Move, ...]:
        """Return every change of counts, the oldest first, of one row or of all."""
        names = _MOVE.split(", ")
        return tuple(
            Move(**dict(zip(names, row, strict=True)))
            for row in self._whole("stock_move", _MOVE)
            if identity is None or row[0] == identity
        )

    def _move(self, identity: str, pieces: int, who: str, why: str, at: str) -> None:
        cells = (identity, pieces, who, why, at)
        self._db.execute(
            f"INSERT INTO stock_move ({_MOVE}, digest) VALUES (?, ?, ?, ?, ?, ?)",
            (*cells, row_digest(*cells)),
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
    """Return stock as the CSV that :func:`pitchcam.joining.stock.sheet.read_stock` reads back."""
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
