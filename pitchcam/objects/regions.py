"""Where along a part its outline repeats as a thread does, and where it is a barb or a knurl."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.objects.crest_runs import (
    APART_PX,
    PROMINENCE_PX,
    SPACING_TOLERANCE,
    Run,
    described,
    side_runs,
    smoothed,
)
from pitchcam.objects.peaks import find_peaks
from pitchcam.objects.turned import believed_turn, crests_turn

Values = NDArray[np.float64]

#: Depth over pitch of what can be a thread. ISO 68-1 and Whitworth forms have 0.61-0.64, NPT up to
#: 0.8, BA 0.6; a rounded or worn one in a blurred picture less; a barb 0.05-0.3, a spline above 1.
DEPTH_RANGE = (0.28, 1.0)
#: Seen under a slant T the ridges of a thread of radius r hide their grooves but for a depth of
#: about 0.096 P^2 / (r T^2), by the ellipses of their crests: 0.2 P for M18x1 at 12 degrees.
SHALLOWEST, FEWEST_SHALLOW = 0.07, 6
#: Spacings over which both sides must show ridges: two, and two crests alone tell a spacing to a
#: twentieth.
BOTH_SHOW = 1.9
#: Runs of crests that belong together agree so in spacing, and are in step over so few turns.
JOINT_SPACING, JOINT_STEP, MOST_GAP = 0.04, 0.15, 3.6


@dataclass(frozen=True, kw_only=True)
class Region:
    """A stretch of the axis over which both sides repeat with one spacing.

    ``crests`` are stations s in pixels, one array per side (upper, lower); ``ends`` counts those
    left out at the ends, of both sides together; ``lag`` is the offset
    between the sides in spacings, -0.5..0.5 (0.5 for a single start, 0 for two); ``turn_rad`` is
    how far the lines over both sides' crests turn its part's axis, ``u_turn_rad`` its u; ``faint``
    says that it is a ripple only (:mod:`pitchcam.objects.faint`), whose lag tells nothing yet.
    """

    start_px: float
    end_px: float
    spacing_px: float
    depth_px: float
    lag: float
    crests: tuple[Values, Values]
    skew: float
    ends: int = 0
    turn_rad: float = 0.0
    u_turn_rad: float = 0.0
    faint: bool = False

    @property
    def turns(self) -> float:
        """Full turns seen: N of them show N to N + 1 crests on either side.

        A side that wear or dirt has shortened does not shorten the other; a crest that is missing
        between others has its turn all the same.
        """
        steps = sum(round(float(np.ptp(c)) / self.spacing_px) for c in self.crests)
        return (steps + self.ends + 1) / 2


_Found = tuple[Region, tuple[Run, Run]]


def find_regions(
    s: Values, upper: Values, lower: Values, shift: tuple[float, float] = (0.0, 0.0)
) -> tuple[list[Region], list[Region]]:
    """Find the repeating stretches of an outline.

    Parameters
    ----------
    s
        Stations along the axis, whole pixels, ascending.
    upper, lower
        Outermost distance from the axis at each station on both sides, pixels (lower negative).
    shift
        How far points of one station lie apart along the axis, per pixel across it, at the
        first and the last station (:func:`pitchcam.objects.frame.cross_shift`).

    Returns
    -------
    threads, others
        Stretches with the depth and symmetry of a thread; and what repeats, but is none (barbs,
        knurls, rings).
    """
    sides = [_of_side(s, upper), _of_side(s, -lower)]
    threads: list[_Found] = []
    others: list[_Found] = []
    for a in sides[0]:
        for b in sides[1]:
            middle = (a.crests.mean() + b.crests.mean()) / 2
            region = pair(a, b, float(np.interp(middle, s[[0, -1]], shift)))
            if region is None or (_is_short(region) and not _alternates(region)):
                continue
            (threads if _is_thread(region) else others).append((region, (a, b)))
    return _distinct(threads), _distinct(others)


def few_crests(s: Values, upper: Values, lower: Values) -> bool:
    """Whether an outline that repeats nowhere shows two crests of a thread beside each other.

    On both sides, at the same place, two crests lie as far apart, with a groove between them that
    is as deep and as even as a thread's. Arguments as of :func:`find_regions`.
    """
    sides = [_grooves(s, upper), _grooves(s, -lower)]
    return any(
        abs(b[1] - a[1]) < SPACING_TOLERANCE * a[1] and abs(b[0] - a[0]) < 1.1 * a[1]
        for a in sides[0]
        for b in sides[1]
    )


def _grooves(s: Values, radius: Values) -> list[tuple[float, float]]:
    """Return place and width of the single grooves that could be a thread's."""
    smooth = smoothed(radius)
    peaks, _ = find_peaks(smooth, PROMINENCE_PX, APART_PX)
    pairs = [peaks[i : i + 2] for i in range(len(peaks) - 1)]
    runs = [described(s, smooth, pair, s[pair].astype(float)) for pair in pairs]
    return [
        (float(np.mean(r.crests)), r.spacing)
        for r in runs
        if r is not None
        and abs(r.skew) < 0.15
        and DEPTH_RANGE[0] < r.depth / r.spacing < DEPTH_RANGE[1]
        # Crests of one thread are as high, unless one runs out.
        and abs(np.diff(r.heights)[0]) < 0.5 * r.depth
    ]


def _of_side(s: Values, radius: Values) -> list[Run]:
    runs, pairs = side_runs(s, radius)
    return _joined(runs) + pairs


def _joined(runs: list[Run]) -> list[Run]:
    """Join runs that a damaged or hidden crest has parted: one spacing, one crest line, in step."""
    out: list[Run] = []
    for run in sorted(runs, key=lambda r: r.crests[0]):
        if out and (whole := _continued(out[-1], run)) is not None:
            out[-1] = whole
        else:
            out.append(run)
    return out


def _continued(a: Run, b: Run) -> Run | None:
    spacing = (a.spacing * (len(a.crests) - 1) + b.spacing * (len(b.crests) - 1)) / (
        len(a.crests) + len(b.crests) - 2
    )
    gap = float(b.crests[0] - a.crests[-1]) / spacing
    if abs(a.spacing - b.spacing) > JOINT_SPACING * spacing + 1 or not 0.5 < gap < MOST_GAP:
        return None
    if abs(gap - round(gap)) > JOINT_STEP * max(1.0, gap / 2) + 1 / spacing:
        return None
    # The crest line goes on, straight or tapered, though not over a shoulder.
    step = float(np.mean(b.heights[:2]) - np.mean(a.heights[-2:]))
    if abs(step) > 0.5 * min(a.depth, b.depth) or not 0.5 < a.depth / b.depth < 2.0:
        return None
    weights = [len(a.crests), len(b.crests)]
    return Run(
        crests=np.concatenate([a.crests, b.crests]),
        heights=np.concatenate([a.heights, b.heights]),
        spacing=spacing,
        depth=float(np.average([a.depth, b.depth], weights=weights)),
        skew=float(np.average([a.skew, b.skew], weights=weights)),
        ends=a.ends + b.ends,
    )


def pair(a: Run, b: Run, shift: float) -> Region | None:
    """Return the stretch over which both sides' crests have one spacing, None where they do not.

    ``b`` is the lower side, its heights positive; ``shift`` as of :func:`find_regions`.
    """
    spacing = (a.spacing + b.spacing) / 2
    if abs(a.spacing - b.spacing) > 0.12 * spacing:
        return None
    # Where the crests of both sides lie along the axis itself.
    above, below = a.crests - shift * a.heights, b.crests + shift * b.heights
    start = max(above[0], below[0]) - spacing / 2
    end = min(above[-1], below[-1]) + spacing / 2
    if end - start < BOTH_SHOW * spacing:
        return None
    turn, u_turn = crests_turn((a.crests, a.heights), (b.crests, b.heights))
    return Region(
        start_px=float(start),
        end_px=float(end),
        spacing_px=spacing,
        depth_px=(a.depth + b.depth) / 2,
        lag=_lag(a, b, (above, below), believed_turn(turn, u_turn)[0] * turn),
        crests=(a.crests, b.crests),
        skew=(a.skew + b.skew) / 2,
        ends=a.ends + b.ends,
        turn_rad=turn,
        u_turn_rad=u_turn,
    )


def _lag(a: Run, b: Run, places: tuple[Values, Values], turn: float) -> float:
    """Return how far the crests of one side lie behind the other's, in spacings.

    Along the thread's own axis: an axis a degree off moves both sides by the radius times that
    against each other, and the lines over the crests of both sides tell the ``turn`` that it is.
    """
    spacing = (a.spacing + b.spacing) / 2
    own = (places[0] + turn * a.heights, places[1] - turn * b.heights)
    phases = [np.angle(np.mean(np.exp(2j * np.pi * p / spacing))) for p in own]
    lag = float((phases[1] - phases[0]) / (2 * np.pi))
    return lag - float(np.round(lag))


def _is_short(region: Region) -> bool:
    """Whether a side shows two whole crests only, which repeat nothing by themselves."""
    return min(map(len, region.crests)) < 3


def _alternates(region: Region) -> bool:
    """Whether the sides stand half a pitch apart, as those of a single start do."""
    return abs(abs(region.lag) - 0.5) < 0.2


def _is_thread(region: Region) -> bool:
    ratio = region.depth_px / region.spacing_px
    if SHALLOWEST <= ratio < DEPTH_RANGE[0]:
        # Seen along the axis, the ridges hide their grooves: what is left of them alternates from
        # side to side and is even, as barbs, rings and knurls are not.
        alternate = _alternates(region) and abs(region.skew) < 0.10
        return alternate and sum(map(len, region.crests)) >= FEWEST_SHALLOW
    if not DEPTH_RANGE[0] <= ratio <= DEPTH_RANGE[1]:
        return False
    # A part's axis a degree off moves the sides by half a diameter times that against each
    # other: of fine threads on thick parts the lag tells nothing before the thread's own axis
    # is known; a symmetric groove is then enough, which no barb has.
    if abs(region.skew) < 0.10:
        return True
    # A single start has its sides half a pitch apart; in step are two starts - or rings.
    in_step = abs(region.lag) < 0.2
    if _alternates(region):
        return abs(region.skew) < 0.25
    return in_step and abs(region.skew) < 0.12


def _distinct(found: list[_Found]) -> list[Region]:
    # Of two that overlap, or of one thread that damage parts, the one that more crests speak for.
    def rank(one: _Found) -> tuple[int, float]:
        return -sum(map(len, one[0].crests)), one[0].start_px - one[0].end_px

    chosen: list[_Found] = []
    for one in sorted(found, key=rank):
        start, end = one[0].start_px, one[0].end_px
        if not any(start < c.end_px and end > c.start_px or _of_one(one[1], d) for c, d in chosen):
            chosen.append(one)
    return sorted((region for region, _ in chosen), key=lambda r: r.start_px)


def _of_one(a: tuple[Run, Run], b: tuple[Run, Run]) -> bool:
    """Return whether two pairs of runs are of one thread: they share a side, or go on on both.

    Their grooves may differ in depth, as they do where dirt or a slant fills some.
    """
    pairs = list(zip(a, b, strict=True))
    return any(x is y for x, y in pairs) or all(_goes_on(x, y) for x, y in pairs)


def _goes_on(a: Run, b: Run) -> bool:
    if a.crests[0] > b.crests[0]:
        a, b = b, a
    spacing = max((a, b), key=lambda run: len(run.crests)).spacing
    gap = float(b.crests[0] - a.crests[-1]) / spacing
    if abs(a.spacing - b.spacing) > JOINT_SPACING * spacing + 1 or not 0.5 < gap < MOST_GAP:
        return False
    step = float(np.mean(b.heights[:2]) - np.mean(a.heights[-2:]))
    return abs(gap - round(gap)) < JOINT_STEP and abs(step) < max(a.depth, b.depth)
