"""Reading the record: a row counts only where its checksum holds."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

from pitchcam.errors import UsageError
from pitchcam.store.database import FAILURES
from pitchcam.store.digest import row_digest
from pitchcam.store.entries import Correction, Entry, Outcome, record_id
from pitchcam.store.opened import OpenedRecord

#: More rows than any shop photographs: beyond, a damaged count of rows is taken for what it is.
MOST_ROWS = 10_000_000
#: What a record says, in the order of the tables and of the checksum.
CELLS = "id, sha256, settings_key, status, document, code, message, advice"
MADE = "measurement_id, thread_id, designation, who, why, made_at"


class Reader(OpenedRecord):
    """What is read of an opened record; ``damaged`` gathers the ids of what does not hold."""

    def has(self, sha256: str, settings_key: str) -> bool:
        """Say whether this photo has been measured under these settings.

        A row that is damaged does not count, nor does an attempt that is to be made again.
        """
        found = self._outcome(record_id(sha256, settings_key))
        return found is not None and found[1] is not None and found[1].lasting

    def has_pictures(self, entry_id: str) -> bool:
        """Say whether a record has small pictures."""
        with self._file.plain_errors():
            return (
                self._db.execute(
                    "SELECT 1 FROM thumbnail WHERE measurement_id = ?", (entry_id,)
                ).fetchone()
                is not None
            )

    def corrections(self, entry_id: str) -> tuple[Correction, ...]:
        """Return every correction of one record, the oldest first; damaged ones are left out."""
        rows = self._rows(
            f"SELECT {MADE}, digest, number FROM correction"
            " WHERE measurement_id = ? ORDER BY number",
            entry_id,
        )
        made = []
        for *cells, digest, number in rows if rows is not None else ():
            if row_digest(*cells) != digest:
                self.damaged.add(entry_id)
                continue
            _, thread_id, designation, who, why, made_at = cells
            made.append(
                Correction(
                    number=number,
                    thread_id=thread_id,
                    designation=designation,
                    who=who,
                    why=why,
                    made_at=made_at,
                )
            )
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
            id=entry_id,
            sha256=sha256,
            settings_key=settings_key,
            outcome=outcome or _DAMAGED,
            names=tuple(str(n[0]) for n in names or ()),
            corrections={c.thread_id: c for c in self.corrections(entry_id)},
        )

    def _outcome(self, entry_id: str) -> tuple[tuple[Any, ...] | None, Outcome | None] | None:
        """Return the row that counts for an id and its outcome.

        The measurement where it is whole, else the newest whole attempt. The outcome is None where
        all that there is of it is damaged; the whole is None where there is nothing.
        """
        damaged = False
        for table, order in (("measurement", ""), ("attempt", " ORDER BY number DESC")):
            lasting = ", lasting" if table == "attempt" else ""
            rows = self._rows(
                f"SELECT {CELLS}{lasting}, digest FROM {table} WHERE id = ?{order}", entry_id
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
    status="failed",
    code="record-damaged",
    lasting=False,
    message="this row of the record is damaged.",
    advice="Measure the photo again: pitchcam batch.",
)


def _as_outcome(cells: Sequence[Any]) -> Outcome:
    _, _, _, status, document, code, message, advice, *lasting = cells
    return Outcome(
        status=status,
        document=None if document is None else json.loads(document),
        code=code,
        message=message,
        advice=advice,
        lasting=all(lasting),
    )
