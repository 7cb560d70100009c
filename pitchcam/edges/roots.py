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
from itertools import count

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.section import Section
from pitchcam.edges.tip_form import meeting_radius, tip_outline
from pitchcam.frozen import dataclass, replace
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
#: The light knows little of angles twice as wide, and a step that goes there leads on to nowhere.
STEP = np.array([np.inf, 0.4, 0.4, np.inf])
#: So many u off the best fit what a groove mirrors still goes with where it ends.
REACH_U = 3.0
#: No root lies nearer to the axis than this share of the pitch radius.
DEEPEST = 0.1
#: Steps of the radius over which likelihoods are summed up.
STEPS = 800
#: Relative fall of the cost at which a trial is settled: to a hundredth of what counts.
SETTLED = 1e-3
#: Least and largest loss, logarithms of angles and roughness, and share.
BOUNDS = np.array([0.05, -2.0, -2.0, 0.0]), np.array([1.2, 2.0, 2.0, 1.0])
#: A look at all of a groove ends after so many steps: it says where a fit begins.
LOOKS = 3
#: From so many steps on trials are given up that leave so much more than their side's best, in
#: units of what counts as one: the falls to come are smaller, and even half of that is e^-12.
SIFTED, GIVEN_UP = 5, 50.0


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
class Fitted:
    """The best fit of each side's root, (sides,): radius and u, mm; what it mirrors.

    ``mirrored`` (sides, 4), and how that goes best with the root's end, ``by_end``.
    """

    radius_mm: Values
    u_mm: Values
    mirrored: Values
    by_end: Values


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

    def look(self, radius_mm: Values) -> Values:
        """Return which of radii (sides, k) describes each side's light best, at a first look."""
        model = self._model(radius_mm)
        fit = solve(model, model.expected, *BOUNDS, rounds=LOOKS, reach=STEP)
        best = fit.cost.reshape(radius_mm.shape).argmin(axis=1)
        return np.asarray(radius_mm[np.arange(len(best)), best])

    def tried(self, radius_mm: Values, fitted: Fitted) -> Tried:
        """Return what roots of radii (sides, k) leave; those behind the flanks look all alike.

        Fits begin with what another fit's grooves would mirror if they ended there.
        """
        shape, model = radius_mm.shape, self._model(radius_mm)
        told = np.maximum(np.count_nonzero(model.use, axis=1), 1).reshape(shape)
        steps, order = count(1), np.argsort(radius_mm, axis=1)

        def hopeless(cost: Values) -> NDArray[np.bool_]:
            squares = 2 * cost.reshape(shape)
            best = squares.min(axis=1, keepdims=True)
            over = (squares - best) / _unit(best / told)
            # Farther out than one that is hopeless none is better: else its fit lags behind.
            farther = np.take_along_axis(over, order, 1)
            inward = np.minimum.accumulate(farther, axis=1)
            outward = np.minimum.accumulate(farther[:, ::-1], axis=1)[:, ::-1]
            np.put_along_axis(over, order, np.maximum(inward, outward), 1)
            return np.asarray((over.ravel() > GIVEN_UP) & (next(steps) >= SIFTED))

        far = REACH_U * fitted.u_mm[:, None]
        off = np.minimum(np.maximum(radius_mm - fitted.radius_mm[:, None], -far), far)
        start = fitted.mirrored[:, None] + off[..., None] * fitted.by_end[:, None]
        fit = solve(
            model, start.reshape(-1, 4), *BOUNDS, settled=SETTLED, hopeless=hopeless, reach=STEP
        )
        squares = np.sum(fit.residuals[:, :-4] ** 2, axis=1).reshape(shape) / told
        return Tried(radius_mm=radius_mm, cost=2 * fit.cost.reshape(shape), misfit=squares)

    def _model(self, radius_mm: Values) -> _RootFit:
        y, light, use = self.seen.told(LEAST_LIGHT)
        mirrors = [g.mirror for g in self.grooves]
        metals = [m.metal for m in mirrors]

        def each(values: object) -> Values:
            return np.repeat(np.asarray(values, float), radius_mm.shape[1], axis=0)

        return _RootFit(
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


def _unit(misfit: Values) -> Values:
    """Return the squares that count as one, by their mean over points.

    Where points deviate by more than is expected of each, they do so by threes.
    """
    return np.asarray(np.maximum(1.0, ALIKE * misfit))


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
    """Radii at which roots were tried, and what they left, (sides, k) each.

    ``cost`` is the sum of squares, and ``misfit`` the mean of those of the light's points.
    """

    radius_mm: Values
    cost: Values
    misfit: Values

    def places(self) -> list[Place]:
        """Return where each side's root is: mean and spread of all, by their likelihoods."""
        order = np.argsort(self.radius_mm, axis=1)
        every = (self.radius_mm, self.cost, self.misfit)
        radius, cost, misfit = (np.take_along_axis(a, order, axis=1) for a in every)
        each = zip(radius, cost, misfit, strict=True)
        return [_place(r, c, float(m[c.argmin()])) for r, c, m in each]


def _place(radius_mm: Values, cost: Values, misfit: float) -> Place:
    """Return the mean radius by likelihood, all radii that were tried alike before."""
    at = np.linspace(radius_mm[0], radius_mm[-1], STEPS)
    # About a minimum squares are parabolas, whose roots are straight lines.
    root = np.sqrt(cost - cost.min())
    squares = np.interp(at, radius_mm, root) ** 2
    # The sharpest minimum lies between two steps.
    squares -= squares.min()
    weight = np.exp(-0.5 * squares / _unit(np.array(misfit)))
    weight /= weight.sum()
    mean = float(weight @ at)
    # Steps tell no less than one.
    u = max(float(np.sqrt(weight @ (at - mean) ** 2)), float(at[1] - at[0]))
    return Place(radius_mm=mean, u_mm=u)


def everywhere(section: Section, highest_mm: float) -> Values:
    """Return the radii at which roots are tried, from the point of their groove up, (k,)."""
    return np.linspace(point_radius(section), highest_mm, TRIED)


def try_all(trials: Trials, radius_mm: Values, fitted: Fitted) -> Tried:
    """Try roots at radii (k,) and around the best fit of each side."""
    around = fitted.radius_mm[:, None] + fitted.u_mm[:, None] * np.array(AROUND_U)
    around = np.clip(around, radius_mm[0], radius_mm[-1])
    every = np.broadcast_to(radius_mm, (len(around), len(radius_mm)))
    return trials.tried(np.concatenate([every, around], axis=1), fitted)
