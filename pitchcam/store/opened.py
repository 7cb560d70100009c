"""One opened record file, as every keeper of tables in it has it."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import Self

from pitchcam.store.database import Database


class OpenedRecord:
    """A record's file that is open until it is closed, or until the ``with`` around it ends.

    A keeper of tables prepares them in ``_prepare``; where that fails the file is closed again.

    Parameters
    ----------
    path
        The record's file.
    only_read
        Nothing is to be written, so that a record on a medium that cannot be written is read too.

    Attributes
    ----------
    damaged
        Ids of what turned out damaged while it was read.

    Raises
    ------
    InputError
        If the file cannot be opened, or is no record.
    """

    def __init__(self, path: Path, *, only_read: bool = False) -> None:
        self.path = path
        self.damaged: set[str] = set()
        self._file = Database(path, only_read=only_read)
        self._db = self._file.connection
        try:
            self._prepare()
        except BaseException:
            self._file.close()
            raise

    def _prepare(self) -> None:
        """Make what is missing of the tables, or refuse the file."""
        raise NotImplementedError

    def close(self) -> None:
        """Close the file; the log is folded back into it."""
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
