"""The SQLite file behind the record, opened so that a power cut costs at most the photo in hand."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from pitchcam.errors import InputError, UsageError
from pitchcam.records import json_text
from pitchcam.store import schema
from pitchcam.store.database import Database
from pitchcam.store.entries import Correction, Entry, Outcome, record_id
from pitchcam.store.rows import entry_rows

_SEEN = "INSERT INTO photo_name VALUES (?, ?) ON CONFLICT DO NOTHING"


class Store:
    """The record in one SQLite file (write-ahead log, each commit flushed to the disk).

    Parameters
    ----------
    path
        The file; made when it does not exist.
    must_exist
        Refuse to make a new file, for commands that only read.

    Raises
    ------
    InputError
        If the file is no record, is damaged, or is of a newer version.
    FullError
        If the disk is full.
    """

    def __init__(self, path: Path, *, must_exist: bool = False) -> None:
        self.path = path
        if must_exist and not path.exists():
            raise InputError(
                f"there is no record at {path}.", "Name it with --record, or run a batch first."
            )
        self._file = Database(path)
        self._db = self._file.connection
        try:
            with self._file.plain_errors():
                self._open()
        except BaseException:
            self._file.close()
            raise

    def _open(self) -> None:
        version = self._version()
        if version > schema.VERSION:
            raise InputError(
                f"{self.path} was written by a newer pitchcam.", "Update pitchcam, or name another."
            )
        self._db.execute("PRAGMA journal_mode = WAL")
        if version == 0:
            self._make_tables()

    def _version(self) -> int:
        version: int = self._db.execute("PRAGMA user_version").fetchone()[0]
        return version

    def _make_tables(self) -> None:
        tables = self._db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if tables and self._version() == 0:
            raise InputError(f"{self.path} is a database of something else.", "Name another file.")
        try:
            self._db.executescript(schema.SCRIPT)
        except sqlite3.OperationalError:
            if self._db.in_transaction:
                self._db.rollback()
            if self._version() != schema.VERSION:  # else another process made them just now
                raise

    def close(self) -> None:
        """Close the file; the log is folded back into it."""
        self._file.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def has(self, sha256: str, settings_key: str) -> bool:
        """Say whether this photo has been measured under these settings."""
        with self._file.plain_errors():
            found = self._db.execute(
                "SELECT 1 FROM measurement WHERE sha256 = ? AND settings_key = ?",
                (sha256, settings_key),
            ).fetchone()
        return found is not None

    def add(
        self, sha256: str, settings_text: str, settings_key: str, outcome: Outcome,
        names: Iterable[str] = (),
    ) -> str:  # fmt: skip
        """Keep one outcome, whole or not at all; an outcome that is there already stays.

        Returns
        -------
        str
            The record's id.

        Raises
        ------
        FullError
            If the disk is full; nothing of this outcome is kept then.
        """
        identity = record_id(sha256, settings_key)
        document = None if outcome.document is None else _nameless(outcome.document)
        with self._file.commit() as db:
            db.execute(
                "INSERT INTO settings VALUES (?, ?) ON CONFLICT DO NOTHING",
                (settings_key, settings_text),
            )
            added = db.execute(
                "INSERT INTO measurement VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
                " ON CONFLICT (sha256, settings_key) DO NOTHING",
                (identity, sha256, settings_key, outcome.status, document,
                 outcome.code, outcome.message, outcome.advice),
            ).rowcount  # fmt: skip
            if added:
                db.executemany(
                    "INSERT INTO thumbnail VALUES (?, ?, ?)",
                    [(identity, part, jpeg) for part, jpeg in (outcome.thumbnails or {}).items()],
                )
            db.executemany(_SEEN, [(sha256, name) for name in names])
        return identity

    def saw(self, sha256: str, name: str) -> None:
        """Keep the name under which a photo was seen."""
        with self._file.plain_errors():
            known = self._db.execute(
                "SELECT 1 FROM photo_name WHERE sha256 = ? AND name = ?", (sha256, name)
            ).fetchone()
        if known is None:
            with self._file.commit() as db:
                db.execute(_SEEN, (sha256, name))

    def correct(
        self, thread_id: str, designation: str, *, who: str, why: str, now: datetime
    ) -> Correction:
        """Add what a person says a thread is in fact; earlier corrections stay in the record.

        Raises
        ------
        UsageError
            If the thread is not in the record, or who or why is empty.
        """
        who, why, designation = who.strip(), why.strip(), designation.strip()
        if not (who and why and designation):
            raise UsageError("a correction needs a designation, who says so, and why.")
        entry_id = thread_id.split("-")[0]
        entry = self.entry(entry_id)
        if entry is None or thread_id not in {row.id for row in entry_rows(entry)}:
            raise UsageError(f"the record has no {thread_id}.", "See: pitchcam log list")
        made_at = now.isoformat(timespec="seconds")
        with self._file.commit() as db:
            number = db.execute(
                "INSERT INTO correction (measurement_id, thread_id, designation, who, why, made_at)"
                " VALUES (?, ?, ?, ?, ?, ?)",
                (entry_id, thread_id, designation, who, why, made_at),
            ).lastrowid
        return Correction(
            number=number or 0, thread_id=thread_id, designation=designation,
            who=who, why=why, made_at=made_at,
        )  # fmt: skip

    def corrections(self, entry_id: str) -> tuple[Correction, ...]:
        """Return every correction of one record, the oldest first."""
        with self._file.plain_errors():
            rows = self._db.execute(
                "SELECT number, thread_id, designation, who, why, made_at FROM correction"
                " WHERE measurement_id = ? ORDER BY number",
                (entry_id,),
            ).fetchall()
        names = ("number", "thread_id", "designation", "who", "why", "made_at")
        return tuple(Correction(**dict(zip(names, row, strict=True))) for row in rows)

    def ids(self) -> list[str]:
        """Return the ids of all records, in the order of their ids."""
        with self._file.plain_errors():
            return [r[0] for r in self._db.execute("SELECT id FROM measurement ORDER BY id")]

    def entry(self, entry_id: str) -> Entry | None:
        """Return one record without its thumbnails, or None when there is none of that id."""
        with self._file.plain_errors():
            row = self._db.execute(
                "SELECT sha256, settings_key, status, document, code, message, advice"
                " FROM measurement WHERE id = ?",
                (entry_id,),
            ).fetchone()
            if row is None:
                return None
            names = self._db.execute(
                "SELECT name FROM photo_name WHERE sha256 = ? ORDER BY name", (row[0],)
            ).fetchall()
        sha256, settings_key, status, document, code, message, advice = row
        outcome = Outcome(
            status=status, document=None if document is None else json.loads(document),
            code=code, message=message, advice=advice,
        )  # fmt: skip
        return Entry(
            id=entry_id, sha256=sha256, settings_key=settings_key, outcome=outcome,
            names=tuple(n[0] for n in names),
            corrections={c.thread_id: c for c in self.corrections(entry_id)},
        )  # fmt: skip

    def entries(self) -> Iterator[Entry]:
        """Yield all records, in the order of their ids, one at a time."""
        for entry_id in self.ids():
            entry = self.entry(entry_id)
            if entry is not None:
                yield entry

    def thumbnail(self, entry_id: str, part: int) -> bytes | None:
        """Return the small JPEG picture of a part (0: the whole photo), or None."""
        with self._file.plain_errors():
            row = self._db.execute(
                "SELECT jpeg FROM thumbnail WHERE measurement_id = ? AND part = ?",
                (entry_id, part),
            ).fetchone()
        return None if row is None else bytes(row[0])


def _nameless(document: Mapping[str, Any]) -> str:
    """Return the document as text without the file name, which belongs to the copy measured."""
    photo = dict(document.get("photo") or {}) | {"file": ""}
    return json_text({**document, "photo": photo}, sort_keys=True)
