"""Writing a result file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path
from typing import Any

import cv2
from numpy.typing import NDArray

from pitchcam.errors import InputError

_MODE = 0o666


def write_whole(path: Path, data: bytes) -> None:
    """Write ``data`` beside ``path`` and move it into place.

    Raises
    ------
    InputError
        If the folder is missing, not writable, or the disk is full; the old file then stays.
    """
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(temporary, _MODE & ~umask)  # noqa: PTH101 - a name from mkstemp
        os.replace(temporary, path)  # noqa: PTH105
    except OSError as error:
        if temporary is not None:
            with contextlib.suppress(OSError):
                os.unlink(temporary)  # noqa: PTH108
        reason = error.strerror or str(error)
        raise InputError(f"{path} cannot be written ({reason});", "name another place") from None


def write_picture(path: Path, picture: NDArray[Any]) -> None:
    """Write a picture; its kind follows the name (.jpg or .png).

    Raises
    ------
    InputError
        If it cannot be encoded or written.
    """
    ok, coded = cv2.imencode(path.suffix.lower(), picture)
    if not ok:
        raise InputError(f"{path.name} cannot be encoded;", "name it .jpg or .png")
    write_whole(path, coded.tobytes())
