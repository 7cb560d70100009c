"""Pose, focal length and what is left of distortion from the corners of a flat plan.

The parameters, in one vector p of eleven: rotation vector (3), translation in mm (3), ln of the
focal length in px, centre x and y in px, k1 at the corner of the frame, growth of the markers in
mm. The last five have priors.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import DIAGONAL_35MM, Camera
from pitchcam.camera.profile import CameraProfile
from pitchcam.frozen import dataclass

Points = NDArray[np.float64]

#: Prior of the focal length, relative: EXIF rounds to whole mm and a lens that focuses near stands
#: farther out; without EXIF any lens of a phone (24 to 77 mm equivalent) about that of its main
#: camera.
U_F_EXIF = 0.03
U_F_GUESS = 0.35
GUESS_F35_MM = 27.0

#: Prior of the principal point: a stabilised lens shifts by 1-2 % of the picture's width at most.
U_CENTRE_SHARE = 0.006

#: Prior of distortion left by the phone, at the corner of the frame: 0.1-0.5 % is usual.
U_K1_CORNER = 0.005

#: Prior of the growth of the printed black (ink spread, blur, tone), mm on each side.
U_GROWTH_MM = 0.1

#: Corner noise below this is not believed: the lens's own distortion is not a pure k1.
LEAST_NOISE_PX = 0.1


@dataclass(frozen=True, kw_only=True)
class Prior:
    """Means and standard uncertainties of ln f, centre x, y, k1 at the corner, growth."""

    mean: Points
    u: Points
    corner_px: float
    k2: float


@dataclass(frozen=True, kw_only=True)
class Solution:
    """The parameters, their covariance (11, 11), and the corners' misfit."""

    p: Points
    covariance: Points
    rms_px: float


def prior_of(
    width: int,
    height: int,
    f_px: float | None,
    profile: CameraProfile | None,
    u_centre_px: float = 0.0,
) -> Prior:
    """Return what is known of the camera: a profile, else EXIF's ``f_px``, else a guess.

    ``u_centre_px`` is what a crop may have done to the principal point.
    """
    corner = float(np.hypot(width, height)) / 2
    if profile is not None:
        scaled = profile.for_size(width, height)
        to_corner = (corner / scaled.f_px) ** 2
        mean = [np.log(scaled.f_px), *scaled.centre_px, scaled.k1 * to_corner, 0.0]
        u = [scaled.u_f_px / scaled.f_px, *scaled.u_centre_px, 0.0005, U_GROWTH_MM]
        return Prior(mean=np.array(mean), u=np.array(u), corner_px=corner, k2=scaled.k2)
    guess = f_px or GUESS_F35_MM / DIAGONAL_35MM * 2 * corner
    mean = [np.log(guess), (width - 1) / 2, (height - 1) / 2, 0.0, 0.0]
    off = float(np.hypot(U_CENTRE_SHARE * max(width, height), u_centre_px))
    u = [U_F_EXIF if f_px else U_F_GUESS, off, off, U_K1_CORNER, U_GROWTH_MM]
    return Prior(mean=np.array(mean), u=np.array(u), corner_px=corner, k2=0.0)


def camera_of(p: Points, prior: Prior) -> Camera:
    """Return the camera of the parameters."""
    f = float(np.exp(p[6]))
    return Camera(
        f_px=f,
        u_f_px=0.0,
        centre_px=(float(p[7]), float(p[8])),
        k1=float(p[9]) * (f / prior.corner_px) ** 2,
        k2=prior.k2,
    )


def rotation_of(p: Points) -> Points:
    """Return the rotation matrix of the parameters."""
    return np.asarray(cv2.Rodrigues(np.ascontiguousarray(p[:3]))[0])


def project(p: Points, plan: Points, prior: Prior) -> Points:
    """Return photo positions of the markers' corners (n, 4, 2) for pose, camera and growth p."""
    middle = plan.mean(axis=1, keepdims=True)
    half = float(np.abs(plan - middle).max())
    flat = middle + (plan - middle) * (1 + p[10] / half)
    seen = flat @ rotation_of(p)[:, :2].T + p[3:6]
    return camera_of(p, prior).project(seen)


def _start(plan: Points, corners: Points, prior: Prior) -> Points:
    """Pose from the plane's homography at the prior's focal length."""
    h = np.array(cv2.findHomography(plan.reshape(-1, 2), corners.reshape(-1, 2))[0], dtype=float)
    f, cx, cy = np.exp(prior.mean[0]), prior.mean[1], prior.mean[2]
    a = np.linalg.inv(np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]])) @ h
    a = a / (np.sqrt(np.linalg.norm(a[:, 0]) * np.linalg.norm(a[:, 1])) * np.sign(a[2, 2]))
    left, _, right = np.linalg.svd(np.column_stack([a[:, 0], a[:, 1], np.cross(a[:, 0], a[:, 1])]))
    turn = left @ np.diag([1, 1, np.linalg.det(left @ right)]) @ right
    return np.concatenate([cv2.Rodrigues(turn)[0].ravel(), a[:, 2], prior.mean])


def solve(plan: Points, corners: Points, prior: Prior) -> Solution:
    """Fit pose, camera and growth to the corners and the priors.

    Parameters
    ----------
    plan : ndarray (n, 4, 2)
        Corners of n markers on the sheet, mm.
    corners : ndarray (n, 4, 2)
        The same in the photo, px.
    prior : Prior
        What is known of the camera beforehand.
    """
    from scipy.optimize import least_squares

    noise, p = LEAST_NOISE_PX, _start(plan, corners, prior)

    def misfit(q: Points) -> Points:
        off = (project(q, plan, prior) - corners).ravel() / noise
        return np.concatenate([off, (q[6:] - prior.mean) / prior.u])

    scale = np.array([0.01] * 3 + [1.0] * 3 + [0.01, 10, 10, 0.001, 0.05])
    for _ in range(2):
        fit = least_squares(misfit, p, x_scale=scale)
        p = np.asarray(fit.x, dtype=float)
        rms = float(np.sqrt(np.mean((project(p, plan, prior) - corners) ** 2)))
        noise = max(LEAST_NOISE_PX, rms)
    jac = np.asarray(fit.jac, dtype=float)
    return Solution(p=p, covariance=np.linalg.inv(jac.T @ jac), rms_px=rms)
