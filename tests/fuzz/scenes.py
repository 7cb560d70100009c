"""Drawn pictures without a thread: what lies on a light, and what looks as if it might be one."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]
Drawing = NDArray[np.float32]
Random = np.random.Generator
Maker = Callable[[Random, float], NDArray[np.float64]]


def plain_scene(rng: Random) -> Image:
    """Return a small picture of anything, as the fuzz throws them by the hundred thousand."""
    height, width = (int(rng.integers(80, 520)) for _ in range(2))
    light = _light(rng, (height, width))
    for _ in range(int(rng.integers(0, 5))):
        size = float(rng.uniform(10, 0.7 * max(height, width)))
        turn = rng.uniform(0, 2 * np.pi) if rng.random() < 0.8 else 0.0
        centre = rng.uniform(0, 1, 2) * [width, height]
        _, points = _object(rng, size)
        if rng.random() < 0.1:
            _write(rng, light, (size, centre))
        else:
            _fill(rng, light, points @ _turned(turn) + centre)
    return _photographed(rng, light)


def laid_scene(rng: Random, sides_px: tuple[int, int]) -> tuple[Image, tuple[str, ...]]:
    """Return a picture as a careful hand takes it, of no part that has a thread, and what it shows.

    One to three objects lie whole beside one another, more or less upright, on an even light.

    Parameters
    ----------
    sides_px
        The least and the most of the picture's width and height.
    """
    low, high = (np.log(v) for v in sides_px)
    height, width = (int(np.exp(rng.uniform(low, high))) for _ in range(2))
    light = _light(rng, (height, width))
    count, shown = int(rng.integers(1, 4)), []
    for place in range(count):
        lane = 0.8 * width / count
        name, points = _object(rng, 1.0)
        points = points @ _turned(np.pi / 2 + rng.normal(0, 0.1))
        size = np.ptp(points, axis=0)
        # Not so large that it reaches the border, nor so small that no tooth is seen.
        scale = min(0.75 * lane / size[0], 0.7 * height / size[1]) * rng.uniform(0.6, 1.0)
        middle = (points.max(axis=0) + points.min(axis=0)) / 2
        centre = np.array([0.1 * width + (place + 0.5) * lane, height / 2])
        _fill(rng, light, (points - middle) * scale + centre)
        shown.append(name)
    return _coded(rng, light, rng.uniform(0.4, 1.5), rng.uniform(0.003, 0.012)), tuple(shown)


def _light(rng: Random, shape: tuple[int, int]) -> Drawing:
    height, width = shape
    light: Drawing = np.full(shape, rng.uniform(0.5, 0.95), np.float32)
    if rng.random() < 0.4:  # the light is a window in a dark frame
        level = float(light[0, 0])
        light[:] = rng.uniform(0.0, 0.08)
        y, x = int(rng.integers(0, height // 12)), int(rng.integers(0, width // 12))
        light[y : height - y // 2, x : width - x // 2] = level
    return light


def _turned(turn: float) -> NDArray[np.float64]:
    c, s = np.cos(turn), np.sin(turn)
    return np.array([[c, s], [-s, c]])


def _object(rng: Random, size: float) -> tuple[str, NDArray[np.float64]]:
    makers: tuple[Maker, ...] = (
        _bar,
        _disc,
        _hexagon,
        _comb,
        _saw,
        _one_sided,
        _blob,
        _wave,
        _star,
        _grooves,
        _spring,
    )
    maker = makers[int(rng.integers(len(makers)))]
    return maker.__name__.lstrip("_"), maker(rng, size)


def _fill(rng: Random, light: Drawing, points: NDArray[np.float64]) -> None:
    fixed = np.round(points * 16).astype(np.int32)
    cv2.fillPoly(light, [fixed], float(rng.uniform(0.0, 0.2)), cv2.LINE_AA, 4)


def _write(rng: Random, light: Drawing, at: tuple[float, NDArray[np.float64]]) -> None:
    size, centre = at
    text = rng.choice(["M10", "1/2 NPT", "|||||||", "VVVVVVVV", "MWMWMWMW"])
    place = tuple(int(v) for v in centre)
    ink = np.zeros(light.shape, np.uint8)
    cv2.putText(ink, str(text), place, cv2.FONT_HERSHEY_SIMPLEX, size / 60, 255, 2)
    light[ink > 0] = float(rng.uniform(0.0, 0.2))


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


def _grooves(rng: Random, size: float) -> NDArray[np.float64]:
    """Rings turned into a bar: a thread's profile, but both sides in step: nothing winds."""
    s = np.linspace(0, size, 800)
    period = size / rng.uniform(4, 25)
    half, tan = size * rng.uniform(0.05, 0.3), np.tan(np.radians(rng.uniform(25, 65)))
    rise = np.abs(2 * np.mod(s / period, 1) - 1) * period / (2 * tan)
    side = half + np.clip(rise, 0.1 * period / tan, 0.4 * period / tan)
    return _both(s, side, side)


def _spring(rng: Random, size: float) -> NDArray[np.float64]:
    """A coil spring wound close: round wires side by side, those behind half a step on."""
    s = np.linspace(0, size, 800)
    period = size / rng.uniform(4, 25)
    half = size * rng.uniform(0.05, 0.3)

    def wires(lag: float) -> NDArray[np.float64]:
        across = 2 * np.mod(s / period + lag, 1) - 1
        return half + period / 2 * np.sqrt(1 - across**2)

    return _both(s, wires(0.0), wires(0.5))


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
    blur_px = rng.uniform(0.3, 3) if rng.random() < 0.85 else 0.0
    return _coded(rng, light, blur_px, rng.uniform(0, 0.02))


def _coded(rng: Random, light: Drawing, blur_px: float, noise: float) -> Image:
    if blur_px:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), blur_px), np.float32)
    light = light + rng.normal(0, noise, light.shape).astype(np.float32)
    coded = np.clip(light, 0, 1) ** (1 / 2.2) * 255
    grey = np.rint(coded).astype(np.uint8)
    if rng.random() < 0.5:
        return grey
    tint = rng.uniform(0.7, 1.0, 3)
    return np.rint(np.clip(grey[:, :, None] * tint, 0, 255)).astype(np.uint8)
