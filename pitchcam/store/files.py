"""Writing a file whole or not at all."""

from __future__ import annotations

import errno
import os
import secrets
from pathlib import Path

from pitchcam.errors import PitchcamError


class FullError(PitchcamError):
    """The disk is full: what was finished before is kept."""

    exit_code = 1


def full_disk(path: Path) -> FullError:
    """Return the error for a full disk, the same line wherever it is met."""
    return FullError(
        f"the disk that holds {path} is full; all finished photos are kept.",
        "Free some space and run the same command again: it goes on where it stopped.",
        code="disk-full",
    )


def write_whole(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` so that a reader sees the old file or the new one, never half.

    Raises
    ------
    FullError
        If the disk is full.
    PitchcamError
        If the place cannot be written.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("wb") as handle:
            handle.write(data)
            handle.flush()
            os.fsync(handle.fileno())
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise full_disk(path) from error
        raise PitchcamError(
            f"{path} cannot be written: {error.strerror}.",
            "Name another place, or close the program that holds the file open.",
        ) from error
