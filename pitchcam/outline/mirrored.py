"""The light along a line that runs into a mirroring part: its rim and all, blurred.

Looked at across the axis, the outline at the station z stands at the radius y(z). A point of the
surface that lies turned by t from it is seen at the radius y cos t, and the camera's ray grazes
the surface there at the angle a with sin a = cos b sin t, where b is the outline's slope: so a
rim on a flank is wider than one on a crest. Up to the angle where the light ends, the surface
shows the panel, dimmed by the metal; beyond, it is dark. All of it is blurred along and across.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pitchcam.outline.esf import reflected

Values = NDArray[np.float64]

#: Cells of the model per standard deviation of the blur, along the line and across it: finer ones
#: move an end by less than 0.1 um.
CELLS = 6
STATIONS = 4
#: Share of its angle over which a rim's inner border fades, and the log of a factor by which it
#: may differ: ground and turned surfaces scatter (renders of smooth to matt metals, 0.5-1.5).
FADE = 0.8
U_FADE = 0.5
#: Share of the light that a turned or rolled surface mirrors where a smooth one would, and its
#: spread: the rest is scattered past the panel. Renders of 45 known threads: crests come out 4 um
#: too far out at 0.75, as much too far in at 0.65, with the least scatter between.
POLISH = 0.7
U_POLISH = 0.2


@dataclass(frozen=True, kw_only=True)
class Mirror:
    """What one side of a thread mirrors.

    ``loss`` is that of :func:`pitchcam.outline.esf.reflected`, ``u_loss`` its uncertainty;
    ``angles_rad`` are the grazing angles up to which the - flank, the tip and the + flank mirror
    the panel, ``u_angles`` the relative standard uncertainty that they share.
    """

    loss: float
    u_loss: float
    angles_rad: tuple[float, float, float]
    u_angles: float


@dataclass(frozen=True, kw_only=True)
class Line:
    """A line's points and the cells that their blurred light comes from.

    ``kernel`` (n, m) weighs cells at radii ``r`` (m,) for each point, ``weights`` (k,) those at
    stations ``z`` (k,); ``below`` (n,) is the share of light from beneath the cells, where all is
    dark; ``step`` is the cells' length.
    """

    r: Values
    z: Values
    kernel: Values
    weights: Values
    below: Values
    step: float


def middle_line(y_mm: Values, blur_mm: float) -> Line:
    """Lay cells around points at radii ``y_mm`` (n,), on a line across the axis."""
    step = blur_mm / CELLS
    low, high = y_mm.min() - 4 * blur_mm, y_mm.max() + 4 * blur_mm
    r = np.arange(low, high, step)
    kernel = np.exp(-0.5 * ((y_mm[:, None] - r[None, :]) / blur_mm) ** 2)
    kernel /= np.sqrt(2 * np.pi) * CELLS
    z = np.arange(-3 * STATIONS, 3 * STATIONS + 1) * blur_mm / STATIONS
    weights = np.exp(-0.5 * (z / blur_mm) ** 2)
    return Line(
        r=r, z=z, kernel=kernel, weights=weights / weights.sum(),
        below=ndtr((low - 0.5 * step - y_mm) / blur_mm), step=step,
    )  # fmt: skip


def line_light(
    line: Line, y: Values, cos_b: Values, loss: Values, angles_rad: Values, fade: Values,
    polish: Values,
) -> Values:
    """Return the light at the points of a line for p parts, (p, n).

    Parameters
    ----------
    line
        The points and cells.
    y, cos_b
        Radius of the outline and cosine of its slope at the line's stations, (p, k).
    loss, fade, polish
        The metal's loss, the share of the last angle over which the rim's inner border fades, and
        the share of the light that is not scattered, (p, 1).
    angles_rad
        Angles up to which - flank, tip and + flank mirror, (p, 3).
    """
    cells = _cells(line, y, cos_b, loss, angles_rad, fade)
    return _blurred(line, cells.inside * (1 - polish[..., None] * cells.lit * cells.shine))


def light_slopes(
    line: Line, y: Values, cos_b: Values, loss: Values, angles_rad: Values, fade: Values,
    polish: Values,
) -> tuple[Values, Values]:  # fmt: skip
    """Return the light as :func:`line_light` does, and its changes (p, n, 4).

    They are those by the loss, the logarithms of angles and fade, and the polish.
    """
    cells = _cells(line, y, cos_b, loss, angles_rad, fade)
    lit = cells.inside * cells.lit
    polish, fade = polish[..., None], fade[..., None]
    light = _blurred(line, cells.inside - polish * lit * cells.shine)
    lit *= line.weights
    # Only where the rim's border fades does it matter where that is.
    border = np.where((cells.lit > 0) & (cells.lit < 1), cells.inside * cells.shine, 0.0)
    border *= line.weights * polish / fade
    moved = (border * cells.share).sum(axis=2)
    dark = np.stack([
        polish[..., 0] * (lit * cells.lost).sum(axis=2), -moved, border.sum(axis=2) - moved,
        -(lit * cells.shine).sum(axis=2),
    ], axis=1)  # fmt: skip
    return light, -np.swapaxes(dark @ line.kernel.T, 1, 2)


@dataclass(frozen=True, kw_only=True)
class _Cells:
    """Cells (p, m, k) of parts, radii and stations.

    ``inside`` is the share of a cell that lies in the part; ``lit`` how much of the panel's light
    it mirrors but for the metal's loss, which leaves ``shine`` = 1 - loss * ``lost``; ``share`` is
    its angle in shares of the last that mirrors.
    """

    inside: Values
    lit: Values
    shine: Values
    lost: Values
    share: Values


def _cells(
    line: Line, y: Values, cos_b: Values, loss: Values, angles_rad: Values, fade: Values
) -> _Cells:
    # From the tip, whose normal points outward, to the flanks.
    lean = np.sqrt(1 - cos_b**2)
    lean = lean / np.maximum(lean.max(axis=1, keepdims=True), 1e-9)
    minus, tip, plus = (a[:, None] for a in angles_rad.T)
    last = (1 - lean) * tip + lean * np.where(line.z > 0, plus, minus)
    depth = y[:, None, :] - line.r[:, None]
    angle = np.sqrt(np.maximum(depth, 0.0)) * (cos_b * np.sqrt(2 / y))[:, None]
    share = angle / last[:, None]
    lost = 1 - reflected(angle, 1.0)
    return _Cells(
        inside=np.clip(depth / line.step + 0.5, 0.0, 1.0),
        lit=np.clip((1 - share) / fade[..., None] + 0.5, 0.0, 1.0),
        shine=1 - loss[..., None] * lost, lost=lost, share=share,
    )  # fmt: skip


def _blurred(line: Line, dark: Values) -> Values:
    out: Values = 1 - (dark @ line.weights) @ line.kernel.T - line.below
    return out
