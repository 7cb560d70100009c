"""The structure of image files: is the file whole, and which way up is it told to be.

A decoder that meets the end of its data may fill the rest with grey; a measurement must not be
made on that.
"""

from __future__ import annotations

import struct
import zlib

_PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
# Markers without a length field: SOI, RST0-7, TEM (ITU-T T.81, table B.1).
_BARE = frozenset({0x01, 0xD8, *range(0xD0, 0xD8)})
_SOS = 0xDA
_EOI = b"\xff\xd9"


# TIFF 6.0 section 2; the second row is BigTIFF: offset of the first directory's offset, its
# format, and the formats of a directory's entry count and entry size.
_TIFF_LAYOUT = {42: (4, "I", "H", 12), 43: (8, "Q", "Q", 20)}
_TIFF_ORIENTATION = 274


def jpeg_is_whole(data: bytes) -> bool:
    """Tell whether a JPEG's coded data reaches its end-of-image marker (ITU-T T.81, annex B).

    The segments before the first scan are stepped over by their length, so the marker that ends an
    embedded preview is not taken for the photo's own. Data after the end is allowed: phones put
    depth maps and clips there.
    """
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return False
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
        elif marker in _BARE:
            at += 2
        elif marker == _SOS:
            return data.find(_EOI, at) >= 0
        else:
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return False


def png_is_whole(data: bytes) -> bool:
    """Tell whether every chunk of a PNG is there with its checksum right, up to IEND (W3C PNG)."""
    if not data.startswith(_PNG_SIGNATURE):
        return False
    view = memoryview(data)
    at = len(_PNG_SIGNATURE)
    while at + 12 <= len(data):
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
                return data[:value] + struct.pack(order + "H", 1) + data[value + 2 :]
    except struct.error:
        pass  # a broken directory is the decoder's to report
    return data
