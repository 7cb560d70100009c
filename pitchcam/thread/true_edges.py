"""Moves flank points from the level they were found at to the part's true edge."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.outline.contour import Crop
from pitchcam.outline.edges import reach_to_border
from pitchcam.outline.field import Field
from pitchcam.outline.rims import MeanProfile, Rims, place_edge, rim_width
from pitchcam.thread.points import Flanks

Values = NDArray[np.float64]

#: Samples across a flank: half-pixel steps carry all that the blur lets through.
STEP_PX = 0.5


@dataclass(frozen=True, kw_only=True)
class FlankEdge:
    """The true edge of one flank (all ridges of one side) in one half of the thread.

    ``shift_px`` leads from the level's crossing outward to the edge; ``rim_px`` is the mirrored
    band's width along the normal.
    """

    side: float
    flank: float
    late: bool
    shift_px: float
    u_px: float
    rim_px: float


def _mean_profile(
    crop: Crop, field: Field, xy: Values, normal: Values, reach_px: float, radius_px: float
) -> MeanProfile:
    across = np.arange(-reach_px, reach_px + 1e-9, STEP_PX)
    light = crop.sample(xy[:, None, :] + across[None, :, None] * normal[:, None, :])
    middle = np.median(light, axis=0)
    worst = np.abs(light - middle).max(axis=1)
    mean = light[worst <= np.percentile(worst, 80)].mean(axis=0)
    centre, outward = xy.mean(axis=0), normal.mean(axis=0)
    return MeanProfile(
        across_px=across, light=mean, dark=max(float(mean[:2].min()), 0.001), background=1.0,
        radius_px=radius_px, reach_px=reach_to_border(field, centre, outward),
    )  # fmt: skip


def _shift_along(halves: list[tuple[float, float, float]], along: Values) -> Values:
    """Return the shift at ridges: linear through both halves as far as they really differ.

    A difference within its own uncertainty is noise, and would read as pitch and taper; it is
    shrunk by d^2 / (d^2 + (3 u)^2).
    """
    weights = np.array([1 / h[2] ** 2 for h in halves])
    mean = float(np.average([h[1] for h in halves], weights=weights))
    if len(halves) < 2:
        return np.full(len(along), mean)
    difference = halves[1][1] - halves[0][1]
    u2 = halves[0][2] ** 2 + halves[1][2] ** 2 + 0.05**2
    slope = difference / (halves[1][0] - halves[0][0])
    slope *= difference**2 / (difference**2 + 9 * u2)
    middle = (halves[0][0] + halves[1][0]) / 2
    out: Values = mean + slope * (along - middle)
    return out


def move_to_edges(
    flanks: Flanks, crop: Crop, field: Field, rims: Rims, f_px: float, spacing_px: float,
    radius_px: float, tan_half: tuple[float, float],
) -> tuple[Flanks, tuple[FlankEdge, ...]]:  # fmt: skip
    """Shift every flank point along its normal to where the part's surface really ends.

    Parameters
    ----------
    flanks
        Points on a level's crossing.
    crop
        Light whose sharpening has been undone.
    field, rims, f_px
        The lit field, what the photo's straight edges say of blur and band, the focal length.
    spacing_px, radius_px, tan_half
        Crest spacing, the thread's radius, tangents of the half angles of the + and - flank.

    Notes
    -----
    The mirrored band of a flank is r (1 - cos a) / sin(half angle) wide along its normal, since
    the flank curves that much less around the axis than the crest. The shift is found for each
    side and flank apart and for both halves of the thread, because the band's reach to the
    light's border changes along it; in between it goes on linearly.
    """
    xy = flanks.xy.copy()
    along = flanks.ridge
    edges = []
    for side in (1.0, -1.0):
        for flank in (1.0, -1.0):
            group = (flanks.side == side) & (flanks.flank == flank)
            if group.sum() < 12:
                continue
            middle = float(np.median(along[group]))
            tan = tan_half[0] if flank > 0 else tan_half[1]
            sine = tan / np.hypot(1.0, tan)
            # From mid-flank the next flank begins half a spacing away along the axis.
            window = float(np.clip(0.36 * spacing_px * np.sqrt(1 - sine**2), 3.0, 8.0))
            halves = []
            for late in (False, True):
                part = group & ((along > middle) if late else (along <= middle))
                if part.sum() < 6:
                    continue
                p = _mean_profile(
                    crop, field, flanks.xy[part], flanks.normal[part], window, radius_px / sine
                )
                width = rim_width(radius_px / sine, p.reach_px, f_px, rims.panel)
                share = 0.4 if rims.common else 2.0
                shift, u, rim = place_edge(
                    p, rims.spread, rims.reflectance, rims.softness, min(width, 40.0),
                    u_rim_share=share,
                )  # fmt: skip
                u = min(u, 0.6 * max(rim, 1.0))
                edges.append(FlankEdge(
                    side=side, flank=flank, late=late, shift_px=shift, u_px=u, rim_px=rim
                ))  # fmt: skip
                halves.append((float(np.mean(along[part])), shift, u))
            if halves:
                move = _shift_along(halves, along[group])
                xy[group] += move[:, None] * flanks.normal[group]
    return replace(flanks, xy=xy), tuple(edges)
