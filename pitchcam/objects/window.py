"""The sides of the lit window: where the light ends, along the rectangle around it."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.objects.background import Floats
from pitchcam.objects.grid import grid_of
from pitchcam.small import median, percentile, percentiles, smoothed

Points = NDArray[np.float64]

#: The light is read so many points of the shrunk picture within a side's crossing, clear
#: of it: a border out of focus is drawn 8 points wide at most (a pupil of 3 mm, a panel as far
#: behind the plate as the phone is in front). Beyond, this percentile of the darkest is seen.
BESIDE, DARKEST = (5, 13), 10
#: What is brighter than this share of the light is no end of it, or the picture ends before.
DARK_SHARE = 0.5
#: Percentile of it that is plain light where a part reaches in from further within: two of eight.
PLAIN = 90
#: Along a side light falls by less than this to its corners; where it is darker, something lies
#: there: against what this percentile of it reaches, so that it may lie before most of the side.
FALLEN, BRIGHTEST = 0.5, 80
#: Fewest places along a side that show it.
FEWEST = 40


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
    ways = (small[1, 0] - small[0, 0], small[0, 1] - small[0, 0])
    values = grid_of(light, small[0, 0], ways, small.shape[:2])
    if not inside.any():
        return None
    level = percentile(values[inside].astype(float), 90)
    low = percentile(values[inside].astype(float), 5)
    last = _last_lit(values, inside, np.full(len(u), (level + low) / 2))
    if last is None:
        return None
    half = _half(u, values, inside, last)
    again = None if half is None else _last_lit(values, inside, half)
    if again is None:
        return None
    ok, at = last.seen & again.seen, again.place
    x, y = u[ok], v[0] + at[ok] * step
    if len(x) < FEWEST:
        return None
    keep = np.ones(len(x), bool)
    for degree in (1, 1, 1, 2, 2, 2):
        # A distorted side is a shallow bow; what lies before it is left out by a straight line.
        off = y - smoothed(x, y, keep, degree)
        keep = np.abs(off) <= max(3 * median(np.abs(off)), 0.5)
    if keep.mean() < 0.6 or float(np.std(off[keep])) > 3.0:
        return None
    found: Points = a + x[keep, None] * d + y[keep, None] * n
    return found


@dataclass(frozen=True, kw_only=True)
class _Last:
    """Where light ends along the ways across a side, points from their inner end, (n,).

    ``seen`` says where a dark point lies beyond.
    """

    place: Points
    seen: NDArray[np.bool_]


def _last_lit(values: NDArray[Any], inside: NDArray[np.bool_], half: Points) -> _Last | None:
    """Return the first rise through half the light, from outside inward.

    Where the light runs to the picture's own border, no dark point lies beyond it.
    """
    lit = (values > half[:, None]) & inside
    rows, count = np.arange(len(values)), values.shape[1]
    last = count - 1 - np.argmax(lit[:, ::-1], axis=1)
    beyond = np.minimum(last + 1, count - 1)
    seen = lit[rows, last] & (beyond > last) & inside[rows, beyond]
    if seen.sum() < FEWEST:
        return None
    fall = np.maximum(values[rows, last] - values[rows, beyond], 1e-6)
    return _Last(place=last + (values[rows, last] - half) / fall, seen=seen)


def _half(u: Points, values: NDArray[Any], inside: NDArray[np.bool_], last: _Last) -> Points | None:
    """Return half way between the light within a side and what lies beyond it, along it, (n,).

    Light falls toward the corners: by one level for all of it a side ends farther in there, and a
    straight one bows as the lens would bend it. None where no dark lies beyond.
    """
    middle = np.round(last.place).astype(np.intp)[:, None]
    reach = np.arange(*BESIDE)
    top = values.shape[1] - 1
    beside = np.take_along_axis(values, np.clip(middle - reach, 0, top), axis=1)
    light = percentiles(beside, PLAIN)
    # The picture may end before it is dark: what is darkest beyond the side stands for all of it.
    shown = np.where(inside, values, np.inf).min(axis=1)
    dark = percentile(shown[last.seen].astype(float), DARKEST)
    if dark > DARK_SHARE * median(light[last.seen].astype(float)):
        return None
    plain = last.seen & (light > FALLEN * percentile(light[last.seen].astype(float), BRIGHTEST))
    return (_slow(u, light, plain if plain.sum() >= FEWEST else last.seen) + dark) / 2


def _slow(u: Points, level: NDArray[Any], kept: NDArray[np.bool_]) -> Points:
    """Return a level that changes slowly along a side; what lies before it is left out."""
    for _ in range(3):
        smooth: Points = smoothed(u, level, kept, 2)
        off = np.abs(level - smooth)
        still = kept & (off <= max(3 * median(off[kept]), 1e-3))
        if still.sum() < FEWEST:
            break
        kept = still
    return smooth
