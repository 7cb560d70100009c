"""The outermost of a thread's ridges and roots at many stations, for several drawings at once.

Pieces that are clear of each other are joined to one line, so that a few searches do for all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.small import between

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


@dataclass(frozen=True, kw_only=True)
class Skyline:
    """The outermost at stations, INSIDE where nothing is: all of the stations' shape.

    Each lies on a straight line between two points, of all those of ridges and then of roots,
    ``share`` of the way from ``left`` to ``right``; ``rise`` is the line's, per length.
    """

    height: Values
    left: Indices
    right: Indices
    share: Values
    rise: Values


@dataclass(frozen=True)
class _Line:
    """Points z and y of a line, and their places among all points, (n,) or (pieces, n) each."""

    z: Values
    y: Values
    point: Indices

    def of(self, which: slice | int) -> _Line:
        """Return the line of some pieces, one after the other."""
        return _Line(self.z[which].ravel(), self.y[which].ravel(), self.point[which].ravel())

    @property
    def in_order(self) -> bool:
        return bool((self.z[1:] >= self.z[:-1]).all())


def skylines(
    stations: Sequence[Values], middles: Values, ridges: Pieces, roots: Pieces
) -> list[Skyline]:
    """Return the outermost of each drawing at stations of its own, (m, n) each.

    ``middles`` (drawings, pieces) are those of the ridges. Stations of a row are neighbours, as a
    search likes it, and those of a column belong together.
    """
    ridge_z, ridge_y, ridge_at = _closed(ridges)
    root_z, root_y, root_at = _closed(roots)
    root_at = root_at + ridges.z[0].size
    out = []
    for i, at in enumerate(stations):
        kinds = [_Line(ridge_z[i], ridge_y[i], ridge_at), _Line(root_z[i], root_y[i], root_at)]
        lines = _joined(kinds)
        if lines is None:
            lines = [kind.of(k) for kind in kinds for k in range(len(kind.z))]
            shown = np.concatenate([ridges.shown[i], roots.shown[i]])
            tops = _nearby(at, middles[i], lines, shown)
        else:
            tops = [between(at, line.z, line.y) for line in lines]
        out.append(_outermost(at, lines, tops))
    return out


def _closed(p: Pieces) -> tuple[Values, Values, Indices]:
    """Return pieces that begin and end INSIDE, right beside what is seen of each.

    And the points' places among those of a drawing, (pieces, n).
    """
    start, end = p.start[:, :, None], p.end[:, :, None]
    one, other = np.ogrid[: len(p.z), : p.z.shape[1]]
    before = np.nextafter(p.z[one, other, p.start], -np.inf)[:, :, None]
    after = np.nextafter(p.z[one, other, p.end], np.inf)[:, :, None]
    place = np.arange(p.z.shape[2])
    early, late = place < start, place > end
    z = np.where(early, before, np.where(late, after, p.z))
    y = np.where(early | late | ~p.shown[:, :, None], INSIDE, p.y)
    inside = np.full(start.shape, INSIDE)
    point = np.arange(p.z[0].size).reshape(p.z.shape[1:])
    return (
        np.concatenate([before, z, after], 2),
        np.concatenate([inside, y, inside], 2),
        np.concatenate([point[:, :1], point, point[:, -1:]], 1),
    )


def _joined(kinds: Sequence[_Line]) -> list[_Line] | None:
    """Return ridges and roots as a few lines that are passed in order, or None."""
    ridges, roots = kinds
    root = roots.of(slice(None))
    if not root.in_order:
        return None
    for apart in CLEAR:
        every = [ridges.of(slice(i, None, apart)) for i in range(apart)]
        if all(line.in_order for line in every):
            return [root, *every]
    return None


def _outermost(at: Values, lines: Sequence[_Line], tops: Sequence[Values]) -> Skyline:
    """Return the outermost of lines, whose heights are ``tops``, (m, n) each."""
    height, place, before = tops[0], between(at, lines[0].z, np.arange(len(lines[0].z))), 0
    for i, line in enumerate(lines[1:], 1):
        before += len(lines[i - 1].z)
        higher = tops[i] > height
        own = between(at, line.z, np.arange(before, before + len(line.z)))
        height, place = np.where(higher, tops[i], height), np.where(higher, own, place)
    z, y, point = (np.concatenate([getattr(x, f.name) for x in lines]) for f in fields(_Line))
    left = place.astype(np.intp)
    over = z[1:] - z[:-1]
    # None lies between points at one place, and beyond a line's ends is nothing.
    rises = (y[1:] - y[:-1]) / np.where(over > 0, over, 1.0)
    left = np.minimum(left, len(rises) - 1)
    return Skyline(
        height=height, left=point[left], right=point[left + 1], share=place - left, rise=rises[left]
    )


def _nearby(at: Values, middles: Values, lines: Sequence[_Line], shown: Truths) -> list[Values]:
    """Return the heights of pieces that are not passed in order, each near its ridge's middle."""
    pitch = abs(float(middles[1] - middles[0]))
    centre = at[len(at) // 2]
    out = [np.full(at.shape, INSIDE) for _ in lines]
    for i, line in enumerate(lines):
        near = np.abs(centre - middles[i % len(middles)]) <= REACH * pitch
        if shown[i] and near.any():
            z, y = line.z[1:-1], line.y[1:-1]
            out[i][:, near] = np.interp(at[:, near], z, y, left=INSIDE, right=INSIDE)
    return out
