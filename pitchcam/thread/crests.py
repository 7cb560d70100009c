"""Crest and root lines: major and minor diameter of a thread whose tips are narrower than the blur.

Across the middle of a crest the light depends on how wide the ridge is at each radius: a ridge of
width w blurred by a Gaussian of standard deviation s covers erf(w / (2 sqrt 2 s)) of its centre
line. The flanks give w at every radius, so one number is left to fit: the radius where the ridge
ends. A root is the same with groove for ridge. A plain threshold would read the crest of a fine
thread 0.02-0.1 mm low and the root as much high.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from pitchcam.outline.contour import Crop
from pitchcam.outline.mirrored import FADE, U_FADE, Line, Mirror, middle_light, middle_line
from pitchcam.scale.camera import Camera
from pitchcam.thread.fitting import Section
from pitchcam.thread.tip_form import tip_outline
from pitchcam.thread.section import AxisFrame

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
    blur_mm: float, mm_per_px: float, mirror: Mirror, *, groove: bool = False,
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
    mirror
        What the thread's surface mirrors, as the photo's straight edges let expect.
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
    line = middle_line(y, blur_mm)
    forms = (True,) if groove else (True, False)
    fits = [_fit_end(line, y, light, section, mirror, form, groove) for form in forms]
    spread = float(np.median(np.std(np.array(profiles), axis=0))) / np.sqrt(len(z))
    seen_radius, u, misfit = min(fits, key=lambda f: f[2])
    # A tip is never placed worse than the blur itself.
    u = min(u, blur_mm)
    if len(fits) == 2:
        # Where both forms fit as well, half their difference is not known.
        doubt = abs(fits[0][0] - fits[1][0]) / 2 * min(f[2] for f in fits) / max(f[2] for f in fits)
        u = float(np.hypot(u, doubt))
    return Tip(
        side=side, radius_mm=_true_radius(seen_radius, side, section.pinhole(frame)),
        u_mm=float(np.hypot(u, 0.3 * spread * blur_mm)), slope=slope, count=len(z), misfit=misfit,
    )  # fmt: skip


def _fit_end(
    line: Line, y: Values, light: Values, section: Section, mirror: Mirror, rounded: bool,
    groove: bool,
) -> tuple[float, float, float]:  # fmt: skip
    """Return (end, u, rms misfit of the light) of one form of tip."""
    # Deep inside, the part's own shine is anything; the outer part tells where it ends.
    use = light > (0.5 if groove else 0.25)
    pitch = abs(section.seen.pitch_mm)
    middle = section.seen.pitch_radius_mm
    low, high = (middle - 0.75 * pitch, middle - 0.1 * pitch)
    if not groove:
        low, high = (middle + 0.08 * pitch, middle + 0.62 * pitch)
    low = max(low, 0.1 * middle)
    angles = np.array(mirror.angles_rad)

    def cost(q: Values) -> Values:
        outline = tip_outline(line.z, q[0], section, rounded=rounded, groove=groove)
        model = middle_light(line, outline, q[1], angles * np.exp(q[2]), FADE * np.exp(q[3]))
        pull = [(q[1] - mirror.loss) / mirror.u_loss, q[2] / mirror.u_angles, q[3] / U_FADE]
        return np.append(((model - light) / 0.02)[use], pull)

    # The level of half the light is near the end, and a mirrored rim lies inside of it.
    start = float(np.interp(0.5, light, y)) if np.all(np.diff(light) > 0) else float(
        y[np.argmin(np.abs(light - 0.5))]
    )
    fit = least_squares(
        cost, [np.clip(start, low + 1e-3, high - 1e-3), mirror.loss, 0.0, 0.0],
        x_scale=[0.02, 0.1, 0.3, 0.3], max_nfev=40, ftol=1e-5, xtol=1e-5,
        bounds=([low, 0.05, -2.0, -2.0], [high, 1.2, 2.0, 2.0]),
    )  # fmt: skip
    jac = np.asarray(fit.jac, float)
    covariance = np.linalg.pinv(jac.T @ jac)
    misfit = float(np.sqrt(np.mean((fit.fun[:-3] * 0.02) ** 2))) if use.any() else 1.0
    grow = max(1.0, misfit / 0.02)
    return float(fit.x[0]), float(np.sqrt(covariance[0, 0])) * grow, misfit


def _true_radius(seen: float, side: float, pinhole: Values) -> float:
    """Return the radius of a body of revolution whose contour is seen at a distance on x = 0."""
    _, cy, cx = pinhole
    y = side * seen
    return float(abs(y * cx) / np.hypot(cx, cy - y))
