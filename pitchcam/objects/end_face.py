"""The end faces of a turned part: seen aslant, a flat round face is a half ellipse.

The rim of a face square to the axis projects to an ellipse whose minor axis, as a share of the
major one, tells the angle between axis and line of sight: in the picture's middle it is its sine,
elsewhere as :mod:`pitchcam.thread.pose.rest` works it out. Whether the face looks at the
camera or away from it, the outline bulges outward by that half ellipse: the lower half of the rim
closes the outline of a face that is seen, the upper half that of one that is not.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.least_squares import soft, solve_one
from pitchcam.objects.axis import ImageAxis
from pitchcam.small import median, medians

Values = NDArray[np.float64]

#: Where the outline turns away from the face: chamfers stand at 30 degrees and more to it (common
#: practice, no source), and an ellipse of a fifth reaches that slope at 0.93 of its radius.
LEAVES = 0.45
#: Share of the face's radius whose outline is taken: beyond, blur and the chamfer's edge round it.
WITHIN = 0.92
#: Half the stretch over which a slope is taken, as a share of the part's width.
SLOPE_OVER = 0.025
#: A face smaller than this, pixels, says nothing; nor does one whose outline bulges more: a dome.
LEAST_RADIUS_PX, MOST_BULGE = 12.0, 0.45
#: How well the radius is known from where the outline leaves the face, relative.
U_RADIUS = 0.05
#: Radii that differ by no more than this, relative, are fitted alike: it is a five-hundredth of
#: U_RADIUS.
SAME_RADIUS = 1e-4
#: How well an outline's place is known along an edge, pixels, whatever its scatter: blur, mirrored
#: light and the edge's own break bend it so far.
U_BEND_PX = 0.35
#: What most half ellipses come out to, where the pose is known (107 faces of 64 rendered photos):
#: places of the outline, pixels, beyond its scatter, and the bulge by its radius as it was fitted,
#: relative.
U_PLACE_PX, U_ROUND = 0.15, 0.02
#: The ellipse's own fall is steeper than any outline where less than this is left of its inside.
LEAST_INSIDE = 1e-4
#: Radii that are tried where the first one leads nowhere: well inside the bounds of the fit.
NEAR_RADII = np.array([0.95, 1.0, 1.05])


@dataclass(frozen=True, kw_only=True)
class Face:
    """An end face: its station and radius in the picture, and how far its outline bulges.

    ``bulge`` is minor over major axis of its ellipse, positive outward, ``u_bulge`` its standard
    uncertainty; ``end`` is +1 at the end of growing s, else -1.
    """

    end: float
    s_px: float
    radius_px: float
    bulge: float
    u_bulge: float


def end_face(outline_px: Values, axis: ImageAxis, end: float) -> Face | None:
    """Return one end's face, None where the outline shows no flat one.

    Parameters
    ----------
    outline_px
        Closed outline, (n, 2) photo pixels, about one point a pixel.
    axis
        The part's axis in the photo.
    end
        +1 for the end of growing s, -1 for the other.
    """
    t, s = _profile(outline_px, axis, end)
    if len(t) < 2 * LEAST_RADIUS_PX:
        return None
    leaves, middle = _flat(t, s)
    if leaves < LEAST_RADIUS_PX:
        return None
    taken, bulge = 0.0, 0.0
    for _ in range(4):
        # The ellipse itself turns by so much before it ends.
        about = leaves * float(np.hypot(LEAVES, bulge)) / LEAVES
        if abs(about - taken) < SAME_RADIUS * about:
            break
        taken = about
        bulge, radius, s_px, scatter = _fit(t - middle, s, about)
    if abs(bulge) > MOST_BULGE:
        return None
    # An ellipse within 0.92 of its radius rises by 0.61 of its bulge; the rise is a difference of
    # two places of the outline.
    u = float(np.sqrt(2) * np.hypot(U_PLACE_PX, scatter) / (0.61 * radius))
    return Face(
        end=end,
        s_px=end * s_px,
        radius_px=radius,
        bulge=bulge,
        u_bulge=float(np.hypot(u, U_ROUND * bulge)),
    )


def _fit(t: Values, s: Values, radius: float) -> tuple[float, float, float, float]:
    """Fit a half ellipse of about a radius: its bulge, radius, the axis's end, and the scatter."""
    on = np.abs(t) < WITHIN * radius
    x, y = t[on], s[on]

    # The last residual is the radius, as it is known from where the outline leaves the face.
    known = U_BEND_PX / U_RADIUS
    slopes = np.zeros((len(x) + 1, 4))
    slopes[:-1, 0], slopes[:-1, 1], slopes[-1, 3] = 1.0, x, known / radius

    def rest(p: Values) -> Values:
        inside = np.maximum(1 - (x / p[3]) ** 2, LEAST_INSIDE)
        slopes[:-1, 2] = np.sqrt(inside)
        slopes[:-1, 3] = np.where(inside > LEAST_INSIDE, p[2] * x**2 / p[3] ** 3, 0.0)
        slopes[:-1, 3] /= slopes[:-1, 2]
        off = np.empty(len(slopes))
        np.subtract(slopes[:-1, :3] @ p[:3], y, out=off[:-1])
        off[-1] = (p[3] / radius - 1) * known
        return off

    def cost(p: Values) -> tuple[Values, Values]:
        off = rest(p)
        return soft(off, slopes, 2 * U_BEND_PX)

    # With the radius as it is taken to be, all else is linear.
    start = np.array([median(y), 0.0, 0.0, radius])
    off = rest(start)
    start[:3] -= np.linalg.lstsq(slopes[:, :3], off, rcond=None)[0]
    # The rim reaches past all points that are fitted; beyond it there is no ellipse to step on.
    least = float(np.abs(x).max()) / np.sqrt(1 - LEAST_INSIDE)
    low = np.array([-np.inf, -0.2, -np.inf, max(0.9 * radius, least)])
    high = np.array([np.inf, 0.2, np.inf, 1.1 * radius])
    found = solve_one(cost, start, low, high, settled=1e-8)
    if found.parameters[0, 3] <= low[3]:
        # A first step too far ends at the bound: start near the best of a few radii instead.
        held = []
        for r in radius * NEAR_RADII:
            start[3] = r
            least, most = (np.append(end[:3], r) for end in (low, high))
            held.append(solve_one(cost, start, least, most))
        best = min(held, key=lambda f: float(f.cost[0])).parameters[0]
        again = solve_one(cost, best, low, high, settled=1e-8)
        found = min(found, again, key=lambda f: float(f.cost[0]))
    p = found.parameters[0]
    scatter = median(np.abs(rest(p)[:-1])) / 0.6745
    return float(p[2] / p[3]), float(p[3]), float(p[0]), scatter


def _profile(outline_px: Values, axis: ImageAxis, end: float) -> tuple[Values, Values]:
    """Return t (whole pixels) and how far along the axis the outline reaches there, outward."""
    st = axis.to_axis(outline_px)
    s = end * st[:, 0]
    first = int(np.floor(st[:, 1].min()))
    place = np.round(st[:, 1]).astype(int) - first
    reach = np.full(int(place.max()) + 1, -np.inf)
    np.maximum.at(reach, place, s)
    # The outline skips a place here and there, where the other end would stand for this one.
    near = reach >= (s.min() + s.max()) / 2
    span = np.flatnonzero(near)[[0, -1]]
    ok = np.isfinite(reach)
    ok[span[0] : span[1] + 1] = near[span[0] : span[1] + 1]
    return (np.arange(len(reach)) + first)[ok].astype(float), reach[ok]


def _flat(t: Values, s: Values) -> tuple[float, float]:
    """Return radius and middle of the stretch around the axis that lies square to it."""
    # Over fewer pixels the outline's noise makes slopes of its own.
    step = max(5, round(SLOPE_OVER * len(t)))
    smooth = medians(sliding_window_view(np.pad(s, 2, mode="symmetric"), 5).T)
    slope = np.abs(smooth[2 * step :] - smooth[: -2 * step]) / (t[2 * step :] - t[: -2 * step])
    at = t[step:-step]
    start = int(np.argmin(np.abs(at)))
    steep = slope > LEAVES
    left = np.flatnonzero(steep[: start + 1])
    right = np.flatnonzero(steep[start:])
    low = at[left[-1]] if len(left) else at[0]
    high = at[start + right[0]] if len(right) else at[-1]
    return float(high - low) / 2, float(high + low) / 2
