"""Scale from a round disc or coin blank lying flat.

Away from the camera's foot the upper rim makes the outline; toward it the lower one does, and the
wall between both mirrors the panel. Both rims are circles of the disc's radius, a thickness apart,
and rounded: the outline is where the ray grazes the rounding, and the mirrored light ends where the
upper one sends it past the panel. Seen under a slope s, a rounding of radius p thus puts the
outline p (1 + |s| - sqrt(1 + s^2)) inside the sharp rim's. They are fitted together, with the
wall's light, the tilt and the blur, to the light across the outline all around.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.walls import MOST_LIGHT, U_LIGHT, U_MOST_LIGHT, wall_light
from pitchcam.frozen import dataclass
from pitchcam.objects.contour import outline
from pitchcam.objects.shapes import Shape, fit_circle
from pitchcam.records import ScaleSpec
from pitchcam.scale.reference import Among, Reference

Points = NDArray[np.float64]

#: Thickness of a coin or coin blank where it is not stated: 1.6-2.4 mm (common practice, no
#: source).
THICKNESS_MM = 1.85
U_THICKNESS_MM = 0.30
#: What the model leaves open of a disc's scale, relative: by the terms of the fit alone 88 discs in
#: renders of known scenes read 0.09 % off at the median, 1.1 times what those terms say.
U_LEFT_OPEN = 0.0004
#: That of a stated one.
U_STATED_MM = 0.05
#: Blur of the rim in pixels: a disc lies below the height in focus.
BLUR_PX = (1.2, 0.8)
#: The outline is taken in so many pieces, and along each of them at so many places.
PIECES, PLACES = 36, 12
#: Step across the outline, and the reach beyond both rims, pixels.
STEP_PX, REACH_PX = 0.5, 8.0
#: Light beside a piece is even to this, or something else lies there.
EVEN = 0.1
#: A tilt is never known better than this.
LEAST_TILT_RAD = 1e-5
#: What the rims tell of the tilt counts from this share of what was known before on: with less, as
#: where either sign of it makes the same oval, it is none.
LEAST_TOLD = 0.3
#: Fewest pieces from which a circle is believed.
FEWEST = 9
#: What a piece's edge is good to by itself, in pixels: dirt, the phone's denoising, its raster.
U_PIECE_PX = 0.2
#: A disc's edges are rounded by 0.05-0.3 mm (common practice, no source).
ROUNDED_MM, U_ROUNDED_MM = 0.15, 0.07
#: The angle off the plumb line under which a ray still ends on the panel, radians: 150 mm below and
#: half as wide to four times as wide.
LIT_RAD, U_LIT_RAD = 0.7, 0.3
#: A turned disc is round, but its picture may be oval: the panel's light, the phone's denoising and
#: a shake differ around it. What they move its edge by, pixels (judgement; with the lens known, 39
#: discs in renders told the tilt to 0.11 degrees at the median, of which their noise is half).
U_OVAL_PX = 0.1


@dataclass(frozen=True, kw_only=True)
class _Disc:
    """The disc as it is stated, and its thickness as it is known."""

    radius_mm: float
    thickness_mm: float
    u_thickness_mm: float


@dataclass(frozen=True, kw_only=True)
class _Rim:
    """The light around a disc: ``light`` (n, m) at ``across_px`` (m,) outward of the outline.

    ``rays`` (n, 2, 3) are those through each piece's middle and one pixel outward; ``dark`` (n, 1)
    is the light inside, ``noise`` (n, m) what the light is good to; ``oval`` (n, 2) is how far an
    oval along the picture's rows, or between rows and columns, goes outward there.
    """

    rays: Points
    oval: Points
    across_px: Points
    light: Points
    dark: Points
    noise: Points


@dataclass(frozen=True, kw_only=True)
class _Fit:
    """``q``: see :data:`PARAMETERS`; its covariance, and the misfit in units of the noise.

    ``strain`` is the rms by which what is known beforehand is off, in its uncertainties.
    """

    q: Points
    covariance: Points
    misfit: float
    strain: float

    @property
    def poor(self) -> float:
        """How much worse the fit is than it should be; 1 where it is as good.

        A wall that mirrors a part beside it, or dirt, bends all else: thickness, oval and lens.
        """
        return max(1.0, self.misfit, self.strain)


#: ln depth, two places (mm), thickness (mm), two leans of the plate (rad), the wall's light, blur
#: (px), displacement by distortion at the corner, the rims' rounding (mm), two ovals (px), the
#: angle up to which the panel is lit (rad).
PARAMETERS = (
    "depth",
    "x",
    "y",
    "thickness",
    "lean_x",
    "lean_y",
    "wall",
    "blur",
    "corner",
    "rounding",
    "oval",
    "oval_aslant",
    "lit",
)
#: The distortion among them, and with the leans what is not known better than before.
BENT = PARAMETERS.index("corner")
OPEN = [PARAMETERS.index("lean_x"), PARAMETERS.index("lean_y"), BENT]


def references(among: Among, spec: ScaleSpec) -> list[Reference]:
    """Return every disc."""
    return [disc_reference(s, among.camera, spec.mm or 0.0, spec.height_mm) for s in among.shapes]


def disc_reference(
    shape: Shape, camera: Camera, diameter_mm: float, thickness_mm: float | None = None
) -> Reference:
    """Return the camera's distance from a disc's outline.

    Parameters
    ----------
    shape
        The disc, with the phone's sharpening undone in its crop.
    camera
        Camera with its tilt set.
    diameter_mm, thickness_mm
        The disc; the thickness is assumed where it is neither given nor seen.
    """
    points = outline(shape.crop, 0.5)
    # The border of the light may cut the disc: what lies off its circle is left out.
    centre, radius, _ = fit_circle(points, tolerance_px=3.0)
    thick = (thickness_mm, U_STATED_MM) if thickness_mm else (THICKNESS_MM, U_THICKNESS_MM)
    disc = _Disc(radius_mm=diameter_mm / 2, thickness_mm=thick[0], u_thickness_mm=thick[1])
    distance = camera.f_px * diameter_mm / 2 / radius
    rim = _around(shape, camera, centre, radius, (thick[0] + 3 * thick[1]) / distance)
    middle = camera.rays(centre[None])[0]
    fit = _solve(rim, middle, camera, disc, np.log(distance))
    # How depth follows the focal length: as that of a plane of this height does.
    longer = 1.01
    by = np.array([longer, longer, 1.0])
    wider = replace(rim, rays=rim.rays / by)
    other = _solve(wider, middle / by, camera, disc, fit.q)
    depth = float(np.exp(fit.q[0]))
    height = depth - (float(np.exp(other.q[0])) - depth) / (longer - 1)
    poor = fit.poor
    # What tilt and the lens's distortion leave open of it counts with those at the thread.
    c = fit.covariance
    by = np.linalg.solve(c[np.ix_(OPEN, OPEN)], c[OPEN, 0])
    u = float(np.sqrt(max(c[0, 0] - by @ c[OPEN, 0], 0.0))) * poor
    leaning = _leaning(camera, fit, poor)
    leaning = _bent(leaning, fit, poor)
    normal = np.array(leaning.normal)
    # The depth goes with the leans that are kept, which need not be the fit's own.
    kept = normal[:2] - _normal(np.array(camera.normal), fit.q[4:6])[:2]
    depth *= float(np.exp(by[:2] @ kept))
    turned = c[4:6, BENT] / c[BENT, BENT]
    return Reference(
        source="disc",
        camera=leaning.over_plate(float(normal @ middle) * depth),
        u_scale=float(np.hypot(u, U_LEFT_OPEN)),
        height_mm=height,
        u_height_mm=0.0,
        where_px=centre,
        labels=(shape.blob.label,),
        outline_px=points,
        depth_per_lean=(float(by[0]), float(by[1])),
        lean_per_corner=(float(turned[0]), float(turned[1])),
    )


def _bent(camera: Camera, fit: _Fit, poor: float) -> Camera:
    """Return the camera with the distortion that goes with what the rims' ovals tell.

    A lens draws a disc beside the middle oval as a tilt does: how much of it is which, the fit
    weighs, and its tilt is right together with its distortion alone.
    """
    u = float(np.sqrt(fit.covariance[BENT, BENT])) * poor
    return camera.bent(camera.corner + float(fit.q[BENT]), min(u, camera.u_corner))


def _leaning(camera: Camera, fit: _Fit, poor: float) -> Camera:
    """Return the camera with the tilt that the rims' ovals tell besides what was known."""
    before = np.eye(2) / max(camera.u_tilt_rad, LEAST_TILT_RAD) ** 2
    after = np.linalg.inv(fit.covariance[4:6, 4:6] * poor**2)
    # The fit took what was known for one normal distribution: what it saw itself is the rest.
    gain, ways = np.linalg.eigh(after - before)
    told = (ways * np.where(gain > LEAST_TOLD * before[0, 0], gain, 0.0)) @ ways.T
    base = np.array(camera.normal)
    seen = np.linalg.pinv(told) @ (after @ fit.q[4:6])
    return camera.held_as(camera.leans.told(base[:2] + seen, told))


def _around(shape: Shape, camera: Camera, centre: Points, radius: float, slim: float) -> _Rim:
    """Sample the light across the outline; ``slim`` is the thickness over the distance."""
    foot = camera.project(np.array(camera.normal))
    away = float(np.hypot(*(centre - foot))) - radius + 2 * camera.u_tilt_rad * camera.f_px
    reach = REACH_PX + slim * max(away, 0.0)
    across = np.arange(-reach, reach + 1e-9, STEP_PX)
    turns = np.arange(PIECES * PLACES).reshape(PIECES, PLACES) * 2 * np.pi / (PIECES * PLACES)
    out = np.stack([np.cos(turns), np.sin(turns)], axis=-1)
    at = centre + (radius + across[:, None]) * out[:, :, None, :]
    light = np.median(shape.crop.sample(at), axis=1)
    outer = light[:, across > reach - 3.0]
    even = (np.ptp(outer, axis=1) < EVEN) & (np.abs(np.median(outer, axis=1) - 1) < EVEN)
    # Beside a piece that is cut the outline bends.
    even &= np.roll(even, 1) & np.roll(even, -1)
    if even.sum() >= FEWEST:
        light, out = light[even], out[even]
    middle = out[:, PLACES // 2]
    dark = np.median(light[:, across < -reach + 3.0], axis=1)[:, None]
    plain = np.median(light[:, across > reach - 3.0], axis=1)[:, None]
    beside = centre + (radius + np.array([0.0, 1.0]))[:, None] * middle[:, None, :]
    x, y = middle.T
    light = light / plain
    slope = np.gradient(light, STEP_PX, axis=1)
    # All samples across one edge share its error: it counts as often as they are.
    alike = np.sqrt(BLUR_PX[0] * 2.5 / STEP_PX)
    return _Rim(
        rays=camera.rays(beside),
        oval=np.stack([x * x - y * y, 2 * x * y], axis=-1),
        across_px=across,
        light=light,
        dark=dark / plain,
        noise=np.hypot(U_LIGHT, U_PIECE_PX * alike * slope),
    )


def _normal(base: Points, leans: Points) -> Points:
    n: Points = base + np.array([leans[0], leans[1], 0.0])
    return n / np.linalg.norm(n)


def _off_axis(rays: Points, normal: Points, depth: float, axis: Points) -> Points:
    """Return how far off the disc's axis rays (n, 2, 3) meet a plane at a depth, mm."""
    off = rays * (depth / (rays @ normal))[..., None] - axis
    out: Points = off - (off @ normal)[..., None] * normal
    return out


def rounded_rim(slope: Points, rounding_mm: float, lit_rad: float) -> tuple[Points, Points]:
    """Return how far inside a sharp rim's a rounded one's outline and end of light are seen.

    Parameters
    ----------
    slope
        How far a ray goes outward on its way down, over that way; negative toward the foot.
    rounding_mm
        Radius of the rounding.
    lit_rad
        Angle off the plumb line up to which a mirrored ray ends on the panel. A surface that is
        turned up by b from the wall sends a ray down again 2 b - slope off it.

    Returns
    -------
    outline, light
        Across the rays, in mm on the plate: of the rim that makes the outline, inside the sharp
        one; of the upper rim, where the mirrored light ends.
    """
    outline = rounding_mm * (1 + np.abs(slope) - np.sqrt(1 + slope**2))
    turned = np.maximum((lit_rad + slope) / 2, 0.0)
    light = rounding_mm * (1 - np.cos(turned) + slope * (1 - np.sin(turned)))
    return outline, light


def _solve(rim: _Rim, middle: Points, camera: Camera, disc: _Disc, begin: float | Points) -> _Fit:
    """Fit a disc from the logarithm of a depth, or from what fits nearly: near that, and only once.

    What a fit from elsewhere finds may be another explanation, as good and far off.
    """
    from scipy.optimize import least_squares

    near = None if isinstance(begin, float) else np.array(begin, float)
    start = float(begin) if near is None else float(near[0])
    base, u_lean = np.array(camera.normal), max(camera.u_tilt_rad, LEAST_TILT_RAD)
    expected = np.array(
        [disc.thickness_mm, 0.0, 0.0, MOST_LIGHT, BLUR_PX[0], 0.0, ROUNDED_MM, 0.0, 0.0, LIT_RAD]
    )
    spread = np.array(
        [
            disc.u_thickness_mm,
            u_lean,
            u_lean,
            U_MOST_LIGHT,
            BLUR_PX[1],
            camera.u_corner,
            U_ROUNDED_MM,
            U_OVAL_PX,
            U_OVAL_PX,
            U_LIT_RAD,
        ]
    )
    corner = (camera.f_px / float(np.hypot(*camera.centre_px))) ** 2
    off_axis = np.sum(rim.rays[..., :2] ** 2, axis=-1, keepdims=True) * corner

    def edges(q: Points) -> tuple[Points, Points]:
        """Return the outline, and where the mirrored light inside of it ends, px outward."""
        n = _normal(base, q[4:6])
        centre = np.exp(q[0]) * middle
        axis = centre + np.array([q[1], q[2], 0.0])
        rays = rim.rays * np.concatenate([1 - q[8] * off_axis] * 2 + [np.ones_like(off_axis)], -1)
        low, high = (_off_axis(rays, n, (centre @ n - h), axis) for h in (0.0, q[3]))
        oval = (rim.oval @ q[10:12])[:, None]

        def px(off: Points, inside: Points) -> Points:
            at = np.sqrt(np.sum(off * off, axis=-1))
            out: Points = (disc.radius_mm - inside - at[:, :1]) / (at[:, 1:] - at[:, :1]) + oval
            return out

        away = low[:, 0] / np.linalg.norm(low[:, 0], axis=1, keepdims=True)
        slope = (np.sum(rays[:, 0] * away, axis=1) / (rays[:, 0] @ n))[:, None]
        outline, lit = rounded_rim(slope, q[9], q[12])
        # One rim takes over from the other without a step: with one, a piece that lies just there
        # would tell the tilt to nothing.
        outer = np.maximum(px(low, outline), px(high, outline))
        return outer, np.minimum(px(high, lit), outer)

    def cost(q: Points) -> Points:
        seen = wall_light(rim.across_px, edges(q), q[6], rim.dark, q[7])
        off = (q[3:] - expected) / spread
        off[3] = max(off[3], 0.0)
        return np.concatenate([((seen - rim.light) / rim.noise).ravel(), off])

    def fitted(first: Points) -> Any:
        return least_squares(
            cost,
            first,
            max_nfev=40,
            x_scale=[0.01, 0.1, 0.1, 0.3, 0.01, 0.01, 0.2, 0.3, 0.003, 0.05, 0.1, 0.1, 0.2],
            bounds=(
                [start - 0.2, -9, -9, 0.2, -0.3, -0.3, 0.0, 0.3, -0.02, 0.0, -2, -2, 0.0],
                [start + 0.2, 9, 9, 9, 0.3, 0.3, 0.98, 8.0, 0.02, 0.5, 2, 2, 1.57],
            ),
        )

    first = np.array([start, 0.0, 0.0, *expected]) if near is None else near
    if near is None:
        first[6] = 0.4
    fits = [fitted(first)]
    if near is None:
        # Near the foot a tilt of the other sign makes the same oval.
        other = np.array(fits[0].x)
        other[4:6] *= -1
        fits.append(fitted(other))
    best = min(fits, key=lambda f: float(f.cost))
    jac = np.asarray(best.jac, float)
    information = jac.T @ jac
    # Where no wall shows nothing else tells its light, but that it is none to all of it.
    information[6, 6] += 12.0
    covariance = np.linalg.pinv(information)
    # What one explanation has over the other is known to what both misfit.
    rest = np.asarray(best.fun, float)
    misfit, strain = (
        float(np.sqrt(np.mean(x**2))) for x in (rest[: -len(expected)], rest[-len(expected) :])
    )
    for fit in fits:
        share = np.exp(float(best.cost - fit.cost) / max(1.0, misfit**2))
        gap = (fit.x - best.x) * np.sqrt(share / (1 + share))
        covariance = covariance + np.outer(gap, gap)
    return _Fit(q=np.asarray(best.x, float), covariance=covariance, misfit=misfit, strain=strain)
