"""Pictures drawn by exact means: known solids over a plate, projected, blurred and developed.

Solids are convex, so their shadow is the convex hull of their projected rims. Projection is
OpenCV's, light and tone curve are written out here, so that nothing of the package is used.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial import ConvexHull
from scipy.special import ndtr


@dataclass(frozen=True, kw_only=True)
class View:
    """A camera over a plate, turned by ``turn`` (a rotation vector), ``distance_mm`` along z."""

    size: tuple[int, int] = (1200, 900)
    f_px: float = 2000.0
    distance_mm: float = 200.0
    turn: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def centre(self) -> np.ndarray:
        return (np.array(self.size) - 1) / 2

    @property
    def normal(self) -> np.ndarray:
        """The plate's normal in the camera frame."""
        return cv2.Rodrigues(np.array(self.turn, float))[0][:, 2]

    @property
    def plate_mm(self) -> float:
        """The pinhole's perpendicular distance from the plate."""
        return float(self.normal[2] * self.distance_mm)

    def project(self, points: np.ndarray) -> np.ndarray:
        """Project plate points (n, 3), the third number being the height over the plate."""
        matrix = np.array(
            [[self.f_px, 0, self.centre[0]], [0, self.f_px, self.centre[1]], [0, 0, 1]]
        )
        there = np.asarray(points, float) * [1, 1, -1]
        turn, shift = np.array(self.turn, float), np.array([0.0, 0, self.distance_mm])
        seen = cv2.projectPoints(there, turn, shift, matrix, None)[0]
        return seen[:, 0]


def ring(centre, radius, height, count=360) -> np.ndarray:
    """A circle flat over the plate, (n, 3) mm."""
    a = 2 * np.pi * np.arange(count) / count
    flat = [centre[0] + radius * np.cos(a), centre[1] + radius * np.sin(a), np.full(count, height)]
    return np.stack(flat, axis=1)


def prism(corners, low, high) -> np.ndarray:
    """Both rims of an upright prism, (2 n, 3) mm."""
    corners = np.asarray(corners, float)
    return np.concatenate(
        [np.column_stack([corners, np.full(len(corners), h)]) for h in (low, high)]
    )


def pin(middle, angle, length, diameter, count=720) -> np.ndarray:
    """Both end circles of a cylinder lying on the plate, (2 n, 3) mm."""
    a = 2 * np.pi * np.arange(count) / count
    d = np.array([np.cos(angle), np.sin(angle), 0.0])
    side = np.array([-d[1], d[0], 0.0])
    r = diameter / 2
    circle = r * np.cos(a)[:, None] * side + (r + r * np.sin(a))[:, None] * [0, 0, 1.0]
    at = np.array([*middle, 0.0])
    return np.concatenate([at + s * length / 2 * d + circle for s in (-1, 1)])


def hull(points: np.ndarray) -> np.ndarray:
    """The convex outline of picture points, (n, 2)."""
    return points[ConvexHull(points).vertices]


def cover(size, corners, blur=1.0) -> np.ndarray:
    """How much of the light a convex shape keeps off every pixel, blurred: (h, w), 0..1."""
    out = np.zeros((size[1], size[0]))
    x0, y0 = np.maximum(np.floor(corners.min(axis=0) - 7 * blur), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(corners.max(axis=0) + 7 * blur), np.array(size)).astype(int)
    y, x = np.arange(y0, y1, dtype=float)[:, None], np.arange(x0, x1, dtype=float)
    off = np.full((len(y), len(x)), -np.inf)
    middle = corners.mean(axis=0)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        n = np.array([b[1] - a[1], a[0] - b[0]]) / np.hypot(*(b - a))
        n = n if n @ (middle - a) < 0 else -n
        np.maximum(off, (x - a[0]) * n[0] + (y - a[1]) * n[1], out=off)
    out[y0:y1, x0:x1] = ndtr(-off / blur)
    return out


@functools.lru_cache(maxsize=4)
def window(size, margin=60.0, blur=3.0) -> np.ndarray:
    """A lit rectangle square to the picture, (h, w), 0..1: the same for many, and nobody's own."""
    w, h = size
    corners = np.array(
        [[margin, margin], [w - margin, margin], [w - margin, h - margin], [margin, h - margin]]
    )
    lit = cover(size, corners, blur)
    lit.flags.writeable = False
    return lit


def encode(light: np.ndarray) -> np.ndarray:
    """The sRGB curve of IEC 61966-2-1, clipping above 1."""
    v = np.clip(light, 0, 1)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


def develop(light, *, gain=0.25, radius=1.6, noise=0.004, seed=1, colour=True) -> np.ndarray:
    """Code linear light as a phone does: tone curve, sharpening, noise, eight bits."""
    code = encode(light)
    code = code + gain * (code - gaussian_filter(code, radius))
    code = code + np.random.default_rng(seed).normal(0, noise, code.shape)
    grey = np.round(np.clip(code, 0, 1) * 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2) if colour else grey


def traced_rim(x_px, radius_mm, *, f_px, distance_mm, behind_mm, half_mm, share, at_mm=0.0):
    """Light of rays that pass or are mirrored once by a circle, found ray by ray.

    The camera sits at the origin of a plane, the circle ``at_mm`` beside its axis at
    ``distance_mm``, and a panel that shines between -half_mm and half_mm ``behind_mm`` further.
    ``share`` gives the mirrored share of light for a grazing angle. Positions are on the sensor.
    """
    d = np.stack([np.asarray(x_px) / f_px, np.ones(len(x_px))])
    d /= np.hypot(*d)
    c = np.array([at_mm, distance_mm])
    along = c @ d
    root = radius_mm**2 - c @ c + along**2
    hit = root > 0
    t = along - np.sqrt(np.maximum(root, 0))
    p = t * d
    n = (p - c[:, None]) / radius_mm
    into = np.sum(n * d, axis=0)
    out = d - 2 * into * n
    start = np.where(hit, p, 0.0)
    way = np.where(hit, out, d)
    far = np.where(way[1] > 1e-9, (distance_mm + behind_mm - start[1]) / way[1], np.inf)
    lit = np.abs(start[0] + far * way[0]) < half_mm
    angle = np.arcsin(np.clip(-into, 0, 1))
    return np.where(hit, share(angle), 1.0) * lit
