"""Reading a file within bounds, and writing it whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import stat
from pathlib import Path

from pitchcam.errors import Exit, InputError, PitchcamError

#: The largest phone sensors on sale bin or crop to less; 120 megapixels of colour are 360 MB.
MAX_MEGAPIXELS = 120.0
#: No format of a photo needs more bytes for a pixel (uncompressed 16-bit with alpha).
BYTES_PER_PIXEL = 8
#: Larger photos are refused unread.
MOST_BYTES = int(MAX_MEGAPIXELS * 1e6) * BYTES_PER_PIXEL


class FullError(PitchcamError):
    """The disk is full: what was finished before is kept."""

    exit_code = Exit.FAILED


def full_disk(path: Path) -> FullError:
    """Return the error for a full disk, the same line wherever it is met."""
    return FullError(
        f"the disk that holds {path} is full; all that was finished is kept.",
        "Free some space and run the same command again.",
        code="disk-full",
    )


def read_whole(path: Path, most_bytes: int, *, advice: str) -> bytes:
    """Return the bytes of a regular file of bounded size.

    A pipe would be waited for, a device would never end; both are refused without being read.

    Parameters
    ----------
    path
        The file.
    most_bytes
        A larger one is refused.
    advice
        What to do where it is too large or no file.

    Raises
    ------
    InputError
        If it is missing, a folder, no regular file, larger than allowed, or cannot be read.
    """
    try:
        with open_regular(path, advice=advice) as handle:
            size = os.fstat(handle.fileno()).st_size
            if size <= most_bytes:
                # One byte more than is believed, for a file that grows meanwhile.
                data = handle.read(most_bytes + 1)
                size = max(size, len(data))
                if size <= most_bytes:
                    return data
    except OSError as error:
        raise _unread(path, error) from None
    raise InputError(
        f"{path.name} has {size / 1e6:.0f} MB, more than the limit of {most_bytes / 1e6:.0f} MB;",
        advice,
    )


def open_regular(path: Path, *, advice: str) -> io.BufferedReader:
    """Open a regular file for reading.

    Raises
    ------
    InputError
        If it is missing, a folder, a pipe, a device or a socket, or may not be read.
    """
    # Without O_NONBLOCK the opening of a pipe would already wait for its other end.
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    try:
        status = os.stat(path)  # noqa: PTH116 (a path with a NUL byte raises ValueError alike)
        if stat.S_ISDIR(status.st_mode):
            raise InputError(f"{path} is a folder;", "name one file in it")
        if not stat.S_ISREG(status.st_mode):
            raise InputError(f"{path} is not a regular file;", advice)
        descriptor = os.open(path, flags)
    except FileNotFoundError:
        raise InputError(f"there is no file {path};", "check the name") from None
    except (OSError, ValueError) as error:
        raise _unread(path, error) from None
    handle: io.BufferedReader = io.BufferedReader(io.FileIO(descriptor, "rb"))
    try:
        regular = stat.S_ISREG(os.fstat(descriptor).st_mode)  # it may have been exchanged meanwhile
        if regular and not _made_up(descriptor):
            return handle
    except OSError as error:
        handle.close()
        raise _unread(path, error) from None
    handle.close()
    raise InputError(f"{path} is not a regular file;", advice)


def _made_up(descriptor: int) -> bool:
    """Whether a file of no size holds something all the same: what a system tells of itself.

    Such a file may make its reader wait for ever.
    """
    if os.fstat(descriptor).st_size > 0:
        return False
    try:
        held = os.read(descriptor, 1)
    except BlockingIOError:
        return True
    if held and os.fstat(descriptor).st_size == 0:
        return True
    os.lseek(descriptor, 0, os.SEEK_SET)  # it grew meanwhile
    return False


def _unread(path: Path, error: OSError | ValueError) -> InputError:
    reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return InputError(f"{path} cannot be read ({reason});", "check the file")


def write_whole(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` so that a reader sees the old file or the new one, never half.

    Raises
    ------
    FullError
        If the disk is full.
    InputError
        If the place cannot be written.
    """
    part = path.with_name(f".{path.name}.{os.urandom(4).hex()}.part")
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
