"""What image libraries say on stderr while they decode: heard, and kept from the terminal.

Some of them report damage only there, and still return a picture with the rest made up.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
import threading
import warnings
from collections.abc import Iterator

import cv2

_STDERR = 2
#: One at a time: the file descriptor belongs to the whole process.
_LOCK = threading.RLock()

#: Beginnings of what decoders say of damaged picture data: libjpeg's warnings, libpng's of its data
#: chunks. (jerror.h of libjpeg; png.c and pngrutil.c of libpng)
_DAMAGE = (
    "Corrupt JPEG data", "Premature end of JPEG", "Inconsistent progression",
    "Invalid SOS parameters", "Unknown Adobe color transform", "Application transferred too",
    "libpng error", "libpng warning: IDAT", "libpng warning: Extra compressed data",
    "libpng warning: Not enough image data", "libpng warning: Too much image data",
)  # fmt: skip
#: Of these the first two words are the same, but the picture's own data are whole.
_HARMLESS = ("Corrupt JPEG data: bad ICC marker",)
#: Beginnings of all other lines of theirs, which say nothing of the picture.
_CHATTER = (
    "libpng", "Warning: unknown JFIF", "Corrupt JPEG data: bad ICC", "TIFF", "TIFFRead", "_TIFF",
    "JPEGLib", "ZIPDecode", "LZWDecode", "Fax", "PixarLog", "LogLuv", "[ WARN", "[ERROR", "[ INFO",
    "OpenCV", "warning:", "Jbig", "WebP", "LERC", "ZSTD", "LZMA",
)  # fmt: skip
#: More than this of a talkative decoder is not read.
_MOST_BYTES = 1 << 16


class Heard:
    """What the decoders said: filled when the block has ended."""

    def __init__(self) -> None:
        self.damage: list[str] = []


@contextlib.contextmanager
def heard() -> Iterator[Heard]:
    """Catch what native code writes to stderr inside the block.

    Lines of decoders are kept back; those that tell of damage stand in ``damage`` afterwards. All
    else, as of another thread, goes on to stderr when the block ends.
    """
    found = Heard()
    with _LOCK, tempfile.TemporaryFile() as caught:
        try:
            kept: int | None = os.dup(_STDERR)
        except OSError:  # the process has no stderr
            kept = None
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
                os.close(kept)
            caught.seek(0)
            _sort(caught.read(_MOST_BYTES), found, to=None if kept is None else _STDERR)


def _sort(said: bytes, found: Heard, *, to: int | None) -> None:
    """Part damage from chatter, and pass on what no decoder says."""
    others = []
    for line in said.splitlines(keepends=True):
        text = line.decode("utf-8", "replace").strip()
        if text.startswith(_DAMAGE) and not text.startswith(_HARMLESS):
            found.damage.append(text)
        elif text and not text.startswith(_CHATTER):
            others.append(line)
    if others and to is not None:
        with contextlib.suppress(OSError):
            os.write(to, b"".join(others))
