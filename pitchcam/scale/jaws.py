"""Scale from caliper jaws opened to a reading."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pitchcam.outline.edges import fit_line, line_profiles
from pitchcam.outline.field import PART_LEVEL
from pitchcam.outline.walls import Wall, fit_wall
from pitchcam.scale.camera import Camera
from pitchcam.scale.reference import Reference
from pitchcam.scale.shapes import Shape

Points = NDArray[np.float64]

#: Thickness of a caliper's jaws at their measuring faces where it is not stated (common practice,
#: no source): 3 mm, their blades thinner.
THICKNESS_MM = 2.5
U_THICKNESS_MM = 0.8
#: A caliper reads to 0.02 mm, its jaws set by hand.
U_READING_MM = 0.02


def facing_edges(a: Shape, b: Shape) -> tuple[Face, Face] | None:
    """Return the straight edges by which two objects face each other, or None."""
    gap = b.centre_px - a.centre_px
    first = _face(a, gap / np.hypot(*gap))
    second = _face(b, -gap / np.hypot(*gap))
    if first is None or second is None:
        return None
    d0, d1 = ((f.end - f.start) / f.length_px for f in (first, second))
    if abs(d0[0] * d1[1] - d0[1] * d1[0]) > np.radians(1.5):
        return None
    return first, second


def _face(shape: Shape, toward: Points) -> Face | None:
    """Fit the straight edge of an object on the side that looks along ``toward``."""
    points = shape.outline_px
    along = np.array([-toward[1], toward[0]])
    s, t = points @ along, points @ toward
    low, high = np.percentile(s, [15, 85])
    if high - low < 50:
        return None
    bins = np.round((s - low) / 2).astype(int)
    inside = (s > low) & (s < high)
    outermost = np.full(int((high - low) / 2) + 2, -np.inf)
    np.maximum.at(outermost, bins[inside], t[inside])
    stations = low + 2 * np.arange(len(outermost))
    ok = np.isfinite(outermost)
    x, y = stations[ok], outermost[ok]
    keep = np.ones(len(x), bool)
    for _ in range(6):
        slope, offset = np.polyfit(x[keep], y[keep], 1)
        deviation = np.abs(y - slope * x - offset)
        keep = deviation <= max(3 * float(np.median(deviation)), 0.4)
    if keep.mean() < 0.8 or float(np.std((y - slope * x - offset)[keep])) > 1.0:
        return None
    ends = [u * along + (offset + slope * u) * toward for u in (low + 4, high - 4)]
    start, end, scatter = fit_line(shape.crop, ends[0], ends[1], toward, level=PART_LEVEL)
    if scatter > 1.0:
        return None
    return _outermost(shape, start, end, toward)


@dataclass(frozen=True, kw_only=True)
class Face:
    """A jaw's measuring face as seen: its outermost edge, and the wall mirrored beside it."""

    start: Points
    end: Points
    wall: Wall

    @property
    def middle(self) -> Points:
        """Middle of the edge."""
        return (self.start + self.end) / 2

    @property
    def length_px(self) -> float:
        """Length of the edge."""
        return float(np.hypot(*(self.end - self.start)))


def _outermost(shape: Shape, start: Points, end: Points, toward: Points) -> Face:
    """Move a face from the part level onto its outermost edge."""
    p = line_profiles(shape.crop, start, end, toward, reach_px=12.0)
    wall = fit_wall(p.across_px, np.median(p.light, axis=0))
    along = (end - start) / np.hypot(*(end - start))
    normal = np.array([-along[1], along[0]])
    normal = normal if normal @ toward > 0 else -normal
    shift = wall.edge_px * normal
    return Face(start=start + shift, end=end + shift, wall=wall)


def jaw_reference(
    shapes: list[Shape], camera: Camera, reading_mm: float, thickness_mm: float | None = None
) -> Reference | None:
    """Find the two jaws and return the camera's distance from their opening.

    Parameters
    ----------
    shapes
        Objects that carry no thread; all pairs are tried and the pair with the longest facing
        straight edges is taken.
    camera
        Camera with its tilt set.
    reading_mm
        The caliper's reading.
    thickness_mm
        Thickness of the jaws over the plate.

    Notes
    -----
    A jaw's face stands upright: its shadow toward the gap is made by the edge nearer to the
    picture's centre at the plate's height, and by its top edge where the face looks outward.
    """
    best: tuple[Face, Face] | None = None
    owners: tuple[int, ...] = ()
    for a, b in itertools.combinations(shapes, 2):
        faces = facing_edges(a, b)
        if faces is None:
            continue
        if best is None or min(f.length_px for f in faces) > min(f.length_px for f in best):
            best, owners = faces, (a.blob.label, b.blob.label)
    if best is None:
        return None
    distance = camera.f_px * reading_mm / float(np.hypot(*(best[1].middle - best[0].middle)))
    top, u_top = (thickness_mm, 0.1) if thickness_mm else _thickness(camera, best, distance)
    distance, share = _solve(camera, best, reading_mm, top)
    u_scale = np.hypot(U_READING_MM / reading_mm, 0.12 * distance / camera.f_px / reading_mm)
    return Reference(
        source="jaws", camera=camera.over_plate(distance, np.nan), u_scale=float(u_scale),
        height_mm=share * top, u_height_mm=u_top,
        where_px=(best[0].middle + best[1].middle) / 2, labels=owners,
        outline_px=np.array([best[0].start, best[0].end, best[1].end, best[1].start]),
    )  # fmt: skip


def _outward(camera: Camera, faces: tuple[Face, Face]) -> tuple[float, float]:
    """Return how far each face looks away from the picture's centre, pixels (negative: toward)."""
    gap = faces[1].middle - faces[0].middle
    gap = gap / np.hypot(*gap)
    pp = np.array(camera.centre_px)
    return float((faces[0].middle - pp) @ gap), float((faces[1].middle - pp) @ -gap)


def _thickness(
    camera: Camera, faces: tuple[Face, Face], distance: float
) -> tuple[float, float]:
    """Return the jaws' thickness from the width of the wall seen beside an edge, else the usual.

    A wall of height t at a distance x from the picture's centre shows t x / L wide.
    """
    found = [
        (face.wall.width_px * distance / abs(away), 0.4 * distance / abs(away))
        for face, away in zip(faces, _outward(camera, faces), strict=True)
        if away < 0 and face.wall.width_px > 2.0
    ]  # fmt: skip
    found = [(t, u) for t, u in found if 0.8 < t < 8.0]
    if not found:
        return THICKNESS_MM, U_THICKNESS_MM
    t, u = min(found, key=lambda f: f[1])
    return t, max(u, 0.15)


def _solve(
    camera: Camera, faces: tuple[Face, Face], reading: float, top: float
) -> tuple[float, float]:
    """Return the plate's distance and the mean height (share of the jaws') that scale holds at."""
    # A face that looks outward ends at its top edge, one that looks inward at the plate.
    heights = [top if away > 0 else 0.0 for away in _outward(camera, faces)]
    distance = camera.f_px * reading / float(np.hypot(*(faces[1].middle - faces[0].middle)))
    for _ in range(6):
        unit = camera.over_plate(distance, 0.0)
        a = unit.on_plane(np.stack([faces[0].start, faces[0].end]), heights[0])
        b = unit.on_plane(np.stack([faces[1].start, faces[1].end]), heights[1])
        d = a[1] - a[0]
        d /= np.linalg.norm(d)
        rel = b.mean(axis=0) - a.mean(axis=0)
        # Only the part along the plate and across the faces counts.
        rel -= (rel @ np.array(camera.normal)) * np.array(camera.normal)
        width = float(np.linalg.norm(rel - (rel @ d) * d))
        distance *= reading / width
    return distance, float(np.mean(heights)) / top
