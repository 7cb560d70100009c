"""Scale and tilt from a card of the ISO/IEC 7810 ID-1 size."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.lines import Segment, fit_line
from pitchcam.objects.shapes import Shape
from pitchcam.scale.reference import Reference

Points = NDArray[np.float64]

#: ISO/IEC 7810:2019, ID-1: width, height, thickness in mm.
WIDTH_MM, HEIGHT_MM, THICKNESS_MM = 85.60, 53.98, 0.76
#: The standard allows 85.47-85.72 and 53.92-54.03 mm: half the range over sqrt 3.
U_SIZE = 0.125 / np.sqrt(3) / WIDTH_MM
#: What the model leaves open of a card's scale, relative: its lens's distortion between card and
#: part, its walls' light. 41 threads beside cards in renders that nothing was tuned on read 0.2 %
#: off at the median, 1.6 times what the other terms say.
U_LEFT_OPEN = 0.0013


def card_reference(shape: Shape, camera: Camera) -> Reference:
    """Return the camera's distance and tilt from a card's four straight sides.

    The sides are fitted between their rounded corners (radius 3.18 mm). On the sides away from
    the picture's centre the upper edge makes the outline; on the sides toward it the lower one
    does where the wall is dull, the upper one where it mirrors, so their height is half known.
    """
    sides = _sides(shape)
    heights = [_edge_height(camera, a, b, shape.centre_px) for a, b in sides]
    lengths = [float(np.hypot(*(b - a))) for a, b in sides]
    wide = int(np.argmax([lengths[0] + lengths[2], lengths[1] + lengths[3]]))
    size = (WIDTH_MM, HEIGHT_MM) if wide == 0 else (HEIGHT_MM, WIDTH_MM)
    distance = camera.f_px * WIDTH_MM / max(lengths)
    normal = np.array(camera.normal)

    def cost(q: Points) -> Points:
        return _misfit(q, camera, sides, heights, size)

    middle = camera.rays(shape.centre_px[None])[0] * distance
    a, b = sides[0]
    start = np.array([distance, middle[0], middle[1], np.arctan2(*(b - a)[::-1]),
                      normal[0], normal[1]])  # fmt: skip
    fit = least_squares(cost, start, x_scale=[10, 1, 1, 0.01, 0.01, 0.01], max_nfev=60)
    q = fit.x
    jac = np.asarray(fit.jac, float)
    covariance = np.linalg.pinv(jac.T @ jac)
    tilted = camera.tilted(
        np.array([q[4], q[5], np.sqrt(1 - q[4] ** 2 - q[5] ** 2)]),
        float(np.sqrt(covariance[4, 4] + covariance[5, 5]) / np.sqrt(2)),
    )
    u_line = 0.10 / max(lengths)
    return Reference(
        source="card", camera=tilted.over_plate(float(q[0]), np.nan),
        u_scale=float(np.sqrt(
            u_line**2 + U_SIZE**2 + U_LEFT_OPEN**2 + covariance[0, 0] / q[0] ** 2
        )),
        height_mm=THICKNESS_MM, u_height_mm=0.15, where_px=shape.centre_px,
        labels=(shape.blob.label,), outline_px=shape.outline_px,
    )  # fmt: skip


def _sides(shape: Shape) -> list[tuple[Points, Points]]:
    box = cv2.boxPoints(cv2.minAreaRect(shape.outline_px.astype(np.float32))).astype(float)
    centre = box.mean(axis=0)
    out = []
    for a, b in zip(box, np.roll(box, -1, axis=0), strict=True):
        side = Segment(
            start=a + 0.12 * (b - a), end=b - 0.12 * (b - a), outside=(a + b) / 2 - centre
        )
        side, _ = fit_line(shape.crop, side, level=0.5)
        out.append((side.start, side.end))
    return out


def _edge_height(camera: Camera, a: Points, b: Points, centre: Points) -> float:
    middle = (a + b) / 2
    outward = middle - centre
    away = (middle - np.array(camera.centre_px)) @ outward > 0
    return THICKNESS_MM if away else THICKNESS_MM / 2


def _misfit(
    q: Points, camera: Camera, sides: list[tuple[Points, Points]], heights: list[float],
    size: tuple[float, float],
) -> Points:  # fmt: skip
    """Return how far the sides' ends lie from the card's, in tenths of a pixel, and the priors."""
    normal = np.array([q[4], q[5], np.sqrt(max(1e-6, 1 - q[4] ** 2 - q[5] ** 2))])
    unit = camera.tilted(normal, 0.0).over_plate(q[0], 0.0)
    x = np.array([np.cos(q[3]), np.sin(q[3]), 0.0])
    x -= (x @ normal) * normal
    x /= np.linalg.norm(x)
    y = np.cross(normal, x)
    origin = np.array([q[1], q[2], 0.0])
    out = []
    # Sides 0 and 2 run along x at -y and +y of the middle, 1 and 3 along y.
    for i, ((a, b), h) in enumerate(zip(sides, heights, strict=True)):
        points = unit.on_plane(np.stack([a, b]), h) - origin
        direction = y if i % 2 == 0 else x
        half = size[1] / 2 if i % 2 == 0 else size[0] / 2
        off = np.abs(points @ direction - (origin * 0) @ direction) - half
        out.extend(off * camera.f_px / q[0] / 0.1)
    u_tilt, prior = max(camera.u_tilt_rad, 1e-4), camera.normal
    return np.array([*out, (q[4] - prior[0]) / u_tilt, (q[5] - prior[1]) / u_tilt])
