"""The true edges of parts that mirror the light panel along their rims.

Seen edge-on every surface is a mirror. A surface element at the angle a from the edge sends the
camera's ray on by 2 a, so it shows the panel again as far as tan 2a <= reach / (f k), where
``reach`` is the distance in the picture from the edge to the border of the light and
k = h / (L + h) is given by the panel's distance h behind the part. Inside its true edge a round
part of radius r thus has a band r (1 - cos a) wide that is nearly as bright as the panel.
A plain threshold takes the band's inner border for the edge.

All edges of one photo share the blur, the sharpening, the panel's distance and the metal's
reflectance; only the reach and the radius differ, and those are seen. Fitted together, edges with
a short reach settle the blur, edges with a long one the band.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.bands import kernels_of, metal_of, place, plain_place, solve_apart
from pitchcam.edges.edge_profiles import CODE_NOISE, Drawn, EdgeProfile, deviations, stacked
from pitchcam.frozen import dataclass
from pitchcam.least_squares import solve_one
from pitchcam.light.defocus import Focus, defocus, discs
from pitchcam.light.esf import DEFAULT_SPREAD, Spread, edge_light
from pitchcam.small import median

Values = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Rims:
    """What the edges of one photo tell together.

    ``edges_px`` and ``u_edges_px`` are the true edges' positions in their profiles, positive
    outward; ``panel`` is k = h / (L + h), ``u_panel`` the standard uncertainty of its logarithm;
    ``common`` says that one panel and one metal describe all edges; ``misfit`` is the rms deviation
    in coded values of 0..1. ``flat`` is how the edges of flat objects are drawn, None where there
    are none. ``fall_px`` is the blur that the edges' outermost fall shows without any model.
    """

    spread: Spread
    panel: float
    u_panel: float
    common: bool
    edges_px: Values
    u_edges_px: Values
    rims_px: Values
    misfit: Values
    flat: Spread | None = None
    fall_px: float = 0.0


#: Widest blur that a profile of 9 px to both sides of the level 0.85 holds whole: that level lies
#: 1.04 sigma out, and 2.4 sigma inside the edge the fall is over to a hundredth. Beyond, the part's
#: own darkness is not seen, and the fit takes the rest of the fall for a mirrored band.
MOST_DRAWN_PX = 2.6

#: Loss of mirrored light at grazing angles (see :func:`pitchcam.light.esf.reflected`): Fresnel's
#: formulas give iron and chromium 0.75-0.8, brass in blue 0.6, zinc and aluminium 0.4. Roughness,
#: which brightens the deeper part of a rim, brings the fitted loss down.
LOSS = (0.38, 0.14)
#: Softness of the band's inner border as a share of its width (ground and drawn surfaces scatter).
SOFTNESS = (0.35, 0.15)
#: Share of the light that a ground or drawn surface mirrors at its very edge. Facets hide one
#: another from a grazing ray (Smith's shadowing function), and those it meets lean toward it and
#: mirror less than at grazing angles: together 0.75 of it for iron and chromium whose slopes
#: scatter by 0.05, 0.64 by 0.11, 0.59 by 0.15 (Beckmann's distribution, summed over facets).
POLISH = (0.70, 0.12)
#: That of a blackened or dirty surface, and the share of pins that are so: a pin or a shank of
#: known size is ground bright (common practice, no source).
DULL, DULL_PINS = (0.05, 0.10), 0.02
#: Least blur of any edge.
LEAST_BLUR_PX = 0.4
#: Starts for the panel's distance: as far behind the part as the phone is in front, nearer, and
#: close behind it; each with a log-normal spread.
PANELS = (0.5, 0.2, 0.06)
PANEL_SPREAD = 0.35
#: What stays unknown of a round edge beside what its fit leaves open, in which loss, softness and
#: polish are already: a band whose light does not follow one curve. 500 drawn edges of facets (rms
#: slopes 0.03 to 0.11, radii 30 to 180 px, blurred and sharpened) are off by 0.14 in all, and by so
#: much more than their fits say; with bands of their own by 0.09 and 0.06. It is the same for all
#: edges of one metal.
U_ROUND_PX = 0.08
#: A band wider than a profile, close over a panel, is all the light inside that the profile shows:
#: above this share the edge is one step, from the plain light to the band's. A metal is brighter at
#: the very edge and falls to the band's light within: the step comes out too far in, by so much on
#: average and so uncertainly (34 drawn edges of facets that scatter by 0.03 to 0.11, radius 30 to
#: 180 px: by 0.13 and 0.08; 28 pins in renders: by 0.21, to 0.07). Below it a band is seen to end:
#: taken as a step from 0.15 on, drawn edges came out 0.2 to 0.9 px too far in.
FLOODED, FLOODED_PX, U_FLOODED_PX = 0.4, 0.14, 0.1

#: What stands in where a photo shows no straight edge: what phones do, and a panel well behind.
UNLEARNT = Rims(
    spread=DEFAULT_SPREAD,
    panel=PANELS[0],
    u_panel=0.5,
    common=True,
    edges_px=np.zeros(0),
    u_edges_px=np.zeros(0),
    rims_px=np.zeros(0),
    misfit=np.zeros(0),
)


def mirror_angle(reach_px: float, f_px: float, panel: float) -> float:
    """Return the grazing angle in radians up to which an edge mirrors the panel."""
    return float(0.5 * np.arctan(reach_px / (f_px * panel)))


def rim_width(radius_px: float, reach_px: float, f_px: float, panel: float) -> float:
    """Return the width in pixels of the mirrored band on a surface of a radius of curvature."""
    return float(radius_px * (1 - np.cos(mirror_angle(reach_px, f_px, panel))))


#: Blur, gain, radius, log k, loss, softness, polish, and what the blur of edges at another height
#: is more.
SHARED = 8


@dataclass(frozen=True, kw_only=True)
class _Fit:
    """Edges fitted together: ``q`` is what they share (SHARED), then the edges' places."""

    cost: float
    q: Values
    covariance: Values
    misfit: Values


@dataclass(frozen=True, kw_only=True)
class _Expected:
    """What edges are taken to be before they are seen: spread, panel, and the share mirrored."""

    spread: Spread
    panel: float = PANELS[0]
    polish: tuple[float, float] = POLISH
    focus: Focus | None = None


def _solve(
    profiles: Sequence[EdgeProfile],
    f_px: float,
    expected: _Expected,
    noise: float,
    start: Values | None = None,
) -> _Fit:
    n = len(profiles)
    stack = stacked(profiles, noise)
    middles, spreads = zip(LOSS, SOFTNESS, expected.polish, strict=True)
    prior = expected.spread
    known = (prior.blur_px, prior.gain, prior.radius_px, np.log(expected.panel))
    centre = np.array([*known, *middles, 0.0])
    focus = expected.focus
    apart = np.zeros(n, bool) if focus is None else focus.apart
    nodes = discs(apart)
    columns = apart.astype(float)[:, None]
    u_more = 1.0 if focus is None else focus.u_px
    own = (prior.u_blur_px, prior.u_gain, prior.u_radius_px, PANEL_SPREAD)
    width = np.array([*own, *spreads, u_more])

    def drawn(q: Values) -> Drawn:
        ratio = stack.reach / (f_px * np.exp(q[3]))
        focused = defocus(q[0], q[7], columns)
        blur, place = focused.blur_px[nodes.rows], nodes.placed(q[8:, None], focused.disc_px)
        angle = 0.5 * np.arctan(ratio)
        light, slopes = nodes.together(
            *edge_light(
                stack.across, blur, place, stack.radius[nodes.rows], angle[nodes.rows], *q[4:7]
            ),
            by_place=5,
        )
        slopes[1] *= -0.5 * ratio / (1 + ratio**2)
        by_usual, more = focused.changes(slopes[0], slopes[6])
        slopes = np.stack([by_usual, *slopes[1:5], more, slopes[5]]).transpose(1, 2, 0)
        return Drawn(light=light, shared=slopes[:, :, :6], own=slopes[:, :, 6:])

    def cost(q: Values) -> tuple[Values, Values]:
        rest, slopes = deviations(stack, drawn(q), q)
        pull = np.eye(SHARED, len(q)) / width[:, None]
        return np.append(rest, (q[:SHARED] - centre) / width), np.vstack([slopes, pull])

    if start is None:
        start = np.concatenate([centre, np.full(n, -0.7)])
    # A surface that scatters nothing and loses little shows no step at its edge, which then could
    # lie anywhere; one that is blackened mirrors nothing, and shows nothing but the step.
    low = np.concatenate([[LEAST_BLUR_PX, 0.0, 0.6, -5.0, 0.15, 0.02, 0.0, -2.0], np.full(n, -5.0)])
    high = np.concatenate([[6.0, 3.0, 5.0, 1.0, 0.95, 1.5, 0.96, 4.0], np.full(n, 8.0)])
    fit = solve_one(cost, start, low, high)
    misfit = np.sqrt(np.mean(fit.residuals[0, :-SHARED].reshape(n, -1) ** 2, axis=1)) * noise
    return _Fit(
        cost=float(fit.cost[0]),
        q=fit.parameters[0],
        covariance=np.linalg.pinv(fit.information[0]),
        misfit=misfit,
    )


def _weighed(bright: _Fit, dull: _Fit) -> tuple[_Fit, Values, Values]:
    """Return the likelier fit, and the edges with their uncertainties by both."""
    odds = np.log(DULL_PINS / (1 - DULL_PINS)) + bright.cost - dull.cost
    share = float(1 / (1 + np.exp(np.clip(-odds, -30.0, 30.0))))
    likelier = dull if share > 0.5 else bright
    variance = np.maximum(np.diag(likelier.covariance)[SHARED:], 0.0)
    u = np.sqrt(variance + share * (1 - share) * (dull.q[SHARED:] - bright.q[SHARED:]) ** 2)
    return likelier, (1 - share) * bright.q[SHARED:] + share * dull.q[SHARED:], u


#: Misfit of a round edge up to which the common model is believed: two coded steps.
BELIEVED = 2.2 / 255


#: Bands of their own, with three more parameters an edge, are believed where they leave less than
#: this share of the misfit. With the panel near, photos leave 0.24-0.68; a photo scaled down, whose
#: blur is none of a lens, leaves 0.77 and a scale that is 4 % off.
APART = 0.7


def fit_rims(
    profiles: Sequence[EdgeProfile],
    f_px: float,
    prior: Spread = DEFAULT_SPREAD,
    *,
    panel_near: bool = False,
    focus: Focus | None = None,
) -> Rims:
    """Fit the edges of one photo together.

    Parameters
    ----------
    profiles
        Mean profiles of equal length; at least one.
    f_px
        Focal length in pixels.
    prior
        What is assumed of the edge spread.
    panel_near
        The light fills the picture, so its border is not seen and the panel may be near.
    focus
        Which edges lie at another height than the others; None where none do.

    Notes
    -----
    Where one panel distance and one reflectance do not describe all edges (the panel right
    behind the part, an edge near dirt), every edge gets a band of its own.
    """
    noise = CODE_NOISE
    usual = _Expected(spread=prior, focus=focus)
    best = _solve(profiles, f_px, usual, noise)
    if best.misfit.max() > BELIEVED:
        # Where even the best edge is not drawn as expected (a photo made smaller, an odd
        # development), the edges tell less, and what is known beforehand counts for more.
        noise = max(CODE_NOISE, float(best.misfit.min()))
        # Not as usual: the panel may be nearer.
        tries = [_solve(profiles, f_px, replace(usual, panel=panel), noise) for panel in PANELS]
        best = min(tries, key=lambda s: s.cost)
    edges, u_edges = best.q[SHARED:], np.sqrt(np.maximum(np.diag(best.covariance)[SHARED:], 0.0))
    if any(p.radius_px is not None for p in profiles):
        # Blur and sharpening hardly differ.
        metal = [np.log(PANELS[0]), LOSS[0], SOFTNESS[0], DULL[0]]
        start = np.concatenate([best.q[:3], metal, best.q[7:]])
        dull = _solve(profiles, f_px, replace(usual, polish=DULL), noise, start)
        best, edges, u_edges = _weighed(best, dull)
    q, covariance, misfit = best.q, best.covariance, best.misfit
    apart = np.zeros(len(profiles), bool) if focus is None else focus.apart
    panel = float(np.exp(q[3]))
    u_panel, common = float(np.sqrt(max(covariance[3, 3], 0.0))), True
    rims = np.array(
        [
            0.0 if p.radius_px is None else rim_width(p.radius_px, p.reach_px, f_px, panel)
            for p in profiles
        ]
    )
    kernels = kernels_of((q[0], q[1], q[2]), q[7], apart)
    round_misfit = [m for m, p in zip(misfit, profiles, strict=True) if p.radius_px is not None]
    # Where the light's border is out of view, the panel may be near: then a coded step is enough.
    if max(round_misfit, default=0.0) > (CODE_NOISE if panel_near else BELIEVED):
        own = solve_apart(profiles, prior, focus)
        if median(own.misfit) < APART * median(misfit):
            q, covariance, misfit, common = own.spread, own.covariance, own.misfit, False
            mirrors = metal_of(own.bands)
            kernels = kernels_of((q[0], q[1], q[2]), own.more_px, apart)
            placed = [
                place(p, kernel, mirrors, float(w))
                for p, kernel, w in zip(profiles, kernels, rims, strict=True)
            ]
            edges, u_edges, rims = (np.array(column) for column in zip(*placed, strict=True))
    for i, p in enumerate(profiles):
        if p.radius_px is not None and p.dark > FLOODED:
            step, u_plain = plain_place(p, kernels[i])
            edges[i] = step + FLOODED_PX
            u_edges[i] = np.hypot(u_plain, U_FLOODED_PX)
    grow = np.maximum(1.0, misfit / CODE_NOISE)
    curved = np.array([p.radius_px is not None for p in profiles])
    model = np.where(curved, U_ROUND_PX, 0.05)
    return Rims(
        spread=Spread(
            blur_px=float(q[0]),
            gain=float(q[1]),
            radius_px=float(q[2]),
            # One edge stands for another only so far: height and place change the focus by 3 %.
            u_blur_px=float(np.hypot(np.sqrt(max(covariance[0, 0], 0.0)), 0.03 * q[0])),
            u_gain=float(np.sqrt(max(covariance[1, 1], 0.0))),
            u_radius_px=float(np.sqrt(max(covariance[2, 2], 0.0))),
        ),
        panel=panel,
        u_panel=u_panel,
        common=common,
        edges_px=edges,
        u_edges_px=np.hypot(u_edges * grow, model),
        rims_px=rims,
        misfit=misfit,
    )
