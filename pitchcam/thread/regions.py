"""Where along a part its outline repeats as a thread does, and where it is a barb or a knurl."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

Values = NDArray[np.float64]

#: Spacing of neighbouring crests may differ by this share: perspective and inclination change it
#: by a percent, one displaced crest (wear, dirt) by some more; other features by far more.
SPACING_TOLERANCE = 0.16
#: The outermost crests must keep to this: perspective changes a spacing by a percent.
END_TOLERANCE = 0.05
#: What counts as a crest: it stands out by more than noise does, and apart from others, pixels.
PROMINENCE_PX = 1.2
APART_PX = 3
#: Depth over pitch of what can be a thread. ISO 68-1 and Whitworth forms have 0.61-0.64, NPT up to
#: 0.8, BA 0.6; a rounded or worn one in a blurred picture less; a barb 0.05-0.3, a spline above 1.
DEPTH_RANGE = (0.28, 1.0)


@dataclass(frozen=True, kw_only=True)
class Region:
    """A stretch of the axis over which both sides repeat with one spacing.

    ``crests`` are stations s in pixels, one array per side (upper, lower); ``ends`` counts those
    left out at the ends, of both sides together; ``lag`` is the offset
    between the sides in spacings, -0.5..0.5 (0.5 for a single start, 0 for two).
    """

    start_px: float
    end_px: float
    spacing_px: float
    depth_px: float
    lag: float
    crests: tuple[Values, Values]
    skew: float
    ends: int = 0

    @property
    def turns(self) -> float:
        """Full turns seen: N of them show N to N + 1 crests on either side.

        A side that wear or dirt has shortened does not shorten the other.
        """
        return (sum(map(len, self.crests)) + self.ends - 1) / 2


@dataclass(frozen=True, kw_only=True)
class _Run:
    crests: Values
    heights: Values
    spacing: float
    depth: float
    skew: float
    ends: int = 0


def find_regions(s: Values, upper: Values, lower: Values) -> tuple[list[Region], list[Region]]:
    """Find the repeating stretches of an outline.

    Parameters
    ----------
    s
        Stations along the axis, whole pixels, ascending.
    upper, lower
        Outermost distance from the axis at each station on both sides, pixels (lower negative).

    Returns
    -------
    threads, others
        Stretches with the depth and symmetry of a thread; and what repeats, but is none (barbs,
        knurls, rings).
    """
    sides = [_runs(s, upper), _runs(s, -lower)]
    threads: list[Region] = []
    others: list[Region] = []
    for a in sides[0]:
        for b in sides[1]:
            region = _pair(a, b)
            if region is None:
                continue
            (threads if _is_thread(region) else others).append(region)
    return _distinct(threads), _distinct(others)


def few_crests(s: Values, upper: Values, lower: Values) -> bool:
    """Whether an outline that repeats nowhere shows two crests of a thread beside each other.

    On both sides, at the same place, two crests lie as far apart, with a groove between them that
    is as deep and as even as a thread's. Arguments as of :func:`find_regions`.
    """
    sides = [_grooves(s, upper), _grooves(s, -lower)]
    return any(
        abs(b[1] - a[1]) < SPACING_TOLERANCE * a[1] and abs(b[0] - a[0]) < 1.1 * a[1]
        for a in sides[0] for b in sides[1]
    )  # fmt: skip


def _grooves(s: Values, radius: Values) -> list[tuple[float, float]]:
    """Return place and width of the single grooves that could be a thread's."""
    smooth = _smooth(radius)
    peaks, _ = find_peaks(smooth, prominence=PROMINENCE_PX, distance=APART_PX)
    runs = [_describe(s, smooth, peaks[i : i + 2]) for i in range(len(peaks) - 1)]
    return [
        (float(np.mean(r.crests)), r.spacing) for r in runs
        if r is not None and abs(r.skew) < 0.15
        and DEPTH_RANGE[0] < r.depth / r.spacing < DEPTH_RANGE[1]
        # Crests of one thread are as high, unless one runs out.
        and abs(np.diff(r.heights)[0]) < 0.5 * r.depth
    ]  # fmt: skip


def _smooth(radius: Values) -> Values:
    out: Values = cv2.GaussianBlur(
        radius[None], (7, 1), 0.8, borderType=cv2.BORDER_REFLECT
    )[0]
    return out


def _runs(s: Values, radius: Values) -> list[_Run]:
    smooth = _smooth(radius)
    peaks, props = find_peaks(smooth, prominence=PROMINENCE_PX, distance=APART_PX)
    if len(peaks) < 3:
        return []
    prominence = props["prominences"]
    runs = []
    used = np.zeros(len(peaks), bool)
    # Deep crests first, so that a ripple on a crest does not split a run of crests.
    floors = {float(np.percentile(prominence, q)) for q in (75, 50, 25, 0)}
    for floor in sorted(floors, reverse=True):
        keep = np.flatnonzero((prominence >= 0.45 * floor) & ~used)
        for group in _even_groups(s[peaks[keep]]):
            index = keep[group]
            if used[index].any():
                continue
            whole = _whole_crests(s[peaks], index)
            run = _describe(s, smooth, peaks[whole], ends=len(index) - len(whole))
            if run is not None:
                runs.append(run)
                used[index] = True
    return runs


def _even_groups(positions: Values) -> list[NDArray[np.intp]]:
    groups = []
    i = 0
    while i < len(positions) - 2:
        j = i + 1
        spacing = positions[j] - positions[i]
        while j + 1 < len(positions):
            step = positions[j + 1] - positions[j]
            if abs(step - spacing) > SPACING_TOLERANCE * spacing + 1.0:
                break
            j += 1
            spacing = (positions[j] - positions[i]) / (j - i)
        if j - i >= 2:
            groups.append(np.arange(i, j + 1))
            i = j
        else:
            i += 1
    return groups


def _whole_crests(positions: Values, group: NDArray[np.intp]) -> NDArray[np.intp]:
    """Leave out an end crest that stands off the others: a chamfer, a run-out or a collar."""
    steps = np.diff(positions[group])
    if len(group) < 4:
        return group
    inner = np.median(steps[1:-1])
    slack = END_TOLERANCE * inner + 0.7
    # Where worn crests stand unevenly, the ends are no worse than the others.
    if np.abs(steps[1:-1] - inner).max() > slack:
        return group
    first, last = np.abs(steps[[0, -1]] - inner) > slack
    return group[int(first) : len(group) - int(last)]


def _describe(
    s: Values, radius: Values, peaks: NDArray[np.intp], ends: int = 0
) -> _Run | None:
    valleys = np.array(
        [a + int(np.argmin(radius[a : b + 1])) for a, b in zip(peaks[:-1], peaks[1:], strict=True)]
    )
    spacing = float(np.median(np.diff(s[peaks])))
    mid = (radius[peaks[:-1]] + radius[peaks[1:]]) / 2
    depth = float(np.median(mid - radius[valleys]))
    # Where the valley lies between its crests: 0.5 for a thread, near 0 or 1 for a barb.
    share = (s[valleys] - s[peaks[:-1]]) / np.diff(s[peaks])
    skew = float(np.median(share) - 0.5)
    if depth < 1.0:
        return None
    return _Run(
        crests=s[peaks], heights=radius[peaks], spacing=spacing, depth=depth, skew=skew,
        ends=ends,
    )  # fmt: skip


def _pair(a: _Run, b: _Run) -> Region | None:
    spacing = (a.spacing + b.spacing) / 2
    if abs(a.spacing - b.spacing) > 0.12 * spacing:
        return None
    start = max(a.crests[0], b.crests[0]) - spacing / 2
    end = min(a.crests[-1], b.crests[-1]) + spacing / 2
    if end - start < 2.0 * spacing:
        return None
    phases = [np.angle(np.mean(np.exp(2j * np.pi * r.crests / spacing))) for r in (a, b)]
    lag = float((phases[1] - phases[0]) / (2 * np.pi))
    lag -= float(np.round(lag))
    return Region(
        start_px=float(start), end_px=float(end), spacing_px=spacing,
        depth_px=(a.depth + b.depth) / 2, lag=lag, crests=(a.crests, b.crests),
        skew=(a.skew + b.skew) / 2, ends=a.ends + b.ends,
    )  # fmt: skip


def _is_thread(region: Region) -> bool:
    ratio = region.depth_px / region.spacing_px
    if not DEPTH_RANGE[0] <= ratio <= DEPTH_RANGE[1]:
        return False
    # A part's axis a degree off moves the sides by half a diameter times that against each
    # other: of fine threads on thick parts the lag tells nothing before the thread's own axis
    # is known; a symmetric groove is then enough, which no barb has.
    if abs(region.skew) < 0.10:
        return True
    # A single start has its sides half a pitch apart; in step are two starts - or rings.
    opposed = abs(abs(region.lag) - 0.5) < 0.2
    in_step = abs(region.lag) < 0.2
    if opposed:
        return abs(region.skew) < 0.25
    return in_step and abs(region.skew) < 0.12


def _distinct(regions: list[Region]) -> list[Region]:
    chosen: list[Region] = []
    for region in sorted(regions, key=lambda r: r.start_px - r.end_px):
        if all(region.start_px >= c.end_px or region.end_px <= c.start_px for c in chosen):
            chosen.append(region)
    return sorted(chosen, key=lambda r: r.start_px)
