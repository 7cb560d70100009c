"""The thread angle from what a slant leaves of the flanks, on the sides that show any.

Under a slant T the crest of a ridge is seen as a parabola of the slant T - tan(lead angle) on one
side of a right-hand thread and T + tan(lead angle) on the other: the helix leans into the view
there and out of it here. One side may hide its flanks while the other shows them well. The points
that lie on a flank are told by geometry, each in the slant of its own place: unfolded into the
axial section, a crest's points come out at the crest or beyond it, a flank's below.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.section import PER_POINT
from pitchcam.edges.sight import Sight
from pitchcam.edges.unfold import unfold_flank
from pitchcam.frozen import dataclass
from pitchcam.objects.frame import AxisFrame
from pitchcam.small import distinct, median

Values = NDArray[np.float64]

#: Where a flank is straight below the crest, in pitches of the axial section, and how many points
#: each flank of a side must show there.
BELOW, FEWEST = (0.13, 0.50), 4
#: Points nearer to the notch of two ridges than so many blurs and pitches are no flank's, nor those
#: on a ridge's middle.
NOTCH_BLURS, NOTCH, MIDDLE = 1.7, 0.02, 0.05
#: What stays open of an included angle: the light's change over what is seen of a flank, 0.08
#: pixels from its upper to its lower end, and bands that bend alike however much is seen
#: (judgement, by renders of known threads: 8 degrees over the pixels of depth that are seen, 0.5).
U_LIGHT_DEG_PX, U_BAND_DEG = 8.0, 0.5
#: Included angles beyond these, degrees, are none of a thread: the fit has run away.
ANGLES_DEG = (35.0, 90.0)
START_TAN, ROUNDS = 0.55, 8
#: The tangents have settled where a round moves them by less: 1e-9 of their u.
SETTLED = 1e-11


@dataclass(frozen=True, kw_only=True)
class Along:
    """The thread as its crests show it: pitch, radius at the frame's origin, taper; mm."""

    pitch_mm: float
    radius_mm: float
    taper: float


@dataclass(frozen=True, kw_only=True)
class _Side:
    zy: Values
    side: float
    flank: Values
    ridge: Values


def visible_angle(sight: Sight, along: Along) -> tuple[float, float, float] | None:
    """Return both half angles, of the + and the - flank, and the included angle's u, degrees.

    None where no side shows enough of its flanks.

    Parameters
    ----------
    sight
        How the thread is seen.
    along
        What the crests tell.
    """
    frame = sight.frame
    zy = sight.to_frame(sight.outline_px)
    sides = [
        _Side(
            zy=zy[points.index],
            side=float(np.sign(median(zy[points.index, 1]))),
            flank=np.sign(points.phase),
            ridge=points.ridge,
        )
        for points in ridge_points(sight)
    ]
    return _fit(sides, frame, along) if sides else None


@dataclass(frozen=True, kw_only=True)
class RidgePoints:
    """One side's outline by ridge: indices into the outline, the ridge's number, and the phase.

    The phase is the distance from the ridge's middle in spacings, -0.5 to 0.5, growing along the
    axis, as z does.
    """

    index: NDArray[np.intp]
    ridge: Values
    phase: Values


def ridge_points(sight: Sight) -> list[RidgePoints]:
    """Return the outline's points of each side, but for ridges' middles and the notches."""
    st = sight.axis.to_axis(sight.outline_px)
    spacing = sight.region.spacing_px
    clear = 0.5 - NOTCH - NOTCH_BLURS * sight.blur_px / spacing
    out = []
    for crests, sign in zip(sight.region.crests, (1.0, -1.0), strict=True):
        step, first = np.polyfit(np.round((crests - crests[0]) / spacing), crests, 1)
        inside = (st[:, 1] * sign > 0) & (st[:, 0] > crests[0] - 0.5 * spacing)
        index = np.flatnonzero(inside & (st[:, 0] < crests[-1] + 0.5 * spacing))
        place = (st[index, 0] - first) / step
        phase = place - np.round(place)
        keep = (np.abs(phase) > MIDDLE) & (np.abs(phase) < clear)
        if keep.sum() >= FEWEST:
            out.append(
                RidgePoints(index=index[keep], ridge=np.round(place[keep]), phase=phase[keep])
            )
    return out


def _fit(sides: list[_Side], frame: AxisFrame, along: Along) -> tuple[float, float, float] | None:
    zy = np.concatenate([s.zy for s in sides])
    side = np.concatenate([np.full(len(s.ridge), s.side) for s in sides])
    flank, ridge = (np.concatenate([getattr(s, k) for s in sides]) for k in ("flank", "ridge"))
    tan = np.full(2, START_TAN)
    use = np.ones(len(zy), bool)
    for _ in range(ROUNDS):
        z, r = unfold_flank(
            zy, frame.pinhole, side, flank, along.pitch_mm, np.where(flank > 0, tan[0], tan[1])
        )
        crest = along.radius_mm + along.taper / 2 * z
        below = (crest - r) / along.pitch_mm
        use = (below > BELOW[0]) & (below < BELOW[1])
        for s in distinct(side):
            for f in (1.0, -1.0):
                if (use & (side == s) & (flank == f)).sum() < FEWEST:
                    use &= side != s
        if not use.any():
            return None
        columns = _columns(side, flank, ridge, below * along.pitch_mm)
        shown = np.abs(columns[use]).sum(axis=0) > 0
        q, covariance, keep = _solved(columns[:, shown], z, use)
        use, before = keep, tan
        tan = np.clip(q[-2:], 0.2, 1.5)
        if np.abs(tan - before).max() < SETTLED:
            break
    half = np.degrees(np.arctan(tan))
    if not ANGLES_DEG[0] < half.sum() < ANGLES_DEG[1]:
        return None
    slopes = np.degrees(1 / (1 + tan**2))
    noise = float(slopes @ covariance[-2:, -2:] @ slopes)
    # A flank seen evenly from end to end has the standard deviation of its length over root 12.
    seen_px = np.sqrt(12) * float(np.std(below[use])) * along.pitch_mm / frame.mm_per_px
    u = np.sqrt(noise + U_BAND_DEG**2 + (U_LIGHT_DEG_PX / seen_px) ** 2)
    return float(half[0]), float(half[1]), float(u)


def _columns(side: Values, flank: Values, ridge: Values, depth: Values) -> Values:
    """Return what z is linear in: each side's phase and ridge width, pitch, both tangents."""
    above, below = side > 0, side < 0
    return np.stack(
        [
            above,
            below,
            flank / 2 * above,
            flank / 2 * below,
            ridge,
            depth * (flank > 0),
            -depth * (flank < 0),
        ],
        axis=1,
    ).astype(float)


def _solved(
    columns: Values, z: Values, use: NDArray[np.bool_]
) -> tuple[Values, Values, NDArray[np.bool_]]:
    keep = use
    for _ in range(4):
        q: Values = np.linalg.lstsq(columns[keep], z[keep], rcond=None)[0].astype(float)
        off = np.abs(z - columns @ q)
        spread = max(1.4826 * median(off[keep]), 1e-4)
        before, keep = keep, use & (off < 3.5 * spread)
        if (keep == before).all():
            break
    rest = z[keep] - columns[keep] @ q
    freedom = max(PER_POINT * int(keep.sum()) - columns.shape[1], 1.0)
    variance = float(rest @ rest) / freedom
    return q, np.linalg.pinv(columns[keep].T @ columns[keep]) * variance, keep
