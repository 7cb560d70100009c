"""Threads whose ridges hide their grooves: a ripple of a pixel or less on both sides of a part.

Seen under a slant T the ridges of a thread of radius r leave about 0.1 P^2 / (r T^2) of their
grooves: half a pixel to two of a fine thread near the picture's border. No single crest stands out
of that, but one wave runs through both sides over several turns.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.objects.crest_runs import Run
from pitchcam.objects.regions import DEPTH_RANGE, Region, pair
from pitchcam.objects.ripple import SHARE, TURNS, Wave, sums, waves
from pitchcam.small import line, median

Values = NDArray[np.float64]

#: Height of parabolas in a row over the amplitude of their first harmonic: pi^2 / 4.
HEIGHT_OF_WAVE = float(np.pi**2 / 4)
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

_Followed = tuple[Region, tuple[Run, Run]]


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
    every = waves((upper, -lower), free)
    # The light may part a side of these as well.
    followed = [
        (r, _runs(r, stations, float(np.interp(r.start_px, s[[0, -1]], shift)))) for r in found
    ]
    for _ in range(TRIES):
        wave = _strongest(s, every, free)
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
        before = [*known, *(region for region, _ in followed)]
        if any(_share_a_side(new, r) for r in known):
            continue
        if all(new.start_px >= r.end_px or new.end_px <= r.start_px for r in before):
            followed.append((new, (seen[0], seen[1])))
    found = _told_once(followed, lambda middle: float(np.interp(middle, s[[0, -1]], shift)))
    found = [r for r in found if not any(_goes_on(b, r) for b in repeats)]
    return [replace(r, faint=True) for r in sorted(found, key=lambda r: r.start_px)]


def _runs(region: Region, stations: tuple[Values, Values, Values], apart: float) -> tuple[Run, Run]:
    """Return the runs of both sides of a region; ``apart`` is the sides' shift there."""
    s, upper, lower = stations
    runs = []
    for crests, side, way in zip(region.crests, (upper, -lower), (1, -1), strict=True):
        level = float(np.interp(crests.mean(), s, side))
        runs.append(
            Run(
                crests=crests,
                heights=np.interp(crests - way * apart * level, s, side),
                spacing=region.spacing_px,
                depth=region.depth_px,
                skew=region.skew,
            )
        )
    return runs[0], runs[1]


def _told_once(followed: list[_Followed], shift: Callable[[float], float]) -> list[Region]:
    """Return the threads of stretches: those that have a side in common are one.

    Along a ripple of half a pixel the light may hide a crest of one side, and that side's wave is
    followed from either end to there, beside the other side's whole one. ``shift`` tells how far
    the sides lie apart at a station.
    """
    out: list[_Followed] = []
    for new, runs in sorted(followed, key=lambda one: one[0].start_px):
        if out and _share_a_side(out[-1][0], new):
            old, others = out.pop()
            whole = _one(others[0], runs[0]), _one(others[1], runs[1])
            both = pair(*whole, shift((old.start_px + new.end_px) / 2))
            if both is not None and _is_faint(both) and _enough(both):
                out.append((both, whole))
            else:
                out.append(max(((old, others), (new, runs)), key=lambda one: one[0].turns))
        else:
            out.append((new, runs))
    return [region for region, _ in out]


def _share_a_side(a: Region, b: Region) -> bool:
    """Whether two stretches have ridges of one side in common."""
    return any(
        min(x[-1], y[-1]) - max(x[0], y[0]) > min(a.spacing_px, b.spacing_px)
        for x, y in zip(a.crests, b.crests, strict=True)
    )


def _one(a: Run, b: Run) -> Run:
    """Return one side's run from two of one thread: all crests of either, each of them once.

    Where they are nearest tells how many steps lie between.
    """
    apart = b.crests - a.crests[:, None]
    i, j = np.unravel_index(int(np.argmin(np.abs(apart))), apart.shape)
    of_a, of_b = _numbered(a), _numbered(b)
    first = of_a[i] - of_b[j] + round(float(apart[i, j]) / a.spacing)
    every = np.append(of_a, first + of_b)
    numbers, at = np.unique(every, return_index=True)
    crests = np.concatenate([a.crests, b.crests])[at]
    share = len(b.crests) / len(every)
    return Run(
        crests=crests,
        heights=np.concatenate([a.heights, b.heights])[at],
        spacing=line(numbers.astype(float), crests)[0],
        depth=a.depth + share * (b.depth - a.depth),
        skew=a.skew + share * (b.skew - a.skew),
    )


def _numbered(run: Run) -> NDArray[np.intp]:
    """Return each crest's number from the first on: one may be missing between others."""
    steps = np.round(np.diff(run.crests) / run.spacing).astype(np.intp)
    return np.append(0, np.cumsum(np.maximum(steps, 1)))


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
    free = np.ones(len(s), bool)
    wave = _strongest(s, waves((upper, -lower), free), free)
    return 0.0 if wave is None else wave[2]


def _strongest(
    s: Values, every: Sequence[Wave], free: NDArray[np.bool_]
) -> tuple[float, float, float] | None:
    """Return middle, spacing and share of the wave that is the largest share of both sides."""
    best, where, free_to = SHARE, None, sums(free)
    for wave in every:
        clear = free_to[wave.start + wave.width] - free_to[wave.start] == wave.width
        share = np.where(clear, wave.share, 0.0)
        at = int(np.argmax(share))
        if share[at] > best:
            best = float(share[at])
            where = float(s[wave.start[at]] + wave.width / 2), wave.spacing, best
    return where


@lru_cache(maxsize=128)
def _bases(width: int, spacing: float) -> Values:
    """Return a level, a slope, a bow and a wave's two phases, (5, width), square to each other."""
    at = np.arange(width) - (width - 1) / 2
    turn = 2 * np.pi * at / spacing
    columns = np.stack([np.ones(width), at, at**2, np.cos(turn), np.sin(turn)], axis=1)
    return np.asarray(np.linalg.qr(columns)[0].T, float)


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
