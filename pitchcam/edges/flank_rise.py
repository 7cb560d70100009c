"""How a flank's edge shifts against a level's crossing from its foot to its top, by the light.

The light that is traced beside an edge leaves out what rough metal scatters widely, of which the
top of a flank gets more than its foot. So each height's own fall of the light, from the panel down
to what is mirrored, is asked where the edge lies; what the trace says is how bright it is inside.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.flank_place import CELLS_PX, DEEPER_PX, USUAL_MISFIT
from pitchcam.edges.section import PER_POINT
from pitchcam.frozen import dataclass
from pitchcam.normal import normal_cdf
from pitchcam.objects.contour import LIT_LEVEL
from pitchcam.small import SOUND, between, median, solved, sound_mean

Values = NDArray[np.float64]

#: Heights on a flank that are asked, and the fewest points that each is told by.
HEIGHTS, FEWEST = 5, 4
#: Noise of one profile's light, of the panel's and in the dark, and what the form of the fall is
#: known to besides (600 flanks of known threads leave a third of that: half of it is room for what
#: no render draws).
U_LIT, U_DARK, U_FALL = 0.014, 0.003, 0.002
#: To what share the light inside is traced at one height: the wide scatter is left out (113 known
#: threads in renders: 0.1 to 0.2 is best). Share that is each depth's own error, which
#: grows inward as in the fit of the whole flank.
U_TRACED, U_INSIDE = 0.15, 0.07
#: The light in a groove against that beside the part: what a lens spreads over some pixels.
U_GROOVE = 0.01
#: What a height's edge is off besides, pixels: five heights stray by 0.024 from a line (52 flanks
#: in renders of known threads), most of which is the light's noise.
U_EDGE_PX = 0.015
#: A place on the outline is told by the light of two pixels.
OF_TWO = 0.5**0.5
#: Groove's other flank: samples so many blurs before it count.
CLEAR_BLURS = 2.5
#: What mirrored light makes of a flank's rise from foot to top, before its own light is asked: this
#: share of what is traced, and of how far the light moves the level's crossing from where it lies
#: on a black flank; and how well one flank's rise is then known, pixels and as a share of the
#: latter. The trace alone leaves out what rough metal scatters widely, and makes angles too open.
#: Two ways to render metal differ in it: of 220 known threads 0.6 and 0.22 draw the mean over four
#: flanks to 0.03 pixels and 0.16 of that, of 16 smoother ones 0.8 and 0.1 are still too much, by
#: 0.3 degrees.
TRACED_SHARE, MOVED_SHARE = 0.7, 0.15
U_TRACE_PX, U_MOVED = 0.07, 0.32
#: A panel close behind a part fills half of all that a flank's top can mirror, and the next ridge
#: shades the foot: what rough metal scatters widely shines the more. So much more of what moves
#: the level is then a rise (37 known threads over panels of 0.4 to 2 mm were 0.96 u too open; by
#: what it moves of ten of them this leaves no mean, and they are likelier by 15 units of the
#: logarithm; half or twice of it by 13 and 12).
NEAR_SHARE = 0.35
#: Points of one height tell no slope: their squares, shares of a flank's height, are no fewer.
LEAST_SQUARES = 1e-6
#: How far outward of a black edge LIT_LEVEL is crossed, in blurs.
LEVEL_BLURS = 1.0364
#: An edge is sought so far from that of the whole flank, and moved so far at a time.
REACH_PX, STEP_PX, ROUNDS = 2.0, 0.7, 3


@dataclass(frozen=True, kw_only=True)
class Rise:
    """By how much the edge shifts outward from a flank's foot to its top, pixels, and its u."""

    px: float
    u_px: float


@dataclass(frozen=True, kw_only=True)
class FlankLight:
    """The light across one flank.

    ``light`` (n, m) is that of n points at ``across_px`` (m,) outward of the level's crossing,
    1 outside; ``height`` (n,) each point's share of the flank's height, ``free_px`` (n,) how far
    off the groove's other flank is. ``traced`` (c, d) is the light inside by depth (CELLS_PX) at
    the heights ``at`` (c,). ``edge_px`` is where the whole flank's edge lies, ``misfit`` how well
    its mean profile is drawn, ``near`` how far the light is that of a close panel.
    """

    across_px: Values
    light: Values
    height: Values
    free_px: Values
    traced: Values
    at: Values
    edge_px: float
    misfit: float
    blur_px: float
    near: float


def traced_rise(px: float, flank: FlankLight) -> Rise:
    """Return what is known of a flank's rise by the trace of its light, ``px``."""
    moved = max(flank.edge_px + LEVEL_BLURS * flank.blur_px, 0.0)
    return Rise(
        px=TRACED_SHARE * px + (MOVED_SHARE + NEAR_SHARE * flank.near) * moved,
        u_px=float(np.hypot(U_TRACE_PX, U_MOVED * moved)),
    )


def level_u(flank: FlankLight) -> float:
    """Return how well the points tell the rise of their level's crossing, pixels.

    The level lies where the light falls slowly and is noisiest: of a black flank it tells the slope
    four times worse than the whole fall does.
    """
    steepness = float(np.exp(-0.5 * LEVEL_BLURS**2) / np.sqrt(2 * np.pi)) / flank.blur_px
    u_px = OF_TWO * U_LIT * LIT_LEVEL**0.5 / steepness
    squares = PER_POINT * float(np.sum((flank.height - flank.height.mean()) ** 2))
    return float(u_px / np.sqrt(max(squares, LEAST_SQUARES)))


def rise(flank: FlankLight, traced: Rise) -> Rise:
    """Return the edge's rise by the light of all heights and by what was traced.

    It is added to what the points show. What noise makes of their slope is in the light's own rise
    too, with the other sign, and goes with it; with the traced rise it stays. So the former counts
    against the latter and that noise together. The noise itself is the points' own (their fit has
    it), and is not in the uncertainty.
    """
    groups = min(HEIGHTS, len(flank.height) // FEWEST)
    if groups < 2:
        return traced
    order = np.argsort(flank.height, kind="stable")
    edges = [_edge(flank, points) for points in np.array_split(order, groups)]
    told = [edge for edge in edges if edge is not None]
    if len(told) < 2:
        return traced
    height, edge, u = (np.array(column) for column in zip(*told, strict=True))
    weight = 1 / u**2
    off = height - weight @ height / weight.sum()
    squares = float(weight @ off**2)
    if not squares > 0:
        return traced
    slope = float(weight @ (off * edge)) / squares
    rest = edge - weight @ edge / weight.sum() - slope * off
    scatter = float(weight @ rest**2) / max(len(told) - 2, 1)
    own = squares / max(scatter, 1.0)
    prior = 1 / (traced.u_px**2 + level_u(flank) ** 2)
    share = own / (own + prior)
    return Rise(
        px=share * slope + (1 - share) * traced.px,
        u_px=float(np.hypot(share * own**-0.5, (1 - share) * traced.u_px)),
    )


def _edge(flank: FlankLight, points: NDArray[np.intp]) -> tuple[float, float, float] | None:
    """Return the height of some points, where their edge lies, and its standard uncertainty.

    None where no light that was taken changes as an edge moves.
    """
    light = sound_mean(flank.light[points])
    height = float(flank.height[points].mean())
    order = np.argsort(flank.at)
    inside = np.array([between(height, flank.at[order], c[order]) for c in flank.traced.T])
    falls = np.concatenate([[1.0], inside]) - np.concatenate([inside, [0.0]])
    count = max(PER_POINT * SOUND / 100 * len(points), 1.0)
    worse = max(1.0, flank.misfit / USUAL_MISFIT)
    free = median(flank.free_px[points]) - CLEAR_BLURS * flank.blur_px
    edge = flank.edge_px
    for _ in range(ROUNDS):
        use = flank.across_px < edge + max(free, 1.0)
        x = flank.across_px[use]
        drawn, slope = _drawn(x, edge, falls, flank.blur_px)
        black = 1 - normal_cdf((edge - x) / flank.blur_px)
        mirrored = np.maximum(drawn - black, 0.0)
        deeper = 1 + np.maximum(edge - 1 - x, 0.0) / DEEPER_PX
        variance = (U_LIT**2 * np.maximum(drawn, 0.0) + U_DARK**2) / count + (U_FALL * worse) ** 2
        variance += (U_INSIDE * worse * mirrored * deeper) ** 2
        covariance = np.diag(variance) + U_GROOVE**2 * (drawn[:, None] * drawn)
        covariance += (U_TRACED * worse) ** 2 * (mirrored[:, None] * mirrored)
        weight = solved(covariance, slope)
        told = float(weight @ slope)
        if not told > 0:
            return None
        rest = light[use] - drawn
        step = min(max(float(weight @ rest) / told, -STEP_PX), STEP_PX)
        edge = min(max(edge + step, flank.edge_px - REACH_PX), flank.edge_px + REACH_PX)
    rest = rest - step * slope
    misfit = float(rest @ solved(covariance, rest)) / max(len(rest) - 1, 1)
    return height, edge, float(np.hypot(np.sqrt(max(misfit, 1.0) / told), U_EDGE_PX))


def _drawn(x: Values, edge: float, falls: Values, blur_px: float) -> tuple[Values, Values]:
    """Return the light across an edge, (m,), and its change as the edge moves outward.

    ``falls`` are those of the light from outside, from cell to cell, and to dark.
    """
    off = (edge - CELLS_PX - x[:, None]) / blur_px
    bells = np.exp(-0.5 * off**2) / (np.sqrt(2 * np.pi) * blur_px)
    return 1 - normal_cdf(off) @ falls, -(bells @ falls)
