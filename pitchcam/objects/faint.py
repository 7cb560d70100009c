"""Threads whose ridges hide their grooves: a ripple of a pixel or less on both sides of a part.

Seen under a slant T the ridges of a thread of radius r leave about 0.1 P^2 / (r T^2) of their
grooves: half a pixel to two of a fine thread near the picture's border. No single crest stands out
of that, but one wave runs through both sides over several turns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.objects.regions import DEPTH_RANGE, Region, Run, pair
from pitchcam.small import median

Values = NDArray[np.float64]

#: Spacings that are looked for, pixels, from the least that is measured; each 4 % longer than the
#: last, which over TURNS of them is a fifth of a turn.
SHORTEST_PX, LONGEST_PX, LONGER = 7.0, 75.0, 1.04
#: Turns over which the wave must run.
TURNS = 4.5
#: Share of what varies on a side that the wave must be, and its least amplitude, pixels. Parabolas
#: in a row leave 0.92 to their first harmonic; renders of 22 such threads gave 0.77 to 0.90, sides
#: without a thread up to 0.51.
SHARE, AMPLITUDE_PX = 0.68, 0.25
#: The wave is as high on both sides as the light and the slant let it: within this ratio.
UNLIKE = 0.35
#: A side that falls more steeply has several points at a station, of which the outermost counts:
#: steps that look like a wave. No thread's crests fall so.
STEEP = 0.2
#: Where a crest is looked for, in spacings from the one before; how much lower or higher it may be
#: than the others; how many a side must show.
STEP, LOWER, HIGHER, FEWEST = 0.18, 0.4, 2.5, 4
#: A part has two threads at most, one at either end; something else may be a stronger wave.
TRIES = 3
#: A groove's place between its crests is as even as this, in spacings: a barb's is not.
SKEW = 0.12
#: Spacings nearer than this are of one kind (judgement: a joiner has one kind of barb).
ALIKE = 0.05


def faint_regions(
    stations: tuple[Values, Values, Values],
    shift: tuple[float, float],
    known: Sequence[Region],
    repeats: Sequence[Region],
) -> list[Region]:
    """Find stretches of an outline over which one wave runs through both sides.

    Parameters
    ----------
    stations, shift
        Stations and the sides' distances from the axis, and the sides' shift against each other,
        as of :func:`pitchcam.objects.regions.find_regions`.
    known, repeats
        Threads that are found already, where nothing is looked for; and what else repeats.

    Returns
    -------
    list of Region
        Ascending along the axis. Whether the sides alternate is left open: for ripples of fine
        threads it hangs on the part's pose.
    """
    s, upper, lower = stations
    free = np.ones(len(s), bool)
    found = [r for r in repeats if _is_faint(r) and min(map(len, r.crests)) >= FEWEST]
    for region in [*known, *found]:
        free &= (s < region.start_px) | (s > region.end_px)
    for _ in range(TRIES):
        wave = _strongest(s, (upper, -lower), free)
        if wave is None:
            break
        middle, spacing = wave
        sides = [_followed(s, side, middle, spacing) for side in (upper, -lower)]
        free &= np.abs(s - middle) > TURNS / 2 * spacing
        if sides[0] is None or sides[1] is None:
            continue
        new = pair(sides[0], sides[1], float(np.interp(middle, s[[0, -1]], shift)))
        if new is None or not _is_faint(new):
            continue
        free &= (s < new.start_px) | (s > new.end_px)
        if all(new.start_px >= r.end_px or new.end_px <= r.start_px for r in [*known, *found]):
            found.append(new)
    found = [r for r in found if not any(_goes_on(b, r) for b in repeats)]
    return [replace(r, faint=True) for r in sorted(found, key=lambda r: r.start_px)]


def _goes_on(barbs: Region, wave: Region) -> bool:
    """Whether a wave is of the barbs that the part has elsewhere, as a hose joiner at both ends."""
    apart = barbs.end_px <= wave.start_px or barbs.start_px >= wave.end_px
    alike = abs(wave.spacing_px / barbs.spacing_px - 1) < ALIKE
    return apart and alike and abs(barbs.skew) >= SKEW


def _is_faint(region: Region) -> bool:
    return abs(region.skew) < SKEW and region.depth_px < DEPTH_RANGE[0] * region.spacing_px


def _ripple(radius: Values, spacing: float) -> Values:
    """Return what is left of sides, (..., n), without their means over one spacing, taken twice.

    That takes away a straight line wholly, and nothing of a wave of that spacing.
    """
    # Two boxes, a step wider and narrower than the spacing: they cost the same whatever its length.
    whole = 2 * int((spacing - 1) // 2) + 1
    ends = (spacing - whole) / 2
    mean: Any = np.atleast_2d(radius)
    for _ in range(2):
        inner, outer = (
            cv2.boxFilter(mean, -1, (size, 1), normalize=False, borderType=cv2.BORDER_REPLICATE)
            for size in (whole, whole + 2)
        )
        mean = cv2.addWeighted(inner, (1 - ends) / spacing, outer, ends / spacing, 0)
    return np.asarray(radius - mean.reshape(radius.shape), float)


def _strongest(
    s: Values, sides: tuple[Values, Values], free: NDArray[np.bool_]
) -> tuple[float, float] | None:
    """Return middle and spacing of the wave that is the largest share of both sides."""
    best, where = SHARE, None
    both, free_to = np.stack(sides), _sums(free)
    ends = np.concatenate([both, both[:, -1:]], axis=1)
    spacing = SHORTEST_PX
    while spacing < LONGEST_PX:
        width = round(TURNS * spacing)
        if width > len(s) - 8:
            break
        clear = free_to[width:] - free_to[:-width] == width
        if clear.any():
            steep = np.abs(ends[:, width:] - ends[:, :-width])
            clear &= np.maximum(steep[0], steep[1]) < STEEP * width
            asked = np.flatnonzero(clear)
            if len(asked):
                share = _shares(s, both, spacing, asked)
                at = int(np.argmax(share))
                if share[at] > best:
                    best = float(share[at])
                    where = float(s[asked[at]] + width / 2), spacing
        spacing *= LONGER
    return where


def _shares(s: Values, sides: Values, spacing: float, asked: NDArray[np.intp]) -> Values:
    """Return the share that a wave is of both sides (2, n) over each stretch, 0 where it is none.

    ``asked`` (m,) are where the stretches begin that come into question, ascending. Most are too
    even for any wave, which is at most as high as all that varies there: they are not asked for
    one.
    """
    width = round(TURNS * spacing)
    ripple = _ripple(sides, spacing)
    found = np.zeros(len(asked))
    power = _window(ripple**2, width)[:, asked]
    least = (1 - 1e-6) * width * (AMPLITUDE_PX / 2) ** 2
    high = np.flatnonzero(np.minimum(power[0], power[1]) > least)
    if not len(high):
        return found
    asked, power = asked[high], power[:, high]
    there = slice(int(asked[0]), int(asked[-1]) + width)
    turn = np.exp(-2j * np.pi * s[there] / spacing)
    wave = np.abs(_window(ripple[:, there] * turn, width)[:, asked - there.start])
    share = 2 * wave**2 / (width * np.maximum(power, 1e-9))
    least_wave, most_wave = (
        which(wave[0], wave[1]) * 2 / width for which in (np.minimum, np.maximum)
    )
    wavy = (least_wave > AMPLITUDE_PX) & (least_wave > UNLIKE * most_wave)
    found[high] = np.where(wavy, np.minimum(share[0], share[1]), 0.0)
    return found


def _sums(values: NDArray[Any]) -> NDArray[Any]:
    """Return the sums of all values (..., n) before each place, and of all, (..., n + 1)."""
    kind = np.intp if values.dtype == bool else values.dtype
    out = np.zeros((*values.shape[:-1], values.shape[-1] + 1), kind)
    np.cumsum(values, axis=-1, out=out[..., 1:])
    return out


def _window(values: NDArray[Any], width: int) -> NDArray[Any]:
    """Return the sums over all stretches of a width."""
    sums = _sums(values)
    out: NDArray[Any] = sums[..., width:] - sums[..., :-width]
    return out


def _followed(s: Values, side: Values, middle: float, spacing: float) -> Run | None:
    """Follow the wave from its middle crest by crest to where it ends; None if it is too short."""
    ripple = cv2.GaussianBlur(
        _ripple(side, spacing)[None], (0, 0), spacing / 8, borderType=cv2.BORDER_REPLICATE
    )[0]
    near = np.flatnonzero(np.abs(s - middle) <= spacing / 2)
    first = int(near[np.argmax(ripple[near])])
    inside = np.abs(s - middle) < TURNS / 2 * spacing
    usual = float(np.percentile(ripple[inside], 95) - np.percentile(ripple[inside], 5))
    crests = [first]
    for way in (1, -1):
        at = first
        while (at := _next(ripple, at, way * spacing, usual)) >= 0:
            crests.append(at)
    peaks = np.array(sorted(crests))
    if len(peaks) < FEWEST:
        return None
    valleys = np.array(
        [a + int(np.argmin(ripple[a : b + 1])) for a, b in zip(peaks[:-1], peaks[1:], strict=True)]
    )
    high = (ripple[peaks[:-1]] + ripple[peaks[1:]]) / 2
    return Run(
        crests=s[peaks],
        heights=side[peaks],
        spacing=float(np.polyfit(np.arange(len(peaks)), s[peaks], 1)[0]),
        depth=median(high - ripple[valleys]),
        skew=median((valleys - peaks[:-1]) / np.diff(peaks)) - 0.5,
    )


def _next(ripple: Values, at: int, step: float, usual: float) -> int:
    """Return the next crest's index, -1 where the wave has ended."""
    reach = max(1, round(STEP * abs(step)))
    low, high = round(at + step) - reach, round(at + step) + reach + 1
    if low < 1 or high > len(ripple) - 1:
        return -1
    there = low + int(np.argmax(ripple[low:high]))
    if there in (low, high - 1):
        return -1
    between = ripple[min(at, there) : max(at, there) + 1]
    rise = float(ripple[there] - between.min())
    return there if LOWER * usual < rise < HIGHER * usual else -1
