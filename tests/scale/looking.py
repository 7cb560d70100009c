"""From a drawn picture to what the scale's modules take: field, shapes, edges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.straight import learn_rims, sharpened_undone
from pitchcam.objects.field import Field, find_field
from pitchcam.objects.shapes import Shape, describe
from pitchcam.scale.reference import Edges
from tests.objects import drawing
from tests.objects.drawing import View

LIGHT, DARK = 0.6, 0.04


@dataclass(frozen=True)
class Seen:
    """A picture taken apart."""

    pixels: np.ndarray
    field: Field
    shapes: list[Shape]
    pins: Edges


def camera(view: View, *, tilt: bool = True) -> Camera:
    """The true camera without its distance; without its tilt too where told."""
    out = Camera(
        f_px=view.f_px,
        u_f_px=0.015 * view.f_px,
        centre_px=(float(view.centre[0]), float(view.centre[1])),
    )
    return out.tilted(view.normal, 0.002) if tilt else out


def picture(view: View, *shadows: np.ndarray, blur: float = 1.0, margin: float = 40.0):
    """Linear light of dull shadows (outlines in the picture) on a lit window."""
    light = LIGHT * drawing.window(view.size, margin)
    for corners in shadows:
        light = light * (1 - (1 - DARK) * drawing.cover(view.size, corners, blur))
    return light


def solid(view: View, points: np.ndarray) -> np.ndarray:
    """Outline in the picture of a convex solid over the plate."""
    return drawing.hull(view.project(points))


def look(light: np.ndarray, view: View, **how: float) -> Seen:
    """Develop the light and take the picture apart as the main job does."""
    pixels = drawing.develop(light, **how)
    field = find_field(pixels)
    shapes = [describe(pixels, field, b, camera(view)) for b in field.blobs]
    rims, pins = learn_rims(shapes, field, camera(view))
    shapes = [sharpened_undone(s, rims) for s in shapes]
    return Seen(pixels, field, shapes, pins)


def traced_pin(
    view: View,
    middle: tuple[float, float],
    angle: float,
    length: float,
    diameter: float,
    *,
    behind: float,
    half: tuple[float, float],
    share: Callable[[np.ndarray], np.ndarray],
    blur: float = 0.9,
    fine: int = 4,
) -> np.ndarray:
    """Light of a polished pin over a panel, every ray mirrored by itself, (h, w).

    The panel shines over +-half mm in the plate's x and y, ``behind`` mm under the plate.
    """
    around = drawing.hull(view.project(drawing.pin(middle, angle, length, diameter)))
    rim = np.array([(x, y, -behind) for x in (-half[0], half[0]) for y in (-half[1], half[1])])
    light = drawing.cover(view.size, drawing.hull(view.project(rim)), blur)
    x0, y0 = np.maximum(np.floor(around.min(axis=0)) - 12, 0).astype(int)
    x1, y1 = np.ceil(around.max(axis=0)).astype(int) + 13
    step = (np.arange(fine) + 0.5) / fine - 0.5
    x = (np.arange(x0, x1)[:, None] + step).ravel()
    y = (np.arange(y0, y1)[:, None] + step).ravel()
    u, v = np.meshgrid((x - view.centre[0]) / view.f_px, (y - view.centre[1]) / view.f_px)
    turn = cv2.Rodrigues(np.array(view.turn, float))[0]
    d = np.stack([u, v, np.ones_like(u)], axis=-1) @ turn
    d /= np.linalg.norm(d, axis=-1, keepdims=True)
    origin = -view.distance_mm * turn[2]
    r = diameter / 2
    along = np.array([np.cos(angle), np.sin(angle), 0.0])
    rel = origin - np.array([*middle, -r])
    flat_d, flat_o = d - (d @ along)[..., None] * along, rel - (rel @ along) * along
    a, b = np.sum(flat_d**2, axis=-1), flat_d @ flat_o
    root = b * b - a * (flat_o @ flat_o - r * r)
    t = (-b - np.sqrt(np.maximum(root, 0))) / a
    p = origin + t[..., None] * d
    station = (p - np.array([*middle, -r])) @ along
    hit = (root > 0) & (np.abs(station) < length / 2)
    n = (p - np.array([*middle, -r]) - station[..., None] * along) / r
    into = np.sum(n * d, axis=-1)
    way = np.where(hit[..., None], d - 2 * into[..., None] * n, d)
    start = np.where(hit[..., None], p, origin)
    with np.errstate(divide="ignore", invalid="ignore"):
        far = start + ((behind - start[..., 2]) / way[..., 2])[..., None] * way
        lit = (way[..., 2] > 1e-9) & (np.abs(far[..., :2]) < half).all(axis=-1)
    seen = lit * np.where(hit, share(np.arcsin(np.clip(-into, 0, 1))), 1.0)
    seen = gaussian_filter(seen.astype(float), blur * fine, mode="nearest")
    light[y0:y1, x0:x1] = seen.reshape(y1 - y0, fine, x1 - x0, fine).mean(axis=(1, 3))
    return LIGHT * (DARK + (1 - DARK) * light)
