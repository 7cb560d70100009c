"""Photos as they came: checked by their first bytes, kept under the digest of their content."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from pitchcam.errors import InputError
from pitchcam.files import write_whole
from pitchcam.frozen import dataclass
from pitchcam.page.setup import Setup

#: First bytes -> ending. What else a file is called or says it is does not count.
_KINDS = (
    (b"\xff\xd8\xff", ".jpg"),
    (b"\x89PNG\r\n\x1a\n", ".png"),
    (b"II*\0", ".tif"),
    (b"MM\0*", ".tif"),
)
_HEIF = (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1")
_DIGEST = re.compile(r"[0-9a-f]{64}\Z")
_NAME_LETTERS = 80


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A photo in the page's folder: where, what it is called, what its bytes are.

    ``fresh`` says that it came in just now and nothing in the record is about it yet.
    """

    path: Path
    name: str
    sha256: str
    fresh: bool = False


def shown_name(name: str | None) -> str:
    """Return a photo's name as it may be shown and kept: no folder, no control letters, short."""
    last = re.split(r"[\\/]", name or "")[-1]
    clean = "".join(c for c in last if c.isprintable()).strip(" .")
    return clean[-_NAME_LETTERS:] or "photo"


def keep(setup: Setup, data: bytes, name: str | None) -> Kept:
    """Keep an uploaded photo, whole or not at all; the same bytes twice are one file.

    Raises
    ------
    InputError
        If its first bytes are those of no kind of photo that is read here.
    """
    ending = _ending(data[:16])
    if ending is None:
        raise InputError(
            f"{shown_name(name)} is not a photo that can be read;",
            "pitchcam reads JPEG, PNG, TIFF and HEIC",
        )
    sha256 = hashlib.sha256(data).hexdigest()
    path = setup.photos / f"{sha256}{ending}"
    fresh = not path.exists()
    if fresh:
        write_whole(path, data)
    return Kept(path=path, name=shown_name(name), sha256=sha256, fresh=fresh)


def find(setup: Setup, sha256: str, name: str) -> Kept | None:
    """Return the kept photo of this digest, None where there is none."""
    if not _DIGEST.match(sha256):
        return None
    for path in setup.photos.glob(f"{sha256}.*"):
        return Kept(path=path, name=name, sha256=sha256)
    return None


def drop(photo: Kept) -> None:
    """Remove a photo that turned out to be none, unless answers are there that were made of it."""
    if photo.fresh:
        photo.path.unlink(missing_ok=True)


def _ending(first: bytes) -> str | None:
    if first[4:8] == b"ftyp" and first[8:12] in _HEIF:
        return ".heic"
    return next((ending for magic, ending in _KINDS if first.startswith(magic)), None)
