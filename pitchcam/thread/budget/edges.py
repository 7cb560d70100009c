"""The terms of the edges: where flanks, crests and roots end, and how the light hides it."""

from __future__ import annotations

import numpy as np

from pitchcam.edges.flank_rise import U_TRACE_PX
from pitchcam.records import BudgetLine
from pitchcam.small import median
from pitchcam.thread.budget.geometry import Geometry
from pitchcam.thread.measure import ThreadShape

#: Pixels that a flank's u counts for at most: beyond, the light did not determine it, and it stands
#: where the level found it, no farther off than its band is wide (judgement).
MOST_U_PX = 3.0
#: What the model of an edge's light leaves open, pixels: for all flanks alike, and for one flank
#: against the others (judgement; 136 known threads with no panel near were 0.09 off along a flank,
#: all terms together).
U_EDGE_PX, U_FLANK_PX = 0.05, 0.05
#: Share of a flank's u that is its own, not common to all (judgement).
OWN_SHARE = 0.6
#: Both halves of a thread are placed by the same model and under the same light, and of what they
#: differ by a share only is taken for a slope: by this share of what halves placed independently
#: would do, they make one (judgement: tapers of 445 known threads of two seeds are as likely with
#: none of it, by two units of the logarithm, and by nineteen less so at 0.5).
HALVES_APART = 0.2
#: How far crests and roots follow the flanks' edges, which they share blur and metal with: a crest
#: by this share of the flanks' shift, a root by this share of what that moves the flanks' diameter
#: (judgement).
CREST_FOLLOWS, ROOT_FOLLOWS = 0.7, 0.6
#: Spread of a uniform distribution, in units of its standard deviation: the length of flank that
#: points scattered so evenly along it stand on.
UNIFORM = 12**0.5

#: What is left of a slanted view after its contour has been unfolded, at a slant of 0.136: a
#: Whitworth thread reads 3.2 degrees too open there when its crest's rounding cannot be told from
#: its flank (from an exact contour, without light). It grows with the slant's square; where only
#: points on the straight flank were used, an eighth of it is left of the pitch diameter, whose
#: share is given in pitches (292 rendered threads: 0.1 to 0.3), and of the angle less: 167 and 106
#: known ones show none.
SLANT = 0.136
SLANT_ANGLE_DEG = 3.2
SLANT_LEFT, SLANT_ANGLE_LEFT = 0.125, 0.04
SLANT_DIAMETER_PITCHES = 0.03

#: Where a root ends fewer blurs than this over the point of its flanks, as they are seen, the blur
#: hides its form; and what that leaves of its place besides the spread of those that describe the
#: light, in blurs: some 40 sharp roots of known threads, at 7 to 30 pixels a pitch, are off by so
#: much more than that.
HIDDEN_BLURS, ROOT_BLURS = 2.0, 0.6

#: What a motion leaves of the place of all edges, as a share of how far it carried the thread to
#: either side: a swept edge of a black part and a less swept one that mirrors fall nearly alike
#: (drawn black threads, 3 to 9 px of motion: 0.03 to 0.14, rms 0.1).
U_SWEPT = 0.1

#: What is traced of the light beside a flank reaches as deep as the next flank where a thread has
#: few pixels, and both levels of an outline meet in its grooves: by how much more than one flank's
#: own u, beyond that of a black one, the rise of all four is off at FEW_PX a pitch, and how that
#: falls with more (samples over near panels, made smaller and coded again: 2 to 12 degrees too open
#: at 7 to 9 pixels, 0 to 4 at 16 to 20; over far panels 2 at most).
U_FEW, FEW_PX, FEW_POWER = 1.25, 8.0, 3

#: A panel is not mentioned below this nearness.
LEAST_NEARNESS = 0.02
#: The least bend that is mentioned, degrees.
LEAST_BEND_DEG = 0.02
#: With the panel close behind the part the mirrored band covers a third of the radius, shines
#: unevenly up the flank and changes along the thread. The pitch as a share: that flanks of every
#: ridge are drawn alike keeps it out of the pitch (errors of 207 threads of three seeds near a
#: panel are likeliest with none of it, by two units of the logarithm less so at twice this; 0.0015,
#: which was judged, by seven).
NEAR_PANEL_PITCH = 0.0004
#: And what is left in the diameters of edges that were traced under it, pixels: 87 threads near a
#: panel are off by 0.43 between crests and roots, by 0.25 between crests and flanks, beyond what
#: they are over masked light (renders).
NEAR_DIAMETERS_PX = {"major_mm": 0.15, "pitch_diameter_mm": 0.25, "minor_mm": 0.45}
#: How far the ridge at an end stands off, in radius and pitches: a chamfer or a run-out that the
#: fit did not leave out; beside a close panel, which shines past the end, twice as much more. The
#: points that it takes of the first half ridge beside a body lie 0.002 too far out, at a bare end
#: 0.001 too far in; tapers of 208 rendered threads err by 0.95 of u with three turns and by 0.65
#: with more than eleven.
END_RIDGE, END_RIDGE_NEAR = 0.005, 0.01


def _median_u_px(shape: ThreadShape) -> float:
    return median(np.array([min(e.u_px, MOST_U_PX) for e in shape.edges]))


def _sine(shape: ThreadShape) -> float:
    """Return the sine of the half angle: an edge's shift counts over it along the radius."""
    return float(np.sin(np.arctan(np.mean(shape.section.fit.tan_half))))


def flank_px(shape: ThreadShape) -> float:
    """Return the length of straight flank, along it, that tells the angle, pixels.

    Of both sides the longer tells more, and counts by how much it says. Where a slant, wear or the
    blur leave little of a flank, what moves an edge along it turns it the more.
    """
    p, used = shape.section.points, shape.section.fit.used
    radius = p.r - shape.taper / 2 * p.z
    turned = 0.0
    for flank in (1.0, -1.0):
        groups = [used & (p.flank == flank) & (p.side == side) for side in (1.0, -1.0)]
        told = [(int(g.sum()), float(np.var(radius[g]))) for g in groups if g.sum() > 1]
        weight = sum(n * v for n, v in told)
        turned += sum((n * v / weight) ** 2 / v for n, v in told)
    cosine = np.cos(np.arctan(np.mean(shape.section.fit.tan_half)))
    return float(UNIFORM / np.sqrt(turned) / cosine) / shape.mm_per_px


def _turned_deg(shape: ThreadShape, rise_px: float) -> float:
    """Return what a shift that grows by so much from foot to top turns of a flank, degrees."""
    used = shape.section.fit.used
    share = UNIFORM * float(np.std(shape.flanks.height[used]))
    return float(np.degrees(rise_px * share / flank_px(shape)))


def edge_and_rim(shape: ThreadShape, place: Geometry) -> BudgetLine | None:
    """Return what it contributes that the edges of all flanks lie out or in together.

    Neighbouring profiles share the model's error: the mean counts, not the mean over root n.
    """
    if not shape.edges:
        return None
    u_px = float(np.hypot(_median_u_px(shape), U_EDGE_PX))
    return _all_out("edge and rim", shape, u_px * shape.mm_per_px)


def _all_out(source: str, shape: ThreadShape, out_mm: float) -> BudgetLine:
    """Return what all flanks' edges so far out make; crests and roots follow them."""
    shift, sine = 2 * out_mm, _sine(shape)
    return BudgetLine(
        source=source,
        contributions={
            "pitch_diameter_mm": shift / sine,
            "major_mm": shift * CREST_FOLLOWS,
            "minor_mm": shift / sine * ROOT_FOLLOWS,
        },
    )


def rim_along(shape: ThreadShape, place: Geometry) -> BudgetLine | None:
    """Return what it contributes that the flanks' edges differ along the thread.

    How an edge runs up its flank is asked of the light there, and is the angle's: `bent_flanks`.
    """
    if not shape.edges:
        return None
    single = float(np.hypot(_median_u_px(shape) * OWN_SHARE, U_FLANK_PX)) * shape.mm_per_px
    sine = _sine(shape)
    half_length = max(shape.span_mm[1] - shape.span_mm[0], shape.pitch_mm) / 2
    # Both halves of the thread, whose middles are half its length apart, differ by sqrt 2 u per
    # flank; four flanks average.
    slope = HALVES_APART * single * np.sqrt(2) / np.sqrt(4) / half_length
    return BudgetLine(
        source="rim along the thread",
        contributions={
            "pitch_mm": float(shape.pitch_mm * slope / np.cos(np.arcsin(sine))),
            "taper": float(2 * slope / sine),
        },
    )


def end_ridges(shape: ThreadShape, place: Geometry) -> BudgetLine:
    """Return what it contributes that the ridges at the ends are not as the others."""
    return BudgetLine(
        source="ridges at the ends", contributions={"taper": _by_ends(shape, END_RIDGE)}
    )


def _by_ends(shape: ThreadShape, off_pitches: float) -> float:
    """Return the taper that a flank makes which stands off at an end.

    Of the n = 2 N flanks on a side of N turns that of an end turns the line by 6 / (n N P) of what
    it is off.
    """
    turns = max((shape.span_mm[1] - shape.span_mm[0]) / shape.pitch_mm, 1.0)
    return 3 * off_pitches / turns**2


def bent_flanks(shape: ThreadShape, place: Geometry) -> BudgetLine | None:
    """Return what flanks that are not straight leave in the angle: worn crests, filled roots.

    The true angle lies anywhere between those of both halves, and the fit between the two. How the
    light's shift changes up a flank counts as well, as far as each flank's is known: of four, two
    halves of an angle take the mean of two each. What the whole outline says has its own share of
    both, and where it contradicts the flanks the mean is open by that, whatever each counts.
    """
    rises = [e.u_by_height_px for e in shape.edges]
    turned = _turned_deg(shape, float(np.sqrt(np.mean(np.square(rises))))) if rises else 0.0
    outline = shape.outlined
    u = float(np.hypot(shape.bend_deg / UNIFORM, turned))
    if outline is not None:
        u += outline.share * (float(np.hypot(outline.u_bend_deg, outline.u_light_deg)) - u)
        u = float(np.hypot(u, outline.u_apart_deg))
    if u < LEAST_BEND_DEG:
        return None
    return BudgetLine(source="bent flanks", contributions={"angle_deg": u})


def flank_light(shape: ThreadShape, place: Geometry) -> BudgetLine | None:
    """Return what light that flanks mirror leaves in the angle of a thread of few pixels."""
    rises = [e.u_by_height_px for e in shape.edges]
    mirrored = float(np.mean(np.square(rises))) - U_TRACE_PX**2 if rises else 0.0
    if mirrored <= 0:
        return None
    pitch_px = shape.pitch_mm / shape.mm_per_px
    few = (FEW_PX / max(pitch_px, FEW_PX)) ** FEW_POWER
    # Both halves of the angle turn, by the same light.
    turned = 2 * _turned_deg(shape, U_FEW * few * float(np.sqrt(mirrored)))
    if turned < LEAST_BEND_DEG:
        return None
    return BudgetLine(source="light on the flanks", contributions={"angle_deg": turned})


def slanted_view(shape: ThreadShape, place: Geometry) -> BudgetLine:
    """Return what a view along the thread leaves in angle and pitch diameter."""
    grow, straight = (shape.slant / SLANT) ** 2, shape.straight
    diameter = SLANT_DIAMETER_PITCHES * shape.pitch_mm * grow
    return BudgetLine(
        source="view along the thread",
        contributions={
            "angle_deg": SLANT_ANGLE_DEG * grow * (SLANT_ANGLE_LEFT if straight else 1.0),
            "pitch_diameter_mm": diameter * (SLANT_LEFT if straight else 1.0),
        },
    )


def blurred_roots(shape: ThreadShape, place: Geometry) -> BudgetLine | None:
    """Return what blur and flanks leave open of the roots: the blur fills the point of a groove.

    Both sides are blurred alike, and a root that one side shows is that of the other too.
    """
    if not shape.roots:
        return None
    by_blur = 2 * ROOT_BLURS * shape.blur_mm * _unresolved(shape)
    hidden = float(np.linalg.norm([t.hidden_mm for t in shape.roots]))
    return BudgetLine(
        source="blur in the roots",
        contributions={"minor_mm": float(np.hypot(by_blur, hidden))},
        correlated=False,
    )


def _unresolved(shape: ThreadShape) -> float:
    """Return how far the blur hides what roots are like, 1 for those that end in a point.

    The side counts that shows more of its root over the point where its flanks, as seen, meet.
    """
    section = shape.section
    point = section.fit.pitch_radius_mm - shape.pitch_mm / 2 / sum(section.fit.tan_half)
    over = max(t.radius_mm - point - section.covered_mm(shape.frame, t.side) for t in shape.roots)
    return float(np.exp(-((max(over, 0.0) / (HIDDEN_BLURS * shape.blur_mm)) ** 4)))


def motion(shape: ThreadShape, place: Geometry) -> BudgetLine | None:
    """Return what a thread's own blur leaves open of where its edges lie: all are swept alike.

    It is taken for a motion of hand or part; a thread out of focus by itself looks much the same.
    """
    if not shape.swept_mm:
        return None
    return _all_out("motion along the thread", shape, U_SWEPT * shape.swept_mm)


def light_beside(shape: ThreadShape, place: Geometry) -> BudgetLine | None:
    """Return what it contributes how bright the light beside the part is taken to be.

    The flanks' own edges are fitted with it, and leave it open; crests and roots are read with
    what they found.
    """
    moved = {"major_mm": shape.tips, "minor_mm": shape.roots}
    by_light = {k: sum(t.by_light_mm for t in tips) for k, tips in moved.items() if len(tips) == 2}
    if not by_light:
        return None
    return BudgetLine(
        source="light beside the part",
        contributions={k: float(change * shape.u_beside) for k, change in by_light.items()},
    )


def near_panel(shape: ThreadShape, place: Geometry) -> BudgetLine | None:
    """Return what a panel close behind leaves in pitch, diameters and taper, each by itself.

    Not in the angle: how the edge rises up a flank is asked of each height's own light, and what
    that leaves open is more near a panel (:func:`bent_flanks`, :func:`flank_light`).
    """
    if shape.nearness < LEAST_NEARNESS:
        return None
    lengths = {k: px * shape.mm_per_px for k, px in NEAR_DIAMETERS_PX.items()}
    lengths["pitch_mm"] = NEAR_PANEL_PITCH * shape.pitch_mm
    share = {k: u * shape.nearness for k, u in lengths.items()}
    share["taper"] = shape.nearness * _by_ends(shape, END_RIDGE_NEAR)
    return BudgetLine(source="panel close behind the part", contributions=share, correlated=False)
