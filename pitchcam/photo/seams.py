"""Signs in the picture itself that a part of it was lost, moved or painted over.

Bytes that are lost in the middle of a JPEG leave the rest of its picture brighter, darker, coloured
or moved aside, and its decoder need not notice. A lens draws no step from one row of pixels to the
next over a long way: even a sharp edge is blurred over two or three rows, and lies aslant besides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Kind = Literal["seam", "shift", "repeated"]

#: Pixels averaged along a row: the coded units of a JPEG are 8 or 16 wide, and what lies aslant by
#: more than four degrees is blurred by the mean.
_SEGMENT = 16
#: A step from row to row counts as unblurred where it is so many times larger than those above and
#: below it. An edge drawn with a blur of 0.45 pixels (standard deviation) in mid-row comes to five.
_ABRUPT = 6.0
#: Least step in coded values of 255, and in steps of the noise around.
_STEP, _NOISE = 4.0, 6.0
#: Rows over which the noise around is taken.
_AROUND = 31
#: Share of a picture's width over which an unblurred step is no edge of anything: lit windows that
#: lie exactly along the rows reach over a fifth in renders.
_LONG = 0.4
#: What is moved aside steps up on one side and down on the other by as much, in the same row and
#: in no row beside it: steps that noise does not make, their sum for each sign at least so many
#: coded values (eight pixels of a part's edge), so many times that of the rows beside, and the
#: larger of both sums at most so many times the other.
_MOVED_STEP, _MOVED_SUM, _MOVED_ABRUPT, _UNLIKE = 14, 500.0, 4.0, 2.5
#: Distances of the two rows in which one stair of coded units breaks off: their heights, and those
#: of the colours at a quarter of the size.
_STAIRS = (2, 4, 8, 16)
#: Rows that repeat the one above, while along the row neighbours differ as noise makes them.
_REPEATED, _SAME = 3, 0.98
#: Of these every eighth is compared.
_SPARSE = 8


@dataclass(frozen=True, kw_only=True, slots=True)
class Seam:
    """Where and how a picture is broken: along a row or a column (its number), and the kind."""

    kind: Kind
    along: Literal["row", "column"]
    at_px: int

    @property
    def text(self) -> str:
        """What is seen, for people."""
        what = {
            "seam": "changes its light abruptly across", "shift": "is moved aside below",
            "repeated": "repeats itself at",
        }[self.kind]  # fmt: skip
        return f"the picture {what} {self.along} {self.at_px}"


def find_seam(pixels: NDArray[np.generic]) -> Seam | None:
    """Return a sign of damage in a picture, None where there is none.

    Parameters
    ----------
    pixels
        The photo, (h, w) or (h, w, 3), uint8 or uint16.

    Notes
    -----
    Bars of one colour at two opposite borders are no damage: programs that show pictures put them
    there. What this cannot see is damage of a few coded units, and a step that was blurred by
    making the picture smaller afterwards.
    """
    if min(pixels.shape[:2]) < 4 * _SEGMENT:
        return None
    for plane in _planes(pixels):
        for along in ("row", "column"):
            turned = plane if along == "row" else np.asarray(cv2.transpose(plane), np.uint8)
            kind, at = _seam_of_rows(turned)
            if kind is not None:
                return Seam(kind=kind, along="row" if along == "row" else "column", at_px=at)
    return None


def _planes(pixels: NDArray[np.generic]) -> list[NDArray[np.uint8]]:
    """Return luma and both colour differences.

    These are coded at half size and drawn softly again; at a quarter, a seam in them is sharp.
    """
    coded: Any = pixels
    if pixels.dtype == np.uint16:
        coded = (coded >> 8).astype(np.uint8)
    if coded.ndim == 2:
        return [coded]
    h, w = (n - n % 4 for n in coded.shape[:2])
    # Made smaller first, so that a large picture is not held thrice.
    quarter = cv2.resize(coded[:h, :w], (w // 4, h // 4), interpolation=cv2.INTER_AREA)
    _, *colours = cv2.split(cv2.cvtColor(quarter, cv2.COLOR_BGR2YCrCb))
    luma = cv2.cvtColor(coded, cv2.COLOR_BGR2GRAY)
    return [np.asarray(p, np.uint8) for p in (luma, *colours)]


def _seam_of_rows(plane: NDArray[np.uint8]) -> tuple[Kind | None, int]:
    """Return the kind of damage between rows and the first row below it."""
    h, w = plane.shape
    count = w // _SEGMENT
    if min(count, h) < 4:
        return None, 0
    means = _means(plane, count)
    step = np.diff(means, axis=0)
    size = np.abs(step)
    usual = (cv2.blur(size, (1, _AROUND)) * _AROUND - size) / (_AROUND - 1)
    beside = np.maximum(size[:-2], size[2:])
    inner = slice(1, -1)
    least = np.maximum(_STEP, _NOISE * np.maximum(usual[inner], float(np.median(size))))
    abrupt = (size[inner] > least) & (size[inner] > _ABRUPT * beside)
    at = _long_seam(abrupt)
    if at is not None and not _barred(plane, at + 2):
        return "seam", at + 2
    moved = _moved(plane, float(np.median(size)) * _SEGMENT**0.5)
    return ("shift", moved) if moved is not None else _repeated(plane)


def _moved(plane: NDArray[np.uint8], noise: float) -> int | None:
    """Return the first row from which the picture is moved aside, None where it is not."""
    above, below = plane[:-1], plane[1:]
    least = max(_MOVED_STEP, _NOISE * noise)
    sums = []
    for lower, higher in ((above, below), (below, above)):
        rise = cv2.threshold(cv2.subtract(higher, lower), least, 0, cv2.THRESH_TOZERO)[1]
        sums.append(cv2.reduce(rise, 1, cv2.REDUCE_SUM, dtype=cv2.CV_32F)[:, 0])
    each = np.stack(sums)
    beside = np.maximum(each[:, :-2], each[:, 2:])
    here = each[:, 1:-1]
    sudden = (here > _MOVED_SUM) & (here > _MOVED_ABRUPT * beside)
    found = np.flatnonzero(sudden.all(axis=0) & (here.max(axis=0) < _UNLIKE * here.min(axis=0)))
    return int(found[0]) + 2 if len(found) else None


def _means(plane: NDArray[np.uint8], count: int) -> Floats:
    segments = np.ascontiguousarray(plane[:, : count * _SEGMENT]).reshape(-1, _SEGMENT)
    out = cv2.reduce(segments, 1, cv2.REDUCE_AVG, dtype=cv2.CV_32F)
    return np.asarray(out, np.float32).reshape(len(plane), count)


def _long_seam(abrupt: NDArray[np.bool_]) -> int | None:
    """Return the row with abrupt steps over much of the width, a stair's two rows counted as one.

    Where a stair of coded units breaks off in mid-row, the right of one row of units and the left
    of the next one step.
    """
    width = abrupt.shape[1]
    found = abrupt.sum(axis=1)
    best, at = int(found.max(initial=0)), int(np.argmax(found)) if len(found) else 0
    for height in _STAIRS:
        if len(found) > height:
            both = (abrupt[:-height] | abrupt[height:]).sum(axis=1)
            if int(both.max()) > best:
                best, at = int(both.max()), int(np.argmax(both))
    return at if best >= _LONG * width else None


def _barred(plane: NDArray[np.uint8], row: int) -> bool:
    """Whether a seam is the border of a plain bar that has a like one at the opposite border."""
    plain = np.ptp(plane, axis=1) <= _STEP
    first = int(np.argmin(plain))
    last = len(plain) - int(np.argmin(plain[::-1]))
    if plain.all() or first == 0 or last == len(plain):
        return False
    return min(abs(row - first), abs(row - last)) <= 2


def _repeated(plane: NDArray[np.uint8]) -> tuple[Kind | None, int]:
    """Return whether rows repeat, noise and all, and from where."""
    left, right = plane[:, ::_SPARSE], plane[:, 1::_SPARSE]
    left = left[:, : right.shape[1]]
    same = (left[1:] == left[:-1]).mean(axis=1) > _SAME
    if not same.any():
        return None, 0
    noise = np.median(cv2.absdiff(left, right), axis=1)[1:]
    rows = np.flatnonzero(same & (noise >= 1))
    # As many neighbouring rows as make a band of repeats.
    run = np.flatnonzero(rows[_REPEATED - 1 :] - rows[: len(rows) - _REPEATED + 1] == _REPEATED - 1)
    return ("repeated", int(rows[run[0]]) + 1) if len(run) else (None, 0)
