"""The light along a line that runs into a mirroring part: its rim and all, blurred.

Looked at across the axis, the outline at the station z stands at the radius y(z). A point of the
surface that lies turned by t from it is seen at the radius y cos t, and the camera's ray grazes
the surface there at the angle a with sin a = cos b sin t, where b is the outline's slope: so a
rim on a flank is wider than one on a crest. Up to the angle where the light ends, a smooth
surface shows the panel, dimmed by the metal, and beyond it is dark; a rough one mixes what its
facets show. All of it is blurred along and across.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.light.esf import GRAZING, reflected
from pitchcam.light.facets import Facets, facets_lit
from pitchcam.light.metal import Metal
from pitchcam.light.stations import Line, Moved, Stretch

Values = NDArray[np.float64]


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


def line_light(line: Line, outline: Stretch, mirror: Mirrored) -> Values:
    """Return the light at the points of a line for p parts that mirror so, (p, n)."""
    cells = _cells(line, outline, mirror)
    return _blurred(line, outline, cells.inside * (1 - mirror.share[..., None] * cells.shown))


def light_slopes(line: Line, outline: Stretch, mirror: Mirrored) -> tuple[Values, Values]:
    """Return the light as :func:`line_light` does, and its changes (p, n, 4 or 5).

    They are those by the loss, the logarithms of angles and roughness, and the share; before them
    that by the end, if the outline knows how it moves.
    """
    cells = _cells(line, outline, mirror)
    share, loss, facets = mirror.share[..., None], mirror.loss[..., None], cells.facets
    dark = 1 - share * cells.shown
    # Less light for more loss; more for wider angles; either way for roughness; more for share.
    by = np.empty((4, *dark.shape))
    np.multiply(-facets.lit, cells.lost, out=by[0])
    np.multiply(cells.shine, facets.wider, out=by[1])
    np.subtract(cells.shine * facets.rougher, loss * facets.lit * cells.more_lost, out=by[2])
    by[:3] *= share
    by[3] = cells.shown
    by *= cells.inside
    light = _blurred(line, outline, cells.inside * dark)
    changes = [_across(line, outline.weights, by)]
    if outline.moved is not None:
        own = share * cells.inside * _shown_by_end(cells, outline, outline.moved, mirror)
        own -= cells.filling(outline.moved.y, line.step) * dark
        by_weight = _across(line, outline.moved.weights, cells.inside * dark)
        changes.insert(0, (_across(line, outline.weights, own) - by_weight)[None])
    return light, np.concatenate(changes).transpose(1, 2, 0)


def _shown_by_end(cells: _Cells, outline: Stretch, moved: Moved, mirror: Mirrored) -> Values:
    """Return how the light that cells mirror changes with the radius where the outline ends."""
    facets = cells.facets
    by_angle = cells.by_radius * moved.y[:, None]
    by_angle += cells.angle * (moved.cos_b / outline.cos_b)[:, None]
    by_angle /= mirror.roughness[..., None]
    minus, tip, plus = mirror.angles_rad.T[:, :, None]
    last = np.array([(minus - tip) * moved.lean, (plus - tip) * moved.lean])[:, :, None]
    lit = facets.by_angle * by_angle + facets.by_last(last)
    dimmed = mirror.loss[..., None] * cells.by_mean * facets.mean_by_angle * by_angle
    out: Values = lit * cells.shine - facets.lit * dimmed
    return out


@dataclass(frozen=True, kw_only=True)
class _Cells:
    """Cells (p, m, k) of parts, radii and stations, up to the radius beyond which no part reaches.

    ``depth`` is that of a cell under the outline in cells, ``inside`` its share that lies in the
    part and ``angle`` the grazing angle there, ``by_radius`` its change with the outline's radius;
    ``facets`` is what its surface mirrors, but for the metal's loss, which leaves ``shine`` =
    1 - loss * ``lost``.
    """

    depth: Values
    inside: Values
    angle: Values
    by_radius: Values
    facets: Facets
    shine: Values
    lost: Values

    def filling(self, moved: Values, step: float) -> Values:
        """Return the change of ``inside`` where outlines move (p, k), mm."""
        out: Values = np.maximum(1 - np.abs(self.depth), 0.0) * (moved / step)[:, None]
        return out

    @property
    def shown(self) -> Values:
        """What the surface shows of the panel, where it reflects."""
        return self.facets.lit * self.shine

    @property
    def by_mean(self) -> Values:
        """The change of ``lost`` by the facets' mean angle."""
        out: Values = GRAZING / (self.facets.mean + GRAZING) ** 2
        return out

    @property
    def more_lost(self) -> Values:
        """The change of ``lost`` by the roughness's logarithm."""
        return self.facets.mean_rougher * self.by_mean


def _cells(line: Line, outline: Stretch, mirror: Mirrored) -> _Cells:
    y, cos_b, lean = outline.y, outline.cos_b, outline.lean
    # From the tip, whose normal points outward, to the flanks, of which each station has both.
    minus, tip, plus = mirror.angles_rad.T[:, :, None]
    last = np.array([tip + lean * (minus - tip), tip + lean * (plus - tip)])[:, :, None]
    top = int(np.searchsorted(line.r, y.max() + line.step))
    depth = (y[:, None, :] - line.r[:top, None]) / line.step
    # A cell fills smoothly from one step above the outline to one below, so that the light has no
    # kinks where an outline passes cells; nor has the root of how deep its filled part lies.
    near = np.minimum(np.maximum(depth, -1.0), 1.0)
    root = np.sqrt(np.maximum(depth, 1.0)) + (near - 1) / 2
    # A deep tip on a thin body, prolonged, ends at its axis: no surface has a radius beyond.
    body = np.maximum(y, line.step)
    bend = (cos_b * np.sqrt(2 * line.step / body))[:, None]
    angle = root * bend
    rising = (depth > -1) * bend / (2 * line.step) / np.maximum(root, 1.0)
    facets = facets_lit(angle, last, mirror.roughness[..., None])
    lost = 1 - reflected(facets.mean, 1.0)
    return _Cells(
        depth=depth,
        inside=0.5 + near * (1 - np.abs(near) / 2),
        angle=angle,
        by_radius=rising - angle * ((y > line.step) / (2 * body))[:, None],
        facets=facets,
        shine=1 - mirror.loss[..., None] * lost,
        lost=lost,
    )


def _across(line: Line, weights: Values, cells: Values) -> Values:
    """Return cells (..., p, m, k) as they are seen at the line's points (..., p, n)."""
    over = (cells @ weights[:, :, None])[..., 0]
    out: Values = over @ line.kernel[:, : over.shape[-1]].T
    return out


def _blurred(line: Line, outline: Stretch, dark: Values) -> Values:
    out: Values = 1 - _across(line, outline.weights, dark) - line.below
    return out
