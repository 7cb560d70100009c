"""Signs in the picture itself that a part of it was lost, moved or painted over.

Bytes that are lost in the middle of a JPEG leave the rest of its picture brighter, darker, coloured
or moved aside, and its decoder need not notice. A lens draws no step from one row of pixels to the
next over a long way: even a sharp edge is blurred over two or three rows, and lies aslant besides.
"""

from __future__ import annotations

from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.photo.record import eight_bit, quartered
from pitchcam.small import medians

Floats = NDArray[np.float32]
Kind = Literal["seam", "shift", "repeated"]

#: Segments that are summed at a time.
_AT_A_TIME = 16
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
#: Of those sums the share that lies in runs of three pixels and more: an edge moved aside steps
#: all the way that it moved, noise here and there.
_IN_RUNS = 0.5
#: Where edges beside, of markers or of a part that lies along the rows, hide that, a row counts
#: that steps so much more than both beside it and is like the one above once this is moved aside,
#: by three pixels to so many: no more than this share of their differences is left (of damage made
#: by hand 0.2-0.5), and three pixels farther the sum above more: an edge that lies all but along
#: the rows is like itself over many. Only the rows with the largest steps are tried.
_MOST_ASIDE, _ALIKE, _TRIED = 100, 0.55, 16
#: Distances of the two rows in which one stair of coded units breaks off: their heights, and those
#: of the colours at a quarter of the size.
_STAIRS = (2, 4, 8, 16)
#: Rows that repeat the one above, while along the row neighbours differ as noise makes them.
_REPEATED, _SAME = 3, 0.98
#: Of these every eighth is compared.
_SPARSE = 8
#: Rows that are looked at closely for what moved: those with the largest steps beyond both beside.
#: What moves aside steps a thousand codes more in all, of a usual photo's rows none does.
_CLOSELY = 32
#: Of a picture's rows every so many are looked at for its shades, and fewer where so many are left;
#: the share of its pixels that lie below its dark and above its light; codes between both from
#: which on the shades are counted; and the share of them that is too few.
_EVERY, _ENOUGH, _DARK, _RANGE, _SHADES = 4, 200, 0.02, 32, 1 / 8


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
            "seam": "changes its light abruptly across",
            "shift": "is moved aside below",
            "repeated": "repeats itself at",
        }[self.kind]
        return f"the picture {what} {self.along} {self.at_px}"


def seam_of_luma(luma: NDArray[np.uint8]) -> Seam | None:
    """Return a sign of damage in a picture's luma, None where there is none.

    Parameters
    ----------
    luma
        That of :func:`pitchcam.photo.record.luma_of`, (h, w).

    Notes
    -----
    Bars of one colour at two opposite borders are no damage: programs that show pictures put them
    there. What this cannot see is damage of a few coded units, and a step that was blurred by
    making the picture smaller afterwards.
    """
    return None if min(luma.shape) < 4 * _SEGMENT else _seam_of(luma)


def seam_of_colours(
    pixels: NDArray[np.generic], quarter: NDArray[np.generic] | None = None
) -> Seam | None:
    """Return the same by both colour differences, for which the luma, a channel's size, may go.

    Parameters
    ----------
    pixels
        The photo, (h, w) or (h, w, 3), uint8 or uint16.
    quarter
        The same at a quarter of its size (:func:`pitchcam.photo.record.quartered`), where it is
        at hand.

    Notes
    -----
    These are coded at half size and drawn softly again; at a quarter, a seam in them is sharp.
    """
    if pixels.ndim == 2 or min(pixels.shape[:2]) < 4 * _SEGMENT:
        return None
    small = eight_bit(quartered(pixels) if quarter is None else quarter)
    for plane in cv2.split(cv2.cvtColor(small, cv2.COLOR_BGR2YCrCb))[1:]:
        seam = _seam_of(np.asarray(plane, np.uint8))
        if seam is not None:
            return seam
    return None


def _seam_of(plane: NDArray[np.uint8]) -> Seam | None:
    """Return a sign of damage in one plane; what it is turned into does not outlive it."""
    turned = np.asarray(cv2.transpose(plane), np.uint8)
    kind, at = _seam_of_rows(plane, turned)
    if kind is not None:
        return Seam(kind=kind, along="row", at_px=at)
    kind, at = _seam_of_rows(turned, plane)
    return None if kind is None else Seam(kind=kind, along="column", at_px=at)


def few_shades(luma: NDArray[np.uint8]) -> int | None:
    """Return how many shades a picture's luma has if too few to place an edge, else None.

    A camera gives every shade between its dark and its light. A picture of a short palette, or one
    cut at a threshold, does not: where shades lie eight codes and more apart, an edge's place is
    not known to a twentieth of its width, and what it is made of tells no blur. Coded as JPEG
    afterwards it has them all, and passes.
    """
    if min(luma.shape) < 4 * _SEGMENT:
        return None
    grey = luma[:: max(_EVERY, len(luma) // _ENOUGH)]
    counts = cv2.calcHist([grey], [0], None, [256], [0, 256]).ravel()
    share = np.cumsum(counts, dtype=float) / grey.size
    dark, light = (int(np.searchsorted(share, s)) for s in (_DARK, 1 - _DARK))
    shades = int(np.count_nonzero(counts[dark : light + 1]))
    few = light - dark >= _RANGE and shades < _SHADES * (light - dark + 1)
    return shades if few else None


def _seam_of_rows(plane: NDArray[np.uint8], turned: NDArray[np.uint8]) -> tuple[Kind | None, int]:
    """Return the kind of damage between rows and the first row below it.

    ``turned`` is the transposed plane: whatever sums along a row does so there over many at once.
    """
    h, w = plane.shape
    count = w // _SEGMENT
    if min(count, h) < 4:
        return None, 0
    size, by_row = _stepped(turned[: count * _SEGMENT])
    # A usual photo has no row with so many steps of that size, abrupt or not.
    if _long_seam(size > _STEP * _SEGMENT) is not None:
        at = _long_seam(_abrupt(size))
        if at is not None and not _barred(plane, at + 2):
            return "seam", at + 2
    moved = _moved(plane, _suspects(by_row), _median(size) / _SEGMENT**0.5)
    return ("shift", moved) if moved is not None else _repeated(turned)


def _stepped(turned: NDArray[np.uint8]) -> tuple[NDArray[np.int16], Floats]:
    """Return the steps of each segment from row to row, (count, h - 1), and their sums, (h - 1,).

    Steps are in whole numbers, sixteenths of a coded unit; the sums are of half a segment's steps.
    A few segments at a time: what lies between stays near the processor, and takes no memory.
    """
    count, h = len(turned) // _SEGMENT, turned.shape[1]
    size, by_row = np.empty((count, h - 1), np.int16), np.zeros(h - 1, np.float32)
    for first in range(0, count, _AT_A_TIME):
        last = min(first + _AT_A_TIME, count)
        own = turned[first * _SEGMENT : last * _SEGMENT]
        halves = own.reshape(2 * (last - first), _SEGMENT // 2, h)
        sums = np.add.reduce(halves, axis=1, dtype=np.int16)
        whole = sums[::2] + sums[1::2]
        cv2.absdiff(whole[:, 1:], whole[:, :-1], dst=size[first:last])
        steps = cv2.absdiff(sums[:, 1:], sums[:, :-1])
        by_row += cv2.reduce(steps, 0, cv2.REDUCE_SUM, dtype=cv2.CV_32F)[0]
    return size, by_row


def _median(sums: NDArray[np.int16]) -> float:
    """Return the median of whole numbers from 0 to the largest sum of a segment, of one in four."""
    levels, some = 256 * _SEGMENT, sums[:: max(1, min(4, len(sums) // 4))]
    counts = cv2.calcHist([some.view(np.uint16)], [0], None, [levels], [0, levels]).ravel()
    return float(np.searchsorted(np.cumsum(counts, dtype=float), (some.size + 1) // 2))


def _abrupt(size: NDArray[np.int16]) -> NDArray[np.bool_]:
    """Return where steps are unblurred and out of the noise around them, (count, h - 3)."""
    steps = size.astype(np.float32)
    usual = (cv2.blur(steps, (_AROUND, 1)) * _AROUND - steps) / (_AROUND - 1)
    beside = np.maximum(steps[:, :-2], steps[:, 2:])
    steps, usual = steps[:, 1:-1], usual[:, 1:-1]
    least = np.maximum(_STEP * _SEGMENT, _NOISE * np.maximum(usual, _median(size)))
    return np.asarray((steps > least) & (steps > _ABRUPT * beside), np.bool_)


def _moved(plane: NDArray[np.uint8], places: NDArray[np.intp], noise: float) -> int | None:
    """Return the first row from which the picture is moved aside, None where it is not.

    ``places`` are those of :func:`_suspects`.
    """
    least = max(_MOVED_STEP, _NOISE * noise)
    each = _rises(plane, (places[:, None] + np.arange(3)).ravel(), least).reshape(2, -1, 3)
    beside = np.maximum(each[:, :, 0], each[:, :, 2])
    here = each[:, :, 1]
    sudden = (here > _MOVED_SUM) & (here > _MOVED_ABRUPT * beside)
    found = np.flatnonzero(sudden.all(axis=0) & (here.max(axis=0) < _UNLIKE * here.min(axis=0)))
    for row in places[found[:_TRIED]] + 2:
        if _in_runs(plane[row - 1], plane[row], least):
            return int(row)
    more = (here - beside).min(axis=0)
    rows = np.argsort(-more)[:_TRIED]
    rows = np.sort(places[rows[more[rows] > _MOVED_SUM]]) + 2
    return next((int(row) for row in rows if _fits_aside(plane[row - 1], plane[row])), None)


def _suspects(sums: Floats) -> NDArray[np.intp]:
    """Return the places, ascending, at which the second of three steps is by far the largest.

    ``sums`` are those of the steps over half a segment: what moves aside shows in these, unless it
    lies in one of them with both its edges.
    """
    beyond = sums[1:-1] - np.maximum(sums[:-2], sums[2:])
    if len(beyond) > _CLOSELY:
        return np.sort(np.argpartition(-beyond, _CLOSELY)[:_CLOSELY])
    return np.arange(len(beyond))


def _in_runs(above: NDArray[np.uint8], below: NDArray[np.uint8], least: float) -> bool:
    """Whether what rises from one row to the next does so in runs, up as well as down."""
    for lower, higher in ((above, below), (below, above)):
        rise = cv2.subtract(higher, lower).ravel()
        rise[rise <= least] = 0
        run = (rise[:-2] > 0) & (rise[1:-1] > 0) & (rise[2:] > 0)
        inner = np.convolve(run, np.ones(3), "full") > 0
        if float(rise[inner].sum()) < _IN_RUNS * float(rise.sum()):
            return False
    return True


def _fits_aside(above: NDArray[np.uint8], below: NDArray[np.uint8]) -> bool:
    """Whether a row is far more like the one above once this is moved aside by so much."""
    reach = min(_MOST_ASIDE, len(above) // 4)
    middle, inner = below[reach:-reach], len(below) - 2 * reach

    def unlike(by: int) -> float:
        return float(cv2.norm(above[reach + by : reach + by + inner], middle, cv2.NORM_L1))

    left = np.array([unlike(by) for by in range(-reach, reach + 1)])
    by = np.arange(-reach, reach + 1)
    best = int(np.argmin(np.where(np.abs(by) > 2, left, np.inf)))
    farther = float(left[np.abs(by - by[best]) > 2].min())
    return bool(left[best] < min(_ALIKE * left[reach], farther - _MOVED_SUM))


def _rises(plane: NDArray[np.uint8], rows: NDArray[np.intp], least: float) -> Floats:
    """Return the sums of all rises beyond ``least`` from rows (n,) to the next, up and down."""
    above, below = plane[rows], plane[rows + 1]
    out = np.empty((2, len(rows)), np.float32)
    for sums, lower, higher in ((out[0], above, below), (out[1], below, above)):
        rise = cv2.subtract(higher, lower)
        cv2.threshold(rise, least, 0, cv2.THRESH_TOZERO, dst=rise)
        sums[:] = cv2.reduce(rise, 1, cv2.REDUCE_SUM, dtype=cv2.CV_32F)[:, 0]
    return out


def _long_seam(abrupt: NDArray[np.bool_]) -> int | None:
    """Return the row with abrupt steps over much of the width, a stair's two rows counted as one.

    ``abrupt`` is (segments, rows). Where a stair of coded units breaks off in mid-row, the right
    of one row of units and the left of the next one step.
    """
    width, rows = abrupt.shape
    found = _count(abrupt)
    best, at = int(found.max(initial=0)), int(np.argmax(found)) if rows else 0
    for height in _STAIRS:
        # Both rows together at most: mostly too few to be looked at.
        most = found[: max(rows - height, 0)] + found[height:]
        few = np.flatnonzero(most >= max(best + 1, _LONG * width))
        if len(few):
            both = _count(abrupt[:, few] | abrupt[:, few + height])
            if int(both.max()) > best:
                best, at = int(both.max()), int(few[np.argmax(both)])
    return at if best >= _LONG * width else None


def _count(marks: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return how many are set in each column."""
    counts = cv2.reduce(marks.view(np.uint8), 0, cv2.REDUCE_SUM, dtype=cv2.CV_32S)
    return np.asarray(counts[0], np.intp)


def _barred(plane: NDArray[np.uint8], row: int) -> bool:
    """Whether a seam is the border of a plain bar that has a like one at the opposite border."""
    plain = np.ptp(plane, axis=1) <= _STEP
    first = int(np.argmin(plain))
    last = len(plain) - int(np.argmin(plain[::-1]))
    if plain.all() or first == 0 or last == len(plain):
        return False
    return min(abs(row - first), abs(row - last)) <= 2


def _repeated(turned: NDArray[np.uint8]) -> tuple[Kind | None, int]:
    """Return whether rows repeat, noise and all, and from where, in the transposed plane."""
    left, right = turned[::_SPARSE], turned[1::_SPARSE]
    left = left[: len(right)]
    rows = 1 + np.flatnonzero(_count(left[:, 1:] == left[:, :-1]) > _SAME * len(left))
    noise = (
        medians(cv2.absdiff(left[:, rows], right[:, rows]).astype(np.float64))
        if len(rows)
        else rows
    )
    rows = rows[noise >= 1]
    # As many neighbouring rows as make a band of repeats.
    run = np.flatnonzero(rows[_REPEATED - 1 :] - rows[: len(rows) - _REPEATED + 1] == _REPEATED - 1)
    return ("repeated", int(rows[run[0]])) if len(run) else (None, 0)
