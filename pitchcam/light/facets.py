"""What the facets of a rough surface mirror to rays that graze it."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.normal import normal_cdf
from pitchcam.small import mean_of

Values = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Facets:
    """What a rough surface's facets mirror to rays that graze it.

    ``lit`` is the lit share, ``mean`` the facets' mean angle. Angles are in roughnesses: ``x`` the
    ray's, ``end`` the last ones; ``front``, ``between``, ``every`` and ``squares`` are integrals
    over all facets, those up to the last, and in proportion to what the ray sees of them. ``end``
    and ``at_end`` have an axis more than the others, of the kinds of facets that all are means of.
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

    @cached_property
    def wider(self) -> Values:
        """The change of ``lit`` by the last angles' logarithm."""
        out: Values = mean_of(self.end * self.at_end * self.end) / self.every
        return out

    @cached_property
    def by_angle(self) -> Values:
        """The change of ``lit`` by the ray's angle, in roughnesses."""
        ended = mean_of(self.end * self.at_end)
        out: Values = (self.between - ended - self.lit * self.front) / self.every
        return out

    def by_last(self, more: Values) -> Values:
        """Return the change of ``lit`` where the last angles grow so, radians."""
        out: Values = mean_of(self.end * self.at_end * more) / (self.every * self.roughness)
        return out

    @property
    def rougher(self) -> Values:
        """The change of ``lit`` by the roughness's logarithm."""
        out: Values = -self.x * self.by_angle - self.wider
        return out

    @cached_property
    def mean_by_angle(self) -> Values:
        """The change of ``mean`` by the ray's angle in roughnesses."""
        x, squares = self.x, self.squares
        by_x = (2 * x * self.front + self.middle - squares * self.front) / self.every
        out: Values = self.roughness * by_x
        return out

    @property
    def mean_rougher(self) -> Values:
        """The change of ``mean`` by the roughness's logarithm."""
        return self.mean - self.x * self.mean_by_angle


def facets_lit(grazing: Values, last: Values, roughness: Values) -> Facets:
    """Return what facets mirror.

    Parameters
    ----------
    grazing
        The ray's angle to the surface, radians.
    last
        The angles up to which facets mirror the panel, along an axis more than the others have: as
        many kinds of facets, in equal shares.
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
    between = front - np.sqrt(np.pi) * mean_of(normal_cdf(np.sqrt(2) * (x - end)))
    every = x * front + middle / 2
    part = x * between + (middle - mean_of(at_end)) / 2
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
