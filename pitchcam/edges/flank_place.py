"""Places the true edges of all flanks of a thread at once, by the light traced beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.flank_light import Traced
from pitchcam.frozen import dataclass
from pitchcam.least_squares import solve_one
from pitchcam.light.metal import UNSEEN, Known, Metal
from pitchcam.normal import normal_cdf

Values = NDArray[np.float64]

#: Borders of the depths inside the edge, pixels, within which the traced light is taken as even,
#: and the depths at which it is traced: light from farther in does not reach the edge.
CELLS_PX = np.array([0, 0.25, 0.5, 1, 1.5, 2, 3, 4, 6, 12])
DEPTHS_PX = (CELLS_PX[1:] + CELLS_PX[:-1]) / 2

#: Loss, roughness and the panel's distance among the parameters of the fit: of these the traced
#: light's derivatives are differences.
_MOVED = np.array([0, 1, 3])
#: Loss, roughness and share of metals lie between these.
_LOWEST, _HIGHEST = (0.1, 0.03, 0.0), (0.95, 0.3, 1.0)
#: The panel's distances behind the plate that are tried, in distances of the camera.
PANELS = 0.02 * 2.0 ** np.arange(8)
#: The background's light right beside a part, which takes and gives back some of a panel close
#: behind it.
U_BACKGROUND = 0.03
#: How even the light beside a part is: the mean of 100 x 100 pixels lies 0.15 to 0.2 % off a smooth
#: surface (twelve renders, in which 8-bit codes are half a percent apart).
U_LEVEL = 0.002
#: Standard deviation of a profile's samples, half a pixel apart: noise of 0.01 and what the traced
#: light leaves out. From a pixel inside the edge that is as much again for every half pixel more.
U_LIGHT, DEEPER_PX = 0.02, 0.5
#: Distances of the panel behind the part, in camera distances, from which on it is near and not
#: near; and the share of light that a part must mirror for it to matter in full.
NEAR, FAR, BRIGHT = 0.10, 0.28, 0.5
#: Step of the differences that stand for derivatives by loss, roughness and the panel's distance.
STEP = 1e-3
#: Where the edge is looked for first, outward of the level's crossing: the level is 0.85 and the
#: blur near 1 px.
_START_PX = -0.7
#: How far outward of an edge its level is looked for, in blurs: 0.95 lies at 1.6.
OUTWARD_BLURS = 2.0
#: The light beside an edge is traced to about this share where profiles are drawn as well as is
#: usual (renders of known threads); it is known the less, the worse they are drawn.
U_TRACED, USUAL_MISFIT = 0.05, 0.006


@dataclass(frozen=True, kw_only=True)
class FlankProfiles:
    """Mean light across n flanks, 1 outside, sharpening undone.

    ``across_px`` and ``light`` are (n, m), positive outward of the crossing of ``level``; ``known``
    (n, m) says which samples count: profiles may differ in length. ``way`` (n,) is 0 or 1: flanks
    of one way are parallel in the picture. ``blur_px`` are the standard deviations of the blur
    across those of both ways, ``lens_px`` that of edges across which nothing moved.
    """

    across_px: Values
    light: Values
    known: NDArray[np.bool_]
    way: NDArray[np.intp]
    blur_px: tuple[float, float]
    lens_px: float
    level: float

    @property
    def own_blur_px(self) -> Values:
        """The blur across each flank, (n,)."""
        return np.array(self.blur_px)[self.way]


@dataclass(frozen=True, kw_only=True)
class Surface:
    """What a part mirrors: its metal, and the light it stands in.

    ``panel`` is the panel's distance behind the plate in camera distances, ``background`` the light
    right beside the part, to ``u_background``. ``misfit`` is the rms deviation of the light that
    all this explains.
    ``own_blur_px`` is the blur that flanks of both ways show, None where it is the photo's.
    """

    metal: Metal
    panel: float
    background: float
    u_background: float
    misfit: float
    own_blur_px: tuple[float, float] | None = None

    @property
    def near(self) -> float:
        """How far the light is that of a panel close behind a part that mirrors it, 0 to 1."""
        bright = min(self.metal.share.value / BRIGHT, 1.0)
        return float(bright * min(max((FAR - self.panel) / (FAR - NEAR), 0.0), 1.0))


@dataclass(frozen=True, kw_only=True)
class Placed:
    """True edges in their profiles, positive outward, (n,) each.

    ``shift_px`` (3, n, c) is how far edges lie outward of the level's crossing at each of c heights
    on the flank, by the light as traced, and by as much less and more of it as is not known;
    ``light`` (n, c, d) is that light, by depth; ``misfit`` (n,) is the light's rms deviation.
    ``blur_px`` and ``way`` are those of :class:`FlankProfiles`, as they were found.
    """

    edge_px: Values
    u_px: Values
    shift_px: Values
    light: Values
    surface: Surface
    misfit: Values
    blur_px: tuple[float, float]
    way: NDArray[np.intp]


#: Flanks are blurred by themselves, shaken or out of the straight edges' focus, where blurs so many
#: times the photo's leave at most this share of the light's misfit, and no more than this of it. Of
#: 105 fits to rendered threads, none of them so, two came to more than 1.21 times, and left 0.017
#: and 0.021.
BLURRED, BLURRED_LEFT, BLURRED_MISFIT = 1.22, 0.8, 0.0095
#: Misfit that is none, and what is known of the blurs' logarithms before they are asked.
DRAWN, U_BLUR_OPEN = 0.006, 1.0
#: What is not known of them once they were found.
U_OWN_BLUR = 0.1


def place_asking_blur(
    profiles: FlankProfiles, traced: Traced, panel: tuple[float, float]
) -> Placed:
    """Place flanks in the photo's blur, and say whether they show one of their own.

    A hand's motion blurs edges across it: a pin's sides, along it, stay sharp, and tell the blur
    too small for flanks, whose fall then passes for a mirrored band. So does light that is traced
    on a thread of the wrong hand: the edges stay those of the photo's blur, and the surface's
    ``own_blur_px`` is for the caller to follow once the hand is known.
    """
    usual = place_flanks(profiles, traced, panel)
    if usual.surface.misfit < DRAWN:
        return usual
    most = min(BLURRED_LEFT * usual.surface.misfit, BLURRED_MISFIT)
    by_lens, by_motion = (OwnBlur(u=U_BLUR_OPEN, motion=motion) for motion in (False, True))
    own = place_flanks(profiles, traced, panel, own=by_lens)
    if not _wider(own, profiles):  # a sweep widens what is drawn as a lens's blur as well
        return usual
    own = min(
        (own, place_flanks(profiles, traced, panel, own=by_motion)), key=lambda p: p.surface.misfit
    )
    if _wider(own, profiles) and own.surface.misfit < most:
        return replace(usual, surface=replace(usual.surface, own_blur_px=own.blur_px))
    return usual


def _wider(own: Placed, profiles: FlankProfiles) -> bool:
    return max(b / a for a, b in zip(profiles.blur_px, own.blur_px, strict=True)) > BLURRED


def place_in_own_blur(
    profiles: FlankProfiles, traced: Traced, panel: tuple[float, float]
) -> Placed:
    """Place flanks in a blur of their own, by a lens or a motion, as the light is drawn.

    The blurs' logarithms are expected to be those of the profiles within U_OWN_BLUR;
    arguments as those of :func:`place_flanks`.
    """
    tries = [
        place_flanks(profiles, traced, panel, own=OwnBlur(u=U_OWN_BLUR, motion=motion))
        for motion in (False, True)
    ]
    return min(tries, key=lambda placed: placed.surface.misfit)


#: Loss, roughness, share, panel and background come first among the parameters of the fit, then
#: the blurs where they are asked for.
_SHARED = 5
#: Blurs that flanks may have.
_BLURS_PX = (0.3, 12.0)
#: Least share by which a motion widens the lens's blur: none would divide by nothing.
_LEAST_SWEEP = 1.02


@dataclass(frozen=True, kw_only=True)
class OwnBlur:
    """How flanks may be blurred: ``u`` is what is not known of the blurs' logarithms.

    With ``motion`` what is beyond the lens's blur is an even sweep.
    """

    u: float
    motion: bool


def swept(x: Values, blur_px: Values, lens_px: float) -> tuple[Values, Values, Values]:
    """Return the fallen share of an edge that was moved while the shutter was open.

    ``x`` (n, m, d) lies inside the edge by so many pixels, ``blur_px`` (n, 1, 1) is the standard
    deviation of both the lens's blur and an even sweep. With it come its changes by x and by the
    logarithm of that deviation.
    """
    blur = np.maximum(blur_px, _LEAST_SWEEP * lens_px)
    half = np.sqrt(3 * (blur**2 - lens_px**2))
    after, before = (x + half) / lens_px, (x - half) / lens_px
    one, other = normal_cdf(after), normal_cdf(before)
    risen = after * one - before * other
    risen += (np.exp(-0.5 * after**2) - np.exp(-0.5 * before**2)) / np.sqrt(2 * np.pi)
    share = risen * lens_px / (2 * half)
    by_half = ((one + other) / 2 - share) / half
    return share, (one - other) / (2 * half), by_half * 3 * blur**2 / half


def place_flanks(
    profiles: FlankProfiles,
    traced: Traced,
    panel: tuple[float, float],
    metal: Metal = UNSEEN,
    own: OwnBlur | None = None,
) -> Placed:
    """Fit the surface's numbers and every edge's place to the profiles of one thread.

    Parameters
    ----------
    profiles
        Mean light across n flanks.
    traced
        Rays at DEPTHS_PX for the panel at PANELS, c heights a flank one after the other, n c in
        all; a profile's light is their mean.
    panel
        The panel's distance behind the plate, in camera distances, and the standard uncertainty
        of its logarithm.
    metal
        What is known of the part's surface.
    own
        How the blurs of both ways are found too; None where they are known.
    """
    n, m = profiles.light.shape
    first = _SHARED + (0 if own is None else 2)
    heights = len(traced.grazing) // n
    sigma = U_LIGHT * (1 + np.maximum(_START_PX - 1.0 - profiles.across_px, 0.0) / DEEPER_PX)
    weight = np.where(profiles.known, 1 / sigma, 0.0)
    three = (metal.loss, metal.roughness, metal.share)
    u_roughness = metal.roughness.u * metal.roughness.value
    blurs = np.zeros(0) if own is None else np.log(profiles.blur_px)
    middle = np.array([*(k.value for k in three), np.log2(panel[0] / PANELS[0]), 1.0, *blurs])
    u_three = (metal.loss.u, u_roughness, metal.share.u)
    u_blurs = np.full(len(blurs), 1.0 if own is None else own.u)
    spread = np.array([*u_three, panel[1] / np.log(2), U_BACKGROUND, *u_blurs])
    bounds = [np.full(len(blurs), b) for b in np.log(_BLURS_PX)]
    low = np.array([*_LOWEST, 0.0, 0.8, *bounds[0], *np.full(n, -8.0)])
    high = np.array([*_HIGHEST, len(PANELS) - 1.0, 1.2, *bounds[1], *np.full(n, 5.0)])

    def blurred(q: Values) -> Values:
        """Return the blur across each flank, (n,)."""
        return profiles.own_blur_px if own is None else np.exp(q[_SHARED:first])[profiles.way]

    def bright(light: Values) -> Values:
        """Return the light (n, d) beside the edges, the mean of all heights."""
        return np.asarray(np.add.reduce(light.reshape(n, heights, -1), axis=1) / heights, float)

    def changed(q: Values, step: Values) -> tuple[Values, ...]:
        """Return the light of metal that mirrors all of it, and with each number moved.

        The numbers are loss, roughness and distance; what does not hang on one is kept.
        """
        loss, roughness, distance = q.tolist()
        facets, lit = traced.facets(roughness), traced.lit(distance)
        rougher = roughness + float(step[1])
        return (
            traced.shown(facets, lit, loss, roughness),
            traced.shown(facets, lit, loss + float(step[0]), roughness),
            traced.shown(traced.facets(rougher), lit, loss, rougher),
            traced.shown(facets, traced.lit(distance + float(step[2])), loss, roughness),
        )

    def cost(q: Values) -> tuple[Values, Values]:
        blur_px = blurred(q)[:, None, None]
        x = q[first:, None, None] - CELLS_PX - profiles.across_px[:, :, None]
        if own is not None and own.motion:
            share, bells, widened = swept(x, blur_px, profiles.lens_px)
        else:
            share = normal_cdf(x / blur_px)
            bells = np.exp(-0.5 * (x / blur_px) ** 2) / (np.sqrt(2 * np.pi) * blur_px)
            widened = -bells * x
        # Inward from a bound, beyond which there is no light.
        steps = np.where(q[_MOVED] + STEP > high[_MOVED], -STEP, STEP)
        light, *moved = map(bright, changed(q[_MOVED], steps))
        # From 1 outside to the first cell's light, from cell to cell, and to dark.
        changes = [_falls(q[2] * light, 1.0)]
        changes += [
            _falls(q[2] * (other - light) / step, 0.0)
            for other, step in zip(moved, steps, strict=True)
        ]
        changes.insert(3, _falls(light, 0.0))
        fallen = share @ np.stack(changes, axis=2)
        seen = q[4] * (1 - fallen[:, :, 0])
        slopes = np.zeros((n * m + first, n + first))
        slopes[:-first, :4] = (-q[4] * fallen[:, :, 1:] * weight[:, :, None]).reshape(n * m, 4)
        slopes[:-first, 4] = ((1 - fallen[:, :, 0]) * weight).ravel()
        by_edge = -q[4] * (bells @ changes[0][:, :, None])[:, :, 0]
        rows = np.arange(n * m)
        slopes[rows, first + rows // m] = (by_edge * weight).ravel()
        if own is not None:
            # By the logarithm of the blur of each flank's way.
            by_blur = -q[4] * (widened @ changes[0][:, :, None])[:, :, 0]
            slopes[rows, _SHARED + profiles.way[rows // m]] = (by_blur * weight).ravel()
        slopes[-first + np.arange(first), np.arange(first)] = 1 / spread
        rest = ((seen - profiles.light) * weight).ravel()
        return np.append(rest, (q[:first] - middle) / spread), slopes

    start = np.clip(np.concatenate([middle, np.full(n, _START_PX)]), low, high)
    found = solve_one(cost, start, low, high)
    q = found.parameters[0]
    blur_px = blurred(q)
    rest = found.residuals[0, :-first].reshape(n, m)
    misfit = np.sqrt((rest**2).sum(axis=1) / profiles.known.sum(axis=1)) * U_LIGHT
    light = q[2] * traced.light(q[0], q[1], q[3]).reshape(n, heights, -1)
    traced_to = U_TRACED * np.maximum(1.0, misfit / USUAL_MISFIT)
    sigma = found.sigmas()[0]
    return Placed(
        edge_px=q[first:],
        u_px=sigma[first:] * np.maximum(1.0, misfit / U_LIGHT),
        shift_px=_shifts(
            [(1 + part)[:, None, None] * light for part in (0 * traced_to, -traced_to, traced_to)],
            blur_px,
            profiles.level / q[4],
        ),
        light=light,
        surface=Surface(
            metal=_seen_metal(q, sigma[:3].tolist()),
            panel=float(PANELS[0] * 2 ** q[3]),
            background=float(q[4]),
            u_background=float(np.hypot(sigma[4], U_LEVEL)),
            misfit=float(np.sqrt(np.mean(misfit**2))),
            own_blur_px=None if own is None else _of_ways(blur_px, profiles),
        ),
        misfit=misfit,
        blur_px=_of_ways(blur_px, profiles),
        way=profiles.way,
    )


def _of_ways(blur_px: Values, profiles: FlankProfiles) -> tuple[float, float]:
    """Return the blurs of both ways, those expected where a way has no flank."""
    falling, rising = (
        float(blur_px[profiles.way == way][0]) if (profiles.way == way).any() else usual
        for way, usual in enumerate(profiles.blur_px)
    )
    return falling, rising


def _falls(light: Values, outside: float) -> Values:
    """Return the falls of the light (n, d + 1) from outside, from cell to cell, and to dark."""
    n, cells = light.shape
    with_ends = np.empty((n, cells + 2))
    with_ends[:, 0], with_ends[:, 1:-1], with_ends[:, -1] = outside, light, 0.0
    return np.asarray(with_ends[:, :-1] - with_ends[:, 1:], float)


def _seen_metal(q: Values, u: list[float]) -> Metal:
    """Return the fitted loss, roughness and share with what the fit leaves open of them."""
    source = "the light beside the thread's flanks"
    loss, roughness, share = (float(v) for v in q[:3])
    return Metal(
        loss=Known(value=loss, u=u[0], source=source),
        roughness=Known(value=roughness, u=u[1] / roughness, source=source),
        share=Known(value=share, u=u[2], source=source),
    )


def _shifts(lights: Sequence[Values], blur_px: Values, level: float) -> Values:
    """Return how far edges with light (n, c, d) beside them lie outward of a level's crossing.

    ``blur_px`` (n,) is the blur across each; of each of the lights (lights, n, c).
    """
    x = np.arange(-4.0, max(3.0, OUTWARD_BLURS * float(blur_px.max())) + 0.01, 0.05)
    steps = normal_cdf((-CELLS_PX - x[:, None]) / blur_px[:, None, None])
    return np.stack([_crossings(x, steps, light, level) for light in lights])


def _crossings(x: Values, steps: Values, light: Values, level: float) -> Values:
    """Return how far edges lie outward of where the light that ``steps`` spread is at a level."""
    falls = -np.diff(light, axis=2, prepend=1.0, append=0.0)
    seen = 1 - np.einsum("nmd,ncd->ncm", steps, falls)
    # From outside inward, as the outline is found.
    first = seen.shape[2] - 1 - np.argmax(seen[:, :, ::-1] < level, axis=2)
    # Light as bright as the level all the way in crosses it no nearer than there.
    first = np.minimum(first, seen.shape[2] - 2)
    i, j = np.indices(first.shape)
    a, b = seen[i, j, first], seen[i, j, first + 1]
    share = np.clip((level - a) / np.maximum(b - a, 1e-9), 0.0, 1.0)
    out: Values = -(x[first] + share * (x[1] - x[0]))
    return out
