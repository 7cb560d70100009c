"""The sides of the lit window: where the light ends, along the rectangle around it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.objects.background import Floats
from pitchcam.small import median, percentile

Points = NDArray[np.float64]


def window_sides(light: Floats, window_px: Points, step: int) -> tuple[Points | None, ...]:
    """Return places along the four sides of the lit window, in order around it.

    Parameters
    ----------
    light
        The shrunk picture, (h, w).
    window_px
        The window's convex outline in photo pixels, (n, 2).
    step
        Photo pixels to one point of the shrunk picture.

    Returns
    -------
    sides
        Photo pixels, (n, 2) each; None where a side is not seen.
    """
    box = cv2.boxPoints(cv2.minAreaRect(window_px.astype(np.float32))).astype(float)
    centre = box.mean(axis=0)
    ends = zip(box, np.roll(box, -1, axis=0), strict=True)
    return tuple(_side(light, step, (a, b), centre) for a, b in ends)


def _side(light: Floats, step: int, ends: tuple[Points, Points], centre: Points) -> Points | None:
    a, b = ends
    d = (b - a) / np.hypot(*(b - a))
    n = np.array([-d[1], d[0]])
    if n @ ((a + b) / 2 - centre) < 0:
        n = -n
    length = float(np.hypot(*(b - a)))
    u = np.linspace(0.08, 0.92, 120) * length
    reach = 0.08 * length + 40
    v = np.arange(-reach, reach, step, dtype=float)
    xy = a + u[:, None, None] * d + v[None, :, None] * n
    small = (xy - (step - 1) / 2) / step
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
    level = percentile(values[inside].astype(float), 90)
    low = percentile(values[inside].astype(float), 5)
    half = (level + low) / 2
    # From outside inward: the first rise through half the light. Where the light runs to the
    # picture's own border, no dark point lies beyond it.
    lit = (values > half) & inside
    rows = np.arange(len(u))
    last = len(v) - 1 - np.argmax(lit[:, ::-1], axis=1)
    beyond = np.minimum(last + 1, len(v) - 1)
    ok = lit[rows, last] & (beyond > last) & inside[rows, beyond]
    fall = np.maximum(values[rows, last] - values[rows, beyond], 1e-6)
    x, y = u[ok], (v[last] + (values[rows, last] - half) / fall * step)[ok]
    if len(x) < 40:
        return None
    keep = np.ones(len(x), bool)
    for degree in (1, 1, 1, 2, 2, 2):
        # A distorted side is a shallow bow; what lies before it is left out by a straight line.
        bow = np.polyfit(x[keep], y[keep], degree)
        deviation = np.abs(y - np.polyval(bow, x))
        keep = deviation <= max(3 * median(deviation), 0.5)
    if keep.mean() < 0.6 or float(np.std((y - np.polyval(bow, x))[keep])) > 3.0:
        return None
    found: Points = a + x[keep, None] * d + y[keep, None] * n
    return found
