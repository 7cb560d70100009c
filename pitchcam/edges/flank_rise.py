"""How a flank's edge shifts against a level's crossing from its foot to its top, by the light.

The light that is traced beside an edge leaves out what rough metal scatters widely, of which the
top of a flank gets more than its foot. So each height's own fall of the light, from the panel down
to what is mirrored, is asked where the edge lies; what the trace says is how bright it is inside.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.flank_place import CELLS_PX, DEEPER_PX, USUAL_MISFIT, Surface
from pitchcam.edges.section import PER_POINT
from pitchcam.frozen import dataclass
from pitchcam.normal import normal_cdf
from pitchcam.small import SOUND, median, solved, sound_mean

Values = NDArray[np.float64]

#: Heights on a flank that are asked, and the fewest points that each is told by.
HEIGHTS, FEWEST = 5, 4
#: Noise of one profile's light, of the panel's and in the dark, and what the form of the fall is
#: known to besides.
U_LIT, U_DARK, U_FALL = 0.02, 0.004, 0.003
#: To what share the light inside is traced at one height: the wide scatter is left out (113 known
#: threads in renders: 0.1 to 0.2 is best). Share that is each depth's own error, which
#: grows inward as in the fit of the whole flank.
U_TRACED, U_INSIDE = 0.15, 0.07
#: The light in a groove against that beside the part: what a lens spreads over some pixels.
U_GROOVE = 0.01
#: What a height's edge is off besides, pixels (judgement).
U_EDGE_PX = 0.04
#: Groove's other flank: samples so many blurs before it count.
CLEAR_BLURS = 2.5
#: What the trace alone misses of a flank's shift from foot to top, pixels, and how well it then
#: tells it, with a panel far behind the plate and with one nearer than half the camera's distance:
#: the mean over the four flanks of 112 known threads was 0.08 and 0.25 off, rms, their outlines'
#: own noise taken off, nearly all to one side. Rough metal scatters widely, which is not traced;
#: what mirrors less than SCATTERS of the light scatters less in proportion (dull and blackened ones
#: of those threads mirror 0.28 and more; beside a thread that is drawn black nothing scatters).
SCATTERS = 0.3
MISSED_PX, MISSED_NEAR_PX = 0.02, 0.12
U_TRACE_PX, U_TRACE_NEAR_PX, NEAR_PANEL = 0.125, 0.30, 0.5
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
    its mean profile is drawn.
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


def traced_rise(px: float, surface: Surface) -> Rise:
    """Return what the trace tells of a rise over such a surface and panel."""
    scatters = min(surface.metal.share.value / SCATTERS, 1.0)
    if surface.panel < NEAR_PANEL:
        return Rise(px=px + scatters * MISSED_NEAR_PX, u_px=U_TRACE_NEAR_PX)
    return Rise(px=px + scatters * MISSED_PX, u_px=U_TRACE_PX)


def rise(flank: FlankLight, traced: Rise) -> Rise:
    """Return the edge's rise by the light of all heights and by what was traced."""
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
    prior = 1 / traced.u_px**2
    return Rise(
        px=(own * slope + prior * traced.px) / (own + prior), u_px=float((own + prior) ** -0.5)
    )


def _edge(flank: FlankLight, points: NDArray[np.intp]) -> tuple[float, float, float] | None:
    """Return the height of some points, where their edge lies, and its standard uncertainty.

    None where no light that was taken changes as an edge moves.
    """
    light = sound_mean(flank.light[points])
    height = float(flank.height[points].mean())
    order = np.argsort(flank.at)
    inside = np.array([np.interp(height, flank.at[order], c[order]) for c in flank.traced.T])
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
        covariance = np.diag(variance) + U_GROOVE**2 * np.outer(drawn, drawn)
        covariance += (U_TRACED * worse) ** 2 * np.outer(mirrored, mirrored)
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
