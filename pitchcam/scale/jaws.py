"""Scale from caliper jaws opened to a reading."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from scipy.optimize import least_squares
from scipy.special import ndtr

from pitchcam.outline.edges import fit_line, line_profiles
from pitchcam.outline.field import PART_LEVEL
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


def facing_edges(a: Shape, b: Shape) -> tuple[tuple[Points, Points], tuple[Points, Points]] | None:
    """Return the straight edges by which two objects face each other, or None."""
    gap = b.centre_px - a.centre_px
    lines = []
    for shape, toward in ((a, gap), (b, -gap)):
        line = _face(shape, toward / np.hypot(*toward))
        if line is None:
            return None
        lines.append(line)
    d0, d1 = ((q - p) / np.hypot(*(q - p)) for p, q in lines)
    if abs(d0[0] * d1[1] - d0[1] * d1[0]) > np.radians(1.5):
        return None
    return lines[0], lines[1]


def _face(shape: Shape, toward: Points) -> tuple[Points, Points] | None:
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


def _outermost(shape: Shape, start: Points, end: Points, toward: Points) -> tuple[Points, Points]:
    """Move a face from the part level onto its outermost edge.

    A face that looks toward the picture's centre shows its wall, which mirrors the panel where it
    is bright metal: then the light falls in two steps, the first of them at the lower edge. The
    plain edge and the two steps are both tried.
    """
    p = line_profiles(shape.crop, start, end, toward, reach_px=9.0)
    light = np.median(p.light, axis=0)
    outer = float(np.median(light[p.across_px > 6]))
    light = light / outer
    dark = float(light[p.across_px < -7].mean())

    def model(q: Points) -> Points:
        first = ndtr((q[0] - p.across_px) / q[1])
        second = ndtr((q[0] - q[3] - p.across_px) / q[1])
        fall: Points = 1 - (1 - q[2]) * first - q[2] * second
        return dark + (1 - dark) * fall

    best = None
    for width in (0.01, 3.0, 7.0):
        fit = least_squares(
            lambda q: np.append((model(q) - light) / 0.01, [(q[1] - 1.0) / 0.25, q[3] / 20]),
            [-0.8, 1.0, 0.6, width], bounds=([-8, 0.4, 0.0, 0.0], [8, 4.0, 0.95, 12.0]),
        )  # fmt: skip
        if best is None or fit.cost < best.cost:
            best = fit
    assert best is not None
    along = (end - start) / np.hypot(*(end - start))
    normal = np.array([-along[1], along[0]])
    normal = normal if normal @ toward > 0 else -normal
    shift = float(best.x[0]) * normal
    return start + shift, end + shift


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
    top = THICKNESS_MM if thickness_mm is None else thickness_mm
    best: tuple[float, Shape, Shape, tuple[tuple[Points, Points], ...]] | None = None
    for a, b in itertools.combinations(shapes, 2):
        faces = facing_edges(a, b)
        if faces is None:
            continue
        length = min(float(np.hypot(*(q - p))) for p, q in faces)
        if best is None or length > best[0]:
            best = (length, a, b, faces)
    if best is None:
        return None
    length, a, b, faces = best
    distance, share = _solve(camera, faces, reading_mm, top)
    u_scale = np.hypot(U_READING_MM / reading_mm, 0.12 * distance / camera.f_px / reading_mm)
    return Reference(
        source="jaws", camera=camera.over_plate(distance, np.nan), u_scale=float(u_scale),
        height_mm=share * top, u_height_mm=U_THICKNESS_MM if thickness_mm is None else 0.1,
        where_px=np.mean([p for face in faces for p in face], axis=0),
        labels=(a.blob.label, b.blob.label),
        outline_px=np.array([faces[0][0], faces[0][1], faces[1][1], faces[1][0]]),
    )  # fmt: skip


def _solve(
    camera: Camera, faces: tuple[tuple[Points, Points], ...], reading: float, top: float
) -> tuple[float, float]:
    """Return the plate's distance and the mean height (share of the jaws') that scale holds at."""
    middles = [(p + q) / 2 for p, q in faces]
    gap = middles[1] - middles[0]
    pp = np.array(camera.centre_px)
    # The face of jaw 0 looks along the gap, that of jaw 1 against it.
    heights = []
    for middle, outward in zip(middles, (gap, -gap), strict=True):
        heights.append(top if (middle - pp) @ outward > 0 else 0.0)
    distance = camera.f_px * reading / float(np.hypot(*gap))
    for _ in range(6):
        unit = camera.over_plate(distance, 0.0)
        a = unit.on_plane(np.stack(faces[0]), heights[0])
        b = unit.on_plane(np.stack(faces[1]), heights[1])
        d = a[1] - a[0]
        d /= np.linalg.norm(d)
        rel = b.mean(axis=0) - a.mean(axis=0)
        # Only the part along the plate and across the faces counts.
        rel -= (rel @ np.array(camera.normal)) * np.array(camera.normal)
        width = float(np.linalg.norm(rel - (rel @ d) * d))
        distance *= reading / width
    return distance, float(np.mean(heights)) / top
