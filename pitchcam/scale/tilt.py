"""The camera's tilt over the plate, from what is straight and square in the photo.

The lit window's sides are straight as well: how they bend tells the lens's distortion.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.held import by_hand
from pitchcam.camera.pinhole import Camera
from pitchcam.edges.bend import PIECES, Bent
from pitchcam.edges.wave import Traced
from pitchcam.objects.field import Field
from pitchcam.small import cross, line_through, median

Points = NDArray[np.float64]
#: A straight edge in the photo, by its ends.
Edge = tuple[Points, Points]
#: A lit window or panel is a rectangle to about this angle at its corners.
SQUARENESS_RAD = np.radians(0.25)
#: Two opposite sides by themselves are parallel to about this: the other two do not show whether
#: it is a rectangle (judgement).
ALONE_RAD = np.radians(0.5)
#: Cosine of the angle between the sides of what is no rectangle.
MOST_SKEW = 0.02
#: Beyond, what is taken for its sides is none: nobody takes a plate so much from aside for level.
MOST_TILT_RAD = np.radians(35.0)
#: What a piece of the window's side is good to: it lies out of focus; and how far the side bows,
#: which a mask may (judgement; renders, whose sides are straight: 0.3).
U_WINDOW_PX, U_WINDOW_BOW_PX = 0.5, 0.6


def edge_plane(camera: Camera, start: Points, end: Points) -> Points:
    """Return the unit normal of the plane through the pinhole and an edge in the photo."""
    a, b = camera.rays(np.stack([start, end]))
    return plane_of(a, b)


def plane_of(a: Points, b: Points) -> Points:
    """Return the unit normal of the plane of two rays."""
    n = cross(a, b)
    return n / np.linalg.norm(n)


def along_both(planes: Sequence[Points], way: Points) -> Points:
    """Return the unit vector along parallel edges by their planes, toward a way (2,)."""
    axis = cross(planes[0], planes[1])
    axis = axis / np.linalg.norm(axis)
    toward: Points = axis * np.sign(axis[:2] @ way)
    return toward


def told_by_parallels(camera: Camera, edges: tuple[Edge, Edge], u_px: float) -> Camera:
    """Return the camera with the tilt along two parallel edges that their convergence tells.

    Parameters
    ----------
    camera
        Camera with its distance set.
    edges
        Both edges, parallel to each other and to the plate.
    u_px
        Standard uncertainty of the difference of their distances at both ends.
    """
    (a, b), (c, d) = edges
    if (b - a) @ (d - c) < 0:
        c, d = d, c
    width = float(np.hypot(*((a + b) / 2 - (c + d) / 2)))
    ends = camera.on_plane(np.stack([(a + c) / 2, (b + d) / 2]))
    length = float(np.linalg.norm(ends[1] - ends[0]))
    way = (ends[1] - ends[0])[:2] / length
    axis = along_both([edge_plane(camera, *edge) for edge in edges], way)
    normal = np.array(camera.normal)
    told = float(normal[:2] @ way) - float(axis @ normal)
    u = u_px / width * camera.distance_mm / length
    return camera.held_as(camera.leans.seen_along(way, told, u))


def window_tilt(field: Field, camera: Camera) -> tuple[Points, float] | None:
    """Return the plate's normal from the lit window, taken as a rectangle parallel to the plate.

    Opposite sides of a rectangle meet in the plane's vanishing points; the cross product of both
    directions is the plane's normal.

    Returns
    -------
    normal, u_rad
        The unit normal in the camera frame and its standard uncertainty per axis; None where
        the window is not seen whole or is no rectangle.
    """
    found = _opposite(field, camera)
    if len(found) < 2:
        return None
    (across, _), (along, _) = found
    skew = abs(float(across @ along))
    normal = cross(across, along)
    normal /= np.linalg.norm(normal) * np.sign(normal[2])
    tilt = float(np.arccos(min(1.0, normal[2])))
    if skew > MOST_SKEW or tilt > MOST_TILT_RAD:
        return None
    # Sides that converge by e over a window w wide tell of a tilt e f / w. That may be less than is
    # known of hands: both are weighed by their u, and neither has the other's.
    size = np.sqrt(cv2.contourArea(field.window_px.astype(np.float32)))
    u = float(np.hypot(SQUARENESS_RAD, skew) * camera.f_px / size / np.sqrt(2))
    return normal, u


def told_by_window(field: Field, camera: Camera) -> Camera:
    """Return the camera with the tilt that the lit window tells, whole or by two opposite sides.

    What is no rectangle tells nothing.
    """
    camera = camera.held_as(by_hand())
    found = window_tilt(field, camera)
    if found is not None:
        normal, u = found
        return camera.held_as(camera.leans.told(normal[:2], np.eye(2) / u**2))
    pairs = _opposite(field, camera)
    if len(pairs) != 1:
        return camera
    # Along both sides the plate leans as their vanishing point does.
    ((meet, apart),) = pairs
    slant = float(np.hypot(meet[0], meet[1]))
    told = -float(meet[2]) / slant
    if slant < np.cos(MOST_TILT_RAD):
        return camera
    u = ALONE_RAD * camera.f_px / apart
    return camera.held_as(camera.leans.seen_along(meet[:2] / slant, told, u))


def _opposite(field: Field, camera: Camera) -> list[tuple[Points, float]]:
    """Return the direction in which opposite sides of the window run, and how far apart, px.

    The unit vector is in the camera frame; a pair of which a side is not seen is left out.
    """
    if field.full_frame:
        return []
    sides = field.sides
    k = np.array(
        [[camera.f_px, 0, camera.centre_px[0]], [0, camera.f_px, camera.centre_px[1]], [0, 0, 1]]
    )
    out = []
    for first, second in ((sides[0], sides[2]), (sides[1], sides[3])):
        if first is None or second is None:
            continue
        meet = cross(k.T @ _line(camera, first), k.T @ _line(camera, second))
        meet /= np.linalg.norm(meet)
        out.append((meet, float(np.hypot(*(first.mean(axis=0) - second.mean(axis=0))))))
    return out


def window_edges(field: Field) -> list[Bent]:
    """Return the lit window's sides as far as they are seen: straight edges that may bend."""
    if field.full_frame:
        return []
    out = []
    for points in field.sides:
        if points is not None:
            pieces = np.array_split(points, PIECES)
            places = np.array([[median(x) for x in p.T] for p in pieces if len(p)])
            out.append(Bent(places_px=places, u_px=U_WINDOW_PX, u_bow_px=U_WINDOW_BOW_PX))
    return out


def traced_window(field: Field) -> list[Traced]:
    """Return the same sides step by step."""
    if field.full_frame:
        return []
    return [Traced(places_px=points) for points in field.sides if points is not None]


def _line(camera: Camera, points: Points) -> Points:
    """Return the homogeneous line through places, the lens's distortion undone."""
    xy = camera.rays(points)[:, :2] * camera.f_px + np.array(camera.centre_px)
    middle, axes = line_through(xy)
    line = cross(np.append(middle, 1.0), np.append(middle + axes[0], 1.0))
    scaled: Points = line / np.hypot(line[0], line[1])
    return scaled
