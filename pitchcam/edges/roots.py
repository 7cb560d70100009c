"""Where the roots of grooves may lie: what the light and the flanks leave open of them.

A groove of few pixels is filled by the blur long before its root ends, and under a slant its ridges
stand before it: then many roots look alike, from the point where the flanks of the section meet up
to where the light begins to tell. So roots are tried one by one over all of that, and what is told
is the mean of those that describe the light, each by its likelihood, and how far they spread. One
fit says only how sharp the nearest of its minima is: of sharp grooves at 8 to 14 pixels a pitch it
came out a pixel too shallow, and said that it was good to a sixth of one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.section import Section
from pitchcam.edges.tip_form import meeting_radius, tip_outline
from pitchcam.frozen import dataclass
from pitchcam.least_squares import solve
from pitchcam.light.mirrored import Mirror, Mirrored, light_slopes
from pitchcam.light.stations import Line, middle_line

Values = NDArray[np.float64]

#: What the model of a tip's light agrees to.
LIGHT_NOISE = 0.02
#: Light of a groove's middle from which on it tells of its root: deeper the part's shine may be
#: anything.
LEAST_LIGHT = 0.5
#: Points lie half a pixel apart, and what is left of their light reaches 1.5 px after blur and
#: demosaicing, as :data:`~pitchcam.edges.section.PER_POINT` has it: three share one deviation.
ALIKE = 3.0
#: The walls of a groove hide part of the panel that a free flank mirrors: at a height h over the
#: point a ray leaves a 60 degree groove for the panel only where it grazes by less than sqrt(h / r)
#: off its own flank, for the roots of usual threads 0.3 to 0.9 of the angle up to which a flank
#: mirrors. The middle of that, and the standard uncertainty of its logarithm.
WALLS, U_WALLS = 0.6, 0.5
#: Places from the point up at which roots are tried, and those around the best fit, in its u.
TRIED = 9
AROUND_U = (-3.0, -2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
#: No root lies nearer to the axis than this share of the pitch radius.
DEEPEST = 0.1
#: Steps of the radius over which likelihoods are summed up.
STEPS = 800
#: Relative fall of the cost at which a trial is settled: to a hundredth of what counts.
SETTLED = 1e-3


@dataclass(frozen=True, kw_only=True)
class Seen:
    """The light (sides, radii) at radii ``y``, mm, its blur, and the sweep along that widens it."""

    y: Values
    light: Values
    blur_mm: float
    swept_mm: float

    def told(self, least: float) -> tuple[Values, Values, Values]:
        """Return radii, light and weights where the light of any side is above ``least``."""
        use = (self.light > least) / LIGHT_NOISE
        told = np.flatnonzero(use.any(axis=0))
        outer = slice(told[0], told[-1] + 1) if len(told) else slice(None)
        return self.y[outer], self.light[:, outer], use[:, outer]


@dataclass(frozen=True, kw_only=True)
class Groove:
    """One side's grooves: how far out radii are counted from, mm, and what they mirror.

    ``pinhole`` is the camera (z, y, x) seen from the thread's axis, mm.
    """

    side: float
    out_mm: float
    mirror: Mirror
    pinhole: Values

    def seen_at(self, radius_mm: Values) -> Values:
        """Return where the contours of roots of such radii are seen, as :class:`Seen` counts."""
        _, cy, cx = self.pinhole
        y = self.side * radius_mm
        for _ in range(3):
            y = self.side * radius_mm * np.hypot(cx, cy - y) / abs(cx)
        return np.asarray(np.abs(y) - self.out_mm)


@dataclass(frozen=True, kw_only=True)
class Place:
    """A root's radius and its standard uncertainty, mm, by all that describe the light."""

    radius_mm: float
    u_mm: float

    def shared_out(self, fit_mm: float, scatter_mm: float) -> tuple[float, float]:
        """Return what noise leaves open, and what the light hides besides.

        ``fit_mm`` is the u of the nearest minimum, ``scatter_mm`` that by which ridges differ, of
        which the likelihood of their median light knows nothing.
        """
        noise = min(fit_mm, self.u_mm)
        hidden = np.sqrt(self.u_mm**2 - noise**2)
        return float(np.hypot(noise, scatter_mm)), float(hidden)


def true_radius(seen: float, side: float, pinhole: Values) -> float:
    """Return the radius of a body of revolution whose contour is seen at a distance on x = 0."""
    _, cy, cx = pinhole
    y = side * seen
    return float(abs(y * cx) / np.hypot(cx, cy - y))


def walled(mirror: Mirror) -> Mirror:
    """Return what a groove mirrors whose flanks would mirror so much if nothing stood by them."""
    minus, tip, plus = (WALLS * a for a in mirror.angles_rad)
    return replace(mirror, angles_rad=(minus, tip, plus), u_angles=max(mirror.u_angles, U_WALLS))


def point_radius(section: Section) -> float:
    """Return the radius where the flanks of a groove meet in the section: no root lies deeper.

    Waves that are no thread may meet beyond the axis, where nothing is.
    """
    fit = section.fit
    point = fit.pitch_radius_mm - abs(fit.pitch_mm) / 2 / sum(fit.tan_half)
    return float(max(point, DEEPEST * fit.pitch_radius_mm))


@dataclass(frozen=True, kw_only=True)
class Trials:
    """Roots of the grooves of both sides, tried at given radii, mm."""

    seen: Seen
    section: Section
    grooves: Sequence[Groove]

    def ends(self, radius_mm: Values) -> Values:
        """Return where roots of radii (sides, ...) are seen to end: not behind their flanks."""
        at = [g.seen_at(r) for g, r in zip(self.grooves, radius_mm, strict=True)]
        return np.maximum(at, meeting_radius(self.section, groove=True))

    def cost(self, radius_mm: Values) -> tuple[Values, Values]:
        """Return the squares that roots leave, and the light's rms deviation, (sides, k) each.

        ``radius_mm`` (sides, k) are the radii to try; those behind the flanks look all alike.
        """
        count, tries = radius_mm.shape
        y, light, use = self.seen.told(LEAST_LIGHT)
        mirrors = [g.mirror for g in self.grooves]
        metals = [m.metal for m in mirrors]

        def each(values: object) -> Values:
            return np.repeat(np.asarray(values, float), tries, axis=0)

        model = _RootFit(
            line=middle_line(y, self.seen.blur_mm, np.inf, self.seen.swept_mm),
            section=self.section,
            end=self.ends(radius_mm).reshape(-1, 1),
            light=each(light),
            use=each(use),
            angles=each([m.angles_rad for m in mirrors]),
            roughness=each([[k.roughness.value] for k in metals]),
            expected=each([(k.loss.value, 0.0, 0.0, k.share.value) for k in metals]),
            spread=each(
                [
                    (m.metal.loss.u, m.u_angles, m.metal.roughness.u, m.metal.share.u)
                    for m in mirrors
                ]
            ),
        )
        low, high = np.array([0.05, -2.0, -2.0, 0.0]), np.array([1.2, 2.0, 2.0, 1.0])
        fit = solve(model, model.expected, low, high, settled=SETTLED)
        told = np.maximum(np.count_nonzero(use, axis=1), 1)
        squares = np.sum(fit.residuals[:, :-4] ** 2, axis=1).reshape(count, tries)
        return (2 * fit.cost.reshape(count, tries), np.sqrt(squares / told[:, None]) * LIGHT_NOISE)


@dataclass(frozen=True, kw_only=True)
class _RootFit:
    """The fit of what grooves mirror, n of them, whose roots end where ``end`` (n, 1) says.

    The other fields are those of the fit of tips.
    """

    line: Line
    section: Section
    end: Values
    light: Values
    use: Values
    angles: Values
    roughness: Values
    expected: Values
    spread: Values

    def of(self, which: NDArray[np.intp]) -> _RootFit:
        """Return some of them by themselves."""
        own = ("end", "light", "use", "angles", "roughness", "expected", "spread")
        return replace(self, **{name: getattr(self, name)[which] for name in own})

    def __call__(self, q: Values) -> tuple[Values, Values]:
        """Return residuals and derivatives by loss, angles, roughness and share."""
        loss, wider, rougher, share = q.T[:, :, None]
        mirror = Mirrored(
            loss=loss,
            angles_rad=self.angles * np.exp(wider),
            roughness=self.roughness * np.exp(rougher),
            share=share,
        )
        is_round = np.ones((len(q), 1), bool)
        outline = tip_outline(self.line, self.end, self.section, is_round, groove=True)
        light, slopes = light_slopes(self.line, replace(outline, moved=None), mirror)
        pull = np.zeros((len(q), 4, 4))
        pull[:, np.arange(4), np.arange(4)] = 1 / self.spread
        return (
            np.concatenate(
                [(light - self.light) * self.use, (q - self.expected) / self.spread], axis=1
            ),
            np.concatenate([slopes * self.use[..., None], pull], axis=1),
        )


@dataclass(frozen=True, kw_only=True)
class Tried:
    """Radii at which roots were tried, and what they left, (sides, k) each."""

    radius_mm: Values
    cost: Values
    misfit: Values

    @property
    def best_mm(self) -> Values:
        """The radius that describes each side's light best, (sides,)."""
        return np.asarray(self.radius_mm[np.arange(len(self.cost)), self.cost.argmin(axis=1)])

    def places(self) -> list[Place]:
        """Return where each side's root is: mean and spread of all, by their likelihoods."""
        return [_place(r, c, float(m[c.argmin()])) for r, c, m in zip(*self._sorted(), strict=True)]

    def _sorted(self) -> tuple[Values, Values, Values]:
        order = np.argsort(self.radius_mm, axis=1)
        of = (self.radius_mm, self.cost, self.misfit)
        radius, cost, misfit = (np.take_along_axis(a, order, axis=1) for a in of)
        return radius, cost, misfit

    def beside(self, other: Tried) -> Tried:
        """Return these trials and others."""
        both = (
            np.concatenate([getattr(self, f.name), getattr(other, f.name)], axis=1)
            for f in fields(self)
        )
        radius, cost, misfit = both
        return Tried(radius_mm=radius, cost=cost, misfit=misfit)


def _place(radius_mm: Values, cost: Values, misfit: float) -> Place:
    """Return the mean radius by likelihood, all radii that were tried alike before."""
    at = np.linspace(radius_mm[0], radius_mm[-1], STEPS)
    squares = np.interp(at, radius_mm, cost)
    # The sharpest minimum lies between two steps.
    squares -= squares.min()
    # Where points deviate by more than is expected of each, they do so by threes.
    weight = np.exp(-0.5 * squares / max(1.0, ALIKE * (misfit / LIGHT_NOISE) ** 2))
    weight /= weight.sum()
    mean = float(weight @ at)
    # Steps tell no less than one.
    u = max(float(np.sqrt(weight @ (at - mean) ** 2)), float(at[1] - at[0]))
    return Place(radius_mm=mean, u_mm=u)


def try_everywhere(trials: Trials, highest_mm: float) -> Tried:
    """Try roots from the point of their groove up to a radius."""
    point = min(point_radius(trials.section), highest_mm)
    radius = np.tile(np.linspace(point, highest_mm, TRIED), (len(trials.grooves), 1))
    cost, misfit = trials.cost(radius)
    return Tried(radius_mm=radius, cost=cost, misfit=misfit)


def try_around(trials: Trials, before: Tried, radius_mm: Values, u_mm: Values) -> Tried:
    """Try roots around the best fit of each side, (sides,), and return them with those before."""
    radius = radius_mm[:, None] + u_mm[:, None] * np.array(AROUND_U)
    radius = np.clip(radius, before.radius_mm.min(), before.radius_mm.max())
    cost, misfit = trials.cost(radius)
    return before.beside(Tried(radius_mm=radius, cost=cost, misfit=misfit))
