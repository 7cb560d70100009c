"""Straight faces of flat objects that look at each other over the light: a caliper's jaws."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.bend import U_PIECE_PX, Bent, places
from pitchcam.edges.lines import Segment, fit_line
from pitchcam.edges.wave import STEP_PX, Traced
from pitchcam.frozen import dataclass
from pitchcam.objects.field import PART_LEVEL
from pitchcam.objects.shapes import Shape

Points = NDArray[np.float64]

#: An outline's corners lie this far off the straight line between their neighbours, pixels.
CORNER_PX = 2.5
#: Shorter edges are a corner's break or a tip, pixels.
SHORTEST_PX = 40.0
#: Edges shorter than this bend by less than they are good to, pixels; a long one is taken so far
#: within its ends.
LONG_PX, END_PX = 250.0, 12.0
#: The side of a plain length runs along its part's axis, but for a taper (cosine of 3 degrees).
ALONG = float(np.cos(np.radians(3.0)))
#: Faces ground parallel stay so in the picture but for the camera's tilt.
PARALLEL_RAD = np.radians(1.5)
#: Two faces look at each other over this share of the shorter one at least.
OVERLAP = 0.6
#: Share of a face left out at either end: corners, and a beam that joins it.
TRIM = 0.1


@dataclass(frozen=True, kw_only=True)
class Face:
    """A straight edge of an object's outline, its ends in the photo, and the way out of it."""

    shape: Shape
    start_px: Points
    end_px: Points
    outward: Points

    @property
    def middle_px(self) -> Points:
        """Middle of the edge."""
        middle: Points = (self.start_px + self.end_px) / 2
        return middle

    @property
    def length_px(self) -> float:
        """Length of the edge."""
        return float(np.hypot(*(self.end_px - self.start_px)))

    @property
    def along(self) -> Points:
        """Unit vector from start to end."""
        d: Points = (self.end_px - self.start_px) / self.length_px
        return d


@dataclass(frozen=True, kw_only=True)
class Opening:
    """Two faces that look at each other, cut to the stretch that both share."""

    first: Face
    second: Face

    @property
    def length_px(self) -> float:
        """Length of the shared stretch."""
        return min(self.first.length_px, self.second.length_px)

    @property
    def gap_px(self) -> float:
        """Distance between both edges in the picture."""
        return float(abs((self.second.middle_px - self.first.middle_px) @ self.first.outward))


def straight_faces(shape: Shape) -> list[Face]:
    """Return the straight edges of an object's outline."""
    ring = shape.outline_px
    corners = cv2.approxPolyDP(ring.astype(np.float32)[:, None], CORNER_PX, True)[:, 0]
    clockwise = np.sign(cv2.contourArea(corners, oriented=True))
    faces = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        side = b.astype(float) - a
        length = float(np.hypot(*side))
        if length < SHORTEST_PX:
            continue
        outward = clockwise * np.array([side[1], -side[0]]) / length
        faces.append(
            Face(shape=shape, start_px=a.astype(float), end_px=b.astype(float), outward=outward)
        )
    return faces


def straight_sides(shape: Shape) -> list[Bent]:
    """Return the long straight edges of an object without thread, as they bend in the picture."""
    return [
        Bent(places_px=places(shape.crop, side, level=PART_LEVEL), u_px=U_PIECE_PX)
        for side in _long_sides(shape)
    ]


def traced_sides(shape: Shape) -> list[Traced]:
    """Return the same edges step by step: whether they wave is seen in many places."""
    made = shape.kind in ("bar", "card")
    return [_traced(shape, side, made) for side in _long_sides(shape)]


def traced_lengths(shape: Shape) -> list[Traced]:
    """Return the sides of the plain lengths of a part with a thread, step by step.

    They are turned or drawn, and straight along the part's axis.
    """
    regions = [*shape.threads, *shape.others]
    if not regions:
        return []
    found = []
    for face in straight_faces(shape):
        ends = shape.axis.to_axis(np.stack([face.start_px, face.end_px]))
        low, high = np.sort(ends[:, 0])
        along = abs(float(face.along @ np.array(shape.axis.direction)))
        if face.length_px < LONG_PX or along < ALONG:
            continue
        if all(low >= r.end_px or high <= r.start_px for r in regions):
            found.append(_traced(shape, _within(face), True))
    return found


def _traced(shape: Shape, side: Segment, straight: bool) -> Traced:
    pieces = max(1, round(float(np.hypot(*(side.end - side.start))) / STEP_PX))
    places_px = places(shape.crop, side, level=PART_LEVEL, pieces=pieces)
    return Traced(places_px=places_px, of=shape.blob.label, straight=straight)


def _within(face: Face) -> Segment:
    """Return a face without its ends."""
    off = END_PX * face.along
    return Segment(start=face.start_px + off, end=face.end_px - off, outside=face.outward)


def _long_sides(shape: Shape) -> list[Segment]:
    if shape.threads or shape.others or shape.kind == "disc":
        return []
    return [_within(f) for f in straight_faces(shape) if f.length_px >= LONG_PX]


def openings(shapes: Sequence[Shape]) -> list[Opening]:
    """Return all pairs of facing edges, of one object or of two, the longest first."""
    faces = [f for shape in shapes for f in straight_faces(shape)]
    found = []
    for a, b in itertools.combinations(faces, 2):
        pair = _facing(a, b)
        if pair is not None:
            found.append(pair)
    return sorted(found, key=lambda o: -o.length_px)


def _facing(a: Face, b: Face) -> Opening | None:
    between = b.middle_px - a.middle_px
    if between @ a.outward <= 0 or between @ b.outward >= 0:
        return None
    turn = abs(a.along[0] * b.along[1] - a.along[1] * b.along[0])
    # A short edge's direction is known to a pixel over its length.
    if turn > PARALLEL_RAD + 2.0 / min(a.length_px, b.length_px):
        return None
    on = np.sort([[(p - a.start_px) @ a.along for p in (f.start_px, f.end_px)] for f in (a, b)])
    low, high = float(on[:, 0].max()), float(on[:, 1].min())
    if high - low < OVERLAP * min(a.length_px, b.length_px):
        return None
    inset = TRIM * (high - low)
    cut = [_cut(f, a, low + inset, high - inset) for f in (a, b)]
    if cut[0] is None or cut[1] is None:
        return None
    d = [f.along for f in cut if f is not None]
    if abs(d[0][0] * d[1][1] - d[0][1] * d[1][0]) > PARALLEL_RAD:
        return None
    return Opening(first=cut[0], second=cut[1])


def _cut(face: Face, other: Face, low: float, high: float) -> Face | None:
    """Return a face between two stations along another, laid onto the outline's level."""
    step = float(face.along @ other.along)
    ends = [
        face.start_px + ((other.start_px - face.start_px) @ other.along + s) / step * face.along
        for s in (low, high)
    ]
    segment = Segment(start=ends[0], end=ends[1], outside=face.outward)
    fitted, scatter = fit_line(face.shape.crop, segment, level=PART_LEVEL)
    if not scatter < 1.0:
        return None
    return Face(shape=face.shape, start_px=fitted.start, end_px=fitted.end, outward=fitted.normal)
