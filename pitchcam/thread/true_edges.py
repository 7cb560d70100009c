"""Moves flank points from the level they were found at to the part's true edge."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.outline.contour import Crop
from pitchcam.outline.edges import reach_to_border
from pitchcam.outline.field import Field
from pitchcam.outline.place import place_edges
from pitchcam.outline.rims import MeanProfile, Rims, rim_width
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
class _Half:
    """One half of a flank's points: their mean place ``along`` it, profile and expected band."""

    along: float
    name: str
    profile: MeanProfile
    rim_px: float


def _halves(
    flanks: Flanks, group: NDArray[np.bool_], crop: Crop, field: Field, rims: Rims, f_px: float,
    window_px: float, radius_px: float,
) -> list[_Half]:  # fmt: skip
    """Return the halves of a flank, first along the thread, then up the flank."""
    across = np.arange(-window_px, window_px + 1e-9, STEP_PX)
    xy, normal = flanks.xy[group], flanks.normal[group]
    light = crop.sample(xy[:, None, :] + across[None, :, None] * normal[:, None, :])
    halves = []
    for along, names in (
        (flanks.ridge[group], ("first", "last")), (flanks.height[group], ("low", "high")),
    ):  # fmt: skip
        beyond = along > float(np.median(along))
        for part, name in zip((~beyond, beyond), names, strict=True):
            if part.sum() < 6:
                continue
            worst = np.abs(light[part] - np.median(light[part], axis=0)).max(axis=1)
            mean = light[part][worst <= np.percentile(worst, 80)].mean(axis=0)
            reach = reach_to_border(field, xy[part].mean(axis=0), normal[part].mean(axis=0))
            profile = MeanProfile(
                across_px=across, light=mean, dark=max(float(mean[:2].min()), 0.001),
                background=0.8, radius_px=radius_px, reach_px=reach,
            )  # fmt: skip
            width = rim_width(radius_px, reach, f_px, rims.panel)
            halves.append(_Half(
                along=float(np.mean(along[part])), name=name, profile=profile,
                rim_px=min(width, 40.0),
            ))  # fmt: skip
    return halves


def _move(
    flanks: Flanks, group: NDArray[np.bool_], placed: list[tuple[float, FlankEdge]]
) -> Values:
    """Return how far a flank's points lie from their true edge, from its placed halves."""
    move = np.zeros(int(group.sum()))
    for along, names in (
        (flanks.ridge[group], ("first", "last")), (flanks.height[group], ("low", "high")),
    ):  # fmt: skip
        slope, centre = _trend([(at, e) for at, e in placed if e.half in names])
        # Up the flank, half of what differs is the blurred corner of crest or root that
        # reaches into the profile (renders of known threads; without it or with all of
        # it angles are off by 1-3 degrees either way).
        slope *= 0.25 if names[0] == "low" else 1.0
        move += slope * (along - centre)
    weights = [1 / (e.u_px**2 + 0.02**2) for _, e in placed]
    out: Values = move + np.average([e.shift_px for _, e in placed], weights=weights)
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
    the flank curves that much less around the axis than the crest. It changes along the thread,
    with the reach to the light's border, and up the flank: deep in the groove the next ridge
    takes the light that the flank would mirror. So the shift is found for both halves of the
    thread and for the lower and the upper half of the flank, and goes on linearly in between.
    """
    groups: list[NDArray[np.bool_]] = []
    halves: list[list[_Half]] = []
    for side in (1.0, -1.0):
        for flank in (1.0, -1.0):
            group = (flanks.side == side) & (flanks.flank == flank)
            if group.sum() < 12:
                continue
            tan = tan_half[0] if flank > 0 else tan_half[1]
            sine = tan / np.hypot(1.0, tan)
            # From mid-flank the next flank begins half a spacing away along the axis.
            window_px = float(np.clip(0.36 * spacing_px * np.sqrt(1 - sine**2), 3.0, 8.0))
            groups.append(group)
            halves.append(
                _halves(flanks, group, crop, field, rims, f_px, window_px, radius_px / sine)
            )
    every = [h for of_group in halves for h in of_group]
    if not every:
        return flanks, ()
    places = place_edges([h.profile for h in every], rims, np.array([h.rim_px for h in every]))
    placed = iter(zip(*(column.tolist() for column in places), strict=True))
    xy = flanks.xy.copy()
    edges: list[FlankEdge] = []
    for group, of_group in zip(groups, halves, strict=True):
        first = int(np.flatnonzero(group)[0])
        found = [
            (h.along, FlankEdge(
                side=float(flanks.side[first]), flank=float(flanks.flank[first]), half=h.name,
                shift_px=shift, u_px=u, rim_px=rim,
            )) for h, (shift, u, rim) in zip(of_group, placed, strict=False)
        ]  # fmt: skip
        edges += [e for _, e in found]
        if found:
            xy[group] += _move(flanks, group, found)[:, None] * flanks.normal[group]
    return replace(flanks, xy=xy), tuple(edges)
