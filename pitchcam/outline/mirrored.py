"""The light along a line that runs into a mirroring part: the rim and all, blurred.

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

#: Cells of the model per standard deviation of the blur: finer ones move an end by < 0.1 um.
CELLS = 7
#: Share of its angle over which a rim's inner border fades, and the log of a factor by which it
#: may differ: ground and turned surfaces scatter (renders of smooth to matt metals, 0.5-1.5).
FADE = 0.8
U_FADE = 0.5
#: Share of the light that a turned or rolled surface mirrors where a smooth one would: the rest is
#: scattered past the panel. Renders of known threads: 1 puts crests 12 um too far out, 0.72 2 um
#: too far in, and crests scatter least about the truth from 0.80 to 0.86.
POLISH = 0.85


@dataclass(frozen=True, kw_only=True)
class Mirror:
    """What a thread's surface mirrors.

    ``loss`` is that of :func:`pitchcam.outline.esf.reflected`; ``angles_rad`` are the grazing
    angles up to which the - flank, the tip and the + flank mirror the panel, ``u_angles`` the
    relative standard uncertainty that they share.
    """

    loss: float
    u_loss: float
    angles_rad: tuple[float, float, float]
    u_angles: float


@dataclass(frozen=True, kw_only=True)
class Line:
    """The middle line's points and the cells that their blurred light comes from.

    ``kernel`` (n, m) weighs cells at radii ``r`` (m,) for each point, ``weights`` (k,) those at
    stations ``z`` (k,); ``below`` (n,) is the share of light from beneath the cells, where all is
    dark.
    """

    r: Values
    z: Values
    kernel: Values
    weights: Values
    below: Values
    step: float


def middle_line(y_mm: Values, blur_mm: float) -> Line:
    """Lay cells around points at radii ``y_mm`` (n,) on a middle line."""
    step = blur_mm / CELLS
    low, high = y_mm.min() - 4 * blur_mm, y_mm.max() + 4 * blur_mm
    r = np.arange(low, high, step)
    kernel = np.exp(-0.5 * ((y_mm[:, None] - r[None, :]) / blur_mm) ** 2)
    kernel /= np.sqrt(2 * np.pi) * CELLS
    z = np.arange(-3.0, 3.01, 0.25) * blur_mm
    weights = np.exp(-0.5 * (z / blur_mm) ** 2)
    return Line(
        r=r, z=z, kernel=kernel, weights=weights / weights.sum(),
        below=ndtr((low - 0.5 * step - y_mm) / blur_mm), step=step,
    )  # fmt: skip


def middle_light(
    line: Line, outline: tuple[Values, Values], loss: float, angles_rad: Values, fade: float
) -> Values:
    """Return the light at the points of a middle line, (n,).

    Parameters
    ----------
    line
        The points and cells.
    outline
        Radius and cos b at the line's stations (:func:`tip_outline`).
    loss, angles_rad
        The metal's loss, and the angles up to which - flank, tip and + flank mirror.
    fade
        Share of that angle over which the rim's inner border fades.
    """
    y, cos_b = outline
    # From the tip, whose normal points outward, to the flanks.
    lean = np.sqrt(1 - cos_b**2)
    lean = np.sign(line.z) * lean / max(float(lean.max()), 1e-9)
    last = np.interp(lean, [-1.0, 0.0, 1.0], angles_rad)
    turn2 = 2 * np.maximum(1 - line.r[:, None] / y, 0.0)
    angle = cos_b * np.sqrt(turn2)
    lit = np.clip((last - angle) / (fade * last) + 0.5, 0.0, 1.0)
    inside = np.clip((y - line.r[:, None]) / line.step + 0.5, 0.0, 1.0)
    dark = (inside * (1 - POLISH * lit * reflected(angle, loss))) @ line.weights
    out: Values = 1 - line.kernel @ dark - line.below
    return out
