"""Writing a file whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
from pathlib import Path

from pitchcam.errors import InputError, PitchcamError


class FullError(PitchcamError):
    """The disk is full: what was finished before is kept."""

    exit_code = 1


def full_disk(path: Path) -> FullError:
    """Return the error for a full disk, the same line wherever it is met."""
    return FullError(
        f"the disk that holds {path} is full; all that was finished is kept.",
        "Free some space and run the same command again.",
        code="disk-full",
    )


def write_whole(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` so that a reader sees the old file or the new one, never half.

    Raises
    ------
    FullError
        If the disk is full.
    InputError
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
        with contextlib.suppress(OSError):
            part.unlink()
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise full_disk(path) from None
        raise InputError(
            f"{path} cannot be written ({error.strerror or error}).",
            "Name another place, or close the program that holds the file open.",
        ) from None
