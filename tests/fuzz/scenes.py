"""Drawn pictures without a thread: what lies on a light, and what looks as if it might be one."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]
Drawing = NDArray[np.float32]
Random = np.random.Generator


def plain_scene(rng: Random) -> Image:
    """Return a picture of one to four objects, none of them threaded, or of no object at all."""
    height, width = (int(rng.integers(80, 520)) for _ in range(2))
    light: Drawing = np.full((height, width), rng.uniform(0.5, 0.95), np.float32)
    if rng.random() < 0.4:  # the light is a window in a dark frame
        light[:] = rng.uniform(0.0, 0.08)
        y, x = int(rng.integers(0, height // 3)), int(rng.integers(0, width // 3))
        light[y : height - y // 2, x : width - x // 2] = rng.uniform(0.5, 0.95)
    for _ in range(int(rng.integers(0, 5))):
        _draw(rng, light)
    return _photographed(rng, light)


def _draw(rng: Random, light: Drawing) -> None:
    makers: tuple[Callable[[Random, float], NDArray[np.float64]], ...] = (
        _bar,
        _disc,
        _hexagon,
        _comb,
        _saw,
        _one_sided,
        _blob,
        _wave,
        _star,
    )
    size = float(rng.uniform(10, 0.7 * max(light.shape)))
    points = makers[int(rng.integers(len(makers)))](rng, size)
    turn = rng.uniform(0, 2 * np.pi) if rng.random() < 0.8 else 0.0
    c, s = np.cos(turn), np.sin(turn)
    centre = rng.uniform(0, 1, 2) * light.shape[::-1]
    placed = points @ np.array([[c, s], [-s, c]]) + centre
    fixed = np.round(placed * 16).astype(np.int32)
    shade = float(rng.uniform(0.0, 0.2))
    if rng.random() < 0.1:
        text = rng.choice(["M10", "1/2 NPT", "|||||||", "VVVVVVVV", "MWMWMWMW"])
        at = tuple(int(v) for v in centre)
        ink = np.zeros(light.shape, np.uint8)
        cv2.putText(ink, str(text), at, cv2.FONT_HERSHEY_SIMPLEX, size / 60, 255, 2)
        light[ink > 0] = shade
        return
    cv2.fillPoly(light, [fixed], shade, cv2.LINE_AA, 4)


def _both(s: NDArray[np.float64], upper: NDArray[np.float64], lower: NDArray[np.float64]):
    return np.concatenate([np.stack([s, upper], 1), np.stack([s, -lower], 1)[::-1]])


def _bar(rng: Random, size: float) -> NDArray[np.float64]:
    half = size * rng.uniform(0.05, 0.5)
    return np.array([[0, half], [size, half], [size, -half], [0, -half]])


def _disc(rng: Random, size: float) -> NDArray[np.float64]:
    turn = np.linspace(0, 2 * np.pi, 120)
    return size / 2 * np.stack([np.cos(turn), rng.uniform(0.5, 1) * np.sin(turn)], 1)


def _hexagon(rng: Random, size: float) -> NDArray[np.float64]:
    turn = np.arange(6) * np.pi / 3
    return size / 2 * np.stack([np.cos(turn), np.sin(turn)], 1)


def _comb(rng: Random, size: float) -> NDArray[np.float64]:
    """Square teeth on both sides: splines, fins, a rack."""
    s = np.linspace(0, size, 400)
    period, depth = size / rng.uniform(3, 20), size * rng.uniform(0.02, 0.2)
    half = size * rng.uniform(0.1, 0.3)
    lag = rng.uniform(0, 1)
    upper = half + depth * (np.mod(s / period, 1) < 0.5)
    return _both(s, upper, half + depth * (np.mod(s / period + lag, 1) < 0.5))


def _saw(rng: Random, size: float) -> NDArray[np.float64]:
    """Hose barbs: one steep and one long flank, both sides in step."""
    s = np.linspace(0, size, 400)
    period, depth = size / rng.uniform(3, 10), size * rng.uniform(0.02, 0.1)
    side = size * rng.uniform(0.1, 0.3) + depth * np.mod(s / period, 1)
    return _both(s, side, side)


def _one_sided(rng: Random, size: float) -> NDArray[np.float64]:
    """Teeth on one side only: a key, a saw blade, a rack."""
    s = np.linspace(0, size, 400)
    period, depth = size / rng.uniform(3, 20), size * rng.uniform(0.02, 0.2)
    half = np.full_like(s, size * rng.uniform(0.1, 0.3))
    return _both(s, half + depth * np.abs(np.mod(2 * s / period, 2) - 1), half)


def _wave(rng: Random, size: float) -> NDArray[np.float64]:
    """A bent tube: both sides swing together, one out where the other is in."""
    s = np.linspace(0, size, 400)
    swing = size * rng.uniform(0.01, 0.1) * np.sin(2 * np.pi * s / size * rng.uniform(1, 6))
    half = size * rng.uniform(0.05, 0.2)
    return _both(s, half + swing, half - swing)


def _star(rng: Random, size: float) -> NDArray[np.float64]:
    teeth = int(rng.integers(5, 40))
    turn = np.linspace(0, 2 * np.pi, 8 * teeth)
    radius = size / 2 * (1 - rng.uniform(0.05, 0.4) * (np.cos(teeth * turn) > 0))
    return radius[:, None] * np.stack([np.cos(turn), np.sin(turn)], 1)


def _blob(rng: Random, size: float) -> NDArray[np.float64]:
    turn = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    radius = (
        size
        / 2
        * (
            1
            + sum(
                rng.normal(0, 0.2 / k) * np.cos(k * turn + rng.uniform(0, 6)) for k in range(1, 6)
            )
        )
    )
    return np.abs(radius)[:, None] * np.stack([np.cos(turn), np.sin(turn)], 1)


def _photographed(rng: Random, light: Drawing) -> Image:
    """Blur, noise, tone curve, sometimes colour, sometimes stripes or noise instead."""
    kind = rng.random()
    if kind < 0.04:
        light = rng.random(light.shape, np.float32)
    elif kind < 0.08:
        y, x = np.indices(light.shape)
        cell = int(rng.integers(2, 60))
        light = ((y // cell + x // cell) % 2).astype(np.float32) * 0.9
    if rng.random() < 0.85:
        light = cv2.GaussianBlur(light, (0, 0), float(rng.uniform(0.3, 3)))
    light = light + rng.normal(0, rng.uniform(0, 0.02), light.shape).astype(np.float32)
    coded = np.clip(light, 0, 1) ** (1 / 2.2) * 255
    grey = np.rint(coded).astype(np.uint8)
    if rng.random() < 0.5:
        return grey
    tint = rng.uniform(0.7, 1.0, 3)
    return np.rint(np.clip(grey[:, :, None] * tint, 0, 255)).astype(np.uint8)
