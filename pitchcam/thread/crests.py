"""Crest and root lines: major and minor diameter of a thread whose tips are narrower than the blur.

The light along the middles of crests is compared with :mod:`pitchcam.thread.tip_light`'s; the
radius where the ridge ends is what fits. A plain threshold would read the crest of a fine thread
0.02-0.1 mm low and the root as much high.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.least_squares import solve
from pitchcam.outline.contour import Crop
from pitchcam.scale.camera import Camera
from pitchcam.thread.fitting import Section
from pitchcam.thread.section import AxisFrame
from pitchcam.thread.tip_light import TipLight, tip_light

Values = NDArray[np.float64]

@dataclass(frozen=True, kw_only=True)
class Tip:
    """The crest or root line of one side: radius at z = 0 and what is known of it, mm.

    ``slope`` is the change of radius per length along the axis.
    """

    side: float
    radius_mm: float
    u_mm: float
    slope: float
    count: int
    misfit: float


@dataclass(frozen=True, kw_only=True)
class Band:
    """The mirrored band expected on a tip: its reflectance and width in mm, each with its u.

    ``cylinder_mm`` is the width that a plain cylinder of the tip's radius would show, ``is_known``
    whether the photo's edges settled that.
    """

    reflectance: float
    u_reflectance: float
    width_mm: float
    u_width_mm: float
    cylinder_mm: float
    is_known: bool


#: A tip whose profile the usual band leaves this far off (rms of the light) is tried as a mirror.
POOR_MISFIT = 0.025
#: Depths, as shares of the band's width, at which its light falls in equal steps.
FADING = np.array([0.25, 0.75, 1.25])
#: What the model of a tip's light agrees to.
LIGHT_NOISE = 0.02


def _middles(section: Section, side: float, groove: bool) -> Values:
    """Return z of the middles of crests (or roots) that have flanks on both sides, as seen."""
    p, seen = section.points, section.seen
    flanks = [
        np.unique(p.ridge[(p.side == side) & (p.flank == f) & seen.used]) for f in (1.0, -1.0)
    ]
    numbers: Values = np.intersect1d(flanks[0], flanks[1])
    if groove:
        numbers = np.intersect1d(numbers, numbers - 1) + 0.5
    start = seen.phase_mm + (seen.lag_mm if side < 0 else 0.0)
    out: Values = start + seen.pitch_mm * numbers
    return out


def fit_tips(
    crop: Crop, camera: Camera, frame: AxisFrame, section: Section, blur_mm: float,
    mm_per_px: float, bands: Mapping[float, Band], *, groove: bool = False,
) -> tuple[Tip, ...]:  # fmt: skip
    """Fit the crest lines (or the root lines) of both sides of a thread.

    Parameters
    ----------
    crop
        Light whose sharpening has been undone.
    camera, frame, section
        The geometry, and the fitted flanks.
    blur_mm
        Standard deviation of the blur at the thread, mm.
    bands
        For each side, +1 and -1, the mirrored band that the photo's straight edges let expect.
    groove
        Fit the roots instead of the crests.

    Returns
    -------
    tips
        Those of the sides that show at least two crests (roots).

    Notes
    -----
    A crest may be flat (ISO 68-1, ASME B1.20.1) or a circle tangent to both flanks (Whitworth,
    BA, rolled threads); the form that fits better is taken. A root is taken as a circle tangent
    to the flanks, which a narrow flat is not told from.
    """
    middles = {side: _middles(section, side, groove) for side in bands}
    sides = [side for side, z in middles.items() if len(z) >= 2]
    if not sides:
        return ()
    pitch, line = abs(section.seen.pitch_mm), section.seen.pitch_radius_mm
    depth = 0.62 * pitch
    centre = line + (-0.5 if groove else 0.5) * depth
    span = np.arange(-0.45 * depth - 3 * blur_mm, 3.5 * blur_mm + 0.25 * depth, 0.5 * mm_per_px)
    y = centre + (-span[::-1] if groove else span)
    lines = [
        _lines(crop, camera, frame, section, side, middles[side], y, mm_per_px) for side in sides
    ]
    light = np.array([np.median(of_side, axis=0) for of_side in lines])
    low, high = (line - 0.75 * pitch, line - 0.1 * pitch)
    if not groove:
        low, high = (line + 0.08 * pitch, line + 0.62 * pitch)
    limits = (max(low, 0.1 * line), high)
    model = tip_light(section, y, blur_mm, *limits, groove=groove)
    fits = _fit_ends(model, light, [bands[side] for side in sides], centre, limits)
    poor = [
        i for i, side in enumerate(sides)
        if bands[side].is_known and fits[i].misfit.min() > POOR_MISFIT
    ]  # fmt: skip
    if poor:
        full = [_full_band(bands[sides[i]]) for i in poor]
        for i, again in zip(
            poor, _fit_ends(model, light[poor], full, centre, limits), strict=True
        ):  # fmt: skip
            fits[i] = _better(fits[i], again)
    tips = []
    for side, of_side, ends in zip(sides, lines, fits, strict=True):
        count = len(middles[side])
        spread = float(np.median(np.std(of_side, axis=0))) / np.sqrt(count)
        seen_radius, u, misfit = ends.best()
        tips.append(Tip(
            side=side, radius_mm=_true_radius(seen_radius, side, section.pinhole(frame)),
            u_mm=float(np.hypot(u, 0.3 * spread * blur_mm)), slope=section.seen.taper / 2,
            count=count, misfit=misfit,
        ))  # fmt: skip
    return tuple(tips)


def _lines(
    crop: Crop, camera: Camera, frame: AxisFrame, section: Section, side: float, z: Values,
    y: Values, mm_per_px: float,
) -> Values:  # fmt: skip
    """Return the light at radii y along the middles of all crests (roots) of a side."""
    # Three lines side by side within half a pixel: the middle itself, less its noise.
    at = (z[:, None] + mm_per_px * np.array([-0.4, 0.0, 0.4])).ravel()[:, None]
    radius = y + section.seen.taper / 2 * np.repeat(z, 3)[:, None]
    zy = section.from_axis(np.stack([np.broadcast_to(at, radius.shape), side * radius], axis=-1))
    zyx = np.concatenate([zy, np.zeros((*radius.shape, 1))], axis=-1)
    return crop.sample(frame.to_photo(camera, zyx))


@dataclass(frozen=True, kw_only=True)
class _Ends:
    """The end of one side's tips by each form (round, and flat for crests): arrays (forms,)."""

    end: Values
    u: Values
    misfit: Values

    def best(self) -> tuple[float, float, float]:
        """Return end, u and misfit of the form that fits better."""
        k = int(np.argmin(self.misfit))
        # Where both forms fit as well, half their difference is not known.
        doubt = float(np.ptp(self.end)) / 2 * float(self.misfit[k] / self.misfit.max())
        return float(self.end[k]), float(np.hypot(self.u[k], doubt)), float(self.misfit[k])


def _full_band(band: Band) -> Band:
    """Return the band of a crest that shines over its whole height: as wide as it likes."""
    return replace(
        band, reflectance=0.88, u_reflectance=0.1, width_mm=band.cylinder_mm,
        u_width_mm=0.4 * band.cylinder_mm + 0.01,
    )  # fmt: skip


def _better(usual: _Ends, full: _Ends) -> _Ends:
    if full.misfit.min() >= 0.6 * usual.misfit.min():
        return usual
    # How much of the light is mirrored and how much the tip's own shape is half known.
    change = 0.35 * abs(full.end[0] - usual.end[0])
    return replace(full, u=np.hypot(full.u, change))


def _fit_ends(
    model: TipLight, light: Values, bands: Sequence[Band], centre: float,
    limits: tuple[float, float],
) -> list[_Ends]:  # fmt: skip
    """Fit the ends' radii with the bands' reflectances and widths.

    ``light`` (sides, radii) is that of every side, in the order of ``bands``.
    """
    groove = model.sign < 0
    forms = np.array([1.0] if groove else [1.0, 0.0])
    is_round = np.tile(forms, len(bands))[:, None]
    light = np.repeat(light, len(forms), axis=0)
    # Deep inside, the part's own shine is anything; the outer part tells where it ends.
    use = light > (0.5 if groove else 0.25)
    # No tip lies beyond the place where its flanks meet.
    low, high = limits
    low, high = (max(low, model.meet_mm), high) if groove else (low, min(high, model.meet_mm))
    expected, u = (
        np.repeat(np.array(column), len(forms), axis=0) for column in (
            [[b.reflectance, b.width_mm] for b in bands],
            [[b.u_reflectance, b.u_width_mm] for b in bands],
        )
    )  # fmt: skip
    pull = np.zeros((len(light), 2, 3))
    pull[:, [0, 1], [1, 2]] = 1 / u
    # The mirrored light fades over the band's width: a stair of a few steps.
    stair = np.append(0.0, FADING)

    def cost(q: Values) -> tuple[Values, Values]:
        end, shine, width = q[:, :1], q[:, 1:2], q[:, 2:]
        dark, slope = model.dark(end - width * stair, is_round)
        outer, inner = dark[:, 0], dark[:, 1:].mean(axis=1)
        narrows = np.tensordot(slope[:, 1:], FADING / len(FADING), axes=(1, 0))
        rest = (1 - (1 - shine) * outer - shine * inner - light) / LIGHT_NOISE * use
        by = np.stack([
            -(1 - shine) * slope[:, 0] - shine * slope[:, 1:].mean(axis=1), outer - inner,
            shine * narrows,
        ], axis=2) / LIGHT_NOISE * use[:, :, None]  # fmt: skip
        return (
            np.concatenate([rest, (q[:, 1:] - expected) / u], axis=1),
            np.concatenate([by, pull], axis=1),
        )

    # Off the bound of no band at all, where the search would stick.
    first = np.clip(centre, low + 1e-3, high - 1e-3)
    start = np.insert(expected + [0.0, 1.0] * u, 0, first, axis=1)
    fit = solve(cost, start, np.array([low, 0.02, 0.0]), np.array([high, 0.97, 1.0]))
    squares = np.sum((fit.residuals[:, :-2] * LIGHT_NOISE) ** 2, axis=1)
    seen = use.sum(axis=1)
    misfit = np.where(seen > 0, np.sqrt(squares / np.maximum(seen, 1)), 1.0)
    # A tip is never placed worse than the blur itself.
    sigma = np.minimum(fit.sigma(0) * np.maximum(1.0, misfit / LIGHT_NOISE), model.blur_mm)
    columns = (c.reshape(len(bands), -1) for c in (fit.parameters[:, 0], sigma, misfit))
    return [_Ends(end=e, u=s, misfit=m) for e, s, m in zip(*columns, strict=True)]


def _true_radius(seen: float, side: float, pinhole: Values) -> float:
    """Return the radius of a body of revolution whose contour is seen at a distance on x = 0."""
    _, cy, cx = pinhole
    y = side * seen
    return float(abs(y * cx) / np.hypot(cx, cy - y))
