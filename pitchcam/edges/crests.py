"""Crest and root lines: major and minor diameter of a thread whose tips are narrower than the blur.

The light along the middles of crests is compared with what a ridge of the fitted flanks would
show (:mod:`pitchcam.light.mirrored`), its mirrored rim included; the radius where the ridge
ends is what fits. A plain threshold would read the crest of a fine thread 0.02-0.1 mm low and the
root as much high.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.roots import (
    DEEPEST,
    LEAST_LIGHT,
    LIGHT_NOISE,
    Fitted,
    Groove,
    Seen,
    Trials,
    everywhere,
    point_radius,
    true_radius,
    try_all,
    walled,
)
from pitchcam.edges.section import Section
from pitchcam.edges.sight import Sight
from pitchcam.edges.tip_form import meeting_radius, round_share, tip_outline
from pitchcam.edges.tips import Tip, among_all, one_root
from pitchcam.frozen import dataclass
from pitchcam.least_squares import Solution, solve
from pitchcam.light.mirrored import Mirror, Mirrored, light_slopes
from pitchcam.light.stations import Line, middle_line
from pitchcam.small import median, medians

Values = NDArray[np.float64]


#: Between which heights over the pitch line crests end, in pitches: whole ones stand 0.24 to 0.38
#: over it, those worn by half of the thread's depth at it, by six tenths 0.07 below. A bound at
#: 0.08 had read a crest of 1.6 mm pitch that was worn by half 0.18 mm too high.
LOWEST, HIGHEST = -0.15, 0.62
#: Light above which a crest's edge lies farther in than was looked at: that of an edge itself.
HALF = 0.5
#: Relative fall of the cost at which a tip is settled: within a thirtieth of its u.
SETTLED = 1e-5
#: How well an angle is known before its budget is made, degrees: over masked light, and with the
#: panel close behind the part (renders of known threads).
U_ANGLE_DEG, U_ANGLE_NEAR_DEG = 1.0, 3.0
#: How much a form that describes the light worse counts less: of two that differ by a tenth, the
#: better counts for 60 %. Drawn pictures of flat and of round crests differ by no more.
FORM_POWER = 4


def _middles(section: Section, side: float, groove: bool) -> Values:
    """Return z of the middles of crests (or roots) that have flanks on both sides, as seen."""
    p, seen = section.points, section.seen
    flanks = [
        set(p.ridge[(p.side == side) & (p.flank == f) & seen.used].tolist()) for f in (1.0, -1.0)
    ]
    both = flanks[0] & flanks[1]
    if groove:
        both = {n + 0.5 for n in both if n + 1 in both}
    numbers = np.array(sorted(both))
    start = seen.phase_mm + (seen.lag_mm if side < 0 else 0.0)
    out: Values = start + seen.pitch_mm * numbers
    return out


@dataclass(frozen=True, kw_only=True)
class Around:
    """What crests and roots are seen by.

    ``mirrors`` is for each side, +1 and -1, what it mirrors, as the flanks let expect;
    ``background`` the light right beside the part; ``near_panel`` says that the panel is close
    behind it, and flanks are known the less.
    """

    mirrors: Mapping[float, Mirror]
    background: float = 1.0
    near_panel: bool = False


def fit_tips(
    sight: Sight,
    section: Section,
    around: Around,
    *,
    groove: bool = False,
    crests: Sequence[Tip] = (),
) -> tuple[Tip, ...]:
    """Fit the crest lines (or the root lines) of both sides of a thread.

    Parameters
    ----------
    sight
        How the thread is seen.
    section
        The fitted flanks.
    around
        What is mirrored.
    groove
        Fit the roots instead of the crests.
    crests
        Those that were fitted before the roots: they tell the middle of the thread.

    Returns
    -------
    tips
        Those of the sides that show at least two crests (roots).

    Notes
    -----
    A crest may be flat (ISO 68-1, ASME B1.20.1) or a circle tangent to both flanks (Whitworth,
    BA, rolled threads); both forms are fitted, and count by the light and by the angle. A root is
    taken as a circle tangent to the flanks, which a narrow flat is not told from.
    """
    mirrors, blur_mm = around.mirrors, sight.blur_mm
    middles = {side: _middles(section, side, groove) for side in mirrors}
    sides = [side for side, z in middles.items() if len(z) >= 2]
    if not sides:
        return ()
    pitch, line = abs(section.seen.pitch_mm), section.seen.pitch_radius_mm
    depth = 0.62 * pitch
    centre = line + (-0.5 if groove else 0.5) * depth
    step = 0.5 * sight.mm_per_px
    span = np.arange(-0.45 * depth - 3 * blur_mm, 3.5 * blur_mm + 0.25 * depth, step)
    y = centre + (-span[::-1] if groove else span)
    # Under a slant one side's flanks are seen farther out than the other's: radii count from there.
    out = {side: side * section.seen.offset_mm for side in sides}
    lines = [_lines(sight, section, side, middles[side], y + out[side]) for side in sides]
    light = np.array([medians(of_side) for of_side in lines]) / around.background
    if not groove and (light[:, 0] > HALF).any():
        # Worn crests end farther in.
        deeper = step * np.arange(1.0, (y[0] - (line + LOWEST * pitch - 3 * blur_mm)) / step)
        y = np.concatenate([y[0] - deeper[::-1], y])
        lines = [_lines(sight, section, side, middles[side], y + out[side]) for side in sides]
        light = np.array([medians(of_side) for of_side in lines]) / around.background
    low, high = (line - 0.75 * pitch, line - 0.1 * pitch)
    if not groove:
        low, high = (line + LOWEST * pitch, line + HIGHEST * pitch)
    limits = (max(low, DEEPEST * line), high)
    seen = Seen(y=y, light=light, blur_mm=blur_mm, swept_mm=sight.widened_px * sight.mm_per_px)
    own = [walled(mirrors[side]) if groove else mirrors[side] for side in sides]
    pinhole = section.pinhole(sight.frame)
    both = zip(sides, own, strict=True)
    grooves = [Groove(side=s, out_mm=out[s], mirror=m, pinhole=pinhole) for s, m in both]
    trials = Trials(seen=seen, section=section, grooves=grooves)
    # What is tried is the radius itself, not where it is seen.
    highest = section.fit.pitch_radius_mm - 0.1 * pitch
    # Long shallow waves have no room for roots between the point of their grooves and that.
    start = radii = None
    if groove and highest > point_radius(section):
        radii = everywhere(section, highest)
        best = trials.look(np.tile(radii, (len(sides), 1)))
        start = trials.ends(best[:, None])[:, 0]
    fits = _fit_ends(seen, section, own, limits, start=start)
    u_deg = U_ANGLE_NEAR_DEG if around.near_panel else U_ANGLE_DEG
    share = round_share(section.fit.angle_deg, u_deg)
    tips, scatter = [], []
    for side, of_side, ends in zip(sides, lines, fits, strict=True):
        count = len(middles[side])
        spread = median(np.std(of_side, axis=0)) / np.sqrt(count)
        seen_radius, u, by_light, misfit = ends.mean(share)
        if not (np.isfinite(seen_radius) and np.isfinite(u)):
            continue  # the light says nothing of this side's tips
        # A tip is never placed worse than the blur itself.
        u = min(u, blur_mm)
        scatter.append(0.3 * spread * blur_mm)
        tips.append(
            Tip(
                side=side,
                radius_mm=true_radius(seen_radius + out[side], side, pinhole),
                u_mm=float(np.hypot(u, scatter[-1])),
                slope=section.seen.taper / 2,
                count=count,
                misfit=misfit,
                by_light_mm=by_light,
            )
        )
    if radii is None or len(tips) < len(sides):
        return tuple(tips)
    fitted = Fitted(
        radius_mm=np.array([t.radius_mm for t in tips]),
        u_mm=np.array([t.u_mm for t in tips]),
        mirrored=np.concatenate([ends.mirrored for ends in fits]),
        by_end=np.concatenate([ends.by_end for ends in fits]),
    )
    tried = try_all(trials, radii, fitted)
    return one_root(among_all(tips, scatter, tried.places()), crests, section, sight)


def _lines(sight: Sight, section: Section, side: float, z: Values, y: Values) -> Values:
    """Return the light at radii y along the middles of all crests (roots) of a side."""
    # The very middle: half a pixel beside it a narrow groove is half a pixel less deep and more.
    radius = y + section.seen.taper / 2 * z[:, None]
    at = np.broadcast_to(z[:, None], radius.shape)
    zy = section.from_axis(np.stack([at, side * radius], axis=-1))
    zyx = np.concatenate([zy, np.zeros((*radius.shape, 1))], axis=-1)
    return sight.light(zyx)


@dataclass(frozen=True, kw_only=True)
class _TipPlaces:
    """Where one side's tips end, by each form (round, and flat for crests): arrays (forms,).

    ``mirrored`` (forms, 4) is what they mirror, ``by_end`` how that goes with the end.
    """

    end: Values
    u: Values
    by_light: Values
    misfit: Values
    mirrored: Values
    by_end: Values

    def mean(self, round_share: float) -> tuple[float, float, float, float]:
        """Return end, u, the change with the light, and misfit.

        Each form counts by its share and by the light's misfit.
        """
        weight = (self.misfit / self.misfit.min()) ** -FORM_POWER
        if len(weight) == 2:
            weight *= (round_share, 1 - round_share)
        weight /= weight.sum()
        end = float(weight @ self.end)
        u2 = float(weight @ (self.u**2 + (self.end - end) ** 2))
        return end, float(np.sqrt(u2)), float(weight @ self.by_light), float(self.misfit.min())


def _fit_ends(
    seen: Seen,
    section: Section,
    mirrors: Sequence[Mirror],
    limits: tuple[float, float],
    *,
    start: Values | None = None,
) -> list[_TipPlaces]:
    """Fit the ends' radii with what the surface mirrors: loss, angles, roughness, share.

    The light is that of every side, in the order of ``mirrors``. Roots begin at ``start`` (sides,),
    the best at a first look; without it they are crests.
    """
    groove = start is not None
    forms = np.array([True] if groove else [True, False])
    is_round = np.tile(forms, len(mirrors))[:, None]
    # Deep inside, the part's own shine is anything; the outer part tells where it ends.
    y, light, use = seen.told(LEAST_LIGHT if groove else 0.25)
    light, use = (np.repeat(a, len(forms), axis=0) for a in (light, use))
    # No tip lies beyond the place where its flanks meet.
    low, high = limits
    meet = meeting_radius(section, groove=groove)
    low, high = (max(low, meet), high) if groove else (low, min(high, meet))
    metals = [m.metal for m in mirrors]
    model = _TipFit(
        line=middle_line(y, seen.blur_mm, np.inf if groove else high, seen.swept_mm),
        section=section,
        groove=groove,
        is_round=is_round,
        light=light,
        use=use,
        angles=np.repeat([m.angles_rad for m in mirrors], len(forms), axis=0),
        roughness=np.repeat([k.roughness.value for k in metals], len(forms))[:, None],
        expected=np.repeat(
            [(k.loss.value, 0.0, 0.0, k.share.value) for k in metals], len(forms), axis=0
        ),
        spread=np.repeat(
            [(m.metal.loss.u, m.u_angles, m.metal.roughness.u, m.metal.share.u) for m in mirrors],
            len(forms),
            axis=0,
        ),
    )
    if start is None:
        # Beside a bright rim half the light is left far inside; well above half it is near the end.
        start = y[len(y) - 1 - np.argmax(light[:, ::-1] < 0.75, axis=1)]
    fit = solve(
        model,
        np.column_stack([np.clip(start, low + 1e-3, high - 1e-3), model.expected]),
        np.array([low, 0.05, -2.0, -2.0, 0.0]),
        np.array([high, 1.2, 2.0, 2.0, 1.0]),
        settled=SETTLED,
    )
    squares = np.sum((fit.residuals[:, :-4] * LIGHT_NOISE) ** 2, axis=1)
    count = np.count_nonzero(use, axis=1)
    misfit = np.where(count > 0, np.sqrt(squares / np.maximum(count, 1)), 1.0)
    sigma = fit.sigma(0) * np.maximum(1.0, misfit / LIGHT_NOISE)
    every = (
        fit.parameters[:, 0],
        sigma,
        _by_light(model, fit),
        misfit,
        fit.parameters[:, 1:],
        fit.along(0),
    )
    columns = (c.reshape(len(mirrors), len(forms), *c.shape[1:]) for c in every)
    return [
        _TipPlaces(end=e, u=s, by_light=b, misfit=m, mirrored=q, by_end=d)
        for e, s, b, m, q, d in zip(*columns, strict=True)
    ]


def _by_light(model: _TipFit, fit: Solution) -> Values:
    """Return how the ends change with the light beside the part, mm for all of it, (p,).

    Where it is taken as brighter, what is seen is the darker for it.
    """
    _, slopes = model(fit.parameters)
    pull = np.einsum("pmk,pm->pk", slopes[:, :-4], model.light * model.use)
    size = np.maximum(np.sqrt(np.einsum("pkk->pk", fit.information)), 1e-12)
    scaled = fit.information / (size[:, :, None] * size[:, None, :])
    inverse = np.linalg.inv(scaled + 1e-12 * np.eye(size.shape[1]))
    return np.asarray(-(inverse[:, 0] * pull / size).sum(axis=1) / size[:, 0])


@dataclass(frozen=True, kw_only=True)
class _TipFit:
    """The fit of p ends: the light (p, n) at a line's points, and what counts there, ``use``.

    ``is_round`` (p, 1) says of which form, ``angles`` (p, 3) and ``roughness`` (p, 1) what the
    surface is taken to mirror; ``expected`` and ``spread`` (p, 4) are what is known of loss,
    angles, roughness and share, angles and roughness as logarithms of a factor.
    """

    line: Line
    section: Section
    groove: bool
    is_round: NDArray[np.bool_]
    light: Values
    use: Values
    angles: Values
    roughness: Values
    expected: Values
    spread: Values

    def of(self, which: NDArray[np.intp]) -> _TipFit:
        """Return some of the ends by themselves."""
        own = ("is_round", "light", "use", "angles", "roughness", "expected", "spread")
        return replace(self, **{name: getattr(self, name)[which] for name in own})

    def __call__(self, q: Values) -> tuple[Values, Values]:
        """Return residuals and derivatives by end, loss, angles, roughness and share."""
        loss, wider, rougher, share = q.T[1:, :, None]
        mirror = Mirrored(
            loss=loss,
            angles_rad=self.angles * np.exp(wider),
            roughness=self.roughness * np.exp(rougher),
            share=share,
        )
        outline = tip_outline(self.line, q[:, :1], self.section, self.is_round, groove=self.groove)
        drawn, slopes = light_slopes(self.line, outline, mirror)
        pull = np.zeros((len(q), 4, 5))
        pull[:, np.arange(4), np.arange(1, 5)] = 1 / self.spread
        return (
            np.concatenate(
                [(drawn - self.light) * self.use, (q[:, 1:] - self.expected) / self.spread], axis=1
            ),
            np.concatenate([slopes * self.use[..., None], pull], axis=1),
        )
