"""The pose of a part on the plate: inclination, height of the axis, and how well both are known.

Three ways to lie compete: level, as on a support or by its shape; as it falls, on two points of
its hull; held by something else. The picture decides: the ends are ellipses
(:mod:`pitchcam.objects.end_face`), and a thread whose one end is nearer is drawn larger there. The
picture shows the angle between axis and picture, which is the inclination and the camera's tilt
together; the hull and the height know the plate alone.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.held import without_tails
from pitchcam.camera.pinhole import Camera
from pitchcam.frozen import dataclass
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.end_face import Face
from pitchcam.objects.frame import axis_frame
from pitchcam.small import cross
from pitchcam.thread.pose.drift import ThreadSight
from pitchcam.thread.pose.hull import PartRadii, falls
from pitchcam.thread.pose.records import GRID, Pose, normal

Values = NDArray[np.float64]

#: Ways to lie, their prior shares and, but for those as the hull has it, their spread in degrees.
#: Of 150 threads of parts laid as they fall, 35 were inclined by more than 4 degrees; where good
#: practice is kept, parts are level to half a degree, and a shim or a chip makes one or two.
LEVEL, UNEVEN, FALLEN, HELD = (0.4, 0.35), (0.3, 1.2), (0.22, 0.0), (0.08, 8.0)
#: Share of end faces that are not flat and square to the axis: domed, cut off, chipped. One of 117
#: faces of rendered photos with known pose was off by more than the wide ones below are.
ODD_FACE = 0.01
#: Share of faces whose outline is bent by more than most, and by how many times as much: broken
#: edges, a chamfer that is no more than a break, light (107 faces of 64 rendered photos).
WIDE_SHARE, WIDE = 0.15, 3.0
#: Share of faces that mirror the panel so brightly that the outline follows the rim's upper half.
MIRRORED_FACE = 0.1
#: Where the focal length is known no better than this, any lens of a phone may have been used:
#: spread of its logarithm.
KNOWN_LENS, U_LENS = 0.06, 0.35
#: Step of the angles that are weighed, and a likelihood that is none.
GRID_DEG, LEAST_LIKELY = 0.1, 1e-300
#: Tilts along the axis that are weighed; what is known better than LEAST_TILT is one, and a way to
#: hold the phone that has less than this share is none.
PLACES, LEAST_TILT_RAD, LEAST_WAY = 35, float(np.radians(0.1)), 0.002
#: A face this far from square, in bulge, is as likely as any other.
ODD_BULGE = 0.4


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What the picture tells of the axis's angle and of the focal length together.

    ``log`` is the log likelihood, (lenses, GRID), with the lenses' prior in it; ``lens`` the
    logarithms by which the focal length is longer than the camera's; ``along`` the axis's direction
    in the picture.
    """

    lens: Values
    log: Values
    along: tuple[float, float] = (1.0, 0.0)


def lens_is_open(camera: Camera) -> bool:
    """Whether any lens of a phone may have been used."""
    return camera.f_guess_px is not None or camera.u_lens > KNOWN_LENS


def sight(
    faces: Sequence[Face],
    thread: ThreadSight | None,
    axis: ImageAxis,
    camera: Camera,
    height_mm: float,
) -> Seen:
    """Return what end faces and thread show, over GRID and for each focal length.

    Parameters
    ----------
    faces
        The end faces that are seen to be flat.
    thread
        What the thread shows by itself, of :func:`pitchcam.thread.pose.drift.thread_sight`; None
        where it shows nothing.
    axis, camera, height_mm
        The part's axis in the photo, the camera, and the height of the axis over the plate.

    Notes
    -----
    Both see the axis through the focal length: a face lies so far off the optical axis, and the
    camera so far above. It is one unknown for all of them.
    """
    is_open = lens_is_open(camera)
    spread = U_LENS if is_open else camera.u_lens
    steps = np.linspace(-2.5, 2.5, 21 if is_open else 5)
    lens = steps * spread + np.log((camera.f_guess_px or camera.f_px) / camera.f_px)
    longer = np.exp(lens)
    shown = _faces(faces, axis, camera, height_mm, longer)
    # A face shows its angle from the optical axis, wherever that is: what moves it turns all.
    off = np.degrees(camera.u_centre_px / (camera.f_px * longer))
    total = np.stack([_spread(row, float(u)) for row, u in zip(shown, off, strict=True)])
    total -= 0.5 * steps[:, None] ** 2
    if thread is not None:
        total += thread.at(longer)
    return Seen(lens=lens, log=total, along=axis.direction)


def _faces(
    faces: Sequence[Face], axis: ImageAxis, camera: Camera, height_mm: float, longer: Values
) -> Values:
    """Return the log likelihood (lenses, GRID) with focal lengths that many times as long."""
    total = np.zeros((len(longer), len(GRID)))
    a = np.radians(GRID)
    cosine, sine = np.cos(a), np.sin(a)
    cameras = [camera.refocused(float(x), height_mm) for x in longer]
    for face in faces:
        along, up = np.empty((len(longer), 1)), np.empty((len(longer), 1))
        for i, refocused in enumerate(cameras):
            along[i], up[i] = _bulges(refocused, axis, face.s_px, height_mm)
        shown = face.end * (cosine * along + sine * up)
        convex = _as_seen(face.bulge - np.abs(shown), face.u_bulge)
        concave = np.where(shown > 0, _as_seen(face.bulge + shown, face.u_bulge), convex)
        flat = (1 - MIRRORED_FACE) * convex + MIRRORED_FACE * concave
        total += np.log((1 - ODD_FACE) * flat + ODD_FACE / ODD_BULGE)
    return total


def _bulges(camera: Camera, axis: ImageAxis, s_px: float, height_mm: float) -> tuple[float, float]:
    """Return the bulge of a face's ellipse for a level axis, and for one that stands upright.

    An inclined one has cosine and sine of both, negative where the face at the end of growing s is
    hidden.

    Notes
    -----
    A circle of radius r square to the unit axis a, at depth d on the ray o (of unit depth), is
    drawn with the area pi r^2 |a o| / d^2. Across the axis's line in the photo, which passes the
    optical axis at the tangent t, its half width is r sqrt(1 + t^2) / d. A half ellipse on a line
    that is not square to the axis, too, has area over pi by square of half width as its bulge:
    |a o| / (1 + t^2). In the picture's middle that is the sine of the angle to the line of sight,
    toward its border along the axis the tangent. Derived for this; a circle that is not small is
    drawn as an ellipse about another middle, and its bulge differs by the square of r / d only.
    """
    frame = axis_frame(camera, axis, s_px, height_mm)
    ray = frame.origin / frame.origin[2]
    dx, dy = axis.direction
    past = -dy * ray[0] + dx * ray[1]
    # The axis keeps its line in the photo, and so the plane through this and the pinhole.
    aside = np.array([-dy, dx, -past])  # normal of that plane
    up = -np.array(camera.normal)
    beside = cross(up, frame.along)
    rising = up - (up @ aside) / (beside @ aside) * beside
    size = 1 + past**2
    return float(-frame.along @ ray / size), float(-rising @ ray / size)


def _as_seen(off: Values, u: float) -> Values:
    """Return the density of what a face's bulge is off by; some tell it worse than most."""
    return (1 - WIDE_SHARE) * normal(off, u) + WIDE_SHARE * normal(off, WIDE * u)


def _spread(log: Values, u_deg: float) -> Values:
    """Return a log likelihood over GRID with an unknown turn of all angles, normal of ``u_deg``."""
    if u_deg < GRID_DEG:
        return log
    reach = np.arange(-int(3 * u_deg / GRID_DEG), int(3 * u_deg / GRID_DEG) + 1)
    kernel = np.exp(-0.5 * (reach * GRID_DEG / u_deg) ** 2)
    likely = np.exp(log - log.max())
    wide = np.pad(likely, len(reach) // 2, mode="edge")
    out = np.convolve(wide, kernel / kernel.sum(), mode="valid")
    spread: Values = np.log(np.maximum(out, LEAST_LIKELY)) + log.max()
    return spread


def prior(radii: PartRadii) -> Values:
    """Return the prior probability of the axis's inclination over the plate, over GRID."""
    out = np.zeros(len(GRID))
    for share, u in (LEVEL, UNEVEN, HELD):
        out += share * normal(GRID, u)
    for fall in falls(radii):
        off = GRID - np.degrees(fall.incline_rad)
        out += FALLEN[0] * fall.probability * normal(off, np.degrees(fall.u_incline_rad))
    total: Values = out / out.sum()
    return total


def _tilted(log: Values, tilts: Values) -> Values:
    """Return what is over GRID (lenses, GRID) at angles off by tilts in degrees, (..., tilts).

    Linear between GRID's even angles, and as at its ends beyond them.
    """
    last = len(GRID) - 1
    place = np.arange(last + 1)[:, None] + tilts / GRID_DEG
    place = np.minimum(np.maximum(place, 0), last)
    low = np.minimum(place.astype(np.intp), last - 1)
    share = place - low
    # Lens by lens in memory, as sums over them like it.
    out: Values = np.take(log, low, axis=1)
    out *= 1 - share
    out += share * np.take(log, low + 1, axis=1)
    return out


def posterior(
    radii: PartRadii, seen: Seen, camera: Camera, u_radius_mm: float, lever_mm: float = 0.0
) -> Pose:
    """Return the pose that hull and picture agree on.

    Parameters
    ----------
    radii
        The part along its axis, from the thread's middle.
    seen
        What the picture shows, of :func:`sight`.
    camera
        The camera over the plate, with the uncertainty of its tilt.
    u_radius_mm
        Standard uncertainty of the radius that the part rests on.
    lever_mm
        How far along the axis the thread lies from the reference, whose place on the plate is
        known: so far a tilt lifts it.
    """
    lean = _Lean.of(camera, seen.along)
    tilts, weight = lean.tilts_deg, lean.weights.sum(axis=0)
    angle = np.radians(GRID[:, None] + tilts)
    likely = _tilted(seen.log, tilts)
    every = np.exp(likely - likely.max())
    every *= prior(radii)[:, None] * weight
    every *= lean.likely(every.sum(axis=(0, 1)))
    evidence = float(every.sum())
    every /= evidence
    joint = every.sum(axis=0)
    inclines = np.radians(GRID)
    over_plate = radii.axis_height_mm(inclines)
    height = over_plate[:, None] + lever_mm * np.tan(np.radians(tilts))

    def moments(x: Values, weights: Values = joint) -> tuple[float, float]:
        mean = float((weights * x).sum())
        return mean, float(np.sqrt((weights * (x - mean) ** 2).sum()))

    by_incline = joint.sum(axis=1)
    incline, u_incline = moments(inclines, by_incline)
    slope, u_slope = moments(angle)
    at, u_at = moments(height)
    axis_height, u_axis_height = moments(over_plate, by_incline)
    shared = float((joint * (height - at) * (angle - slope)).sum())
    per_rad = shared / max(u_slope**2, 1e-12)
    left = max(u_at**2 - (per_rad * u_slope) ** 2, 0.0)
    share = every.sum(axis=(1, 2))
    lens = float(share @ seen.lens)
    u_lens = float(np.sqrt(share @ (seen.lens - lens) ** 2))
    turned = np.einsum("lit,it->l", every, angle - slope)
    per_lens = float(turned @ (seen.lens - lens)) / max(u_lens**2, 1e-12)
    return Pose(
        incline_rad=incline,
        u_incline_rad=u_incline,
        slope_rad=slope,
        u_slope_rad=u_slope,
        height_mm=at,
        u_height_mm=float(np.hypot(np.sqrt(left), u_radius_mm)),
        height_per_rad=per_rad,
        lens=lens,
        u_lens=u_lens,
        slope_per_lens=per_lens,
        axis_height_mm=axis_height,
        u_axis_height_mm=float(np.hypot(u_axis_height, u_radius_mm)),
        u_across_rad=lean.u_across_rad(joint.sum(axis=0)),
        log_evidence=float(np.log(evidence) + likely.max()),
    )


@dataclass(frozen=True, kw_only=True)
class _Lean:
    """What is known of the camera's tilt along a part's axis, and across it given that.

    ``weights`` (k, m) are the k ways to hold a phone over the tilts ``tilts_deg`` (m,) along the
    axis, against the camera's own normal; ``across`` (k, m) the square of the tilt across it (rad)
    that each expects there, its spread included.
    """

    tilts_deg: Values
    weights: Values
    across: Values

    @classmethod
    def of(cls, camera: Camera, along: tuple[float, float]) -> _Lean:
        held = camera.leans.turned(np.array(along))
        d = np.array(along) / np.hypot(*along)
        normal = np.array(camera.normal)[:2]
        at = np.array([normal @ d, normal @ (-d[1], d[0])])
        u = np.sqrt(held.covariances[:, 0, 0])
        mean = held.means[:, 0] - at[0]
        tilts, widths = _tilts(mean, u, held.shares)
        one = len(tilts) == 1
        off = np.zeros((len(u), 1)) if one else (tilts - mean[:, None]) / u[:, None]
        weights = held.shares[:, None] * (np.exp(-0.5 * off**2) / u[:, None] * widths)
        rises = held.covariances[:, 0, 1] / u**2
        left = held.covariances[:, 1, 1] - rises**2 * u**2
        goes = (held.means[:, 1] - at[1])[:, None] + (rises * u)[:, None] * off
        return cls(tilts_deg=np.degrees(tilts), weights=weights, across=goes**2 + left[:, None])

    def likely(self, joint: Values) -> Values:
        """Return by how much tilts (m,) are less likely without the ways that are tails."""
        every = self.weights / self.weights.sum(axis=0)
        ways = every @ joint
        kept = without_tails(ways / ways.sum()) > 0
        out: Values = every[kept].sum(axis=0)
        return out

    def u_across_rad(self, joint: Values) -> float:
        """Return what the tilt across the axis is good to, with the tilts along it at ``joint``."""
        every = self.weights / self.weights.sum(axis=0) * joint
        ways = every.sum(axis=1)
        kept = without_tails(ways)
        return float(np.sqrt(kept @ ((every * self.across).sum(axis=1) / np.maximum(ways, 1e-30))))


def _tilts(mean: Values, u: Values, shares: Values) -> tuple[Values, Values]:
    """Return tilts (m,) that cover normal distributions, and the width of what each stands for.

    Dense where the narrowest of them is, to three standard deviations of the widest that counts.
    """
    if float(u.max()) < LEAST_TILT_RAD:
        return np.array([float(shares @ mean)]), np.ones(1)
    counts = shares > LEAST_WAY
    reach = 3 * float(np.max(np.abs(mean[counts]) + u[counts]))
    scale = 1.5 * float(u[counts].min())
    steps = np.linspace(-1, 1, PLACES) * np.arcsinh(reach / scale)
    return scale * np.sinh(steps), scale * np.cosh(steps)
