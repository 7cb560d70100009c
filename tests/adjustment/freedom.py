"""What a picture tells of a thread angle when crests, roots, blur and light are not known either.

The bound of :func:`tests.adjustment.bound.whole_bounds` counts straight flanks of known ends under
known light. Whoever measures a thread knows none of that: how high and how round crests and roots
are, how wide the blur is, and how much of the panel each flank mirrors next to its edge, more at
its top than at its foot. Here one ridge is drawn pixel by pixel, and Cramer and Rao's bound of its
angle is taken with all of these free, one group after the other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.ndimage import gaussian_filter

from tests.adjustment.bound import BLUR_PX, DARK, LIT, NOISE, Whole, whole_bounds
from tests.objects.drawing import encode

#: Samples a pixel, either way, and what is drawn beside crests and roots, pixels.
FINE, BESIDE_PX = 8, 5
#: Flats of crest and root in pitches, as they are drawn, and the tangent of the half angle.
CREST_FLAT, ROOT_FLAT, TAN = 1 / 8, 1 / 4, 1 / np.sqrt(3.0)
#: How deep inside an edge mirrored light reaches, pixels: any mixture of these.
DEPTHS_PX = (0.7, 2.5)


@dataclass(frozen=True, kw_only=True)
class Ridge:
    """One ridge, its middle at 0; lengths in pitches, heights over the pitch line, blur in pixels.

    ``plus`` and ``minus`` are the tangents of the half angles; ``crest_round`` and ``root_round``
    are 1 where no flat is left. ``mirrored`` is the light beside both flanks, at foot and top and
    for either depth, as a share of the panel's, (8,).
    """

    plus: float = TAN
    minus: float = TAN
    phase: float = 0.0
    width: float = 0.5
    crest: float = (0.5 - CREST_FLAT) / 2 / TAN
    root: float = -(0.5 - ROOT_FLAT) / 2 / TAN
    crest_round: float = 0.0
    root_round: float = 0.0
    blur: float = BLUR_PX
    lit: float = LIT
    dark: float = DARK
    mirrored: tuple[float, ...] = (0.0,) * 8

    def radius(self, z: np.ndarray) -> np.ndarray:
        """Return the height of the outline at stations in pitches."""
        place = np.mod(z - self.phase + 0.5, 1.0) - 0.5
        tan = np.where(place > 0, self.plus, self.minus)
        across = np.abs(place)
        height = np.clip((self.width / 2 - across) / tan, self.root, self.crest)
        for top, share, way, ends in (
            (self.crest, self.crest_round, 1.0, 0.0),
            (self.root, self.root_round, -1.0, 0.5),
        ):
            # A circle that touches flat and flank, as far from the corner on either.
            corner = self.width / 2 - tan * top
            turn = np.pi / 2 - np.arctan(tan)
            reach = share * np.abs(corner - ends)
            size = reach / np.tan(turn / 2)
            from_flat = way * (across - corner) + reach
            on = (from_flat > 0) & (from_flat < reach * (1 + np.cos(turn)))
            bow = size - np.sqrt(np.maximum(size**2 - from_flat**2, 0.0))
            height = np.where(on, top - way * bow, height)
        return height


def drawn(ridge: Ridge, px: float) -> np.ndarray:
    """Return the coded values of one pitch of one side, pixel by pixel."""
    wide = round(px)
    low = int(np.floor(ROOT_LOW * px)) - BESIDE_PX
    high = int(np.ceil(CREST_HIGH * px)) + BESIDE_PX
    z = (np.arange(wide * FINE) + 0.5) / FINE / wide - 0.5
    y = (np.arange((high - low) * FINE) + 0.5) / FINE + low
    out = ridge.radius(z) * px
    free = np.clip((y[:, None] - out) * FINE + 0.5, 0.0, 1.0)
    light = free.copy()
    share = np.clip((y[:, None] / px - ridge.root) / (ridge.crest - ridge.root), 0.0, 1.0)
    for i, side in enumerate((1.0, -1.0)):
        tan = ridge.plus if side > 0 else ridge.minus
        place = side * (z - ridge.phase)
        inside = ((ridge.width / 2 - place) * px - tan * y[:, None]) / np.hypot(1.0, tan)
        own = (place > 0) & (inside > 0) & (y[:, None] < ridge.crest * px)
        for j, depth in enumerate(DEPTHS_PX):
            foot, top = ridge.mirrored[4 * i + 2 * j : 4 * i + 2 * j + 2]
            if foot or top:
                band = np.exp(-np.maximum(inside, 0.0) / depth) * own * (1 - free)
                light += band * (foot * (1 - share) + top * share)
    blurred = gaussian_filter(light, ridge.blur * FINE, mode=("nearest", "wrap"))
    pixels = blurred.reshape(high - low, FINE, wide, FINE).mean(axis=(1, 3))
    return np.asarray(encode(ridge.dark + (ridge.lit - ridge.dark) * pixels))


CREST_HIGH, ROOT_LOW = Ridge().crest, Ridge().root

#: Groups of what is not known, each with those before it, and the steps of their differences. A
#: sharp corner changes with the square of its roundness, so that its step is a large one.
FREE: dict[str, tuple[tuple[str, float], ...]] = {
    "place": (("phase", 1e-3), ("width", 1e-3)),
    "form": (("crest", 1e-3), ("root", 1e-3), ("crest_round", 0.3), ("root_round", 0.3)),
    "blur and levels": (("blur", 1e-2), ("lit", 1e-3), ("dark", 1e-3)),
    "mirrored light": tuple((f"mirrored {k}", 1e-2) for k in range(8)),
}


def _slope(px: float, name: str, step: float) -> np.ndarray:
    at = Ridge()
    if name.startswith("mirrored"):
        place = int(name.split()[1])
        moved = replace(at, mirrored=tuple(step * (k == place) for k in range(8)))
        return ((drawn(moved, px) - drawn(at, px)) / step).ravel()
    moved = replace(at, **{name: getattr(at, name) + step})
    return ((drawn(moved, px) - drawn(at, px)) / step).ravel()


@cache
def freed_deg(px: float) -> dict[str, float]:
    """Return the bound of the included angle by one ridge of one side, degrees, by group of FREE.

    Both halves are free; each group is free together with those before it.
    """
    noise = np.hypot(NOISE, 1 / 255 / np.sqrt(12))
    columns = [_slope(px, "plus", 1e-3), _slope(px, "minus", 1e-3)]
    by_tan = np.degrees(1 / (1 + TAN**2))
    out = {}
    for group, members in FREE.items():
        columns += [_slope(px, name, step) for name, step in members]
        slopes = np.stack(columns, axis=1) / noise
        covariance = np.linalg.inv(slopes.T @ slopes)[:2, :2]
        out[group] = float(by_tan * np.sqrt(covariance.sum()))
    return out


def freed_bounds(px: float, turns: float) -> dict[str, float]:
    """Return the bounds of a thread of so many turns, of which each shows two sides, degrees.

    What is free is alike on all ridges of a thread but for their place, as its forms and light are.
    """
    return {group: u / np.sqrt(2 * turns) for group, u in freed_deg(px).items()}


def freed(cells: list[Whole]) -> list[Whole]:
    """Return cells whose bound of the angle is that with all of FREE free."""
    last = list(FREE)[-1]
    return [
        replace(c, bounds={"angle_deg": freed_bounds(c.px_per_pitch, c.turns)[last]}) for c in cells
    ]


def table(sizes: tuple[float, ...], turns: int = 8) -> str:
    """Return the bounds by pixels a pitch, beside that of straight flanks of known ends."""
    head = f"{'px/pitch':>8}{'flanks':>10}" + "".join(f"{group:>18}" for group in FREE)
    rows = [head + f"   (degrees, {turns} turns; each with those before it free)"]
    for px in sizes:
        known = whole_bounds(px, turns)["angle_deg"]
        each = "".join(f"{u:>18.4f}" for u in freed_bounds(px, turns).values())
        rows.append(f"{px:>8.0f}{known:>10.4f}{each}")
    return "\n".join(rows)
