"""The light that flanks show beside their edges, traced on the thread itself.

A bright flank mirrors the lit panel along its edge in a band. How wide and how bright the band is
follows from geometry: at a depth inside the edge the camera's ray grazes the flank at an angle,
and goes on to the panel, beyond its border, or into the next ridge and from there once more. A
rough surface sends it a little to either side. Only the metal's loss and roughness and the panel's
distance are left to be found.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import overload

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.helicoid import Helicoid
from pitchcam.frozen import dataclass
from pitchcam.light.esf import reflected
from pitchcam.objects.frame import AxisFrame

Values = NDArray[np.float64]

#: Slopes of a rough surface's facets in the plane of the ray, radians, densest about none: to
#: either side as far as a roughness of 0.3 shows to a grazing ray.
SLOPES = np.array(
    [
        -0.22,
        -0.155,
        -0.11,
        -0.075,
        -0.045,
        -0.02,
        0.0,
        0.02,
        0.045,
        0.075,
        0.11,
        0.15,
        0.2,
        0.26,
        0.33,
        0.42,
    ]
)
_SPACING = np.gradient(SLOPES)
_USUAL_SPACING = 0.03
#: Where a ray is looked at, in crest radii: on its way in, before and behind the plane of the
#: axis, and on its way out.
_IN = np.linspace(-0.75, 0.75, 45)
_OUT = np.concatenate([[0.0], np.geomspace(0.02, 1.3, 20)])
#: A mirrored ray starts this far above the surface, mm, so as not to meet it at once.
_ABOVE = 1e-3


@dataclass(frozen=True, kw_only=True)
class Rays:
    """Rays that leave a surface, ``count`` of them; those by the places ``down`` (m,) go onward.

    ``origin`` and ``way`` (m, 3) are in the camera frame, the way's part along the plate's normal
    being 1; ``depth`` (m,) is the origin's along that normal.
    """

    count: int
    down: NDArray[np.intp]
    origin: Values
    way: Values
    depth: Values


@dataclass(frozen=True, kw_only=True)
class LitPanel:
    """The panel behind the parts, seen from a thread's frame.

    ``corners_px`` (n, 2) is the lit window's border in the photo, ``behind_mm`` (k,) what the
    panel's distance behind the plate may be.
    """

    frame: AxisFrame
    corners_px: Values
    behind_mm: Values

    def rays(self, start: Values, way: Values) -> Rays:
        """Return rays (3, n), (z, y, x) in the frame, as they leave for the panel."""
        normal = np.array(self.frame.camera.normal)
        origin, ray = self.frame.origin + start.T @ self.frame.basis, way.T @ self.frame.basis
        toward = ray @ normal
        down = np.flatnonzero(toward > 1e-3)
        origin = origin[down]
        return Rays(
            count=len(ray),
            down=down,
            origin=origin,
            way=ray[down] / toward[down, None],
            depth=origin @ normal,
        )

    def lit(self, rays: Rays, which: int) -> Values:
        """Return the lit share (n,) where rays meet the panel at one of its distances.

        Facets of neighbouring SLOPES light spots some way apart: so soft is the border taken.
        """
        camera, behind = self.frame.camera, float(self.behind_mm[which])
        x, y = self.corners_px.T
        turn = np.sign(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
        along = np.roll(self.corners_px, -1, axis=0) - self.corners_px
        along /= np.hypot(*along.T)[:, None]
        far = camera.distance_mm + behind
        seen = camera.project(rays.origin + (far - rays.depth)[:, None] * rays.way)
        within = np.full(len(rays.down), np.inf)
        for (ax, ay), (dx, dy) in zip(self.corners_px, along, strict=True):
            cross = dx * (seen[:, 1] - ay) - dy * (seen[:, 0] - ax)
            np.minimum(within, turn * cross, out=within)
        soft = 2 * camera.f_px * behind / far * _USUAL_SPACING
        out = np.zeros(rays.count)
        out[rays.down] = np.minimum(np.maximum(0.5 + within / soft, 0.0), 1.0)
        return out


class Lit(Sequence[Values]):
    """The lit shares (n, d, s) of facets, for one distance of the panel after the other.

    Each is worked out when it is first asked for: a fit goes by two or three of eight distances.
    ``facets`` says by ray and by slope which ``rays`` are of; the others show no light.
    """

    def __init__(
        self,
        panel: LitPanel,
        rays: Rays,
        facets: tuple[NDArray[np.intp], NDArray[np.intp]],
        shape: tuple[int, int, int],
    ) -> None:
        self._panel, self._rays, self._facets, self._shape = panel, rays, facets, shape
        self._held: dict[int, Values] = {}

    def __len__(self) -> int:
        return len(self._panel.behind_mm)

    @overload
    def __getitem__(self, which: int) -> Values: ...
    @overload
    def __getitem__(self, which: slice) -> list[Values]: ...
    def __getitem__(self, which: int | slice) -> Values | list[Values]:
        if isinstance(which, slice):
            return [self[i] for i in range(*which.indices(len(self)))]
        if which not in self._held:
            n, d, s = self._shape
            share = np.zeros((n * d, s))
            share[self._facets] = self._panel.lit(self._rays, which)
            self._held[which] = share.reshape(self._shape)
        return self._held[which]


@dataclass(frozen=True, kw_only=True)
class Traced:
    """Rays at depths beside edges, (n, d) of them, and what facets of SLOPES (s) make of each.

    ``grazing`` (n, d) is the ray's angle to the surface; ``direct``, k of (n, d, s), the lit share
    of what a facet mirrors at once, for each distance of the panel; ``onward`` that of what it
    mirrors by way of another flank, met at the grazing angle ``second`` (n, d, s).
    """

    grazing: Values
    direct: Sequence[Values]
    onward: Sequence[Values]
    second: Values

    def light(self, loss: float, roughness: float, panel: float) -> Values:
        """Return the light (n, d), 1 = the panel's.

        Parameters
        ----------
        loss
            L of :func:`pitchcam.light.esf.reflected`.
        roughness
            sqrt 2 times the standard deviation of the facets' slopes.
        panel
            Which of the panel's distances, 0 to k - 1, or between two of them.

        Notes
        -----
        A facet shows itself to the ray in proportion to the sine of its own grazing angle. The
        flank that is met second is taken as smooth, less what a rough one scatters widely.
        """
        return self.shown(self.facets(roughness), self.lit(panel), loss, roughness)

    def facets(self, roughness: float) -> Values:
        """Return how much the ray sees of each facet, (n, d, s)."""
        weight: Values = self._angle * np.exp(-((SLOPES / roughness) ** 2)) * _SPACING
        weight /= np.maximum(weight.sum(axis=2, keepdims=True), 1e-12)
        return weight

    def lit(self, panel: float) -> tuple[Values, Values]:
        """Return the lit shares of :attr:`direct` and :attr:`onward` for one distance."""
        near = int(min(max(panel, 0), len(self.direct) - 1.001))
        share = panel - near
        direct, onward = (
            (1 - share) * lit[near] + share * lit[near + 1] for lit in (self.direct, self.onward)
        )
        return direct, onward

    def shown(
        self, facets: Values, lit: tuple[Values, Values], loss: float, roughness: float
    ) -> Values:
        """Return :meth:`light` of what :meth:`facets` and :meth:`lit` gave."""
        direct, onward = lit
        twice = reflected(self.second, loss) * (1 - 2 * roughness)
        seen = facets * reflected(self._angle, loss)
        out: Values = (seen * (direct + twice * onward)).sum(axis=2)
        return out

    @cached_property
    def _angle(self) -> Values:
        """The facets' own grazing angles, (n, d, s)."""
        angle: Values = np.maximum(self.grazing[:, :, None] + SLOPES, 0.0)
        return angle


def trace(
    thread: Helicoid, targets: Values, phase: Values, side: Values, panel: LitPanel
) -> Traced:
    """Trace the camera's rays beside edges to the panel.

    Parameters
    ----------
    thread
        The thread, in the frame of its axis.
    targets
        Points (z, y) on the plane x = 0 that the rays are aimed at, (n, d, 2).
    phase, side
        Each edge's, (n,), as :class:`Helicoid` has them.
    panel
        What is lit, seen from the same frame.
    """
    n, d = targets.shape[:2]
    s = len(SLOPES)
    phases, sides = np.repeat(phase, d), np.repeat(side, d)
    aim = np.concatenate([targets.reshape(-1, 2).T, np.zeros((1, n * d))])
    way = aim - panel.frame.pinhole[:, None]
    way /= np.sqrt((way**2).sum(axis=0))
    far = thread.first_hit(aim, way, phases, sides, _IN * thread.crest)
    met = np.isfinite(far)
    at = aim + np.where(met, far, 0.0) * way
    normal = thread.normal(at, phases, sides)
    into = np.clip(-(way * normal).sum(axis=0), 1e-6, 1.0)
    grazing = np.where(met, np.arcsin(into), 0.0)

    along = way + into * normal
    along /= np.sqrt((along**2).sum(axis=0))
    facet = normal[:, :, None] * np.cos(SLOPES) - along[:, :, None] * np.sin(SLOPES)
    out = way[:, :, None] - 2 * (way[:, :, None] * facet).sum(axis=0) * facet
    # Facets that the camera sees, and that send the ray off the surface.
    leaves = met[:, None] & (grazing[:, None] + SLOPES > 0)
    leaves &= (out * normal[:, :, None]).sum(axis=0) > 0
    ray, slope = np.nonzero(leaves)
    start, out = at[:, ray] + _ABOVE * normal[:, ray], out[:, ray, slope]
    far = thread.first_hit(start, out, phases[ray], sides[ray], _OUT * thread.crest)

    free = ~np.isfinite(far)
    at_once = panel.rays(start[:, free], out[:, free])
    direct = Lit(panel, at_once, (ray[free], slope[free]), (n, d, s))
    again = np.flatnonzero(~free)
    ray, slope, way = ray[again], slope[again], out[:, again]
    at = start[:, again] + far[again] * way
    normal = thread.normal(at, phases[ray], sides[ray])
    into = (way * normal).sum(axis=0)
    start, out = at + _ABOVE * normal, way - 2 * into * normal
    second = np.zeros((n * d, s))
    second[ray, slope] = np.arcsin(np.clip(-into, 0.0, 1.0))
    far = thread.first_hit(start, out, phases[ray], sides[ray], _OUT * thread.crest)
    free = ~np.isfinite(far)
    by_another = panel.rays(start[:, free], out[:, free])
    return Traced(
        grazing=grazing.reshape(n, d),
        direct=direct,
        onward=Lit(panel, by_another, (ray[free], slope[free]), (n, d, s)),
        second=second.reshape(n, d, s),
    )
