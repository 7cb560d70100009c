"""The crests of one side of an outline that stand in a row, as those of a thread do."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.objects.peaks import find_peaks
from pitchcam.small import median, percentile

Values = NDArray[np.float64]

#: Spacing of neighbouring crests may differ by this share: perspective and inclination change it
#: by a percent, one displaced crest (wear, dirt) by some more; other features by far more.
SPACING_TOLERANCE = 0.16
#: The outermost crests must keep to this: perspective changes a spacing by a percent.
END_TOLERANCE = 0.05
#: What counts as a crest: it stands out by more than noise does, and apart from others, pixels.
PROMINENCE_PX = 1.2
APART_PX = 3
#: Where a crest's middle is taken: this share of its height down, the height at most so much.
CREST_SHARE, MOST_CREST_PX = 0.35, 30.0
#: Least height of the lower of two neighbouring crests over their groove, in depths (judgement:
#: a chamfered crest beside a whole one comes near it, a taper's or a worn one does not).
AS_HIGH = 0.5


@dataclass(frozen=True, kw_only=True)
class Run:
    """One side's crests in a row: stations, radii there, spacing, depth of grooves, pixels."""

    crests: Values
    heights: Values
    spacing: float
    depth: float
    skew: float
    ends: int = 0


def smoothed(radius: Values) -> Values:
    """Return a side's distances from the axis without the steps of its pixels, (n,)."""
    out: Values = cv2.GaussianBlur(radius[None], (7, 1), 0.8, borderType=cv2.BORDER_REFLECT)[0]
    return out


def side_runs(s: Values, radius: Values) -> tuple[list[Run], list[Run]]:
    """Return the runs of three crests and more of a side, and those of two."""
    smooth = smoothed(radius)
    peaks, prominence = find_peaks(smooth, PROMINENCE_PX, APART_PX)
    if len(peaks) < 3:
        return [], []
    places = _middles(s, smooth, peaks, prominence)
    runs = []
    used = np.zeros(len(peaks), bool)
    # Deep crests first, so that a ripple on a crest does not split a run of crests.
    floors = {(percentile(prominence, q)) for q in (75, 50, 25, 0)}
    for floor in sorted(floors, reverse=True):
        keep = np.flatnonzero((prominence >= 0.45 * floor) & ~used)
        for group in _even_groups(places[keep]):
            index = keep[group]
            if used[index].any():
                continue
            whole = _whole_crests(places, index)
            run = described(s, smooth, peaks[whole], places[whole], ends=len(index) - len(whole))
            if run is not None:
                runs.append(run)
                used[index] = True
    return runs, _pairs(s, smooth, peaks, places, used)


def _pairs(
    s: Values, smooth: Values, peaks: NDArray[np.intp], places: Values, used: NDArray[np.bool_]
) -> list[Run]:
    """Return runs of two crests, of no longer run, that have as even a groove on either side.

    Between a shoulder and a chamfer a side shows no more of four turns under a slant. The third
    ridge ends in the chamfer, so that its crest is low and lies elsewhere; its groove does not.
    """
    runs = []
    for i in range(len(peaks) - 1):
        if used[i : i + 2].any():
            continue
        run = described(s, smooth, peaks[i : i + 2], places[i : i + 2], ends=1)
        if run is None:
            continue
        grooves = _around(smooth, int(peaks[i]), int(peaks[i + 1]))
        if grooves is None:
            continue
        even = np.abs(np.diff(grooves) - run.spacing).max() < SPACING_TOLERANCE * run.spacing + 1.0
        deep = np.abs(smooth[grooves] - smooth[grooves[1]]).max() < AS_HIGH * run.depth
        if even and deep:
            runs.append(run)
    return runs


def _around(smooth: Values, first: int, last: int) -> NDArray[np.intp] | None:
    """Return the grooves before, between and after two crests: the lowest place of each stretch.

    A side that falls on has it at the stretch's far end, further off than a groove; None where the
    outline ends before.
    """
    far, near = round(0.8 * (last - first)), round(0.2 * (last - first))
    spans = [(first - far, first - near), (first, last), (last + near, last + far)]
    if spans[0][0] < 0 or spans[2][1] >= len(smooth):
        return None
    return np.array([a + int(np.argmin(smooth[a : b + 1])) for a, b in spans])


def _middles(s: Values, radius: Values, peaks: NDArray[np.intp], prominence: Values) -> Values:
    """Return the middles of crests: half way between both flanks, a third of the depth down.

    A flat crest's highest point may lie anywhere on it.
    """
    out = s[peaks].astype(float)
    for i, (peak, height) in enumerate(zip(peaks, prominence, strict=True)):
        level = radius[peak] - CREST_SHARE * min(height, MOST_CREST_PX)
        low = peak - int(np.argmax(radius[peak::-1] < level))
        high = peak + int(np.argmax(radius[peak:] < level))
        if low < peak < high:
            left = low + (level - radius[low]) / (radius[low + 1] - radius[low])
            right = high - (level - radius[high]) / (radius[high - 1] - radius[high])
            out[i] = float(np.interp((left + right) / 2, [0, len(s) - 1], s[[0, -1]]))
    return out


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
    inner = median(steps[1:-1])
    slack = END_TOLERANCE * inner + 0.7
    # Where worn crests stand unevenly, the ends are no worse than the others.
    if np.abs(steps[1:-1] - inner).max() > slack:
        return group
    first, last = np.abs(steps[[0, -1]] - inner) > slack
    return group[int(first) : len(group) - int(last)]


def described(
    s: Values, radius: Values, peaks: NDArray[np.intp], places: Values, ends: int = 0
) -> Run | None:
    """Return crests in a row with the grooves between them; None where they are no ridges.

    Parameters
    ----------
    s, radius
        Stations and the side's distances from the axis, smoothed, (n,) each, pixels.
    peaks, places
        Indices of the crests' tops, and the stations of their middles, (crests,).
    ends
        How many crests at the ends were left out.
    """
    valleys = np.array(
        [a + int(np.argmin(radius[a : b + 1])) for a, b in zip(peaks[:-1], peaks[1:], strict=True)]
    )
    spacing = median(np.diff(places))
    mid = (radius[peaks[:-1]] + radius[peaks[1:]]) / 2
    depth = median(mid - radius[valleys])
    # Where the valley lies between its crests: 0.5 for a thread, near 0 or 1 for a barb.
    share = (s[valleys] - s[peaks[:-1]]) / np.diff(s[peaks])
    skew = median(share) - 0.5
    if depth < 1.0:
        return None
    # Crests of one thread are as high as each other: a hexagon between two threads is none of them.
    lower = np.minimum(radius[peaks[:-1]], radius[peaks[1:]]) - radius[valleys]
    if median(lower) < AS_HIGH * depth:
        return None
    return Run(
        crests=places, heights=radius[peaks], spacing=spacing, depth=depth, skew=skew, ends=ends
    )
