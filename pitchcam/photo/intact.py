"""The structure of image files: is the file whole, and which way up is it told to be.

A decoder that meets the end of its data may fill the rest with grey; a measurement must not be
made on that.
"""

from __future__ import annotations

import re
import struct
import zlib

from pitchcam.frozen import dataclass

_PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
# Markers without a length field: SOI, RST0-7, TEM (ITU-T T.81, table B.1).
_BARE = frozenset({0x01, 0xD8, *range(0xD0, 0xD8)})
_SOS = 0xDA
_EOI = b"\xff\xd9"
_MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]", re.DOTALL)
#: Fill bytes before a marker that are still fill: encoders that align segments write a few.
_MOST_FILL = 4096
#: Chunks of a PNG: encoders write data chunks of 8 kB and more, 120 megapixels in 60,000.
_MOST_CHUNKS = 200_000
#: A progressive JPEG has about ten scans; each costs a pass over the whole picture.
MOST_SCANS = 40


# TIFF 6.0 section 2; the second row is BigTIFF: offset of the first directory's offset, its
# format, and the formats of a directory's entry count and entry size.
_TIFF_LAYOUT = {42: (4, "I", "H", 12), 43: (8, "Q", "Q", 20)}
_TIFF_ORIENTATION = 274


@dataclass(frozen=True, kw_only=True, slots=True)
class JpegScans:
    """A JPEG's structure: the number of its scans, and whether it ends as it should."""

    scans: int
    whole: bool


def jpeg_scans(data: bytes) -> JpegScans:
    """Walk through a JPEG from segment to segment (ITU-T T.81, annex B).

    The segments are stepped over by their length, so the marker that ends an embedded preview is
    not taken for the photo's own. Data after the end is allowed: phones put depth maps and clips
    there. Before a marker there may be fill bytes, but nothing else.
    """
    at, scans = 2, 0
    while at + 4 <= len(data):
        marker = data[at + 1]
        if data[at] != 0xFF:
            break
        if marker == 0xFF:
            at = _end_of_fill(data, at)
        elif marker in _BARE:
            at += 2
        elif marker == _SOS:
            scans += 1
            # Coded data hold FF only before a zero or as a restart marker.
            found = _MARKER.search(data, at + 2 + int.from_bytes(data[at + 2 : at + 4], "big"))
            at = found.start() if found else len(data)
            if data[at : at + 2] == _EOI:
                return JpegScans(scans=scans, whole=True)
        else:
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if scans > MOST_SCANS:
            break
    return JpegScans(scans=scans, whole=scans > 0 and data[at : at + 2] == _EOI)


def _end_of_fill(data: bytes, at: int) -> int:
    """Return where the last of a run of fill bytes stands; too long a run is no JPEG."""
    end = at
    while end + 1 < len(data) and data[end + 1] == 0xFF and end - at < _MOST_FILL:
        end += 1
    return end if end - at < _MOST_FILL else len(data)


def png_is_whole(data: bytes) -> bool:
    """Tell whether every chunk of a PNG is there with its checksum right, up to IEND (W3C PNG)."""
    if not data.startswith(_PNG_SIGNATURE):
        return False
    view = memoryview(data)
    at = len(_PNG_SIGNATURE)
    for _ in range(_MOST_CHUNKS):
        if at + 12 > len(data):
            return False
        (length,) = struct.unpack_from(">I", data, at)
        end = at + 12 + length
        if end > len(data):
            return False
        (stated,) = struct.unpack_from(">I", data, end - 4)
        if zlib.crc32(view[at + 4 : end - 4]) != stated:
            return False
        if data[at + 4 : at + 8] == b"IEND":
            return True
        at = end
    return False


def tiff_as_stored(data: bytes) -> bytes:
    """Return a TIFF whose first picture's orientation tag says 'as stored'.

    Decoders differ in whether they apply the tag; with it neutral all of them agree.
    """
    order = {b"II": "<", b"MM": ">"}.get(data[:2])
    if order is None or len(data) < 16:
        return data
    layout = _TIFF_LAYOUT.get(struct.unpack_from(order + "H", data, 2)[0])
    if layout is None:
        return data
    at, wide, count_format, entry_size = layout
    try:
        (directory,) = struct.unpack_from(order + wide, data, at)
        (count,) = struct.unpack_from(order + count_format, data, directory)
        first = directory + struct.calcsize(order + count_format)
        for entry in range(first, first + min(count, 0xFFFF) * entry_size, entry_size):
            if struct.unpack_from(order + "H", data, entry)[0] == _TIFF_ORIENTATION:
                value = entry + entry_size - struct.calcsize(order + wide)
                if value + 2 > len(data):
                    break
                return data[:value] + struct.pack(order + "H", 1) + data[value + 2 :]
    except struct.error:
        pass  # a broken directory is the decoder's to report
    return data
