"""Soft darker areas on the light: grease and dried drops on the glass, a shadow thrown on it.

A stain lets through a share of the light that changes slowly from place to place. What lies on the
light ends within the photo's blur, and so does its picture; a stain ends softly, over a dozen blurs
and more. What it takes is undone like the backdrop's own fall-off, beside parts as well.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass

Floats = NDArray[np.float32]
Values = NDArray[np.float64]
Mask = NDArray[np.uint8]

#: Noise is smoothed over so many points of the shrunk picture (standard deviation) first.
SMOOTH = 1.5
#: Light that changes by less than this share from point to point ends softly. An edge blurred by s
#: points falls by 0.22 / s a point where 0.86 of the light is left: 0.03 is a blur of 29 pixels.
#: In 264 photos of clean glass no wide dark area's border has less than 0.067 there; of 130 stains
#: that take 16 or 30 % none has over 0.019.
STEEP = 0.03
#: A stain is at least so wide: of a part far out of focus a narrower strip is as light.
WIDE = 13
#: Darker than this share of the light, no soft area is taken for a stain.
DARKEST = 0.35
#: A stain that runs on to parts has a sharp border there: so much of it, at least, is soft.
SOFT_SHARE = 0.2
#: Light is read so many points clear of what is sharp: its edge has ended there.
CLEAR = 3
#: An area of light is background if its brightest (percentile) reach this share of the backdrop; a
#: part's face that mirrors the light does not, shut in by sharp edges.
PLAIN, BRIGHTEST = 0.95, 95
#: Across what hides the light the stain goes on evenly: so many rounds on each scale settle it.
ROUNDS = 8


@dataclass(frozen=True, kw_only=True)
class Stain:
    """The share of the light that stains let through, (channels, h, w), of the shrunk picture.

    Its points lie ``step_px`` apart from ``first_px`` on; ``darkest`` is what is left of the light
    where most is gone.
    """

    share: Floats
    first_px: float
    step_px: float
    darkest: float

    def light(self, x: Values, y: Values) -> Floats:
        """Return the share at points, (channels, *shape of x and y broadcast)."""
        shape = np.broadcast_shapes(np.shape(x), np.shape(y))
        at = [
            np.broadcast_to((np.asarray(v, float) - self.first_px) / self.step_px, shape)
            .astype(np.float32)
            .reshape(shape[0] if shape else 1, -1)
            for v in (x, y)
        ]
        found = [
            cv2.remap(plane, at[0], at[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            for plane in self.share
        ]
        return np.stack([np.asarray(plane, np.float32).reshape(shape) for plane in found])


def find_stain(
    relative: Floats, ratio: Floats, inner: Mask, level: float, step_px: float
) -> Stain | None:
    """Find soft areas that are so dark that they would pass for objects; None where there are none.

    Parameters
    ----------
    relative
        Light of the shrunk picture against the backdrop, (channels, h, w).
    ratio
        The least of its channels, (h, w).
    inner
        Where the light shines, clear of its own border, (h, w).
    level
        Share of the light under which a point belongs to an object.
    step_px
        How many pixels lie between two points; the first one lies in the middle of as many.
    """
    seen = _smooth(ratio)
    dark = ((seen < level) & (seen > DARKEST) & (inner > 0)).astype(np.uint8)
    wide: Any = cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((WIDE, WIDE), np.uint8))
    if not wide.any():
        return None
    steep = _steepness(seen)
    stained = _soft(wide, _grown((seen >= level).astype(np.uint8), 2), steep)
    if not stained.any():
        return None
    on_light = _on_light(seen, (steep > STEEP) | (inner == 0))
    share = np.stack([_through(_smooth(plane), on_light) for plane in relative])
    return Stain(
        share=share,
        first_px=(step_px - 1) / 2,
        step_px=step_px,
        darkest=float(share[:, stained & on_light].min(initial=1.0)),
    )


def _smooth(plane: Floats) -> Floats:
    return np.asarray(cv2.GaussianBlur(plane, (0, 0), SMOOTH), np.float32)


def _grown(mask: Mask, by: int) -> Mask:
    return np.asarray(cv2.dilate(mask, np.ones((2 * by + 1, 2 * by + 1), np.uint8)), np.uint8)


def _steepness(plane: Floats) -> Floats:
    """Return by how much light changes from point to point, (h, w)."""
    x, y = (cv2.Sobel(plane, cv2.CV_32F, i, 1 - i, scale=1 / 8) for i in (1, 0))
    return np.asarray(np.hypot(x, y), np.float32)


def _soft(wide: Mask, beside: Mask, steep: Floats) -> NDArray[np.bool_]:
    """Return which of the wide dark areas end softly against the light ``beside`` them."""
    count, labels = cv2.connectedComponents(wide, connectivity=4)
    border = labels[beside > 0]
    all_of = np.bincount(border, minlength=count)
    soft = np.bincount(border[steep[beside > 0] < STEEP], minlength=count)
    ends_softly = (all_of > 0) & (soft > SOFT_SHARE * all_of)
    ends_softly[0] = False
    return np.asarray(ends_softly[labels])


def _on_light(seen: Floats, sharp: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return where the background is seen, stained or not, clear of all that ends sharply."""
    clear = (_grown(sharp.astype(np.uint8), CLEAR) == 0).astype(np.uint8)
    count, labels = cv2.connectedComponents(clear, connectivity=4)
    bright = np.bincount(labels[seen > PLAIN].ravel(), minlength=count)
    light = bright * (100.0 / (100 - BRIGHTEST)) > np.bincount(labels.ravel(), minlength=count)
    light[0] = False
    return np.asarray(light[labels])


def _through(plane: Floats, on_light: NDArray[np.bool_]) -> Floats:
    """Return the share of the light that is let through, carried on to where it is not seen."""
    log_share = np.asarray(np.log(np.maximum(plane, DARKEST)), np.float32)
    return np.asarray(np.exp(_carried(log_share, on_light.astype(np.float32))), np.float32)


def _carried(values: Floats, known: Floats) -> Floats:
    """Return values carried on evenly from where they are known, coarse scales first."""
    h, w = values.shape
    there = known > 0
    if there.all() or min(h, w) < 2:
        level = float((values * known).sum() / max(float(known.sum()), 1e-6))
        return np.asarray(np.where(there, values, level), np.float32)
    half = ((w + 1) // 2, (h + 1) // 2)
    weight = np.asarray(cv2.resize(known, half, interpolation=cv2.INTER_AREA), np.float32)
    total = np.asarray(cv2.resize(values * known, half, interpolation=cv2.INTER_AREA), np.float32)
    mean = np.asarray(total / np.maximum(weight, 1e-6), np.float32)
    coarse = _carried(mean, weight)
    out = np.asarray(cv2.resize(coarse, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)
    for _ in range(ROUNDS):
        out = np.where(there, values, out)
        out = np.where(there, values, cv2.blur(out, (3, 3)))
    return out
