"""The thread angle from what a slant leaves of the flanks, on the sides that show any.

Under a slant T the crest of a ridge is seen as a parabola of the slant T - tan(lead angle) on one
side of a right-hand thread and T + tan(lead angle) on the other: the helix leans into the view
there and out of it here. One side may hide its flanks while the other shows them well. The points
that lie on a flank are told by geometry: unfolded into the axial section, a crest's points come
out at the crest or beyond it, a flank's below.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.flank_points import Slant, side_points
from pitchcam.edges.section import PER_POINT
from pitchcam.edges.sight import Sight
from pitchcam.edges.unfold import unfold_flank
from pitchcam.objects.frame import AxisFrame
from pitchcam.small import distinct, line, median

Values = NDArray[np.float64]

#: Where a flank is straight below the crest, in pitches, and how many points each flank of a side
#: must show there.
BELOW, FEWEST = (0.13, 0.50), 10
#: What stays open of an angle from the level's crossings alone: how the mirrored band changes up
#: the flank, degrees (judgement, by renders of known threads).
U_BAND_DEG = 1.0
START_TAN, ROUNDS = 0.55, 5


@dataclass(frozen=True, kw_only=True)
class Along:
    """The thread as its crests show it: pitch, radius at the frame's origin, taper; mm."""

    pitch_mm: float
    radius_mm: float
    taper: float
    spacing_px: float


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
    st = sight.axis.to_axis(sight.outline_px)
    zy = sight.to_frame(sight.outline_px)
    slant = float(frame.pinhole[0] / frame.pinhole[2])
    tan_lead = along.pitch_mm / (2 * np.pi * along.radius_mm)
    sides = []
    for crests, sign in zip(sight.region.crests, (1.0, -1.0), strict=True):
        near = st[:, 1] * sign > 0
        side = float(np.sign(median(zy[near, 1])))
        seen = Slant(blur_px=sight.blur_px, slant=abs(slant - side * tan_lead))
        found = side_points(st, crests, sign, along.spacing_px, seen)
        if found is None:
            continue
        index, ridge, flank = found[:3]
        way = float(np.sign(line(st[index, 0], zy[index, 0])[0]))
        sides.append(_Side(zy=zy[index], side=side, flank=flank * way, ridge=ridge * way))
    return _fit(sides, frame, along) if sides else None


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
        use = keep
        tan = np.clip(q[-2:], 0.2, 1.5)
    half = np.degrees(np.arctan(tan))
    slopes = np.degrees(1 / (1 + tan**2))
    noise = float(slopes @ covariance[-2:, -2:] @ slopes)
    return float(half[0]), float(half[1]), float(np.hypot(np.sqrt(noise), U_BAND_DEG))


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
