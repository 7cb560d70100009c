"""The end faces of a turned part: seen aslant, a flat round face is a half ellipse.

The rim of a face square to the axis projects to an ellipse whose minor axis is the sine of the
angle between face and line of sight as a share of the major one. Whether the face looks at the
camera or away from it, the outline bulges outward by that half ellipse: the lower half of the rim
closes the outline of a face that is seen, the upper half that of one that is not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.optimize import least_squares

from pitchcam.objects.axis import ImageAxis

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
#: How well an outline's place is known along an edge, pixels, whatever its scatter: blur, mirrored
#: light and the edge's own break bend it so far.
U_BEND_PX = 0.35


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
    radius, bulge = leaves, 0.0
    for _ in range(4):
        # The ellipse itself turns by so much before it ends.
        radius = leaves * float(np.hypot(LEAVES, bulge)) / LEAVES
        bulge, radius, s_px, scatter = _fit(t - middle, s, radius)
    if abs(bulge) > MOST_BULGE:
        return None
    # An ellipse within 0.92 of its radius rises by 0.61 of its bulge; the rise is a difference of
    # two places of the outline.
    u = float(np.sqrt(2) * np.hypot(U_BEND_PX, scatter) / (0.61 * radius))
    return Face(
        end=end, s_px=end * s_px, radius_px=radius, bulge=bulge,
        u_bulge=float(np.hypot(u, U_RADIUS * bulge)),
    )  # fmt: skip


def _fit(t: Values, s: Values, radius: float) -> tuple[float, float, float, float]:
    """Fit a half ellipse of about a radius: its bulge, radius, the axis's end, and the scatter."""
    on = np.abs(t) < WITHIN * radius
    x, y = t[on], s[on]

    def rest(p: Values) -> Values:
        inside = np.maximum(1 - (x / p[3]) ** 2, 1e-4)
        off = p[0] + p[1] * x + p[2] * np.sqrt(inside) - y
        return np.append(off, (p[3] / radius - 1) / U_RADIUS * U_BEND_PX)

    fit = least_squares(
        rest, [float(np.median(y)), 0.0, 0.0, radius], loss="soft_l1", f_scale=2 * U_BEND_PX,
        bounds=([-np.inf, -0.2, -np.inf, 0.9 * radius], [np.inf, 0.2, np.inf, 1.1 * radius]),
    )  # fmt: skip
    scatter = float(np.median(np.abs(rest(fit.x)[:-1])) / 0.6745)
    return float(fit.x[2] / fit.x[3]), float(fit.x[3]), float(fit.x[0]), scatter


def _profile(outline_px: Values, axis: ImageAxis, end: float) -> tuple[Values, Values]:
    """Return t (whole pixels) and how far along the axis the outline reaches there, outward."""
    st = axis.to_axis(outline_px)
    s = end * st[:, 0]
    first = int(np.floor(st[:, 1].min()))
    place = np.round(st[:, 1]).astype(int) - first
    reach = np.full(int(place.max()) + 1, -np.inf)
    np.maximum.at(reach, place, s)
    ok = np.isfinite(reach)
    return (np.arange(len(reach)) + first)[ok].astype(float), reach[ok]


def _flat(t: Values, s: Values) -> tuple[float, float]:
    """Return radius and middle of the stretch around the axis that lies square to it."""
    # Over fewer pixels the outline's noise makes slopes of its own.
    step = max(5, round(SLOPE_OVER * len(t)))
    smooth = median_filter(s, size=5)
    slope = np.abs(smooth[2 * step :] - smooth[: -2 * step]) / (t[2 * step :] - t[: -2 * step])
    at = t[step:-step]
    start = int(np.argmin(np.abs(at)))
    steep = slope > LEAVES
    left = np.flatnonzero(steep[: start + 1])
    right = np.flatnonzero(steep[start:])
    low = at[left[-1]] if len(left) else at[0]
    high = at[start + right[0]] if len(right) else at[-1]
    return float(high - low) / 2, float(high + low) / 2
