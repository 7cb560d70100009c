"""Open one photo file: checked from its header first, decoded once."""

from __future__ import annotations

import contextlib
import hashlib
import importlib
import io
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from pitchcam.errors import InputError
from pitchcam.files import BYTES_PER_PIXEL, MAX_MEGAPIXELS, open_regular, read_whole
from pitchcam.frozen import dataclass
from pitchcam.photo.decode import (
    DamagedError,
    UnsupportedError,
    check_coded,
    decode_heif,
    decode_opencv,
    decode_pillow,
    upright,
)
from pitchcam.photo.exif import EXIF_IFD, FocalSource, focal_length, orientation_of
from pitchcam.photo.intact import MOST_SCANS, jpeg_scans, png_is_whole
from pitchcam.photo.origin import Origin, origin_of
from pitchcam.photo.quiet import heard
from pitchcam.photo.record import Photo, Pixels

_PILLOW_READERS = {
    "JPEG": ("PIL.JpegImagePlugin", "JpegImageFile"),
    "PNG": ("PIL.PngImagePlugin", "PngImageFile"),
    "TIFF": ("PIL.TiffImagePlugin", "TiffImageFile"),
}
_MAGIC = {
    b"\xff\xd8\xff": "JPEG",
    b"\x89PNG": "PNG",
    b"II*\0": "TIFF",
    b"MM\0*": "TIFF",
    b"II+\0": "TIFF",
    b"MM\0+": "TIFF",
}
#: As many bytes as tell the format.
_MAGIC_BYTES = 16
#: A dozen passes over the largest picture, each a tenth of a second for ten megapixels.
MOST_SCAN_MEGAPIXELS = 1500
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1"})
_BITS_PER_SAMPLE = 258  # TIFF 6.0
_RETAKE = "send the photo again from the camera, or save it as JPEG"
_KINDS = "pitchcam reads JPEG, PNG, TIFF and HEIC"


def load_photo(path: str | os.PathLike[str], max_megapixels: float = MAX_MEGAPIXELS) -> Photo:
    """Open a photo: JPEG, PNG, TIFF or HEIC/HEIF, 8 or 16 bit, grey, RGB, CMYK or with alpha.

    Parameters
    ----------
    path
        The file.
    max_megapixels
        A larger picture is refused by its header, before memory is spent on it.

    Returns
    -------
    Photo
        Pixels upright (orientation applied once), alpha composited on white, CMYK turned to RGB.

    Raises
    ------
    InputError
        If the file is missing, a directory, empty, not an image of these kinds, too large,
        truncated or damaged: one line, and what to do.

    Notes
    -----
    Colour profiles are not applied: edges are judged by their half level, which a profile moves
    by far less than the tone curve of the phone. Of a file with several pictures the first (HEIF:
    the primary) is read. HEIF turns by its own transform property; its EXIF orientation is
    informative only (ISO/IEC 23008-12).
    """
    file = Path(path)
    data = _read(file, int(max_megapixels * 1e6) * BYTES_PER_PIXEL)
    try:
        with heard() as said:
            pixels, shot = _decode(data, file, max_megapixels)
    except DamagedError:
        raise InputError(f"{file.name} is truncated or damaged;", _RETAKE) from None
    except UnsupportedError as error:
        raise InputError(f"{file.name} has {error}, which is no photo;", _KINDS) from None
    except MemoryError:
        raise InputError(f"{file.name} does not fit in memory;", "send a smaller one") from None
    if said.damage:
        # The decoder went on and made up the rest, or moved it aside.
        raise InputError(f"{file.name} is damaged ({said.damage[0]});", _RETAKE)
    digest = hashlib.sha256(data).hexdigest()
    return Photo(
        path=file,
        sha256=digest,
        pixels=pixels,
        f35_mm=shot.f35_mm,
        f35_source=shot.f35_source,
        origin=shot.origin,
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Shot:
    """What tags and size tell of the shot."""

    f35_mm: float | None
    f35_source: FocalSource
    origin: Origin


def _shot(tags: Mapping[int, Any], exif_ifd: Mapping[int, Any], size: tuple[int, int]) -> _Shot:
    f35, source = focal_length(exif_ifd, *size)
    return _Shot(f35_mm=f35, f35_source=source, origin=origin_of(exif_ifd, *size, tags))


def _read(file: Path, max_bytes: int) -> bytes:
    with open_regular(file, advice="save the photo to a file first") as handle:
        try:
            start = handle.read(_MAGIC_BYTES)
        except OSError as error:
            raise InputError(f"{file} cannot be read ({error.strerror});", "check it") from None
    if not start:
        raise InputError(f"{file.name} is empty;", _RETAKE)
    # Before a byte more is read: whatever else is large and lies among the photos.
    if _kind(start) is None:
        raise InputError(f"{file.name} is not a photo that can be read;", _KINDS)
    return read_whole(file, max_bytes, advice=_KINDS)


def _kind(data: bytes) -> str | None:
    """Return the format by a file's first bytes, None where it is none of those read here."""
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        return "HEIF"
    return next((kind for magic, kind in _MAGIC.items() if data.startswith(magic)), None)


def _decode(data: bytes, file: Path, max_megapixels: float) -> tuple[Pixels, _Shot]:
    kind = _kind(data)
    if kind == "HEIF":
        return _decode_heif(data, file, max_megapixels)
    # Before any library looks for markers that are not there, byte by byte.
    scans = _scans(data, kind)
    image = _open_pillow(data, kind)
    _check_size(image.size, file, max_megapixels)
    _check_scans(scans, image.size, file)
    tags, exif_ifd = _exif_of(image)
    shot = _shot(tags, exif_ifd, image.size)
    orientation = orientation_of(tags)
    if kind is not None and _opencv_reads(image, kind):
        image.close()
        shape = (image.height, image.width) + ((3,) if image.mode == "RGB" else ())
        return decode_opencv(data, orientation, kind=kind, shape=shape), shot
    if kind == "JPEG":
        check_coded(data)
    with _decoder_errors():
        pixels = decode_pillow(image)
    # Pillow turns TIFF upright while loading, and nothing else.
    if kind != "TIFF":
        pixels = upright(pixels, orientation)
    return pixels, shot


def _scans(data: bytes, kind: str | None) -> int:
    """Return a JPEG's number of scans, 0 for others; refuse what is not whole."""
    if kind == "JPEG":
        found = jpeg_scans(data)
        if not found.whole and found.scans <= MOST_SCANS:
            raise DamagedError
        return found.scans
    if kind == "PNG" and not png_is_whole(data):
        raise DamagedError
    return 0


def _check_scans(scans: int, size: tuple[int, int], file: Path) -> None:
    """Refuse a JPEG that passes over its picture so often that it costs minutes."""
    if scans > MOST_SCANS or scans * size[0] * size[1] > MOST_SCAN_MEGAPIXELS * 1e6:
        raise InputError(
            f"{file.name} is coded in {scans if scans <= MOST_SCANS else f'over {MOST_SCANS}'} "
            "passes over the picture, as no camera does;",
            "save it again as a plain JPEG",
        )


def _opencv_reads(image: Any, kind: str) -> bool:
    """Tell who decodes: OpenCV is faster and keeps 16-bit colour, Pillow knows CMYK, palettes."""
    if kind == "TIFF":
        bits = image.tag_v2.get(_BITS_PER_SAMPLE, (1,))
        return image.mode in ("RGB", "RGBA") and set(bits) == {16}
    if kind == "PNG":
        return image.mode not in ("1", "P", "PA")
    return image.mode in ("L", "RGB")


def _open_pillow(data: bytes, kind: str | None) -> Any:
    """Open by the reader of the file's own format: Pillow's ``open`` loads five of them first."""
    if kind is None:  # the file changed after its first bytes were looked at
        raise DamagedError
    module, reader = _PILLOW_READERS[kind]
    try:
        return getattr(importlib.import_module(module), reader)(io.BytesIO(data))
    except Exception as error:  # a broken header makes the parsers raise nearly anything
        raise DamagedError from error


def _decode_heif(data: bytes, file: Path, max_megapixels: float) -> tuple[Pixels, _Shot]:
    import pillow_heif
    from PIL import Image

    with _decoder_errors():
        heif = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False, bgr_mode=True)
        size = heif.size
    _check_size(size, file, max_megapixels)
    main: Mapping[int, Any] = {}
    exif_ifd: Mapping[int, Any] = {}
    with contextlib.suppress(Exception):  # damaged EXIF is no EXIF
        tags = Image.Exif()
        tags.load(heif.info["exif"])
        main, exif_ifd = dict(tags), dict(tags.get_ifd(EXIF_IFD))
    with _decoder_errors():
        return decode_heif(heif), _shot(main, exif_ifd, size)


def _exif_of(image: Any) -> tuple[Mapping[int, Any], Mapping[int, Any]]:
    try:
        tags = image.getexif()
        return dict(tags), dict(tags.get_ifd(EXIF_IFD))
    except Exception:  # damaged EXIF is no EXIF: the picture may be whole
        return {}, {}


def _check_size(size: tuple[int, int], file: Path, max_megapixels: float) -> None:
    megapixels = size[0] * size[1] / 1e6
    if megapixels > max_megapixels:
        raise InputError(
            f"{file.name} has {size[0]} x {size[1]} pixels ({megapixels:.0f} megapixels), "
            f"more than the limit of {max_megapixels:g};",
            "send it at the camera's normal size",
        )


@contextlib.contextmanager
def _decoder_errors() -> Iterator[None]:
    """Turn whatever a decoder raises on broken data into DamagedError."""
    try:
        yield
    except (DamagedError, UnsupportedError, MemoryError):
        raise
    except Exception as error:
        raise DamagedError from error
