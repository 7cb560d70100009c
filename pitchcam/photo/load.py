"""Open one photo file: checked from its header first, decoded once."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import stat
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2

from pitchcam.errors import InputError
from pitchcam.photo.decode import (
    DamagedError,
    UnsupportedError,
    decode_heif,
    decode_opencv,
    decode_pillow,
    upright,
)
from pitchcam.photo.exif import EXIF_IFD, FocalSource, focal_length, orientation_of
from pitchcam.photo.origin import Origin, origin_of
from pitchcam.photo.record import Photo, Pixels

#: The largest phone sensors on sale bin or crop to less; 120 megapixels of colour are 360 MB.
MAX_MEGAPIXELS = 120.0

# No format read here needs more bytes than this for a pixel (uncompressed 16-bit with alpha).
_MAX_BYTES_PER_PIXEL = 8

_PILLOW_FORMATS = ("JPEG", "PNG", "TIFF")
_MAGIC = (b"\xff\xd8\xff", b"\x89PNG", b"II*\0", b"MM\0*")
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
    data = _read(file, int(max_megapixels * 1e6) * _MAX_BYTES_PER_PIXEL)
    with _quiet():
        try:
            pixels, shot = _decode(data, file, max_megapixels)
        except DamagedError:
            raise InputError(f"{file.name} is truncated or damaged;", _RETAKE) from None
        except UnsupportedError as error:
            raise InputError(f"{file.name} has {error}, which is no photo;", _KINDS) from None
        except MemoryError:
            raise InputError(f"{file.name} does not fit in memory;", "send a smaller one") from None
    digest = hashlib.sha256(data).hexdigest()
    return Photo(
        path=file, sha256=digest, pixels=pixels, f35_mm=shot.f35_mm, f35_source=shot.f35_source,
        origin=shot.origin,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, slots=True)
class _Shot:
    """What tags and size tell of the shot."""

    f35_mm: float | None
    f35_source: FocalSource
    origin: Origin


def _shot(tags: Mapping[int, Any], exif_ifd: Mapping[int, Any], size: tuple[int, int]) -> _Shot:
    f35, source = focal_length(exif_ifd, *size)
    return _Shot(f35_mm=f35, f35_source=source, origin=origin_of(tags, exif_ifd, *size))


def _read(file: Path, max_bytes: int) -> bytes:
    try:
        status = file.stat()
        if stat.S_ISDIR(status.st_mode):
            raise InputError(f"{file} is a folder;", "name one photo in it")
        if not stat.S_ISREG(status.st_mode):
            raise InputError(f"{file} is not a file;", "save the photo to a file first")
        if status.st_size == 0:
            raise InputError(f"{file.name} is empty;", _RETAKE)
        if status.st_size > max_bytes:
            raise InputError(
                f"{file.name} has {status.st_size / 1e6:.0f} MB, more than any photo within "
                f"the limit ({max_bytes / 1e6:.0f} MB);",
                _KINDS,
            )
        return file.read_bytes()
    except FileNotFoundError:
        raise InputError(f"there is no file {file};", "check the name") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise InputError(f"{file} cannot be read ({reason});", "check the file") from None


def _decode(data: bytes, file: Path, max_megapixels: float) -> tuple[Pixels, _Shot]:
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        return _decode_heif(data, file, max_megapixels)
    image = _open_pillow(data, file)
    _check_size(image.size, file, max_megapixels)
    tags, exif_ifd = _exif_of(image)
    shot = _shot(tags, exif_ifd, image.size)
    orientation = orientation_of(tags)
    kind = "JPEG" if image.format == "MPO" else str(image.format)
    if _opencv_reads(image, kind):
        image.close()
        return decode_opencv(data, orientation, kind=kind), shot
    with _decoder_errors():
        pixels = decode_pillow(image)
    # Pillow turns TIFF upright while loading, and nothing else.
    if kind != "TIFF":
        pixels = upright(pixels, orientation)
    return pixels, shot


def _opencv_reads(image: Any, kind: str) -> bool:
    """Tell who decodes: OpenCV is faster and keeps 16-bit colour, Pillow knows CMYK, palettes."""
    if kind == "TIFF":
        bits = image.tag_v2.get(_BITS_PER_SAMPLE, (1,))
        return image.mode in ("RGB", "RGBA") and set(bits) == {16}
    if kind == "PNG":
        return image.mode not in ("1", "P", "PA")
    return image.mode in ("L", "RGB")


def _open_pillow(data: bytes, file: Path) -> Any:
    from PIL import Image, UnidentifiedImageError

    try:
        return Image.open(io.BytesIO(data), formats=_PILLOW_FORMATS)
    except UnidentifiedImageError:
        if data.startswith(_MAGIC):
            raise DamagedError from None
        raise InputError(f"{file.name} is not a photo that can be read;", _KINDS) from None
    except Image.DecompressionBombError:
        raise InputError(f"{file.name} has too many pixels;", "send a smaller photo") from None
    except Exception as error:  # a broken header makes the parsers raise nearly anything
        raise DamagedError from error


def _decode_heif(data: bytes, file: Path, max_megapixels: float) -> tuple[Pixels, _Shot]:
    import pillow_heif
    from PIL import Image

    with _decoder_errors():
        heif = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False, bgr_mode=True)
        size = heif.size
    _check_size(size, file, max_megapixels)
    found: Mapping[int, Any] = {}
    exif_ifd: Mapping[int, Any] = {}
    with contextlib.suppress(Exception):  # damaged EXIF is no EXIF
        tags = Image.Exif()
        tags.load(heif.info["exif"])
        exif_ifd, found = dict(tags.get_ifd(EXIF_IFD)), dict(tags)
    with _decoder_errors():
        return decode_heif(heif), _shot(found, exif_ifd, size)


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


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep decoders' own complaints off stderr: the one clear line is ours."""
    before = cv2.utils.logging.getLogLevel()
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        cv2.utils.logging.setLogLevel(before)
