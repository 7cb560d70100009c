"""The camera's tilt over the plate, from what is straight and square in the photo.

The lit window's sides are straight as well: how they bend tells the lens's distortion.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.bend import PIECES, Bent
from pitchcam.objects.field import STEP, Field

Points = NDArray[np.float64]

#: A phone held by hand over a plate (common practice, no source).
PRIOR_TILT_RAD = np.radians(2.0)
#: A lit window or panel is a rectangle to about this angle at its corners.
SQUARENESS_RAD = np.radians(0.25)
#: Beyond, what is taken for its sides is none: nobody takes a plate so much from aside for level.
MOST_TILT_RAD = np.radians(35.0)
#: What a piece of the window's side is good to: it lies out of focus; and how far the side bows: it
#: is cut by hand, and its light falls toward the corners, pixels (judgement; renders: 0.5-1).
U_WINDOW_PX, U_WINDOW_BOW_PX = 0.5, 1.0


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
    if field.full_frame:
        return None
    sides = [_line(camera, points) for points in _sides(field) if points is not None]
    if len(sides) < 4:
        return None
    lines = sides
    k = np.array(
        [[camera.f_px, 0, camera.centre_px[0]], [0, camera.f_px, camera.centre_px[1]], [0, 0, 1]]
    )
    planes = [k.T @ line for line in lines]
    across = np.cross(planes[0], planes[2])
    along = np.cross(planes[1], planes[3])
    across /= np.linalg.norm(across)
    along /= np.linalg.norm(along)
    skew = abs(float(across @ along))
    normal = np.cross(across, along)
    normal /= np.linalg.norm(normal) * np.sign(normal[2])
    tilt = float(np.arccos(min(1.0, normal[2])))
    if skew > 0.02 or tilt > MOST_TILT_RAD:
        return None
    # Sides that converge by e over a window w wide tell of a tilt e f / w.
    size = np.sqrt(cv2.contourArea(field.window_px.astype(np.float32)))
    u = float(np.hypot(SQUARENESS_RAD, skew) * camera.f_px / size / np.sqrt(2))
    return normal, min(u, PRIOR_TILT_RAD)


def window_edges(field: Field) -> list[Bent]:
    """Return the lit window's sides as far as they are seen: straight edges that may bend."""
    if field.full_frame:
        return []
    out = []
    for points in _sides(field):
        if points is not None:
            pieces = np.array_split(points, PIECES)
            places = np.array([np.median(p, axis=0) for p in pieces if len(p)])
            out.append(Bent(places_px=places, u_px=U_WINDOW_PX, u_bow_px=U_WINDOW_BOW_PX))
    return out


def _sides(field: Field) -> list[Points | None]:
    """Return places along the four sides of the lit window, in order around it; None if unseen."""
    box = cv2.boxPoints(cv2.minAreaRect(field.window_px.astype(np.float32))).astype(float)
    centre = box.mean(axis=0)
    return [
        _side(field.light, a, b, centre) for a, b in zip(box, np.roll(box, -1, axis=0), strict=True)
    ]


def _line(camera: Camera, points: Points) -> Points:
    """Return the homogeneous line through places, the lens's distortion undone."""
    xy = camera.rays(points)[:, :2] * camera.f_px + np.array(camera.centre_px)
    middle = xy.mean(axis=0)
    _, _, axes = np.linalg.svd(xy - middle)
    line: Points = np.cross(np.append(middle, 1.0), np.append(middle + axes[0], 1.0))
    scaled: Points = line / np.hypot(line[0], line[1])
    return scaled


def _side(light: NDArray[np.float32], a: Points, b: Points, centre: Points) -> Points | None:
    d = (b - a) / np.hypot(*(b - a))
    n = np.array([-d[1], d[0]])
    if n @ ((a + b) / 2 - centre) < 0:
        n = -n
    length = float(np.hypot(*(b - a)))
    u = np.linspace(0.08, 0.92, 120) * length
    reach = 0.08 * length + 40
    v = np.arange(-reach, reach, STEP, dtype=float)
    xy = a + u[:, None, None] * d + v[None, :, None] * n
    small = (xy - (STEP - 1) / 2) / STEP
    h, w = light.shape
    inside = ((small >= 0) & (small < np.array([w - 1, h - 1]))).all(axis=2)
    values = cv2.remap(
        light,
        small[..., 0].astype(np.float32),
        small[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    if not inside.any():
        return None
    level = np.percentile(values[inside], 90)
    low = np.percentile(values[inside], 5)
    half = (level + low) / 2
    # From outside inward: the first rise through half the light. Where the light runs to the
    # picture's own border, no dark point lies beyond it.
    lit = (values > half) & inside
    rows = np.arange(len(u))
    last = len(v) - 1 - np.argmax(lit[:, ::-1], axis=1)
    beyond = np.minimum(last + 1, len(v) - 1)
    ok = lit[rows, last] & (beyond > last) & inside[rows, beyond]
    fall = np.maximum(values[rows, last] - values[rows, beyond], 1e-6)
    x, y = u[ok], (v[last] + (values[rows, last] - half) / fall * STEP)[ok]
    if len(x) < 40:
        return None
    keep = np.ones(len(x), bool)
    for degree in (1, 1, 1, 2, 2, 2):
        # A distorted side is a shallow bow; what lies before it is left out by a straight line.
        bow = np.polyfit(x[keep], y[keep], degree)
        deviation = np.abs(y - np.polyval(bow, x))
        keep = deviation <= max(3 * float(np.median(deviation)), 0.5)
    if keep.mean() < 0.6 or float(np.std((y - np.polyval(bow, x))[keep])) > 3.0:
        return None
    found: Points = a + x[keep, None] * d + y[keep, None] * n
    return found
