"""Writes a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from pitchcam.errors import InputError


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file through a temporary one beside it.

    Raises
    ------
    InputError
        If it cannot be written; an older file of the same name is then untouched.
    """
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        raise InputError(f"{path} cannot be written ({error.strerror}).",
                         "Choose another folder.") from None  # fmt: skip
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        temporary.chmod(0o644)
        temporary.replace(path)
    except OSError as error:
        raise InputError(f"{path} cannot be written ({error.strerror}).",
                         "Free space, or choose another folder.") from None  # fmt: skip
    finally:
        temporary.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write text as UTF-8, whole or not at all; see :func:`write_bytes`."""
    write_bytes(path, text.encode("utf-8"))
