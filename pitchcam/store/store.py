"""The SQLite file behind the record, opened so that a power cut costs at most the photo in hand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from pitchcam.errors import InputError, UsageError
from pitchcam.records import json_text
from pitchcam.store import schema
from pitchcam.store.digest import row_digest
from pitchcam.store.entries import Correction, Outcome, record_id
from pitchcam.store.reading import CELLS, MADE, Reader
from pitchcam.store.rows import entry_rows

_SEEN = "INSERT INTO photo_name VALUES (?, ?) ON CONFLICT DO NOTHING"


class Store(Reader):
    """The record in one SQLite file (write-ahead log, each commit flushed to the disk).

    Parameters
    ----------
    path
        The file; made when it does not exist.
    must_exist
        Refuse to make a new file, for commands that only read.
    only_read
        Nothing is to be written, so that a record on a medium that cannot be written is read too.

    Attributes
    ----------
    damaged
        Ids of the records of which a row turned out damaged while they were read.

    Raises
    ------
    InputError
        If the file is no record, is damaged, or is of a newer version.
    FullError
        If the disk is full.
    """

    def __init__(self, path: Path, *, must_exist: bool = False, only_read: bool = False) -> None:
        if must_exist and not path.exists():
            raise InputError(
                f"there is no record: {path} does not exist.",
                "Name it with --record, or run a batch first.",
            )
        super().__init__(path, only_read=only_read)

    def _prepare(self) -> None:
        with self._file.plain_errors():
            self._open()

    def _open(self) -> None:
        version = self._version()
        if version > schema.VERSION:
            raise InputError(
                f"{self.path} was written by a newer pitchcam.", "Update pitchcam, or name another."
            )
        if self._file.fixed and version == schema.VERSION:
            return
        if self._file.fixed:
            raise InputError(
                f"{self.path} was written by an older pitchcam, or is no record;",
                "copy it to a place that can be written, and name that copy",
            )
        self._file.log_ahead()
        if version == 0:
            self._make_tables()
        elif version < schema.VERSION:
            with self._file.commit() as db:
                if self._version() < schema.VERSION:  # else another process did it just now
                    schema.upgrade(db)

    def _version(self) -> int:
        version: int = self._db.execute("PRAGMA user_version").fetchone()[0]
        return version

    def _make_tables(self) -> None:
        tables = self._db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if tables and self._version() == 0:
            raise InputError(f"{self.path} is a database of something else.", "Name another file.")
        with self._file.commit() as db:
            if self._version() == 0:  # else another process made them just now
                schema.make(db)

    def add(
        self,
        sha256: str,
        settings_text: str,
        settings_key: str,
        outcome: Outcome,
        names: Iterable[str] = (),
    ) -> str:
        """Keep one outcome, whole or not at all; an outcome that is there already stays.

        One that is to be tried again is kept as an attempt, and so is one whose first row turned
        out damaged.

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
        cells = (
            identity,
            sha256,
            settings_key,
            outcome.status,
            document,
            outcome.code,
            outcome.message,
            outcome.advice,
        )
        with self._file.commit() as db:
            db.execute(
                "INSERT INTO settings SELECT :key, :text"
                " WHERE NOT EXISTS (SELECT 1 FROM settings WHERE key = :key)",
                {"key": settings_key, "text": settings_text},
            )
            if outcome.lasting and not self._is_there("measurement", identity):
                db.execute(
                    f"INSERT INTO measurement ({CELLS}, digest) VALUES (?,?,?,?,?,?,?,?,?)",
                    (*cells, row_digest(*cells)),
                )
                self._add_pictures(identity, outcome)
            elif self._is_news(identity, outcome, document):
                lasting = int(outcome.lasting)
                db.execute(
                    f"INSERT INTO attempt ({CELLS}, lasting, digest) VALUES (?,?,?,?,?,?,?,?,?,?)",
                    (*cells, lasting, row_digest(*cells, lasting)),
                )
            db.executemany(_SEEN, [(sha256, name) for name in names])
        return identity

    def _is_there(self, table: str, identity: str) -> bool:
        return (
            self._db.execute(f"SELECT 1 FROM {table} WHERE id = ?", (identity,)).fetchone()
            is not None
        )

    def _is_news(self, identity: str, outcome: Outcome, document: str | None) -> bool:
        """Say whether an attempt tells more than what stands there already."""
        row, known = self._outcome(identity) or (None, None)
        if known is None or row is None:
            return True
        if known.lasting:
            return False
        return outcome.lasting or (
            row[3:8] != (outcome.status, document, outcome.code, outcome.message, outcome.advice)
        )

    def _add_pictures(self, identity: str, outcome: Outcome) -> None:
        for part, jpeg in (outcome.thumbnails or {}).items():
            self._db.execute(
                "INSERT INTO thumbnail VALUES (?, ?, ?, ?)",
                (identity, part, jpeg, row_digest(identity, part, jpeg)),
            )

    def add_pictures(self, entry_id: str, pictures: Mapping[int, bytes]) -> None:
        """Add small pictures to a record that has none yet.

        They are lost where the photo could not be opened again after it was measured.
        """
        with self._file.commit() as db:
            have = db.execute(
                "SELECT 1 FROM thumbnail WHERE measurement_id = ?", (entry_id,)
            ).fetchone()
            if have is None and self._is_there("measurement", entry_id):
                self._add_pictures(entry_id, Outcome(status="measured", thumbnails=pictures))

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
        cells = (entry_id, thread_id, designation, who, why, made_at)
        with self._file.commit() as db:
            number = db.execute(
                f"INSERT INTO correction ({MADE}, digest) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (*cells, row_digest(*cells)),
            ).lastrowid
        return Correction(
            number=number or 0,
            thread_id=thread_id,
            designation=designation,
            who=who,
            why=why,
            made_at=made_at,
        )


def _nameless(document: Mapping[str, Any]) -> str:
    """Return the document as text without the file name, which belongs to the copy measured.

    One of several photos keeps their names: they tell which of them do not count.
    """
    if "photos" in document:
        return json_text(document, sort_keys=True)
    photo = dict(document.get("photo") or {}) | {"file": ""}
    return json_text({**document, "photo": photo}, sort_keys=True)
