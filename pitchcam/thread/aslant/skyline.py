"""The outermost of a thread's ridges and roots at many stations, for several drawings at once.

Pieces that are clear of each other are joined to one line, so that a few searches do for all.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass

Values = NDArray[np.float64]
Indices = NDArray[np.intp]
Truths = NDArray[np.bool_]

#: A radius that is inside every part.
INSIDE = -1.0
#: So many ridges on, one is clear of another: the farther, the more aslant they are seen.
CLEAR = (2, 3, 4)
#: How far from its middle a ridge is followed that is not passed in order, in pitches.
REACH = 1.3


@dataclass(frozen=True, kw_only=True)
class Pieces:
    """Where points of ridges, or of roots, are seen, each (drawings, pieces, n).

    ``start`` and ``end`` (drawings, pieces) are the first and the last point that is seen of each
    one that is ``shown`` (drawings, pieces).
    """

    z: Values
    y: Values
    start: Indices
    end: Indices
    shown: Truths


def ridges_of(z: Values, y: Values) -> Pieces:
    """Return whole ridges."""
    first = np.zeros(z.shape[:2], np.intp)
    return Pieces(z=z, y=y, start=first, end=first + z.shape[2] - 1, shown=first == 0)


def roots_of(z: Values, y: Values) -> Pieces:
    """Return roots, of which those points are seen about the middle that are passed in order.

    What the ridges cover is passed in the other direction.
    """
    middle = z.shape[2] // 2
    back = np.diff(z) <= 0
    end = np.ones((*z.shape[:2], 1), bool)
    after = np.concatenate([back[:, :, middle:], end], axis=2).argmax(axis=2)
    before = np.concatenate([back[:, :, :middle][:, :, ::-1], end], axis=2).argmax(axis=2)
    return Pieces(
        z=z, y=y, start=middle - before, end=middle + after, shown=(before > 0) & (after > 0)
    )


def skylines(z: Values, middles: Values, ridges: Pieces, roots: Pieces) -> Values:
    """Return the outermost of each drawing at stations ``z`` (n, m), (drawings, n, m).

    ``middles`` (drawings, pieces) are those of the ridges. It is INSIDE where nothing is.
    """
    lines, others = [_joined(*_closed(roots))], _closed(ridges)
    clear = np.zeros(len(middles), bool)
    for apart in CLEAR:
        every = [_joined(*(x[:, i::apart] for x in others)) for i in range(apart)]
        clear = np.logical_and.reduce([_in_order(line) for line in every])
        if clear.all():
            break
    clear &= _in_order(lines[0])
    lines += every
    # Node by node neighbours follow each other, as a search likes them.
    at = np.ascontiguousarray(z.T)
    out = np.empty((len(middles), *z.shape))
    for i in range(len(middles)):
        if not clear[i]:
            out[i] = _one_by_one(z, middles[i], (ridges, roots), i)
            continue
        own = np.interp(at, *(x[i] for x in lines[0]))
        for line in lines[1:]:
            np.maximum(own, np.interp(at, *(x[i] for x in line)), out=own)
        out[i] = own.T
    return out


def _closed(p: Pieces) -> tuple[Values, Values]:
    """Return pieces that begin and end INSIDE, right beside what is seen of each."""
    start, end = p.start[:, :, None], p.end[:, :, None]
    before = np.nextafter(np.take_along_axis(p.z, start, 2), -np.inf)
    after = np.nextafter(np.take_along_axis(p.z, end, 2), np.inf)
    place = np.arange(p.z.shape[2])
    early, late = place < start, place > end
    z = np.where(early, before, np.where(late, after, p.z))
    y = np.where(early | late | ~p.shown[:, :, None], INSIDE, p.y)
    inside = np.full(start.shape, INSIDE)
    return np.concatenate([before, z, after], 2), np.concatenate([inside, y, inside], 2)


def _joined(z: Values, y: Values) -> tuple[Values, Values]:
    return z.reshape(len(z), -1), y.reshape(len(y), -1)


def _in_order(line: tuple[Values, Values]) -> Truths:
    z, _ = line
    return np.asarray((z[:, 1:] >= z[:, :-1]).all(axis=1))


def _one_by_one(z: Values, middles: Values, every: tuple[Pieces, ...], which: int) -> Values:
    """Return the outermost of one drawing whose pieces are not passed in order."""
    pitch = abs(float(middles[1] - middles[0]))
    order = np.argsort(z[:, z.shape[1] // 2], kind="stable")
    centre = z[order, z.shape[1] // 2]
    starts, ends = np.searchsorted(centre, [middles - REACH * pitch, middles + REACH * pitch])
    out = np.full(z.shape, INSIDE)
    for i, (start, end) in enumerate(zip(starts.tolist(), ends.tolist(), strict=True)):
        near = order[start:end]
        for p in every:
            if len(near) and p.shown[which, i]:
                seen = slice(int(p.start[which, i]), int(p.end[which, i]) + 1)
                x, y = p.z[which, i, seen], p.y[which, i, seen]
                own = np.interp(z[near], x, y, left=INSIDE, right=INSIDE)
                out[near] = np.maximum(out[near], own)
    return out
