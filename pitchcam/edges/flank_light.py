"""The light that flanks show beside their edges, traced on the thread itself.

A bright flank mirrors the lit panel along its edge in a band. How wide and how bright the band is
follows from geometry: at a depth inside the edge the camera's ray grazes the flank at an angle,
and goes on to the panel, beyond its border, or into the next ridge and from there once more. A
rough surface sends it a little to either side. Only the metal's loss and roughness and the panel's
distance are left to be found.
"""

from __future__ import annotations

from functools import cached_property

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
class LitPanel:
    """The panel behind the parts, seen from a thread's frame.

    ``corners_px`` (n, 2) is the lit window's border in the photo, ``behind_mm`` (k,) what the
    panel's distance behind the plate may be.
    """

    frame: AxisFrame
    corners_px: Values
    behind_mm: Values

    def lit(self, start: Values, way: Values) -> Values:
        """Return the lit share (k, n) where rays (3, n), (z, y, x) in the frame, meet the panel.

        Facets of neighbouring SLOPES light spots some way apart: so soft is the border taken.
        """
        camera = self.frame.camera
        basis = np.stack([self.frame.along, self.frame.across, self.frame.toward])
        normal = np.array(camera.normal)
        origin, ray = self.frame.origin + start.T @ basis, way.T @ basis
        toward = ray @ normal
        down = toward > 1e-3
        ray = ray / np.where(down, toward, 1.0)[:, None]
        depth = origin @ normal
        x, y = self.corners_px.T
        turn = np.sign(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
        along = np.roll(self.corners_px, -1, axis=0) - self.corners_px
        along /= np.hypot(*along.T)[:, None]
        out = np.zeros((len(self.behind_mm), len(ray)))
        for row, behind in zip(out, self.behind_mm, strict=True):
            far = camera.distance_mm + behind
            seen = camera.project(origin + (far - depth)[:, None] * ray)
            within = np.full(len(ray), np.inf)
            for (ax, ay), (dx, dy) in zip(self.corners_px, along, strict=True):
                cross = dx * (seen[:, 1] - ay) - dy * (seen[:, 0] - ax)
                np.minimum(within, turn * cross, out=within)
            soft = 2 * camera.f_px * behind / far * _USUAL_SPACING
            row[down] = np.clip(0.5 + within[down] / soft, 0.0, 1.0)
        return out


@dataclass(frozen=True, kw_only=True)
class Traced:
    """Rays at depths beside edges, (n, d) of them, and what facets of SLOPES (s) make of each.

    ``grazing`` (n, d) is the ray's angle to the surface; ``direct`` (k, n, d, s) the lit share of
    what a facet mirrors at once, for each distance of the panel; ``onward`` (k, n, d, s) that of
    what it mirrors by way of another flank, met at the grazing angle ``second`` (n, d, s).
    """

    grazing: Values
    direct: Values
    onward: Values
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
        near = int(np.clip(panel, 0, len(self.direct) - 1.001))
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
    k, s = len(panel.behind_mm), len(SLOPES)
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

    direct, onward, second = np.zeros((k, n * d, s)), np.zeros((k, n * d, s)), np.zeros((n * d, s))
    free = ~np.isfinite(far)
    direct[:, ray[free], slope[free]] = panel.lit(start[:, free], out[:, free])
    again = np.flatnonzero(~free)
    ray, slope, way = ray[again], slope[again], out[:, again]
    at = start[:, again] + far[again] * way
    normal = thread.normal(at, phases[ray], sides[ray])
    into = (way * normal).sum(axis=0)
    start, out = at + _ABOVE * normal, way - 2 * into * normal
    second[ray, slope] = np.arcsin(np.clip(-into, 0.0, 1.0))
    far = thread.first_hit(start, out, phases[ray], sides[ray], _OUT * thread.crest)
    onward[:, ray, slope] = np.where(np.isfinite(far), 0.0, panel.lit(start, out))
    return Traced(
        grazing=grazing.reshape(n, d),
        direct=direct.reshape(k, n, d, s),
        onward=onward.reshape(k, n, d, s),
        second=second.reshape(n, d, s),
    )
