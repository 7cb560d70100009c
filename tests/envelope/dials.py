"""The dials: what is turned, how far, and a setting of all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np


@dataclass(frozen=True, kw_only=True)
class Setting:
    """How one photo is taken; the defaults are a careful photo.

    Blur and motion are shares of the pitch as seen, ``wear`` a share of the thread's depth,
    ``distortion`` how much further out the picture's corner lies. ``level`` is the light behind as
    a share of full scale (over 1 clips), ``uneven`` what it loses from one side to the other.
    """

    px_per_pitch: float = 30.0
    turns: float = 9.0
    tilt_deg: float = 0.0
    incline_deg: float = 0.0
    off_middle_mm: float = 0.0
    blur: float = 0.02
    motion: float = 0.0
    sharpening: float = 0.4
    level: float = 0.72
    glare: float = 0.01
    uneven: float = 0.05
    noise: float = 1.0
    dirt: float = 0.0
    wear: float = 0.0
    distortion: float = 0.0
    jpeg: float = 92.0
    zoom: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Dial:
    """A field of Setting, the values it is turned to, and how people are told of it."""

    name: str
    values: tuple[float, ...]
    label: str
    falling: bool = False


DIALS = {
    d.name: d
    for d in (
        Dial(
            name="px_per_pitch",
            values=(45, 20, 15, 12, 9, 7),
            falling=True,
            label="pixels per pitch",
        ),
        Dial(name="turns", values=(14, 7, 5, 4, 3, 2), label="turns of thread seen", falling=True),
        Dial(name="tilt_deg", values=(2, 4, 6, 9, 13), label="camera out of square, degrees"),
        Dial(name="incline_deg", values=(2, 4, 7, 10, 15), label="part out of level, degrees"),
        Dial(
            name="off_middle_mm", values=(6, 12, 18, 24), label="part off the picture's middle, mm"
        ),
        Dial(name="blur", values=(0.04, 0.07, 0.1, 0.14, 0.2), label="defocus, sigma over pitch"),
        Dial(name="motion", values=(0.05, 0.1, 0.2, 0.3, 0.45), label="motion, length over pitch"),
        Dial(name="sharpening", values=(0.0, 0.8, 1.5, 2.5), label="sharpening, amount"),
        Dial(
            name="level", values=(0.1, 0.2, 0.4, 0.9, 1.1, 1.6), label="light behind, of full scale"
        ),
        Dial(name="glare", values=(0.05, 0.1, 0.2, 0.35), label="stray light, share"),
        Dial(
            name="uneven", values=(0.2, 0.4, 0.6, 0.8), label="light lost from side to side, share"
        ),
        Dial(name="noise", values=(4, 16, 50), label="sensor gain"),
        Dial(name="dirt", values=(0.3, 1.0, 2.0, 4.0), label="specks on the thread, per mm"),
        Dial(name="wear", values=(0.1, 0.2, 0.35, 0.5), label="crests worn, share of the depth"),
        Dial(
            name="distortion", values=(-0.01, 0.006, 0.012, 0.025), label="distortion at the corner"
        ),
        Dial(name="jpeg", values=(80, 60, 40, 25, 12), label="JPEG quality", falling=True),
        Dial(name="zoom", values=(1.5, 2, 3), label="digital zoom"),
    )
}

#: Settings in which the name is to stay right; both ends are drawn from, evenly. What each end is
#: was read off the curves of one seed; the photos that prove it are drawn with another.
WITHIN: dict[str, tuple[float, float]] = {
    "px_per_pitch": (20, 45),
    "turns": (6, 14),
    "tilt_deg": (0, 3),
    "incline_deg": (0, 3),
    "off_middle_mm": (0, 10),
    "blur": (0.015, 0.05),
    "motion": (0, 0.05),
    "sharpening": (0, 1),
    "level": (0.4, 0.9),
    "glare": (0, 0.05),
    "uneven": (0, 0.3),
    "noise": (1, 8),
    "dirt": (0, 0.1),
    "wear": (0, 0.05),
    "distortion": (-0.004, 0.004),
    "jpeg": (75, 96),
    "zoom": (1, 1.5),
}
#: How far careless photos go. Some dials may be anywhere between these, or all of them.
ANY: dict[str, tuple[float, float]] = {
    "px_per_pitch": (7, 45),
    "turns": (2, 14),
    "tilt_deg": (0, 13),
    "incline_deg": (0, 12),
    "off_middle_mm": (0, 24),
    "blur": (0.015, 0.2),
    "motion": (0, 0.3),
    "sharpening": (0, 2.5),
    "level": (0.15, 1.5),
    "glare": (0, 0.3),
    "uneven": (0, 0.7),
    "noise": (1, 40),
    "dirt": (0, 3),
    "wear": (0, 0.4),
    "distortion": (-0.02, 0.02),
    "jpeg": (15, 96),
    "zoom": (1, 3),
}


def turned(name: str, value: float) -> Setting:
    """Return the careful setting with one dial turned."""
    start = Setting()
    if name == "distortion":  # in the middle nothing is distorted
        start = replace(start, off_middle_mm=16.0)
    return replace(start, **{name: float(value)})


def drawn(rng: np.random.Generator, ranges: dict[str, tuple[float, float]]) -> Setting:
    """Return a setting with every dial drawn at random between its two ends."""
    names = [f.name for f in fields(Setting)]
    return Setting(**{n: float(rng.uniform(*ranges[n])) for n in names})


def careless(rng: np.random.Generator, bad: int) -> Setting:
    """Return a setting with some dials anywhere, and the others within the limits."""
    names = list(ANY)
    ranges = WITHIN | {names[i]: ANY[names[i]] for i in rng.permutation(len(names))[:bad]}
    return drawn(rng, ranges)


def base_value(name: str) -> float:
    """Return where a dial stands in the careful setting."""
    return float(getattr(Setting(), name))


def order(dial: Dial) -> Sequence[float]:
    """Return all values of a dial, its base included, from good to bad where it has one way."""
    values = sorted({*dial.values, base_value(dial.name)})
    return values[::-1] if dial.falling else values
