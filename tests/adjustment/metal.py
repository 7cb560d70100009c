"""The light that a ground pin mirrors along its edges, ray by ray, by outside formulas.

From the camera to the cylinder, off facets that lean as a ground surface's do, to the panel. Share
mirrored: Fresnel's equations for iron (n = 2.9, k = 3.2 in green light, from memory) at each facet,
less what other facets hide on the way out (Smith's shadowing for a Gaussian of slopes). Nothing of
the package is used. No pin is dead black at grazing incidence: a measurement that expects metal
makes one that is drawn so 0.04 % too wide.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy.special import erfc

from tests.drawn_photo import Shot, project

Array = np.ndarray

IRON = 2.9 + 3.2j
#: Standard deviation of slopes around a ground pin, along its lay (judgement), and the panel's
#: distance under the plate.
SLOPE, PANEL_MM = 0.04, 150.0
#: Rays to each side of a pixel, and facets by Gauss and Hermite.
RAYS, FACETS = 4, 15
#: Rays that pass the axis at less than this share of the radius meet it too steeply: what they see
#: of the panel lies out of the window.
STEEP = 0.90


def reflectance(grazing: Array) -> Array:
    """Return the share of unpolarised light that iron mirrors at grazing angles in radians."""
    s = np.sin(grazing)
    root = np.sqrt(IRON**2 - np.cos(grazing) ** 2)
    across = np.abs((s - root) / (s + root)) ** 2
    within = np.abs((IRON**2 * s - root) / (IRON**2 * s + root)) ** 2
    out: Array = (across + within) / 2
    return out


def unhidden(grazing: Array, slope: float = SLOPE) -> Array:
    """Return the share of facets that no other hides (B. Smith, 1967, one direction)."""
    v = np.tan(np.maximum(grazing, 1e-6)) / (np.sqrt(2) * slope)
    hidden = np.exp(-(v**2)) / (2 * np.sqrt(np.pi) * v) - erfc(v) / 2
    out: Array = 1 / (1 + hidden)
    return out


def _rays(shot: Shot, pixels: Array) -> tuple[Array, Array]:
    """Return the pinhole (3,) and directions of pixels (n, 2); the third axis points down."""
    f, centre = shot.f_px, (np.array(shot.size_px) - 1) / 2
    matrix = np.array([[f, 0, centre[0]], [0, f, centre[1]], [0, 0, 1.0]])
    k1 = shot.corner_shift / float(np.hypot(*(centre / f))) ** 2
    flat = cv2.undistortPoints(pixels[:, None], matrix, np.array([k1, 0, 0, 0.0]))[:, 0]
    turn = cv2.Rodrigues(np.array([*shot.tilt_rad, 0.0]))[0]
    rays = np.column_stack([flat, np.ones(len(flat))]) @ turn
    return -turn.T @ np.array([0, 0, shot.distance_mm]), rays / np.linalg.norm(rays, axis=1)[
        :, None
    ]


def mirrored(
    middle: Array, length_mm: float, diameter_mm: float, shot: Shot, lit_px: Array
) -> Array:
    """Return the light that a pin mirrors into every pixel before blur, as a share of the panel's.

    ``middle`` is where the pin lies on the plate, ``lit_px`` the light's first and last corner.
    """
    along = np.array([np.cos(shot.heading_rad), np.sin(shot.heading_rad), 0.0])
    side, r = np.array([-along[1], along[0], 0.0]), diameter_mm / 2
    axis = np.array([*middle, -r])

    def meets(pixels: Array) -> tuple[Array, Array, Array]:
        """Return each ray's way past the axis in radii, where it meets the pin, its direction."""
        origin, rays = _rays(shot, pixels)
        flat = np.stack([rays @ side, rays[:, 2]])
        size = np.hypot(*flat)
        start = np.array([(origin - axis) @ side, origin[2] - axis[2]])
        past = (start[0] * flat[1] - start[1] * flat[0]) / size / r
        nearest = -(start @ flat) / size
        way = (nearest - r * np.sqrt(np.maximum(1 - past**2, 0))) / size
        return past, origin + way[:, None] * rays, rays

    # Only pixels near the edges mirror what is lit.
    ends = np.array([[*(np.array(middle) + s * length_mm / 2 * along[:2]), r] for s in (-1, 1)])
    reach = diameter_mm * shot.f_px / shot.distance_mm
    seen = project(ends, shot)
    low = np.maximum(seen.min(axis=0) - reach, 0).astype(int)
    high = np.minimum(seen.max(axis=0) + reach, shot.size_px).astype(int)
    y, x = np.mgrid[low[1] : high[1], low[0] : high[0]]
    pixels = np.column_stack([x.ravel(), y.ravel()]).astype(float)
    past, at, _ = meets(pixels)
    near = (np.abs(past) > STEEP) & (np.abs(past) < 1.03)
    near &= np.abs((at - axis) @ along) < length_mm / 2
    pixels = pixels[near]
    steps = (np.arange(RAYS) + 0.5) / RAYS - 0.5
    each = np.zeros(len(pixels))
    for dx in steps:
        for dy in steps:
            past, at, rays = meets(pixels + [dx, dy])
            hit = np.abs(past) < 1
            each[hit] += _lit(at[hit], rays[hit], (axis, side, r), shot, lit_px)
    out = np.zeros(shot.size_px[::-1])
    out[pixels[:, 1].astype(int), pixels[:, 0].astype(int)] = each / RAYS**2
    return out


def _lit(
    at: Array, rays: Array, pin: tuple[Array, Array, float], shot: Shot, lit_px: Array
) -> Array:
    """Return the share of the panel's light that each ray brings off the surface."""
    axis, side, r = pin
    normal = np.outer((at - axis) @ side, side) + np.outer(at[:, 2] - axis[2], [0, 0, 1.0])
    normal /= r
    tangent = np.cross(normal, np.cross(side, [0, 0, 1.0]))
    nodes, weights = np.polynomial.hermite_e.hermegauss(FACETS)
    total, whole = np.zeros(len(at)), np.zeros(len(at))
    corners = _window(shot, lit_px)
    for node, weight in zip(nodes, weights, strict=True):
        facet = np.cos(SLOPE * node) * normal + np.sin(SLOPE * node) * tangent
        into = -np.sum(rays * facet, axis=1)
        # A facet is met by as many rays as it shows area to them.
        shown = weight * np.maximum(into, 0)
        out = rays + 2 * into[:, None] * facet
        down = out[:, 2] > 1e-6
        leaves = np.arcsin(np.clip(np.sum(out * normal, axis=1), 0, 1))
        share = reflectance(np.arcsin(np.clip(into, 0, 1))) * unhidden(leaves)
        way = (PANEL_MM - at[:, 2]) / np.where(down, out[:, 2], 1.0)
        lit = down & _inside(at[:, :2] + way[:, None] * out[:, :2], corners)
        total += shown * lit * share
        whole += shown
    each: Array = total / np.maximum(whole, 1e-12)
    return each


def _window(shot: Shot, lit_px: Array) -> Array:
    """Return the corners of the light on the panel, (4, 2) mm, in order."""
    (x0, y0), (x1, y1) = lit_px
    origin, rays = _rays(shot, np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
    way = (PANEL_MM - origin[2]) / rays[:, 2]
    out: Array = origin[:2] + way[:, None] * rays[:, :2]
    return out


def _inside(points: Array, corners: Array) -> Array:
    """Return which points (n, 2) lie inside a convex polygon."""
    sides = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        to = b - a
        sides.append(to[0] * (points[:, 1] - a[1]) - to[1] * (points[:, 0] - a[0]) > 0)
    same: Array = np.all(sides, axis=0) | ~np.any(sides, axis=0)
    return same
