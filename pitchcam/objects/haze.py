"""Light that a greasy or hazy lens spreads over some ten pixels: found beside edges, and undone.

What the light beside an object loses to it, the object's edge gains. A panel that a part shades
loses light outside alone, and metal that mirrors gains it inside alone: so both sides have to tell
the same share. In a groove, with dark on either side, more light is lost than at a crest: flanks
that are read at one level turn by a degree for every four percent that is spread so.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass

Floats = NDArray[np.float32]
Values = NDArray[np.float64]

#: Widths of the spread light that are tried, standard deviations in points of the shrunk picture,
#: the first that is asked whether there is any, and the least that is no blur of the edges' own.
WIDTHS, FIRST, NARROWEST = (1.0, 1.25, 1.75, 2.5, 3.5, 5.0), 2.5, 1.5
#: Less than this share at the first width is none that could matter: half of 69 renders by clean
#: lenses (shares of 0.008 to 0.025 of 7 pixels) show 0.008 and less.
SCREENED = 0.012
#: Shares from here on are undone, but for what clean lenses spread, with which all else that is
#: known of edges was found (renders); a larger share than the last is no lens's.
LEAST, USUAL, MOST = 0.025, 0.016, 0.3
#: Shares that both sides tell are one where neither is so many times the other, and a bell explains
#: what is seen inside where it leaves no more of the squares: 26 drawn ones left 0.01 to 0.08.
ALIKE, LEFT = 1.5, 0.1
#: Points of the shrunk picture that tell: so far from an object's border, to either side. Nearer,
#: the blur itself is seen, and a mirrored band.
NEAREST, FARTHEST = 2.2, 8.0
#: Light beside an object that is darker than this share of the background is another shadow.
PLAIN = 0.8
#: Points tell by the means of so many groups, of at least so many points each, less this share of
#: either end of each (dirt, a spot of light); and in so few points nothing is told. Of codes half a
#: percent apart a median would be the same for all groups beside an object.
GROUPS, OF_GROUP, STRAY, FEWEST = 24, 60, 0.1, 480
#: Standard deviations beyond which OpenCV cuts a bell off.
REACH = 4
#: Rounds by which it is undone: of a share of 0.3 a hundredth is left.
ROUNDS = 3


@dataclass(frozen=True, kw_only=True)
class Haze:
    """The share of the light that is spread as a bell, and its standard deviation, pixels."""

    share: float
    width_px: float

    def undone(self, light: Floats) -> Floats:
        """Return light (channels, h, w) as a lens shows it that spreads the usual share alone."""
        share = (self.share - USUAL) / (1 - USUAL)
        return np.stack([_undone(plane, share, self.width_px) for plane in light])


def _undone(light: Floats, share: float, width: float) -> Floats:
    out = light.copy()
    for _ in range(ROUNDS):
        out += light - (1 - share) * out - share * _spread(out, width)
    return out


def _spread(light: Floats, width: float) -> Floats:
    return np.asarray(cv2.GaussianBlur(light, (0, 0), width), np.float32)


def find_haze(ratio: Floats, objects: NDArray[np.uint8], step_px: float) -> Haze | None:
    """Find the light that the lens spreads widely, None where there is no more than usual.

    Parameters
    ----------
    ratio
        Light of the shrunk picture relative to the background's, (h, w).
    objects
        Where objects lie, (h, w): 1; 0 where the light shines, and 2 where neither is told.
    step_px
        How many pixels lie between two points.
    """
    found = (objects == 1).astype(np.uint8)
    if not found.any() or not _screened(ratio, found, objects):
        return None
    beside, within = _beside(ratio, found, objects), _near_border(found)
    if np.count_nonzero(within) < FEWEST:
        return None
    plain = light = np.minimum(ratio, np.float32(1.2))
    width = FIRST
    # What is seen is spread already: undone, it says better what was.
    for _ in range(2):
        best = _width(plain, light, within)
        if best is None:
            return None
        width = best
        spread = _spread(plain, width)
        inside, outside = (_told(spread[on], light[on]) for on in (within, beside))
        share = inside.share
        plain = _undone(light, min(max(share, 0.0), MOST), width)
    alike = 1 / ALIKE < share / max(outside.share, 1e-12) < ALIKE
    if not (alike and inside.left < LEFT and width > NARROWEST and LEAST < share < MOST):
        return None
    return Haze(share=share, width_px=width * step_px)


def _screened(ratio: Floats, found: NDArray[np.uint8], objects: NDArray[np.uint8]) -> bool:
    """Whether light is spread at all, by what lies beside objects; most lenses end here.

    Nothing is looked at that is farther from them than the bell reaches from the points that tell.
    """
    x, y, w, h = cv2.boundingRect(found)
    far = math.ceil(FARTHEST) + math.ceil(REACH * FIRST)
    at = slice(max(y - far, 0), y + h + far), slice(max(x - far, 0), x + w + far)
    beside = _beside(ratio[at], found[at], objects[at])
    if np.count_nonzero(beside) < FEWEST:
        return False
    light = np.minimum(ratio[at], np.float32(1.2))
    return _told(_spread(light, FIRST)[beside], light[beside]).share >= SCREENED


def _beside(
    ratio: Floats, found: NDArray[np.uint8], objects: NDArray[np.uint8]
) -> NDArray[np.bool_]:
    """Return the points on the light that lie near an object, (h, w)."""
    near = _near_border(1 - found)
    near &= (objects == 0) & (ratio > PLAIN)
    return near


def _near_border(mask: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Return the points of a mask that lie as near to its border as is asked, (h, w)."""
    away = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    return np.asarray((away > NEAREST) & (away < FARTHEST))


def _width(plain: Floats, light: Floats, within: NDArray[np.bool_]) -> float | None:
    """Return the width with which the light inside is explained best; None beyond those tried.

    In the dark there is less noise than on the light, and no border of the background's. The
    narrowest may explain as much, by the few points that it tells apart: no valley lies there.
    """
    left = np.array([_told(_spread(plain, width)[within], light[within]).left for width in WIDTHS])
    valleys = 1 + np.flatnonzero((left[1:-1] < left[:-2]) & (left[1:-1] < left[2:]))
    if not len(valleys):
        return None
    best = int(valleys[left[valleys].argmin()])
    near = slice(best - 1, best + 2)
    bend, slope, _ = np.polyfit(np.log(WIDTHS)[near] - np.log(WIDTHS[best]), left[near], 2)
    return float(WIDTHS[best] * np.exp(-slope / (2 * bend)))


@dataclass(frozen=True, kw_only=True)
class _Told:
    """The share that is spread, by one side of the edges, and what it leaves of the squares."""

    share: float
    left: float


def _told(spread: Floats, light: Floats) -> _Told:
    """Tell by means over groups of points in which as much is spread."""
    order, groups = np.argsort(spread), min(GROUPS, len(spread) // OF_GROUP)
    x, y = (
        np.array([_sound(part) for part in np.array_split(values[order], groups)])
        for values in (spread, light)
    )
    x -= x.mean()
    y -= y.mean()
    share = float(x @ y / max(float(x @ x), 1e-12))
    rest = y - share * x
    return _Told(share=share, left=float(rest @ rest / max(float(y @ y), 1e-12)))


def _sound(values: Floats) -> float:
    few = int(STRAY * len(values))
    return float(np.sort(values)[few : len(values) - few].mean(dtype=float))
