"""Threads whose ridges hide their grooves: a ripple of a pixel or less on both sides of a part.

Seen under a slant T the ridges of a thread of radius r leave about 0.1 P^2 / (r T^2) of their
grooves: half a pixel to two of a fine thread near the picture's border. No single crest stands out
of that, but one wave runs through both sides over several turns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.objects.regions import DEPTH_RANGE, Region, Run, pair
from pitchcam.small import line, median

Values = NDArray[np.float64]

#: Spacings that are looked for, pixels, from the least that is measured; each 4 % longer than the
#: last, which over TURNS of them is a fifth of a turn.
SHORTEST_PX, LONGEST_PX, LONGER = 7.0, 75.0, 1.04
#: Turns over which the wave must run: what a plug of four turns shows between its collar and the
#: chamfer of its end.
TURNS = 3.2
#: Share of what varies on a side that the wave must be, and its least amplitude, pixels. Parabolas
#: in a row leave 0.92 to their first harmonic; renders of 14 such threads gave 0.55 to 0.97, sides
#: without any repeat up to 0.21.
SHARE, AMPLITUDE_PX = 0.52, 0.25
#: The wave is as high on both sides as the light and the slant let it: within this ratio.
UNLIKE = 0.35
#: Height of parabolas in a row over the amplitude of their first harmonic: pi^2 / 4.
HEIGHT_OF_WAVE = float(np.pi**2 / 4)
#: A side that falls more steeply has several points at a station, of which the outermost counts:
#: steps that look like a wave. No thread's crests fall so.
STEEP = 0.2
#: Where a crest is looked for, in spacings from the one before; how much lower or higher it may be
#: than the others; how many a side must show, and both together.
STEP, LOWER, HIGHER, FEWEST, BOTH = 0.18, 0.4, 2.5, 3, 7
#: A part has two threads at most, one at either end; something else may be a stronger wave.
TRIES = 3
#: A groove's place between its crests is as even as this, in spacings: a barb's is not.
SKEW = 0.12
#: Half way from a thread's groove to that of a saw's teeth, which lies at the crest.
SAW = 0.25
#: Spacings nearer than this are of one kind (judgement: a joiner has one kind of barb).
ALIKE = 0.05


def sheared(st: Values, shift: tuple[float, float]) -> Values:
    """Return positions (n, 2) along and across an axis with both sides of a ridge at one station.

    ``shift`` as of :func:`pitchcam.objects.regions.find_regions`: away from the picture's middle
    the two sides of four turns are seen a turn and more apart along a thick part.
    """
    out = st.copy()
    ends = [float(st[:, 0].min()), float(st[:, 0].max())]
    out[:, 0] -= np.interp(st[:, 0], ends, shift) * st[:, 1]
    return out


def _unsheared(run: Run, shift: float) -> Run:
    """Return a run with its crests' own stations."""
    return replace(run, crests=run.crests + shift * run.heights)


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
        Stations and the sides' distances from the axis, of an outline that is :func:`sheared`, and
        the sides' shift against each other, as of
        :func:`pitchcam.objects.regions.find_regions`.
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
    found = [r for r in repeats if _is_faint(r) and _enough(r)]
    for region in [*known, *found]:
        free &= (s < region.start_px) | (s > region.end_px)
    for _ in range(TRIES):
        wave = _strongest(s, (upper, -lower), free)
        if wave is None:
            break
        middle, spacing, _ = wave
        runs = [_followed(s, side, middle, spacing) for side in (upper, -lower)]
        free &= np.abs(s - middle) > TURNS / 2 * spacing
        apart = float(np.interp(middle, s[[0, -1]], shift))
        seen = [_unsheared(run, way * apart) for run, way in zip(runs, (1, -1), strict=True) if run]
        if len(seen) < 2:
            continue
        new = pair(seen[0], seen[1], apart)
        if new is None or not _is_faint(new) or not _enough(new):
            continue
        free &= (s < new.start_px) | (s > new.end_px)
        if all(new.start_px >= r.end_px or new.end_px <= r.start_px for r in [*known, *found]):
            found.append(new)
    found = [r for r in found if not any(_goes_on(b, r) for b in repeats)]
    return [replace(r, faint=True) for r in sorted(found, key=lambda r: r.start_px)]


def _goes_on(barbs: Region, wave: Region) -> bool:
    """Whether a wave is of the part's barbs: of those elsewhere, as a hose joiner at both ends.

    Or right there, where they are deeper than any ripple, or half as deep and lean as a saw's teeth
    rather than as a thread's: blurred, they do not lean.
    """
    apart = barbs.end_px <= wave.start_px or barbs.start_px >= wave.end_px
    least = DEPTH_RANGE[0] * barbs.spacing_px / (2 if abs(barbs.skew) >= SAW else 1)
    deep = barbs.depth_px >= least
    alike = abs(wave.spacing_px / barbs.spacing_px - 1) < ALIKE
    return (apart or deep) and alike and abs(barbs.skew) >= SKEW


def _is_faint(region: Region) -> bool:
    return abs(region.skew) < SKEW and region.depth_px < DEPTH_RANGE[0] * region.spacing_px


def _enough(region: Region) -> bool:
    """Whether a stretch shows crests enough: four turns show four on one side, three beyond."""
    counts = [len(crests) for crests in region.crests]
    return min(counts) >= FEWEST and sum(counts) >= BOTH


def wave_share(stations: tuple[Values, Values, Values]) -> float:
    """Return the largest share that one wave is of both sides; 0 where none is a thread's."""
    s, upper, lower = stations
    wave = _strongest(s, (upper, -lower), np.ones(len(s), bool))
    return 0.0 if wave is None else wave[2]


def _strongest(
    s: Values, sides: tuple[Values, Values], free: NDArray[np.bool_]
) -> tuple[float, float, float] | None:
    """Return middle, spacing and share of the wave that is the largest share of both sides."""
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
                share = _shares(both, spacing, asked)
                at = int(np.argmax(share))
                if share[at] > best:
                    best = float(share[at])
                    where = float(s[asked[at]] + width / 2), spacing, best
        spacing *= LONGER
    return where


def _shares(sides: Values, spacing: float, asked: NDArray[np.intp]) -> Values:
    """Return the share that a wave is of both sides (2, n) over each stretch, 0 where it is none.

    ``asked`` (m,) are where the stretches begin that come into question. What a slope and a bow
    explain of a stretch is neither's: each stretch is looked at by itself, so that a step right
    beside it takes nothing from it.
    """
    width = round(TURNS * spacing)
    bases = _bases(width, spacing)
    level = sides - sides.mean(axis=1, keepdims=True)
    along = np.stack([_correlated(level, base) for base in bases])[..., asked]
    power = _window(level**2, width)[:, asked]
    wave = along[3] ** 2 + along[4] ** 2
    left = power - np.sum(along[:3] ** 2, axis=0)
    share = wave / np.maximum(left, np.maximum(wave, 1e-9))
    height = np.sqrt(2 * wave / width)
    lower, higher = np.minimum(height[0], height[1]), np.maximum(height[0], height[1])
    wavy = (lower > AMPLITUDE_PX) & (lower > UNLIKE * higher)
    return np.where(wavy, np.minimum(share[0], share[1]), 0.0)


@lru_cache(maxsize=128)
def _bases(width: int, spacing: float) -> Values:
    """Return a level, a slope, a bow and a wave's two phases, (5, width), square to each other."""
    at = np.arange(width) - (width - 1) / 2
    turn = 2 * np.pi * at / spacing
    columns = np.stack([np.ones(width), at, at**2, np.cos(turn), np.sin(turn)], axis=1)
    return np.asarray(np.linalg.qr(columns)[0].T, float)


def _correlated(sides: Values, base: Values) -> Values:
    """Return the products of sides (2, n) with a base at every place where it fits."""
    width = len(base)
    full = cv2.filter2D(sides, -1, base[None], anchor=(0, 0), borderType=cv2.BORDER_CONSTANT)
    return np.asarray(full[:, : sides.shape[1] - width + 1], float)


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
    inside = np.abs(s - middle) < TURNS / 2 * spacing
    slope, offset = line(s[inside], side[inside])
    level = side - slope * s - offset
    ripple = cv2.GaussianBlur(level[None], (0, 0), spacing / 8, borderType=cv2.BORDER_REPLICATE)[0]
    near = np.flatnonzero(np.abs(s - middle) <= spacing / 2)
    first = int(near[np.argmax(ripple[near])])
    width = int(inside.sum())
    wave = _bases(width, spacing)[3:] @ level[inside]
    usual = float(np.linalg.norm(wave)) * np.sqrt(2 / width) * HEIGHT_OF_WAVE
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
