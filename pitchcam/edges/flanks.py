"""Moves flank points from the level they were found at to the part's true edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.flank_light import LitPanel, trace
from pitchcam.edges.flank_place import (
    DEPTHS_PX,
    PANELS,
    U_BACKGROUND,
    FlankProfiles,
    Placed,
    Surface,
    place_asking_blur,
    place_flanks,
    place_in_own_blur,
)
from pitchcam.edges.flank_points import Flanks
from pitchcam.edges.flank_rise import LEVEL_BLURS, FlankLight, Rise, rise, traced_rise
from pitchcam.edges.helicoid import Helicoid
from pitchcam.edges.rims import Rims
from pitchcam.edges.section import Section
from pitchcam.edges.sight import Sight
from pitchcam.frozen import dataclass
from pitchcam.light.metal import UNSEEN
from pitchcam.objects.contour import LIT_LEVEL, Crop
from pitchcam.objects.frame import AxisFrame
from pitchcam.small import median, percentile, sound_mean

Values = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Samples across a flank: half-pixel steps carry all that the blur lets through.
STEP_PX = 0.5
#: How far a profile goes to either side of its flank, as a share of the spacing, of which the next
#: flank leaves half, and within these limits, pixels. At the least it reaches into the next flank's
#: fall: a blur of its own is not asked of it then.
WINDOW, WINDOW_PX = 0.36, (3.0, 8.0)
#: Percentages of a half's points that lie lower on the flank than those whose light is traced.
HEIGHTS = (10, 30, 50, 70, 90)
#: Points whose scores differ by no more are typical alike.
TIE = 1e-9
#: Flanks with fewer points are left where they are; halves with fewer do not count by themselves.
FEWEST, FEWEST_OF_HALF = 6, 6

#: By how much the edges of a flank's halves are found to differ, pixels (130 pairs in renders of
#: known threads: 0.08, rms), and the share of a half's u that is not the other's too (judgement).
HALVES_APART_PX, HALVES_OWN = 0.1, 0.5
#: Share of that difference which is so: light beside a shoulder or a bare end is not what is
#: traced, and turned the tapers of 208 known threads by 0.0013, rms; a quarter of it (+- 0.07) left
#: them nearest to the truth, however well the light was drawn.
HALVES_TRUE = 0.25
#: Flanks of nearly 45 degrees each never meet another's normal: 1 less the half angle's tangent
#: squared.
LEAST_OPEN = 0.1
#: No half's edge is known better against the other's.
LEAST_U_PX = 0.03
#: Slope of the shift up a flank from which on it is disbelieved, pixels: over masked light traced
#: slopes stay within 0.1-0.5; larger ones come of a trace that lost the panel.
MOST_SLOPE_PX = 0.8
#: How well a panel that straight edges tell of is known to a thread beside them, as the standard
#: uncertainty of its distance's logarithm, besides what the edges leave open.
U_PANEL = 0.2
#: Where they tell of none, or contradict a panel well behind the plate: the middle of panels that
#: are near, in camera distances, and the standard uncertainty of its logarithm.
NEAR_PANEL = (0.15, 1.0)
#: A panel farther behind than this is none (k = h / (L + h)).
FARTHEST = 0.9


@dataclass(frozen=True, kw_only=True)
class FlankEdge:
    """The true edge of one flank (all ridges of one side), in one half of it along the thread.

    ``shift_px`` leads from the level's crossing outward to the edge; ``by_height_px`` is how much
    more it does from the flank's foot to its top, which the points have in them, and
    ``u_by_height_px`` its standard uncertainty.
    """

    side: float
    flank: float
    shift_px: float
    u_px: float
    u_by_height_px: float
    by_height_px: float = 0.0


def moved_px(edges: Sequence[FlankEdge], blur_px: float) -> float:
    """Return how far mirrored light moves the level's crossing inside of a black edge's, pixels."""
    if not edges:
        return 0.0
    return float(np.mean([max(e.shift_px + LEVEL_BLURS * blur_px, 0.0) for e in edges]))


@dataclass(frozen=True, kw_only=True)
class _Half:
    """One half of a flank: points and their profiles, the mean, and typical ones up the flank."""

    points: Indices
    across_px: Values
    profiles: Values
    light: Values
    typical: Indices


def _first_least(score: Values) -> int:
    """Return the first of the least: half way between two points rounding would choose."""
    return int(np.argmax(score < score.min() + TIE))


def _halves(flanks: Flanks, group: Indices, crop: Crop, window_px: float) -> list[_Half]:
    across = np.arange(-window_px, window_px + 1e-9, STEP_PX)
    along = flanks.ridge[group]
    beyond = along > median(along)
    parts = [p for p in (group[~beyond], group[beyond]) if len(p) >= FEWEST_OF_HALF]
    halves = []
    for points in parts or [group]:
        xy, normal = flanks.xy[points], flanks.normal[points]
        light = crop.sample(xy[:, None, :] + across[None, :, None] * normal[:, None, :])
        mean = sound_mean(light)
        ridge, height = flanks.ridge[points], flanks.height[points]
        off = np.abs(ridge - median(ridge))
        typical = [
            _first_least(off + 4 * np.abs(height - percentile(height, share))) for share in HEIGHTS
        ]
        halves.append(
            _Half(
                points=points, across_px=across, profiles=light, light=mean, typical=points[typical]
            )
        )
    return halves


def _stacked(halves: list[_Half], flanks: Flanks, sight: Sight) -> FlankProfiles:
    shape = (len(halves), max(len(h.light) for h in halves))
    across, light, known = np.zeros(shape), np.ones(shape), np.zeros(shape, bool)
    for i, h in enumerate(halves):
        m = len(h.light)
        across[i, :m], light[i, :m], known[i, :m] = h.across_px, h.light, True
    some = np.array([h.points[0] for h in halves])
    return FlankProfiles(
        across_px=across,
        light=light,
        known=known,
        way=(flanks.side[some] * flanks.flank[some] > 0).astype(np.intp),
        blur_px=sight.flank_blur_px,
        lens_px=sight.blur_px,
        level=LIT_LEVEL,
    )


def _solid(flanks: Flanks, section: Section, frame: AxisFrame) -> Helicoid:
    """Return the measured thread as a solid; crests and roots are taken as seen."""
    fit = section.fit
    radius = np.abs(frame.from_photo(flanks.xy)[:, 1])
    below = flanks.below * fit.pitch_mm
    above = below / (1 - flanks.height) * flanks.height
    return Helicoid(
        pitch=fit.pitch_mm,
        tan_half=fit.tan_half,
        advance=section.winding.lead * fit.pitch_mm / (2 * np.pi),
        pitch_radius=fit.pitch_radius_mm,
        half_taper=fit.taper / 2,
        crest=median(radius + below),
        root=median(radius - above),
    )


def _place(halves: list[_Half], flanks: Flanks, sight: Sight, section: Section) -> Placed:
    own = section.own_frame(sight.frame)
    thread = _solid(flanks, section, own)
    typical = np.concatenate([h.typical for h in halves])
    side, flank = flanks.side[typical], flanks.flank[typical]
    z, r = section.points.z[typical], section.points.r[typical]
    out = r - thread.pitch_radius - thread.half_taper * z
    phase = z - flank * (thread.pitch / 4 - out * np.where(flank > 0, *thread.tan_half))
    xy = flanks.xy[typical, None] - DEPTHS_PX[:, None] * flanks.normal[typical, None]
    panel = LitPanel(
        frame=own,
        corners_px=np.asarray(sight.field.window_px, float),
        behind_mm=np.asarray(sight.camera.distance_mm * PANELS, float),
    )
    traced = trace(thread, own.from_photo(xy), phase, side, panel)
    seen = _stacked(halves, flanks, sight)
    reach_px = min(-float(h.across_px[0]) for h in halves)
    asked = place_asking_blur if reach_px > WINDOW_PX[0] else place_flanks
    place = asked if sight.own_blur_px is None else place_in_own_blur
    return place(seen, traced, panel_behind(sight.rims))


def panel_behind(rims: Rims) -> tuple[float, float]:
    """Return the panel's distance in camera distances, and the u of its logarithm."""
    if not rims.common or rims.panel > FARTHEST:
        return NEAR_PANEL
    behind = rims.panel / (1 - rims.panel)
    # d log(k / (1 - k)) = d log k / (1 - k).
    return behind, float(np.hypot(U_PANEL, rims.u_panel / (1 - rims.panel)))


def _slope(x: Values, y: Values) -> float:
    off = x - x.mean()
    return float(off @ y / max(float(off @ off), 1e-3))


def _by_height(height: Values, shift_px: Values) -> float:
    """Return the shift's slope by height from shifts (3, c): as traced, with less and more light.

    Where the band is nearly as bright as the level, its crossing depends on the light beyond what
    is known of it: a slope within twice its own uncertainty is no slope.
    """
    traced, less, more = (_slope(height, shift) for shift in shift_px)
    u = abs(more - less) / 2
    kept = traced**3 / max(traced**2 + (2 * u) ** 2, 1e-9)
    return kept / (1 + (kept / MOST_SLOPE_PX) ** 2)


def _along(middles: Sequence[float], own: Sequence[FlankEdge], ridge: Values) -> Values:
    """Return the shift of a flank's edge at its ridges, from that of its halves.

    Each half counts by what is known of it, and they differ as halves do: one beside a shoulder,
    whose light is another's, says neither where the edge lies nor that it runs aslant.
    """
    shift, u = (np.array([[e.shift_px, e.u_px] for e in own]).T[i] for i in (0, 1))
    weight = 1 / np.square(np.maximum(u, LEAST_U_PX))
    weight /= weight.sum()
    at, mean = float(weight @ middles), float(weight @ shift)
    if len(own) < 2:
        return np.full(len(ridge), mean)
    told = HALVES_APART_PX**2 / (HALVES_APART_PX**2 + HALVES_OWN**2 * float(u @ u))
    out: Values = mean + HALVES_TRUE * told * _slope(np.asarray(middles), shift) * (ridge - at)
    return out


@dataclass(frozen=True, kw_only=True)
class _Around:
    """What a flank is seen with."""

    flanks: Flanks
    sight: Sight
    section: Section

    def free_px(self, points: Indices) -> Values:
        """Return how far the groove's other flank is from points of one, along its normal."""
        fit, p = self.section.fit, self.section.points
        tan = sum(fit.tan_half) / 2
        out = p.r[points] - fit.taper / 2 * p.z[points] - fit.pitch_radius_mm
        wide = np.maximum(abs(fit.pitch_mm) / 2 + 2 * tan * out, 0.0) / self.sight.mm_per_px
        # Two flanks open by twice the half angle a: the normal meets the other at w cos a / cos 2a.
        square = tan**2
        return np.asarray(wide * np.sqrt(1 + square) / max(1 - square, LEAST_OPEN))


def _rise(halves: list[_Half], places: Sequence[int], placed: Placed, around: _Around) -> Rise:
    """Return how a flank's edge shifts from its foot to its top."""
    flanks = around.flanks
    at = [flanks.height[h.typical] for h in halves]
    traced = [_by_height(a, placed.shift_px[:, i]) for a, i in zip(at, places, strict=True)]
    points = np.concatenate([h.points for h in halves])
    own = list(places)
    light = FlankLight(
        across_px=halves[0].across_px,
        light=np.concatenate([h.profiles for h in halves]) / placed.surface.background,
        height=flanks.height[points],
        free_px=around.free_px(points),
        traced=placed.light[own].mean(axis=0),
        at=np.mean(at, axis=0),
        edge_px=float(placed.edge_px[own].mean()),
        misfit=float(placed.misfit[own].mean()),
        blur_px=placed.blur_px[int(placed.way[own[0]])],
        near=placed.surface.near,
    )
    return rise(light, traced_rise(float(np.mean(traced)), light))


def move_to_edges(
    flanks: Flanks, sight: Sight, section: Section
) -> tuple[Flanks, tuple[FlankEdge, ...], Surface]:
    """Shift every flank point along its normal to where the part's surface really ends.

    Parameters
    ----------
    flanks
        Points where the light crosses LIT_LEVEL.
    sight
        How the thread is seen.
    section
        A first fit to the same points.

    Returns
    -------
    flanks, edges, surface
        The points moved, the edges behind it, and what the part mirrors.

    Notes
    -----
    The mirrored band of a flank changes along the thread, with the view and the light's border,
    and up the flank: deep in the groove the next ridge takes the light that the flank would
    mirror. The edge is found for both halves of each flank along the thread, and goes on linearly
    in between; how it changes with the height is what the traced light makes
    of it and what each height's own light says (:mod:`pitchcam.edges.flank_rise`).
    """
    groups: list[Indices] = []
    halves: list[list[_Half]] = []
    for side in (1.0, -1.0):
        for flank in (1.0, -1.0):
            group = np.flatnonzero((flanks.side == side) & (flanks.flank == flank))
            if len(group) < FEWEST:
                continue
            sine = np.sin(np.arctan(section.fit.tan_half[0 if flank > 0 else 1]))
            # From mid-flank the next flank begins half a spacing away along the axis.
            reach_mm = np.linalg.norm(sight.frame.origin)
            spacing_px = section.fit.pitch_mm / reach_mm * sight.camera.f_px
            window_px = float(np.clip(WINDOW * spacing_px * np.sqrt(1 - sine**2), *WINDOW_PX))
            groups.append(group)
            # What the fit leaves out is a shoulder's wall or dirt, whose light is another's.
            sound = group[section.fit.used[group]]
            of = sound if len(sound) >= FEWEST else group
            halves.append(_halves(flanks, of, sight.crop, window_px))
    every = [h for of_flank in halves for h in of_flank]
    if not every:
        return (
            flanks,
            (),
            Surface(
                metal=UNSEEN,
                panel=panel_behind(sight.rims)[0],
                background=1.0,
                u_background=U_BACKGROUND,
                misfit=0.0,
            ),
        )
    placed = _place(every, flanks, sight, section)
    places, edges, xy = iter(range(len(every))), [], flanks.xy.copy()
    for points, of_flank in zip(groups, halves, strict=True):
        own = [next(places) for _ in of_flank]
        rises = _rise(of_flank, own, placed, _Around(flanks=flanks, sight=sight, section=section))
        of_halves = [
            FlankEdge(
                side=float(flanks.side[points[0]]),
                flank=float(flanks.flank[points[0]]),
                shift_px=float(placed.edge_px[i]),
                u_px=float(placed.u_px[i]),
                u_by_height_px=rises.u_px,
                by_height_px=rises.px,
            )
            for i in own
        ]
        ridge, height = flanks.ridge[points], flanks.height[points]
        middles = [float(flanks.ridge[h.points].mean()) for h in of_flank]
        move = _along(middles, of_halves, ridge) + rises.px * (height - height.mean())
        xy[points] += move[:, None] * flanks.normal[points]
        edges += of_halves
    return replace(flanks, xy=xy), tuple(edges), placed.surface
