"""A caliper's beam in view: its two edges are ground parallel, and tell the tilt along it.

That is the tilt across the jaws' faces, of which these themselves tell least: their own convergence
tells the tilt along them. Each edge is seen at its upper or its lower border, and maybe with a lit
wall beside it, but over all its length alike: whichever is seen is parallel to the plate.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.bend import MOST_SCATTER_PX, places
from pitchcam.edges.lines import Segment
from pitchcam.frozen import dataclass
from pitchcam.objects.field import PART_LEVEL
from pitchcam.scale.faces import CORNER_PX, Face, Opening, straight_faces
from pitchcam.scale.tilt import along_both, plane_of
from pitchcam.small import line_through

Points = NDArray[np.float64]

#: The beam's edges stand square to the jaws' faces; under a slant of a third and a tilt of three
#: degrees they are seen so but for one degree (sine of three); a short piece's own direction is
#: no better known than its corners.
SQUARE = float(np.sin(np.radians(3.0)))
#: Left out at either end of a piece, pixels: corners, and what joins there.
END_PX = 8.0
#: Pieces of one edge lie on its line to this, and to this share of how far they are away.
APART_PX, APART_SHARE = 0.6, 0.004
#: Fewest places of an edge.
FEWEST = 6
#: What either end of an edge is good to against the other, pixels: dirt, and light that differs
#: along it (six beams in renders, whose edges are exactly straight, came out 0.03 off).
U_END_PX = 0.05
#: What leans by more is likelier a body that tapers than a beam: one phone in twenty is held from
#: aside, to 7 degrees, and of objects with a gap one in fifty may be another thing (judgement).
MOST_LEAN_RAD = float(np.radians(12.0))
#: The slider runs along the beam without play: its edges are parallel to 0.02 mm over the 150 mm
#: of the smallest caliper (judgement).
U_PARALLEL_RAD = 0.02 / np.sqrt(3) / 150.0


@dataclass(frozen=True, kw_only=True)
class Beam:
    """The camera with the tilt that a beam's edges told.

    ``way`` (2,) is the direction along it in the picture, ``u_rad`` what the lean along it is known
    to by the edges, the lens's distortion included, and ``per_corner`` how what they tell changes
    with the lens's displacement at the corner (rad).
    """

    camera: Camera
    way: Points
    u_rad: float
    per_corner: float

    def lean_per_corner(self, kept: Camera) -> Points:
        """Return how x and y of the normal that was kept go with the displacement, (2,).

        What else told the lean weighs in, and does not go with it.
        """
        share = min(kept.leans.u_along(self.way) / self.u_rad, 1.0) ** 2
        out: Points = share * self.per_corner * self.way
        return out


def told_by_beam(camera: Camera, opening: Opening) -> Beam | None:
    """Return the camera with the tilt that the edges of a beam tell, None where none is seen.

    Parameters
    ----------
    camera
        Camera with what is known of its tilt.
    opening
        The jaws' faces. Where both are one object's, the edge that closes the opening is the
        beam's, and so is that on the object's other side.
    """
    found = _edges(opening)
    if found is None:
        return None
    way, told, u = _leaning(camera, found)
    if abs(told) > MOST_LEAN_RAD:
        return None
    # What is left of the lens's distortion turns both edges, and not alike.
    bent = camera.bent(camera.corner + camera.u_corner, 0.0)
    turned = _leaning(bent, found)[1] - told
    u = float(np.hypot(u, turned))
    return Beam(
        camera=camera.held_as(camera.leans.seen_along(way, told, u)),
        way=way,
        u_rad=u,
        per_corner=turned / camera.u_corner,
    )


def _leaning(camera: Camera, edges: tuple[Points, Points]) -> tuple[Points, float, float]:
    """Return a direction in the picture (2,), the plate's lean along it, and its u, rad."""
    planes, turns, middles = [], [], []
    for edge in edges:
        rays = camera.rays(edge)[:, :2]
        middle, along, span, scatter = _line(rays * camera.f_px)
        a, b = (np.append((middle + end * along) / camera.f_px, 1.0) for end in (-span, span))
        planes.append(plane_of(a, b))
        turns.append(np.sqrt(2) * max(U_END_PX, scatter) / span)
        middles.append(middle)
    axis = along_both(planes, along)
    way = axis[:2] / np.hypot(*axis[:2])
    normal = np.array(camera.normal)
    told = float(normal[:2] @ way - axis @ normal)
    off = middles[1] - middles[0]
    width = float(abs(off[0] * along[1] - off[1] * along[0]))
    u = float(np.linalg.norm([*turns, U_PARALLEL_RAD])) * camera.f_px / width
    return way, told, u


def _line(xy: Points) -> tuple[Points, Points, float, float]:
    """Return the middle, direction and length of the line through places, and their scatter."""
    middle, axes = line_through(xy)
    s = (xy - middle) @ axes[0]
    return middle, axes[0], float(np.ptp(s)), float(np.std((xy - middle) @ axes[1]))


def _edges(opening: Opening) -> tuple[Points, Points] | None:
    """Return the beam's edge between the faces and that on its other side, None where unseen."""
    shape = opening.first.shape
    if opening.second.shape is not shape:
        return None
    across, start = opening.first.outward, opening.first.middle_px
    middle = (start + opening.second.middle_px) / 2
    sides = [
        f
        for f in straight_faces(shape)
        if abs(f.along @ opening.first.along) < SQUARE + CORNER_PX / f.length_px
    ]

    def reach(face: Face) -> tuple[float, float]:
        ends = sorted(float((p - start) @ across) for p in (face.start_px, face.end_px))
        return ends[0], ends[1]

    closing = [
        f
        for f in sides
        if (middle - f.middle_px) @ f.outward > 0
        and 0 < (f.middle_px - start) @ across < opening.gap_px
    ]
    if not closing:
        return None
    inner = max(closing, key=lambda f: f.length_px)
    beyond = [
        f
        for f in sides
        if f.outward @ inner.outward < 0
        and (inner.middle_px - f.middle_px) @ inner.outward > 0
        and reach(f)[0] < 0
        and reach(f)[1] > opening.gap_px
    ]
    if not beyond:
        return None
    outer = max(beyond, key=lambda f: f.length_px)
    others = [f for f in sides if f is not inner and f.outward @ inner.outward > 0]
    edges = _edge(inner, others), _edge(outer, [])
    if edges[0] is None or edges[1] is None:
        return None
    return edges[0], edges[1]


def _edge(first: Face, others: list[Face]) -> Points | None:
    """Return the places (n, 2) of an edge by one of its pieces and others on its line."""
    found = _places(first)
    if len(found) < FEWEST:
        return None
    for other in sorted(others, key=lambda f: -f.length_px):
        more = _places(other)
        if len(more) < FEWEST:
            continue
        middle, along, _, _ = _line(found)
        away = more.mean(axis=0) - middle
        off = abs(float(away[0] * along[1] - away[1] * along[0]))
        if off < APART_PX + APART_SHARE * float(np.hypot(*away)):
            found = np.concatenate([found, more])
    return found if _line(found)[3] < MOST_SCATTER_PX else None


def _places(face: Face) -> Points:
    off = END_PX * face.along
    side = Segment(start=face.start_px + off, end=face.end_px - off, outside=face.outward)
    return places(face.shape.crop, side, level=PART_LEVEL)
