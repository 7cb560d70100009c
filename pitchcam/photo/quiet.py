"""What image libraries say on stderr while they decode: heard, and kept from the terminal.

Some of them report damage only there, and still return a picture with the rest made up.
"""

from __future__ import annotations

import contextlib
import io
import logging
import os
import re
import sys
import tempfile
import threading
import warnings
from collections.abc import Iterator

import cv2

_STDERR = 2
#: One at a time: the file descriptor belongs to the whole process.
_LOCK = threading.RLock()

#: What decoders say of damaged picture data: libjpeg's warnings (jerror.h), libpng's of its data
#: chunks (pngrutil.c), libtiff's of its strips (tif_packbits.c, tif_lzw.c, tif_read.c, tif_zip.c).
_DAMAGE = re.compile(
    r"Corrupt JPEG data|Premature end of JPEG|Inconsistent progression|Invalid SOS parameters"
    r"|Unknown Adobe color transform|Application transferred too"
    r"|libpng error|libpng warning: .*(IDAT|compressed data|image data|adaptive filter)"
    r"|Not enough data|Corrupted|[Cc]orrupt |not yet in table|Read error|Decoding error|Decode:"
)
#: A colour profile alone is damaged, and profiles are not applied.
_HARMLESS = re.compile(r"bad ICC marker")
#: More than this of a talkative decoder is not read.
_MOST_BYTES = 1 << 16


# Pillow logs what it dislikes, and where nobody listens Python prints it.
logging.getLogger("PIL").addHandler(logging.NullHandler())


class Heard:
    """What the decoders said of damage: filled when the block has ended."""

    def __init__(self) -> None:
        self.damage: list[str] = []


@contextlib.contextmanager
def heard() -> Iterator[Heard]:
    """Catch what native code writes to stderr inside the block; nothing of it reaches a person.

    What Python prints there meanwhile, as the progress of another thread, still goes to stderr.
    """
    found = Heard()
    with _LOCK, tempfile.TemporaryFile() as caught, _python_aside() as kept:
        os.dup2(caught.fileno(), _STDERR)
        before = cv2.utils.logging.getLogLevel()
        cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                yield found
        finally:
            cv2.utils.logging.setLogLevel(before)
            if kept is None:
                os.close(_STDERR)
            else:
                os.dup2(kept, _STDERR)
            caught.seek(0)
            for line in caught.read(_MOST_BYTES).decode("utf-8", "replace").splitlines():
                if _DAMAGE.search(line) and not _HARMLESS.search(line):
                    found.damage.append(line.strip())


@contextlib.contextmanager
def _python_aside() -> Iterator[int | None]:
    """Keep stderr open under another descriptor, and let Python print to that one.

    Gives the descriptor, None where the process has no stderr.
    """
    try:
        kept = os.dup(_STDERR)
    except OSError:
        yield None
        return
    usual, aside = sys.stderr, None
    try:
        own = usual is not None and usual.fileno() == _STDERR
    except (OSError, ValueError, io.UnsupportedOperation):  # it is no file, as under a test
        own = False
    if own:
        usual.flush()
        aside = os.fdopen(os.dup(kept), "w", encoding=usual.encoding, errors=usual.errors)
        sys.stderr = aside
    try:
        yield kept
    finally:
        if aside is not None:
            if sys.stderr is aside:
                sys.stderr = usual
            with contextlib.suppress(OSError):
                aside.close()
        os.close(kept)
