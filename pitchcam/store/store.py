"""The SQLite file behind the record, opened so that a power cut costs at most the photo in hand."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from pitchcam.errors import InputError, UsageError
from pitchcam.records import json_text
from pitchcam.store import schema
from pitchcam.store.database import FAILURES, Database
from pitchcam.store.digest import row_digest
from pitchcam.store.entries import Correction, Entry, Outcome, record_id
from pitchcam.store.rows import entry_rows

#: More rows than any shop photographs: beyond, a damaged count of rows is taken for what it is.
MOST_ROWS = 10_000_000

_SEEN = "INSERT INTO photo_name VALUES (?, ?) ON CONFLICT DO NOTHING"
#: What a record says, in the order of the tables and of the checksum.
_CELLS = "id, sha256, settings_key, status, document, code, message, advice"
_MADE = "measurement_id, thread_id, designation, who, why, made_at"


class Store:
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

    def __init__(
        self, path: Path, *, must_exist: bool = False, only_read: bool = False
    ) -> None:
        self.path = path
        self.damaged: set[str] = set()
        if must_exist and not path.exists():
            raise InputError(
                f"there is no record at {path}.", "Name it with --record, or run a batch first."
            )
        self._file = Database(path, only_read=only_read)
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
        if self._file.fixed and version == schema.VERSION:
            return
        if self._file.fixed:
            raise InputError(
                f"{self.path} was written by an older pitchcam, or is no record;",
                "copy it to a place that can be written, and name that copy",
            )
        self._db.execute("PRAGMA journal_mode = WAL")
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
        """Say whether this photo has been measured under these settings.

        A row that is damaged does not count, nor does an attempt that is to be made again.
        """
        found = self._outcome(record_id(sha256, settings_key))
        return found is not None and found[1] is not None and found[1].lasting

    def add(
        self, sha256: str, settings_text: str, settings_key: str, outcome: Outcome,
        names: Iterable[str] = (),
    ) -> str:  # fmt: skip
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
            identity, sha256, settings_key, outcome.status, document, outcome.code,
            outcome.message, outcome.advice,
        )  # fmt: skip
        with self._file.commit() as db:
            db.execute(
                "INSERT INTO settings SELECT ?1, ?2"
                " WHERE NOT EXISTS (SELECT 1 FROM settings WHERE key = ?1)",
                (settings_key, settings_text),
            )
            if outcome.lasting and not self._is_there("measurement", identity):
                db.execute(
                    f"INSERT INTO measurement ({_CELLS}, digest) VALUES (?,?,?,?,?,?,?,?,?)",
                    (*cells, row_digest(*cells)),
                )
                self._add_pictures(identity, outcome)
            elif self._is_news(identity, outcome, document):
                lasting = int(outcome.lasting)
                db.execute(
                    f"INSERT INTO attempt ({_CELLS}, lasting, digest)"
                    " VALUES (?,?,?,?,?,?,?,?,?,?)",
                    (*cells, lasting, row_digest(*cells, lasting)),
                )
            db.executemany(_SEEN, [(sha256, name) for name in names])
        return identity

    def _is_there(self, table: str, identity: str) -> bool:
        return self._db.execute(
            f"SELECT 1 FROM {table} WHERE id = ?", (identity,)
        ).fetchone() is not None  # fmt: skip

    def _is_news(self, identity: str, outcome: Outcome, document: str | None) -> bool:
        """Say whether an attempt tells more than what stands there already."""
        row, known = self._outcome(identity) or (None, None)
        if known is None or row is None:
            return True
        if known.lasting:
            return False
        return outcome.lasting or (row[3:8] != (
            outcome.status, document, outcome.code, outcome.message, outcome.advice
        ))  # fmt: skip

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

    def has_pictures(self, entry_id: str) -> bool:
        """Say whether a record has small pictures."""
        with self._file.plain_errors():
            return self._db.execute(
                "SELECT 1 FROM thumbnail WHERE measurement_id = ?", (entry_id,)
            ).fetchone() is not None  # fmt: skip

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
                f"INSERT INTO correction ({_MADE}, digest) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (*cells, row_digest(*cells)),
            ).lastrowid
        return Correction(
            number=number or 0, thread_id=thread_id, designation=designation,
            who=who, why=why, made_at=made_at,
        )  # fmt: skip

    def corrections(self, entry_id: str) -> tuple[Correction, ...]:
        """Return every correction of one record, the oldest first; damaged ones are left out."""
        rows = self._rows(
            f"SELECT {_MADE}, digest, number FROM correction"
            " WHERE measurement_id = ? ORDER BY number", entry_id,
        )  # fmt: skip
        made = []
        for *cells, digest, number in rows if rows is not None else ():
            if row_digest(*cells) != digest:
                self.damaged.add(entry_id)
                continue
            _, thread_id, designation, who, why, made_at = cells
            made.append(Correction(
                number=number, thread_id=thread_id, designation=designation, who=who, why=why,
                made_at=made_at,
            ))  # fmt: skip
        return tuple(made)

    def _rows(self, query: str, entry_id: str) -> list[tuple[Any, ...]] | None:
        """Return the rows of a query about one record, None where the file is damaged there."""
        with self._file.plain_errors():
            try:
                return self._db.execute(query, (entry_id,)).fetchall()
            except FAILURES as error:
                if not self._file.is_damage(error):
                    raise
                self.damaged.add(entry_id)
                return None

    def settings_text(self, settings_key: str) -> str:
        """Return the settings that a key stands for, as JSON text.

        Raises
        ------
        UsageError
            If the record has no such settings.
        """
        with self._file.plain_errors():
            row = self._db.execute(
                "SELECT text FROM settings WHERE key = ?", (settings_key,)
            ).fetchone()
        if row is None:
            raise UsageError("the record has no such settings.", "See: pitchcam log list")
        return str(row[0])

    def ids(self) -> list[str]:
        """Return the ids of all records, in their order.

        Where the file is damaged, those of the rows that can still be reached.
        """
        found: set[str] = set()
        for table in ("measurement", "attempt"):
            with self._file.plain_errors():
                try:
                    rows = self._db.execute(f"SELECT id FROM {table}").fetchall()
                    found.update(str(row[0]) for row in rows)
                except FAILURES as error:
                    if not self._file.is_damage(error):
                        raise
                    found.update(self._reachable_ids(table))
        return sorted(found)

    def _reachable_ids(self, table: str) -> Iterator[str]:
        """Yield the ids of a damaged table, row by row; rows out of reach are noted."""
        last: int = self._db.execute(f"SELECT max(rowid) FROM {table}").fetchone()[0] or 0
        for number in range(1, min(last, MOST_ROWS) + 1):
            try:
                row = self._db.execute(
                    f"SELECT id FROM {table} NOT INDEXED WHERE rowid = ?", (number,)
                ).fetchone()
            except FAILURES:
                self.damaged.add(f"row {number} of {table}")
                continue
            if row is not None:
                yield str(row[0])

    def entry(self, entry_id: str) -> Entry | None:
        """Return one record without its thumbnails, or None when there is none of that id.

        A damaged one says so in place of its measurement, and its id stands in ``damaged``.
        """
        found = self._outcome(entry_id)
        if found is None:
            return None
        row, outcome = found
        sha256, settings_key = ("", "") if outcome is None or row is None else row[1:3]
        names = self._rows(
            "SELECT name FROM photo_name WHERE sha256 = ? ORDER BY name", str(sha256)
        )
        return Entry(
            id=entry_id, sha256=sha256, settings_key=settings_key, outcome=outcome or _DAMAGED,
            names=tuple(str(n[0]) for n in names or ()),
            corrections={c.thread_id: c for c in self.corrections(entry_id)},
        )  # fmt: skip

    def _outcome(self, entry_id: str) -> tuple[tuple[Any, ...] | None, Outcome | None] | None:
        """Return the row that counts for an id and its outcome.

        The measurement where it is whole, else the newest whole attempt. The outcome is None where
        all that there is of it is damaged; the whole is None where there is nothing.
        """
        damaged = False
        for table, order in (("measurement", ""), ("attempt", " ORDER BY number DESC")):
            lasting = ", lasting" if table == "attempt" else ""
            rows = self._rows(
                f"SELECT {_CELLS}{lasting}, digest FROM {table} WHERE id = ?{order}", entry_id
            )
            damaged |= rows is None
            for *cells, digest in rows or ():
                if row_digest(*cells) == digest:
                    return tuple(cells), _as_outcome(cells)
                damaged = True
        if damaged:
            self.damaged.add(entry_id)
            return None, None
        return None

    def entries(self) -> Iterator[Entry]:
        """Yield all records, in the order of their ids, one at a time."""
        for entry_id in self.ids():
            entry = self.entry(entry_id)
            if entry is not None:
                yield entry

    def thumbnail(self, entry_id: str, part: int) -> bytes | None:
        """Return the small JPEG picture of a part (0: the whole photo), or None."""
        with self._file.plain_errors():
            try:
                row = self._db.execute(
                    "SELECT jpeg, digest FROM thumbnail WHERE measurement_id = ? AND part = ?",
                    (entry_id, part),
                ).fetchone()
            except FAILURES as error:
                if not self._file.is_damage(error):
                    raise
                return None  # a picture is for the eye; the rest of the sheet goes on
        if row is None or row_digest(entry_id, part, row[0]) != row[1]:
            return None
        return bytes(row[0])


_DAMAGED = Outcome(
    status="failed", code="record-damaged", lasting=False,
    message="this row of the record is damaged.",
    advice="Measure the photo again: pitchcam batch.",
)  # fmt: skip


def _as_outcome(cells: Sequence[Any]) -> Outcome:
    _, _, _, status, document, code, message, advice, *lasting = cells
    return Outcome(
        status=status, document=None if document is None else json.loads(document), code=code,
        message=message, advice=advice, lasting=all(lasting),
    )  # fmt: skip


def _nameless(document: Mapping[str, Any]) -> str:
    """Return the document as text without the file name, which belongs to the copy measured."""
    photo = dict(document.get("photo") or {}) | {"file": ""}
    return json_text({**document, "photo": photo}, sort_keys=True)
