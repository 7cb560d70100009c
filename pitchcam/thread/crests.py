"""Crest and root lines: major and minor diameter of a thread whose tips are narrower than the blur.

The light along the middles of crests is compared with :mod:`pitchcam.thread.tip_light`'s; the
radius where the ridge ends is what fits. A plain threshold would read the crest of a fine thread
0.02-0.1 mm low and the root as much high.
"""

from __future__ import annotations

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


def fit_tip(
    crop: Crop, camera: Camera, frame: AxisFrame, section: Section, side: float,
    blur_mm: float, mm_per_px: float, band: Band, *, groove: bool = False,
) -> Tip | None:  # fmt: skip
    """Fit the crest line (or the root line) of one side of a thread.

    Parameters
    ----------
    crop
        Light whose sharpening has been undone.
    camera, frame, section
        The geometry, and the fitted flanks.
    side
        +1 or -1.
    blur_mm
        Standard deviation of the blur at the thread, mm.
    band
        The mirrored band that the photo's straight edges let expect.
    groove
        Fit the root instead of the crest.

    Notes
    -----
    A crest may be flat (ISO 68-1, ASME B1.20.1) or a circle tangent to both flanks (Whitworth,
    BA, rolled threads); the form that fits better is taken. A root is taken as a circle tangent
    to the flanks, which a narrow flat is not told from.
    """
    z = _middles(section, side, groove)
    if len(z) < 2:
        return None
    slope = section.seen.taper / 2
    depth = 0.62 * abs(section.seen.pitch_mm)
    centre = section.seen.pitch_radius_mm + (-0.5 if groove else 0.5) * depth
    span = np.arange(-0.45 * depth - 3 * blur_mm, 3.5 * blur_mm + 0.25 * depth, 0.5 * mm_per_px)
    offsets = -span[::-1] if groove else span
    # Three lines side by side within half a pixel: the middle itself, less its noise.
    at = (z[:, None] + mm_per_px * np.array([-0.4, 0.0, 0.4])).ravel()[:, None]
    radius = centre + offsets + slope * np.repeat(z, 3)[:, None]
    zy = section.from_axis(np.stack([np.broadcast_to(at, radius.shape), side * radius], axis=-1))
    zyx = np.concatenate([zy, np.zeros((*radius.shape, 1))], axis=-1)
    profiles = crop.sample(frame.to_photo(camera, zyx))
    light = np.median(profiles, axis=0)
    y = centre + offsets
    pitch = abs(section.seen.pitch_mm)
    line = section.seen.pitch_radius_mm
    low, high = (line - 0.75 * pitch, line - 0.1 * pitch)
    if not groove:
        low, high = (line + 0.08 * pitch, line + 0.62 * pitch)
    limits = (max(low, 0.1 * line), high)
    model = tip_light(section, y, blur_mm, *limits, groove=groove)
    fits = _fit_ends(model, light, band, centre, limits)
    if band.is_known and min(f[2] for f in fits) > POOR_MISFIT:
        # A crest that shines over its whole height: the band is as wide as it likes.
        full = replace(band, reflectance=0.88, u_reflectance=0.1, width_mm=band.cylinder_mm,
                       u_width_mm=0.4 * band.cylinder_mm + 0.01)  # fmt: skip
        again = _fit_ends(model, light, full, centre, limits)
        if min(f[2] for f in again) < 0.6 * min(f[2] for f in fits):
            # How much of the light is mirrored and how much the tip's own shape is half known.
            change = 0.35 * abs(again[0][0] - fits[0][0])
            fits = [(end, float(np.hypot(u, change)), misfit) for end, u, misfit in again]
    spread = float(np.median(np.std(profiles, axis=0))) / np.sqrt(len(z))
    seen_radius, u, misfit = min(fits, key=lambda f: f[2])
    if len(fits) == 2:
        # Where both forms fit as well, half their difference is not known.
        doubt = abs(fits[0][0] - fits[1][0]) / 2 * min(f[2] for f in fits) / max(f[2] for f in fits)
        u = float(np.hypot(u, doubt))
    return Tip(
        side=side, radius_mm=_true_radius(seen_radius, side, section.pinhole(frame)),
        u_mm=float(np.hypot(u, 0.3 * spread * blur_mm)), slope=slope, count=len(z), misfit=misfit,
    )  # fmt: skip


def _fit_ends(
    model: TipLight, light: Values, band: Band, centre: float, limits: tuple[float, float]
) -> list[tuple[float, float, float]]:
    """Fit the end's radius with the band's reflectance and width: a round tip, and a flat crest.

    Returns the end, its standard uncertainty and the misfit of the light, for each form.
    """
    groove = model.sign < 0
    # Deep inside, the part's own shine is anything; the outer part tells where it ends.
    use = light > (0.5 if groove else 0.25)
    is_round = np.array([[1.0]] if groove else [[1.0], [0.0]])
    # No tip lies beyond the place where its flanks meet.
    low, high = limits
    low, high = (max(low, model.meet_mm), high) if groove else (low, min(high, model.meet_mm))
    expected = np.array([band.reflectance, band.width_mm])
    u = np.array([band.u_reflectance, band.u_width_mm])
    # The mirrored light fades over the band's width: a stair of a few steps.
    stair = np.append(0.0, FADING)

    def cost(q: Values) -> tuple[Values, Values]:
        end, shine, width = q.T
        dark, slope = model.dark(end[:, None] - width[:, None] * stair, is_round)
        shine = shine[:, None]
        inner, falls = dark[:, 1:].mean(axis=1), slope[:, 1:].mean(axis=1)
        narrows = np.tensordot(slope[:, 1:], FADING, axes=(1, 0)) / len(FADING)
        outer = dark[:, 0]
        rest = (1 - (1 - shine) * outer - shine * inner - light) / LIGHT_NOISE * use
        by = np.stack(
            [-(1 - shine) * slope[:, 0] - shine * falls, outer - inner, shine * narrows], axis=2
        )
        pull = np.broadcast_to(np.diag(1 / u), (len(q), 2, 2))
        slopes = np.concatenate([
            by / LIGHT_NOISE * use[:, None],
            np.concatenate([np.zeros((len(q), 2, 1)), pull], axis=2),
        ], axis=1)  # fmt: skip
        return np.concatenate([rest, (q[:, 1:] - expected) / u], axis=1), slopes

    # Off the bound of no band at all, where the search would stick.
    start = np.array([np.clip(centre, low + 1e-3, high - 1e-3), *(expected + (0.0, u[1]))])
    fit = solve(
        cost, np.tile(start, (len(is_round), 1)), np.array([low, 0.02, 0.0]),
        np.array([high, 0.97, 1.0]),
    )  # fmt: skip
    rest = fit.residuals[:, : len(light)] * LIGHT_NOISE
    misfit = np.sqrt(np.sum(rest**2, axis=1) / use.sum()) if use.any() else np.ones(len(rest))
    # A tip is never placed worse than the blur itself.
    sigma = np.minimum(fit.sigma(0) * np.maximum(1.0, misfit / LIGHT_NOISE), model.blur_mm)
    return [
        (float(e), float(s), float(m))
        for e, s, m in zip(fit.parameters[:, 0], sigma, misfit, strict=True)
    ]


def _true_radius(seen: float, side: float, pinhole: Values) -> float:
    """Return the radius of a body of revolution whose contour is seen at a distance on x = 0."""
    _, cy, cx = pinhole
    y = side * seen
    return float(abs(y * cx) / np.hypot(cx, cy - y))
