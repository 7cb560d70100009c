"""What a picture tells of a thread angle when crests, roots, blur and light are not known either.

The bound of :func:`tests.adjustment.bound.known_bounds` counts straight flanks of known ends under
known light. Whoever measures a thread knows none of that: how high and how round crests and roots
are, how wide the blur is, and how much of the panel each flank mirrors next to its edge, more at
its top than at its foot. Here one ridge is drawn pixel by pixel, and Cramer and Rao's bound of its
angle is taken with all of these free, one group after the other, and with what the fit takes as
known of the light beforehand as information.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr, ndtri

from pitchcam.edges.flank_place import U_BACKGROUND
from pitchcam.edges.flank_rise import U_TRACE_PX
from pitchcam.objects.contour import LIT_LEVEL
from samples.forms import Form
from tests.adjustment.bound import BLUR_PX, DARK, LIT, NOISE, known_bounds
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


#: The ridge of ISO 68-1's basic form, which studs without another are drawn with.
BASIC = Ridge()


def ridge_of(form: Form) -> Ridge:
    """Return the ridge of a standard form, whose roundings leave no flat."""
    return Ridge(
        plus=float(np.tan(form.half_angle)),
        minus=float(np.tan(form.half_angle)),
        crest=form.crest_height,
        root=-form.root_depth,
        crest_round=float(form.crest_radius is not None),
        root_round=float(form.root_radius is not None),
    )


def drawn(ridge: Ridge, px: float, around: Ridge | None = None) -> np.ndarray:
    """Return the coded values of one pitch of one side, pixel by pixel.

    The picture is as high as ``around`` needs, the ridge itself by default.
    """
    wide, around = round(px), around or ridge
    low = int(np.floor(around.root * px)) - BESIDE_PX
    high = int(np.ceil(around.crest * px)) + BESIDE_PX
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


#: Groups of what is not known, each with those before it, and the steps of their differences. A
#: sharp corner changes with the square of its roundness, so that its step is a large one.
FREE: dict[str, tuple[tuple[str, float], ...]] = {
    "place": (("phase", 1e-3), ("width", 1e-3)),
    "form": (("crest", 1e-3), ("root", 1e-3), ("crest_round", 0.3), ("root_round", 0.3)),
    "blur and levels": (("blur", 1e-2), ("lit", 1e-3), ("dark", 1e-3)),
    "mirrored light": tuple((f"mirrored {k}", 1e-2) for k in range(8)),
}


def _slope(at: Ridge, px: float, name: str, step: float) -> np.ndarray:
    if name.startswith("mirrored"):
        place = int(name.split()[1])
        moved = replace(at, mirrored=tuple(step * (k == place) for k in range(8)))
    else:
        now = getattr(at, name)
        # What is round whole can only be less so.
        step = -step if name.endswith("_round") and now == 1.0 else step
        moved = replace(at, **{name: now + step})
    return np.asarray((drawn(moved, px, at) - drawn(at, px)) / step).ravel()


def level_shifts() -> np.ndarray:
    """Return how far light of either depth moves the fit's level outward, pixels, (2,).

    To the first order, of light as bright as the panel at the edge.
    """
    level = float(ndtri(LIT_LEVEL)) * BLUR_PX
    steepness = float(np.exp(-0.5 * (level / BLUR_PX) ** 2) / np.sqrt(2 * np.pi) / BLUR_PX)
    shifts = []
    for depth in DEPTHS_PX:
        # A step that falls off as exp(-x / depth), blurred: the closed form of both.
        wide = BLUR_PX / depth
        tail = ndtr(-(level / BLUR_PX + wide))
        shifts.append(np.exp(level / depth + wide**2 / 2) * tail / steepness)
    return np.array(shifts)


def light_prior() -> np.ndarray:
    """Return what the fit takes as known of the light beside one ridge, as information (8, 8).

    How far its light moves the level from a flank's foot to its top is known to U_TRACE_PX.
    """
    rise = np.ravel([[-h, h] for h in level_shifts()]) / U_TRACE_PX
    out = np.zeros((8, 8))
    out[:4, :4] = out[4:, 4:] = np.outer(rise, rise)
    return out


@cache
def _slopes(px: float, at: Ridge) -> np.ndarray:
    noise = np.hypot(NOISE, 1 / 255 / np.sqrt(12))
    steps = [("plus", 1e-3), ("minus", 1e-3), *(m for of in FREE.values() for m in of)]
    return np.stack([_slope(at, px, name, step) for name, step in steps], axis=1) / noise


def freed(px: float, turns: float, at: Ridge = BASIC) -> dict[str, dict[str, float]]:
    """Return bounds by group of FREE, each free together with those before it.

    ``angle_deg`` is that of the included angle, both halves free; ``crest`` that of the crests'
    height in pitches over both sides' mean, where form is free.

    What is free is alike on all ridges of a side but for their place, as its forms and light are;
    the priors of the light and of its level, of each side, are information beside them.
    """
    slopes, used, out = _slopes(px, at), 2, {}
    prior = np.zeros((slopes.shape[1], slopes.shape[1]))
    names = ["plus", "minus", *(name for of in FREE.values() for name, _ in of)]
    prior[names.index("lit"), names.index("lit")] = (U_BACKGROUND * LIT) ** -2
    prior[-8:, -8:] = light_prior()
    turned = np.degrees([1 / (1 + at.plus**2), 1 / (1 + at.minus**2)])
    for group, members in FREE.items():
        used += len(members)
        of = slopes[:, :used]
        covariance = np.linalg.inv(turns * of.T @ of + prior[:used, :used]) / 2
        out[group] = {"angle_deg": float(np.sqrt(turned @ covariance[:2, :2] @ turned))}
        if "crest" in names[:used]:
            crest = names.index("crest")
            out[group]["crest"] = float(np.sqrt(covariance[crest, crest]))
    return out


def table(sizes: tuple[float, ...], turns: int = 8) -> str:
    """Return the bounds by pixels a pitch, beside that of straight flanks of known ends."""
    head = f"{'px/pitch':>8}{'flanks':>10}" + "".join(f"{group:>18}" for group in FREE)
    rows = [head + f"   (degrees, {turns} turns; each with those before it free)"]
    for px in sizes:
        known = known_bounds(px, turns)["angle_deg"]
        each = "".join(f"{u['angle_deg']:>18.4f}" for u in freed(px, turns).values())
        rows.append(f"{px:>8.0f}{known:>10.4f}{each}")
    return "\n".join(rows)
