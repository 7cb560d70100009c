"""The axis of a turned part in the picture, from the symmetry of its outline."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import OutlineError
from pitchcam.frozen import dataclass
from pitchcam.robust import robust_line

Points = NDArray[np.float64]

#: Sides of an outline's hull that are tried as directions, the longest first, and the cosine from
#: which on two directions are one: the fit turns by more than these 6 degrees of its own.
HULL_SIDES, SAME_WAY = 5, 0.995
#: So many sides of a hull are tried in pairs, drawn to this share of its length; two of them may be
#: those of one cylinder or cone where they turn toward each other by less than the angle of this
#: cosine (20 degrees: a thread near the border of a wide picture narrows by ten, a pipe's by four),
#: and go beside each other over this share of the shorter.
PAIRED, AS_DRAWN, OPPOSITE, BESIDE = 10, 0.004, float(np.cos(np.radians(20))), 0.3
#: A line through the middle of fewer stations says nothing of an axis.
FEWEST_STATIONS = 6


@dataclass(frozen=True, kw_only=True)
class ImageAxis:
    """A directed line in the photo: a point (x, y) and a unit direction (dx, dy), pixels.

    Along the axis runs ``s``, across it ``t``; ``t`` is positive to the right of the direction
    as seen in a picture whose y points down.
    """

    point_px: tuple[float, float]
    direction: tuple[float, float]

    def to_axis(self, xy: Points) -> Points:
        """Map photo positions (..., 2) to (s, t)."""
        d = np.array(self.direction)
        rel = xy - np.array(self.point_px)
        out = np.empty(rel.shape)
        out[..., 0], out[..., 1] = rel @ d, rel @ np.array([-d[1], d[0]])
        return out

    def to_photo(self, st: Points) -> Points:
        """Map (s, t) (..., 2) to photo positions."""
        d = np.array(self.direction)
        n = np.array([-d[1], d[0]])
        out: Points = np.array(self.point_px) + st[..., :1] * d + st[..., 1:] * n
        return out


def envelope(st: Points) -> tuple[NDArray[np.float64], Points, Points]:
    """Return stations s (whole pixels) and the outermost t on both sides of an outline.

    ``st`` is a dense outline (n, 2); stations that hold no point on a side are filled by
    interpolation. Returns (s, upper, lower) with upper > 0 > lower.

    Raises
    ------
    OutlineError
        If a side holds no point at all.
    """
    first = int(np.ceil(st[:, 0].min()))
    last = int(np.floor(st[:, 0].max()))
    bins = np.round(st[:, 0]).astype(int) - first
    count = last - first + 1
    ok = (bins >= 0) & (bins < count)
    above, below = ok & (st[:, 1] > 0), ok & (st[:, 1] < 0)
    if not (above.any() and below.any()):
        raise OutlineError("the outline lies on one side of its axis")
    upper = np.full(count, -np.inf)
    lower = np.full(count, np.inf)
    np.maximum.at(upper, bins[above], st[above, 1])
    np.minimum.at(lower, bins[below], st[below, 1])
    s = np.arange(count, dtype=float) + first
    for side in (upper, lower):
        bad = ~np.isfinite(side)
        if bad.any():
            side[bad] = np.interp(s[bad], s[~bad], side[~bad])
    return s, upper, lower


def find_axis(outline_px: Points, direction: Points | None = None) -> ImageAxis:
    """Find the axis of symmetry along a part's length.

    Parameters
    ----------
    outline_px
        Closed outline, (n, 2) photo pixels, about one point a pixel.
    direction
        Unit vector to start from, (2,); by default the long axis of the area's second moments.

    Returns
    -------
    ImageAxis
        Through the middle of the outline. The direction is that of the longer extent; which end
        it points to is arbitrary.

    Raises
    ------
    OutlineError
        If the outline encloses nothing, or is too short to have an axis.

    Notes
    -----
    The middle of both sides is fitted by a line, with what is off by more than three times the
    median left out (fibres, a cut-out, the two flanks of a thread), and the frame turned until it
    stands still.
    """
    centre, long = _moments(outline_px)
    direction = long if direction is None else direction
    axis = ImageAxis(point_px=tuple(centre), direction=tuple(direction))
    for _ in range(6):
        s, upper, lower = envelope(axis.to_axis(outline_px))
        trim = max(3, len(s) // 50)
        if len(s) < 2 * trim + FEWEST_STATIONS:
            raise OutlineError(f"the outline is only {len(s)} pixels long")
        s, middle = s[trim:-trim], ((upper + lower) / 2)[trim:-trim]
        line = robust_line(s, middle, least=0.3)
        slope, offset = line.slope, line.offset
        direction = np.array(axis.direction)
        normal = np.array([-direction[1], direction[0]])
        centre = np.array(axis.point_px) + offset * normal
        direction = direction + slope * normal
        direction /= np.hypot(*direction)
        axis = ImageAxis(
            point_px=(float(centre[0]), float(centre[1])),
            direction=(float(direction[0]), float(direction[1])),
        )
        if abs(slope) < 1e-5:
            break
    return axis


def other_directions(outline_px: Points) -> list[Points]:
    """Return directions, besides the long one of the moments, that a turned part's axis may have.

    A part that is shorter than wide has its axis across; one nearly as wide as long has its
    moments turned by any asymmetry, but its end faces and the line over its crests are sides of
    the outline's hull.
    """
    import cv2

    _, long = _moments(outline_px)
    hull = cv2.convexHull(outline_px.astype(np.float32))
    corners = cv2.approxPolyDP(hull, 0.01 * cv2.arcLength(hull, True), True)[:, 0].astype(float)
    sides = np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(*sides.T)
    longest = np.argsort(-lengths)[:HULL_SIDES]
    ways = [np.array([-long[1], long[0]])]
    for d in sides[longest] / lengths[longest, None]:
        ways += [d, np.array([-d[1], d[0]])]
    out: list[Points] = []
    for way in ways:
        if all(abs(float(way @ known)) < SAME_WAY for known in [long, *out]):
            out.append(way)
    return out


def between_sides(outline_px: Points) -> list[ImageAxis]:
    """Return the lines half way between two sides of an outline's hull, the longest pair first.

    The sides over the crests of a thread are as long as the thread, however short that is, and
    stay straight however its end faces are seen: a stud far wider than long, or one seen far
    aslant, has no other symmetry that could be followed.
    """
    import cv2

    hull = cv2.convexHull(outline_px.astype(np.float32))
    corners = cv2.approxPolyDP(hull, AS_DRAWN * cv2.arcLength(hull, True), True)[:, 0].astype(float)
    sides = np.roll(corners, -1, axis=0) - corners
    longest = np.argsort(-np.hypot(*sides.T))[:PAIRED]
    drawn = [(corners[k], sides[k]) for k in longest if np.hypot(*sides[k]) > 0]
    pairs = [_between(one, other) for k, one in enumerate(drawn) for other in drawn[k + 1 :]]
    found = [pair for pair in pairs if pair is not None]
    return [axis for _, axis in sorted(found, key=lambda pair: -pair[0])]


_Side = tuple[Points, Points]


def _between(one: _Side, other: _Side) -> tuple[float, ImageAxis] | None:
    """Return over how many pixels two sides go beside each other, and the line between them.

    A side is a corner and the way to the next. None where they are not of one cylinder or cone.
    """
    lengths = [float(np.hypot(*side)) for _, side in (one, other)]
    apart = one[1] / lengths[0], other[1] / lengths[1]
    if apart[0] @ apart[1] > -OPPOSITE:
        return None
    way = apart[0] - apart[1]
    way /= np.hypot(*way)
    spans = np.sort([[a @ way, (a + side) @ way] for a, side in (one, other)])
    first, last = spans[:, 0].max(), spans[:, 1].min()
    if last - first < BESIDE * min(lengths):
        return None
    ends = [
        np.mean([a + (at - a @ way) / (side @ way) * side for a, side in (one, other)], axis=0)
        for at in (first, last)
    ]
    (x, y), (dx, dy) = (ends[0] + ends[1]) / 2, (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    axis = ImageAxis(point_px=(float(x), float(y)), direction=(float(dx), float(dy)))
    return float(last - first), axis


def _moments(outline: Points) -> tuple[Points, Points]:
    import cv2

    m = cv2.moments(outline.astype(np.float32).reshape(-1, 1, 2))
    if not abs(m["m00"]) > 0.0:
        raise OutlineError("the outline encloses nothing")
    centre = np.array([m["m10"], m["m01"]]) / m["m00"]
    angle = 0.5 * np.arctan2(2 * m["mu11"], m["mu20"] - m["mu02"])
    return centre, np.array([np.cos(angle), np.sin(angle)])
