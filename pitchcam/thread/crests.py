"""Crest and root lines: major and minor diameter of a thread whose tips are narrower than the blur.

Across the middle of a crest the light depends on how wide the ridge is at each radius: a ridge of
width w blurred by a Gaussian of standard deviation s covers erf(w / (2 sqrt 2 s)) of its centre
line. The flanks give w at every radius, so one number is left to fit: the radius where the ridge
ends. A root is the same with groove for ridge. A plain threshold would read the crest of a fine
thread 0.02-0.1 mm low and the root as much high.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import erf, ndtr

from pitchcam.outline.contour import Crop
from pitchcam.scale.camera import Camera
from pitchcam.thread.fitting import Section
from pitchcam.thread.section import AxisFrame

Values = NDArray[np.float64]

#: Radial step of the model of a crest, mm: a fifteenth of the usual blur.
STEP_MM = 0.004


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
FADING = (0.25, 0.75, 1.25)


def _tip_width(r: Values, end: float, section: Section, round_tip: bool) -> Values:
    """Return the width of a ridge at radii below its end, 0 beyond it (as seen)."""
    seen = section.seen
    width = seen.ridge_width(r)
    if round_tip:
        half = np.arctan(np.mean(seen.tan_half))
        # A circle tangent to both flanks whose top is the end: its radius follows from the
        # distance of the end from the flanks' own meeting point.
        meet = seen.ref_radius_mm + seen.width_mm / sum(seen.tan_half)
        rho = max((meet - end) / (1 / np.sin(half) - 1), 1e-4)
        touch = end - rho * (1 - np.sin(half))
        chord = 2 * np.sqrt(np.maximum(rho**2 - (r - (end - rho)) ** 2, 0.0))
        width = np.where(r > touch, np.minimum(chord, np.maximum(width, 0.0)), width)
    # The last cell counts by the share of it that lies below the end, so that the end can move.
    below = np.clip((end - r) / STEP_MM + 0.5, 0.0, 1.0)
    out: Values = below * np.maximum(width, 0.0)
    return out


@dataclass(frozen=True, kw_only=True)
class _Blurred:
    """The middle line of a tip, blurred: cells at ``r``, their weight at every point seen.

    ``below`` is the share of the light that lies beneath the cells, where all is dark.
    """

    r: Values
    kernel: Values
    below: Values
    blur: float


def _blurred(y: Values, blur: float) -> _Blurred:
    low, high = y.min() - 4 * blur, y.max() + 4 * blur
    r = np.arange(low, high, STEP_MM)
    kernel = np.exp(-0.5 * ((y[:, None] - r[None, :]) / blur) ** 2)
    kernel /= np.sqrt(2 * np.pi) * blur / STEP_MM
    return _Blurred(r=r, kernel=kernel, below=ndtr((low - y) / blur), blur=blur)


def _dark_share(
    line: _Blurred, end: float, section: Section, round_tip: bool, groove: bool
) -> Values:
    """Return how much of the light a crest (or what a root leaves) takes along its middle line."""
    r, blur = line.r, line.blur
    if groove:
        pitch = abs(section.seen.pitch_mm)
        mirrored = _groove_width(r, end, section, pitch)
        cover = 1 - erf(mirrored / (2 * np.sqrt(2) * blur))
    else:
        cover = erf(_tip_width(r, end, section, round_tip) / (2 * np.sqrt(2) * blur))
    share = line.kernel @ cover + line.below
    out: Values = np.minimum(share, 1.0)
    return out


def _groove_width(r: Values, end: float, section: Section, pitch: float) -> Values:
    seen = section.seen
    half = np.arctan(np.mean(seen.tan_half))
    width = pitch - seen.ridge_width(r)
    meet = seen.ref_radius_mm + (seen.width_mm - pitch) / sum(seen.tan_half)
    rho = max((end - meet) / (1 / np.sin(half) - 1), 1e-4)
    touch = end + rho * (1 - np.sin(half))
    chord = 2 * np.sqrt(np.maximum(rho**2 - (r - (end + rho)) ** 2, 0.0))
    width = np.where(r < touch, np.minimum(chord, np.maximum(width, 0.0)), width)
    above = np.clip((r - end) / STEP_MM + 0.5, 0.0, 1.0)
    out: Values = above * np.maximum(width, 0.0)
    return out


def _middles(section: Section, side: float, groove: bool) -> tuple[Values, Values]:
    """Return z of the middles of crests (or roots) that have flanks on both sides, as seen."""
    p = section.points
    on = (p.side == side) & section.seen.used
    ridges = np.unique(p.ridge[on])
    both = [
        j for j in ridges
        if {1.0, -1.0} <= set(p.flank[on & (p.ridge == j)])
    ]  # fmt: skip
    seen = section.seen
    start = seen.phase_mm + (seen.lag_mm if side < 0 else 0.0)
    numbers = np.array(sorted(both))
    if groove:
        numbers = np.array([j + 0.5 for j in numbers if j + 1 in both])
    return start + seen.pitch_mm * numbers, numbers


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
    z, numbers = _middles(section, side, groove)
    if len(z) < 2:
        return None
    slope = section.seen.taper / 2
    depth = 0.62 * abs(section.seen.pitch_mm)
    centre = section.seen.pitch_radius_mm + (-0.5 if groove else 0.5) * depth
    span = np.arange(-0.45 * depth - 3 * blur_mm, 3.5 * blur_mm + 0.25 * depth, 0.5 * mm_per_px)
    offsets = -span[::-1] if groove else span
    profiles = []
    for zi in z:
        # Three lines side by side within half a pixel: the middle itself, less its noise.
        for dz in (-0.4, 0.0, 0.4):
            radius = centre + offsets + slope * zi
            line = np.stack([np.full_like(radius, zi + dz * mm_per_px), side * radius], axis=-1)
            zy = section.from_axis(line)
            zyx = np.concatenate([zy, np.zeros((len(zy), 1))], axis=-1)
            profiles.append(crop.sample(frame.to_photo(camera, zyx)))
    light = np.median(np.array(profiles), axis=0)
    y = centre + offsets
    # A crest's own mirrored band and the dark inside tell nothing of its end: keep the outer part.
    forms = (True,) if groove else (True, False)
    fits = [_fit_end(y, light, section, blur_mm, form, groove, centre, band) for form in forms]
    if band.is_known and min(f[2] for f in fits) > POOR_MISFIT:
        # A crest that shines over its whole height: the band is as wide as it likes.
        full = replace(band, reflectance=0.88, u_reflectance=0.1, width_mm=band.cylinder_mm,
                       u_width_mm=0.4 * band.cylinder_mm + 0.01)  # fmt: skip
        again = [_fit_end(y, light, section, blur_mm, f, groove, centre, full) for f in forms]
        if min(f[2] for f in again) < 0.6 * min(f[2] for f in fits):
            # How much of the light is mirrored and how much the tip's own shape is half known.
            change = 0.35 * abs(again[0][0] - fits[0][0])
            fits = [(end, float(np.hypot(u, change)), misfit) for end, u, misfit in again]
    spread = float(np.median(np.std(np.array(profiles), axis=0))) / np.sqrt(len(z))
    seen_radius, u, misfit = min(fits, key=lambda f: f[2])
    if len(fits) == 2:
        # Where both forms fit as well, half their difference is not known.
        doubt = abs(fits[0][0] - fits[1][0]) / 2 * min(f[2] for f in fits) / max(f[2] for f in fits)
        u = float(np.hypot(u, doubt))
    return Tip(
        side=side, radius_mm=_true_radius(seen_radius, side, section.pinhole(frame)),
        u_mm=float(np.hypot(u, 0.3 * spread * blur_mm)), slope=slope, count=len(z), misfit=misfit,
    )  # fmt: skip


def _fit_end(
    y: Values, light: Values, section: Section, blur: float, round_tip: bool, groove: bool,
    centre: float, band: Band,
) -> tuple[float, float, float]:  # fmt: skip
    # Deep inside, the part's own shine is anything; the outer part tells where it ends.
    use = light > (0.5 if groove else 0.25)
    pitch = abs(section.seen.pitch_mm)
    line = section.seen.pitch_radius_mm
    low, high = (line - 0.75 * pitch, line - 0.1 * pitch)
    if not groove:
        low, high = (line + 0.08 * pitch, line + 0.62 * pitch)
    low = max(low, 0.1 * line)

    across = _blurred(y, blur)

    def cost(q: Values) -> Values:
        outer = _dark_share(across, q[0], section, round_tip, groove)
        # The mirrored light fades over the band's width: a stair of a few steps.
        inner = np.mean([
            _dark_share(across, q[0] - q[2] * share, section, round_tip, groove)
            for share in FADING
        ], axis=0)  # fmt: skip
        model = 1 - (1 - q[1]) * outer - q[1] * inner
        pull = [(q[1] - band.reflectance) / band.u_reflectance,
                (q[2] - band.width_mm) / band.u_width_mm]  # fmt: skip
        return np.append(((model - light) / 0.02)[use], pull)

    fit = least_squares(
        cost, [np.clip(centre, low + 1e-3, high - 1e-3), band.reflectance, band.width_mm + 0.002],
        x_scale=[0.02, 0.1, 0.02], max_nfev=40, ftol=1e-5, xtol=1e-5,
        bounds=([low, 0.02, 0.0], [high, 0.97, 1.0]),
    )  # fmt: skip
    jac = np.asarray(fit.jac, float)
    covariance = np.linalg.pinv(jac.T @ jac)
    misfit = float(np.sqrt(np.mean((fit.fun[:-2] * 0.02) ** 2))) if use.any() else 1.0
    grow = max(1.0, misfit / 0.02)
    # A tip is never placed worse than the blur itself.
    u = min(float(np.sqrt(covariance[0, 0])) * grow, blur)
    return float(fit.x[0]), u, misfit


def _true_radius(seen: float, side: float, pinhole: Values) -> float:
    """Return the radius of a body of revolution whose contour is seen at a distance on x = 0."""
    _, cy, cx = pinhole
    y = side * seen
    return float(abs(y * cx) / np.hypot(cx, cy - y))
