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
    """The true edge of one flank (all ridges of one side), in one half of it.

    ``half`` names the half: "first" or "last" along the thread, "low" or "high" on the flank.
    ``shift_px`` leads from the level's crossing outward to the edge; ``rim_px`` is the mirrored
    band's width along the normal.
    """

    side: float
    flank: float
    half: str
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
        across_px=across, light=mean, dark=max(float(mean[:2].min()), 0.001), background=0.8,
        radius_px=radius_px, reach_px=reach_to_border(field, centre, outward),
    )  # fmt: skip


def _trend(pair: list[tuple[float, FlankEdge]]) -> tuple[float, float]:
    """Return (slope, middle) of the shift through two halves, as far as they really differ.

    A difference within its own uncertainty is noise, and would read as pitch, taper or angle; it
    is shrunk by d^2 / (d^2 + (2 u)^2).
    """
    if len(pair) < 2:
        return 0.0, 0.0
    (a, first), (b, last) = pair
    if abs(b - a) < 1e-6:
        return 0.0, (a + b) / 2
    difference = last.shift_px - first.shift_px
    u2 = first.u_px**2 + last.u_px**2 + 0.05**2
    slope = difference / (b - a) * difference**2 / (difference**2 + 4 * u2)
    return slope, (a + b) / 2


@dataclass(frozen=True, kw_only=True)
class _Setting:
    """What the edges of all flanks are placed with."""

    crop: Crop
    field: Field
    rims: Rims
    f_px: float
    window_px: float
    radius_px: float


def _place(
    flanks: Flanks, part: NDArray[np.bool_], setting: _Setting, half: str
) -> FlankEdge | None:
    if part.sum() < 6:
        return None
    p = _mean_profile(
        setting.crop, setting.field, flanks.xy[part], flanks.normal[part], setting.window_px,
        setting.radius_px,
    )  # fmt: skip
    width = rim_width(setting.radius_px, p.reach_px, setting.f_px, setting.rims.panel)
    shift, u, rim = place_edge(p, setting.rims, min(width, 40.0))
    first = int(np.flatnonzero(part)[0])
    return FlankEdge(
        side=float(flanks.side[first]), flank=float(flanks.flank[first]), half=half,
        shift_px=shift, u_px=u, rim_px=rim,
    )  # fmt: skip


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
    the flank curves that much less around the axis than the crest. It changes along the thread,
    with the reach to the light's border, and up the flank: deep in the groove the next ridge
    takes the light that the flank would mirror. So the shift is found for both halves of the
    thread and for the lower and the upper half of the flank, and goes on linearly in between.
    """
    xy = flanks.xy.copy()
    edges: list[FlankEdge] = []
    for side in (1.0, -1.0):
        for flank in (1.0, -1.0):
            group = (flanks.side == side) & (flanks.flank == flank)
            if group.sum() < 12:
                continue
            tan = tan_half[0] if flank > 0 else tan_half[1]
            sine = tan / np.hypot(1.0, tan)
            setting = _Setting(
                crop=crop, field=field, rims=rims, f_px=f_px, radius_px=radius_px / sine,
                # From mid-flank the next flank begins half a spacing away along the axis.
                window_px=float(np.clip(0.36 * spacing_px * np.sqrt(1 - sine**2), 3.0, 8.0)),
            )  # fmt: skip
            move = np.zeros(int(group.sum()))
            means, weights = [], []
            for along, names in (
                (flanks.ridge, ("first", "last")), (flanks.height, ("low", "high")),
            ):  # fmt: skip
                middle = float(np.median(along[group]))
                pair = []
                for high, name in enumerate(names):
                    part = group & ((along > middle) if high else (along <= middle))
                    edge = _place(flanks, part, setting, name)
                    if edge is not None:
                        pair.append((float(np.mean(along[part])), edge))
                slope, centre = _trend(pair)
                # Up the flank, half of what differs is the blurred corner of crest or root that
                # reaches into the profile (renders of known threads; without it or with all of
                # it angles are off by 1-3 degrees either way).
                slope *= 0.25 if names[0] == "low" else 1.0
                move += slope * (along[group] - centre)
                means += [e.shift_px for _, e in pair]
                weights += [1 / (e.u_px**2 + 0.02**2) for _, e in pair]
                edges += [e for _, e in pair]
            if means:
                move += np.average(means, weights=weights)
                xy[group] += move[:, None] * flanks.normal[group]
    return replace(flanks, xy=xy), tuple(edges)
