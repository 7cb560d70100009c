"""SQLite as the record needs it: flushed at each commit, its errors one plain line each."""

from __future__ import annotations

import os
import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pitchcam.errors import InputError, PitchcamError
from pitchcam.files import full_disk, open_regular

#: A disk with less than this left counts as full when SQLite reports a failed write: a commit
#: needs some pages in the log and, at opening, 32 KiB of shared memory beside it.
_FULL_BELOW_BYTES = 64 * 1024


#: So long a program waits for another that holds the file, and so often it asks again where SQLite
#: itself does not wait.
_PATIENCE_S = 30.0
_ASK_AGAIN_S = 0.01

#: What SQLite raises; its message on a damaged name of a table may itself be no text.
FAILURES = (sqlite3.Error, UnicodeDecodeError)


class Database:
    """One connection to the record's file; each commit reaches the disk before it returns.

    Parameters
    ----------
    path
        The file; SQLite makes it at the first write.
    only_read
        Nothing is to be written: where the place allows no writing either (a disc, a snapshot, a
        share), the file is opened all the same.

    Raises
    ------
    InputError
        If the file cannot be opened.
    """

    def __init__(self, path: Path, *, only_read: bool = False) -> None:
        self.path = path
        if path.exists() and not path.is_file():
            raise InputError(f"{path} is not a regular file;", "name the record's file")
        if path.exists() and path.stat().st_size == 0:
            open_regular(path, advice="name the record's file").close()
        self.fixed = only_read and path.exists() and not _writable(path)
        with self.plain_errors():
            if self.fixed:
                self.connection = sqlite3.connect(
                    f"{path.absolute().as_uri()}?immutable=1", uri=True, isolation_level=None
                )
                self._refuse_unfolded()
            else:
                self.connection = sqlite3.connect(path, timeout=_PATIENCE_S, isolation_level=None)
                self.connection.execute("PRAGMA synchronous = FULL")
                self.connection.execute("PRAGMA foreign_keys = ON")
            # Damaged text is told by its row's checksum, and must not stop the rest.
            self.connection.text_factory = lambda raw: raw.decode("utf-8", "replace")

    def _refuse_unfolded(self) -> None:
        """Refuse a file whose newest rows stand in a log that cannot be folded in here."""
        log = self.path.with_name(self.path.name + "-wal")
        if log.exists() and log.stat().st_size > 0:
            self.connection.close()
            raise InputError(
                f"{self.path} cannot be written here, and its newest rows stand in {log.name};",
                "copy both files to a place that can be written, and name that one",
            )

    def log_ahead(self) -> None:
        """Keep changes in a log ahead of the file, so that readers and a writer do not wait.

        SQLite does not wait for the lock that this change of mode needs but fails at once, as two
        programs that each hold the file for reading would wait for each other forever. Both have
        let go by the next question.
        """
        until = time.monotonic() + _PATIENCE_S
        while True:
            try:
                self.connection.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as error:
                busy = error.sqlite_errorname.startswith("SQLITE_BUSY")
                if not busy or time.monotonic() > until:
                    raise
                time.sleep(_ASK_AGAIN_S)

    def close(self) -> None:
        """Close the file; the log is folded back into it."""
        self.connection.close()

    @contextmanager
    def plain_errors(self) -> Iterator[None]:
        """Turn SQLite's errors into one line each."""
        try:
            yield
        except FAILURES as error:
            raise self._explain(error) from error

    @contextmanager
    def commit(self) -> Iterator[sqlite3.Connection]:
        """Keep all that is done inside, or nothing of it.

        Raises
        ------
        FullError
            If the disk is full.
        """
        db = self.connection
        with self.plain_errors():
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise

    @staticmethod
    def is_damage(error: BaseException) -> bool:
        """Say whether SQLite complains of the file's own bytes."""
        name = getattr(error, "sqlite_errorname", "") or ""
        return isinstance(error, UnicodeDecodeError) or name.startswith(
            ("SQLITE_CORRUPT", "SQLITE_NOTADB", "SQLITE_ERROR")
        )

    def _explain(self, error: Exception) -> PitchcamError:
        name = getattr(error, "sqlite_errorname", "") or ""
        try:
            free = shutil.disk_usage(self.path.parent).free
        except OSError:
            free = _FULL_BELOW_BYTES
        no_room = name.startswith(("SQLITE_IOERR", "SQLITE_CANTOPEN")) and free < _FULL_BELOW_BYTES
        if name == "SQLITE_FULL" or no_room:
            return full_disk(self.path)
        if self.is_damage(error) or isinstance(error, sqlite3.DataError):
            return InputError(
                f"{self.path} is no record, or is damaged.", "Restore it or name another."
            )
        if name.startswith("SQLITE_BUSY"):
            return PitchcamError(f"{self.path} is held by another program.", "Wait and try again.")
        if name.startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY")):
            return InputError(
                f"{self.path} cannot be written.", "Name another place with --record."
            )
        return PitchcamError(f"{self.path} failed: {error}.", "Check the disk.")


def _writable(path: Path) -> bool:
    """Say whether SQLite may write the file and its logs beside it."""
    return os.access(path, os.W_OK) and os.access(path.absolute().parent, os.W_OK)
