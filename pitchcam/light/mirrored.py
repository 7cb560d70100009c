"""The light along a line that runs into a mirroring part: its rim and all, blurred.

Looked at across the axis, the outline at the station z stands at the radius y(z). A point of the
surface that lies turned by t from it is seen at the radius y cos t, and the camera's ray grazes
the surface there at the angle a with sin a = cos b sin t, where b is the outline's slope: so a
rim on a flank is wider than one on a crest. Up to the angle where the light ends, a smooth
surface shows the panel, dimmed by the metal, and beyond it is dark; a rough one mixes what its
facets show. All of it is blurred along and across.
"""

from __future__ import annotations

from dataclasses import fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.light.esf import GRAZING, reflected
from pitchcam.light.metal import Metal
from pitchcam.normal import normal_cdf

Values = NDArray[np.float64]

#: Cells of the model per standard deviation of the blur, along the line and across it: finer ones
#: move an end by less than 1 um.
CELLS = 4
STATIONS = 3


@dataclass(frozen=True, kw_only=True)
class Mirror:
    """What one side of a thread mirrors.

    ``angles_rad`` are the grazing angles up to which the - flank, the tip and the + flank mirror
    the panel, ``u_angles`` a relative standard uncertainty that they share.
    """

    metal: Metal
    angles_rad: tuple[float, float, float]
    u_angles: float


@dataclass(frozen=True, kw_only=True)
class Mirrored:
    """What p parts mirror, as :class:`pitchcam.light.metal.Metal` has it, (p, 1); angles (p, 3)."""

    loss: Values
    angles_rad: Values
    roughness: Values
    share: Values


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


def middle_line(
    y_mm: Values, blur_mm: float, highest_mm: float = np.inf, swept_mm: float = 0.0
) -> Line:
    """Lay cells around points at radii ``y_mm`` (n,), on a line across the axis.

    No part reaches beyond ``highest_mm``, and no cells need lie there. While the shutter was open
    the part moved along its axis, from -``swept_mm`` to as much the other way.
    """
    step = blur_mm / CELLS
    low = y_mm.min() - 4 * blur_mm
    high = max(min(y_mm.max() + 4 * blur_mm, highest_mm + step), low + step)
    r = np.arange(low, high, step)
    kernel = np.exp(-0.5 * ((y_mm[:, None] - r[None, :]) / blur_mm) ** 2)
    kernel /= np.sqrt(2 * np.pi) * CELLS
    far = 3 * STATIONS + int(np.ceil(swept_mm / blur_mm * STATIONS))
    z = np.arange(-far, far + 1) * blur_mm / STATIONS
    weights = np.exp(-0.5 * (z / blur_mm) ** 2)
    if swept_mm > 0:
        weights = normal_cdf((z + swept_mm) / blur_mm) - normal_cdf((z - swept_mm) / blur_mm)
    return Line(
        r=r,
        z=z,
        kernel=kernel,
        weights=weights / weights.sum(),
        below=normal_cdf((low - 0.5 * step - y_mm) / blur_mm),
        step=step,
    )


def line_light(line: Line, y: Values, cos_b: Values, mirror: Mirrored) -> Values:
    """Return the light at the points of a line for p parts, (p, n).

    Parameters
    ----------
    line
        The points and cells.
    y, cos_b
        Radius of the outline and cosine of its slope at the line's stations, (p, k).
    mirror
        What they mirror.
    """
    cells = _cells(line, y, cos_b, mirror)
    lit = mirror.share[..., None] * cells.facets.lit * cells.shine
    return _blurred(line, cells.inside * (1 - lit))


def light_slopes(
    line: Line, y: Values, cos_b: Values, mirror: Mirrored, count: int | None = None
) -> tuple[Values, Values]:
    """Return the light as :func:`line_light` does, and its changes (p, n, 4).

    They are those by the loss, the logarithms of angles and roughness, and the share; of the first
    ``count`` parts alone where that is asked.
    """
    every = _cells(line, y, cos_b, mirror)
    whole = every.facets.lit * every.shine
    light = _blurred(line, every.inside * (1 - mirror.share[..., None] * whole))
    cells, lit = every.of(slice(count)), whole[:count]
    share, loss, facets = mirror.share[:count, :, None], mirror.loss[:count, :, None], cells.facets
    # Less light for more loss; more for wider angles; either way for roughness; more for share.
    by = np.empty((4, *lit.shape))
    np.multiply(-facets.lit, cells.lost, out=by[0])
    np.multiply(cells.shine, facets.wider, out=by[1])
    np.subtract(cells.shine * facets.rougher, loss * facets.lit * cells.more_lost, out=by[2])
    by[:3] *= share
    by[3] = lit
    by *= cells.inside
    dark = _by_radius(line, -by)
    return light, -np.moveaxis(dark @ line.kernel.T, 0, 2)


@dataclass(frozen=True, kw_only=True)
class _Cells:
    """Cells (p, m, k) of parts, radii and stations, up to the radius beyond which no part reaches.

    ``inside`` is the share of a cell that lies in the part; ``facets`` what its surface mirrors,
    but for the metal's loss, which leaves ``shine`` = 1 - loss * ``lost``.
    """

    inside: Values
    facets: Facets
    shine: Values
    lost: Values

    def of(self, which: slice) -> _Cells:
        """Return the cells of some parts."""
        return _Cells(
            inside=self.inside[which],
            facets=self.facets.of(which),
            shine=self.shine[which],
            lost=self.lost[which],
        )

    @property
    def more_lost(self) -> Values:
        """The change of ``lost`` by the roughness's logarithm."""
        mean = self.facets.mean
        out: Values = self.facets.mean_rougher * GRAZING / (mean + GRAZING) ** 2
        return out


def _cells(line: Line, y: Values, cos_b: Values, mirror: Mirrored) -> _Cells:
    # From the tip, whose normal points outward, to the flanks.
    lean = np.sqrt(1 - cos_b**2)
    lean = lean / np.maximum(lean.max(axis=1, keepdims=True), 1e-9)
    minus, tip, plus = (a[:, None] for a in mirror.angles_rad.T)
    last = ((1 - lean) * tip + lean * np.where(line.z > 0, plus, minus))[:, None]
    top = int(np.searchsorted(line.r, y.max() + line.step))
    depth = y[:, None, :] - line.r[:top, None]
    # A deep tip on a thin body, prolonged, ends at its axis: no surface has a radius beyond.
    bend = np.sqrt(2 / np.maximum(y, line.step))
    angle = np.sqrt(np.maximum(depth, 0.0)) * (cos_b * bend)[:, None]
    facets = facets_lit(angle, last, mirror.roughness[..., None])
    lost = 1 - reflected(facets.mean, 1.0)
    return _Cells(
        inside=np.minimum(np.maximum(depth / line.step + 0.5, 0.0), 1.0),
        facets=facets,
        shine=1 - mirror.loss[..., None] * lost,
        lost=lost,
    )


@dataclass(frozen=True, kw_only=True)
class Facets:
    """What a rough surface's facets mirror to rays that graze it.

    ``lit`` is the lit share, ``mean`` the facets' mean angle. Angles are in roughnesses: ``x`` the
    ray's, ``end`` the last; ``front``, ``between``, ``every`` and ``squares`` are integrals over
    all facets, those up to the last, and in proportion to what the ray sees of them.
    """

    lit: Values
    mean: Values
    roughness: Values
    x: Values
    end: Values
    middle: Values
    at_end: Values
    front: Values
    between: Values
    every: Values
    squares: Values

    def of(self, which: slice) -> Facets:
        """Return those of some of the first axis."""
        return Facets(**{f.name: getattr(self, f.name)[which] for f in fields(self)})

    @cached_property
    def wider(self) -> Values:
        """The change of ``lit`` by the last angle's logarithm."""
        out: Values = self.end * self.at_end * self.end / self.every
        return out

    @property
    def rougher(self) -> Values:
        """The change of ``lit`` by the roughness's logarithm."""
        moved = self.between - self.end * self.at_end - self.lit * self.front
        out: Values = -self.x * moved / self.every - self.wider
        return out

    @property
    def mean_rougher(self) -> Values:
        """The change of ``mean`` by the roughness's logarithm."""
        x, squares = self.x, self.squares
        by_x = (2 * x * self.front + self.middle - squares * self.front) / self.every
        out: Values = self.roughness * (squares - x * by_x)
        return out


def facets_lit(grazing: Values, last: Values, roughness: Values) -> Facets:
    """Return what facets mirror.

    Parameters
    ----------
    grazing
        The ray's angle to the surface, radians.
    last
        The angle up to which a facet mirrors the panel.
    roughness
        sqrt 2 times the standard deviation of the facets' slopes in the plane of the ray.

    Notes
    -----
    A facet that lies at the angle a to the ray shows itself in proportion to a, and is as frequent
    as exp(-((a - grazing) / roughness)^2) says. All integrals are closed.
    """
    x, end = grazing / roughness, last / roughness
    front = np.sqrt(np.pi) * normal_cdf(np.sqrt(2) * x)
    middle = np.exp(-x * x)
    at_end = np.exp(-((end - x) ** 2))
    between = front - np.sqrt(np.pi) * normal_cdf(np.sqrt(2) * (x - end))
    every = x * front + middle / 2
    part = x * between + (middle - at_end) / 2
    squares = ((x * x + 0.5) * front + x * middle / 2) / every
    return Facets(
        lit=np.minimum(np.maximum(part / every, 0.0), 1.0),
        mean=roughness * squares,
        roughness=roughness,
        x=x,
        end=end,
        middle=middle,
        at_end=at_end,
        front=front,
        between=between,
        every=every,
        squares=squares,
    )


def _by_radius(line: Line, dark: Values) -> Values:
    """Return the mean over stations of cells (..., m, k); beyond the last ones nothing is dark."""
    out = np.zeros((*dark.shape[:-2], len(line.r)))
    out[..., : dark.shape[-2]] = dark @ line.weights
    return out


def _blurred(line: Line, dark: Values) -> Values:
    out: Values = 1 - _by_radius(line, dark) @ line.kernel.T - line.below
    return out
