"""The marker sheet in a photo: scale, camera pose, focal length and what they are worth.

The sheet's frame has its origin in the middle of the window, x to the right and y down as read,
z away from the viewer: what stands h mm above the sheet has z = -h.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.camera.profile import CameraProfile
from pitchcam.errors import UsageError
from pitchcam.frozen import dataclass
from pitchcam.records import Quantity
from pitchcam.scale.markers import Found, Gray, find_markers
from pitchcam.scale.pose import Prior, Solution, camera_of, prior_of, rotation_of, solve
from pitchcam.sheet.layout import BAR_MM, SIZES, Sheet

Points = NDArray[np.float64]

#: Fewer markers say little about the pose, and a wrong one among them is not seen.
FEWEST_MARKERS = 4

#: Relative u of the sheet's size: a bar read with a caliper to 0.05 mm, or not read: printers and
#: "fit to page" left aside, within 0.5 % (common practice, no source), rectangular.
U_BAR_MM = 0.05
U_UNREAD = 0.005 / np.sqrt(3)

#: Paper laid on glass stands off by some tenths of a mm.
U_FLAT_MM = 0.15


@dataclass(frozen=True, kw_only=True)
class SheetPose:
    """Where the camera stood over the sheet.

    ``rotation`` and ``translation_mm`` take a point of the sheet's frame to the camera's:
    X_camera = rotation X_sheet + translation. ``mm_per_px`` holds on the sheet's plane in the
    middle of the window. ``k1`` is that of :class:`pitchcam.camera.pinhole.Camera`. ``bar_mm``
    is the bar's length that was used. ``size`` is the sheet's name.
    """

    size: str
    rotation: tuple[tuple[float, float, float], ...]
    translation_mm: tuple[float, float, float]
    f_px: Quantity
    centre_px: tuple[float, float]
    k1: float
    k2: float
    mm_per_px: Quantity
    camera_height_mm: Quantity
    tilt_deg: Quantity
    residual_px: float
    markers: int
    bar_mm: float
    window_px: tuple[tuple[float, float], ...]
    u_centre_px: float = 0.0

    @property
    def camera(self) -> Camera:
        """The camera over the sheet, which lies on the plate."""
        r = np.array(self.rotation)
        return Camera(
            f_px=self.f_px.value,
            u_f_px=self.f_px.u,
            centre_px=self.centre_px,
            distance_mm=self.camera_height_mm.value,
            normal=(float(r[0, 2]), float(r[1, 2]), float(r[2, 2])),
            u_tilt_rad=float(np.deg2rad(self.tilt_deg.u)),
            k1=self.k1,
            k2=self.k2,
        )

    def project(self, xyz_mm: Points) -> Points:
        """Return photo positions (..., 2) of points (..., 3) in the sheet's frame, mm."""
        seen = np.asarray(xyz_mm) @ np.array(self.rotation).T + np.array(self.translation_mm)
        return self.camera.project(seen)


def find_sheet(
    gray: Gray,
    f_px: float | None = None,
    bar_mm: float | None = None,
    *,
    profile: CameraProfile | None = None,
    u_centre_px: float = 0.0,
) -> SheetPose | None:
    """Find the marker sheet and solve for the camera.

    Parameters
    ----------
    gray : ndarray of uint8, (rows, columns)
        The photo, upright, coded (sRGB) values.
    f_px : float, optional
        Focal length from EXIF; a prior of 3 %, no more.
    bar_mm : float, optional
        The sheet's bar as a caliper reads it (mean of both bars).
    profile : CameraProfile, optional
        A calibrated camera; replaces ``f_px`` and fixes centre and distortion.
    u_centre_px : float
        Standard uncertainty of the principal point where the photo may have been cropped.

    Returns
    -------
    SheetPose or None
        None where the photo shows no sheet (fewer than four markers of one).

    Raises
    ------
    UsageError
        If ``bar_mm`` is no possible length of the bar.
    """
    grown = _bar(bar_mm)
    match = _which(find_markers(gray))
    if match is None:
        return None
    sheet, plan, corners = match
    prior = prior_of(gray.shape[1], gray.shape[0], f_px, profile, u_centre_px)
    solution = solve(plan * (grown / BAR_MM), corners, prior)
    u_size = U_UNREAD if bar_mm is None else U_BAR_MM / bar_mm
    return _pose(sheet, solution, prior, len(plan), (grown, u_size))


def sheet_corners(gray: Gray, bar_mm: float | None = None) -> tuple[Points, Points] | None:
    """Return the marker corners in the plan (n, 2), mm, and in the photo (n, 2), px, or None.

    Raises
    ------
    UsageError
        If ``bar_mm`` is no possible length of the bar.
    """
    grown = _bar(bar_mm)
    match = _which(find_markers(gray))
    if match is None:
        return None
    return match[1].reshape(-1, 2) * (grown / BAR_MM), match[2].reshape(-1, 2)


def _bar(bar_mm: float | None) -> float:
    """Return the bar's length; a screen may show it from a fifth to four times its size."""
    if bar_mm is None:
        return BAR_MM
    if not 20 <= bar_mm <= 400:
        raise UsageError(
            f"a sheet bar of {bar_mm:g} mm cannot be;",
            "measure the long black bar, in mm (100.0 as drawn)",
        )
    return bar_mm


def _which(found: Found) -> tuple[Sheet, Points, Points] | None:
    """Return the sheet seen, its corners in the plan (n, 4, 2), and those in the photo."""
    best: tuple[Sheet, Points, Points] | None = None
    for sheet in SIZES.values():
        plan = {m.id: m.corners_mm for m in sheet.markers}
        seen = [i for i, number in enumerate(found.ids) if int(number) in plan]
        if len(seen) >= FEWEST_MARKERS and (best is None or len(seen) > len(best[1])):
            mm = np.array([plan[int(found.ids[i])] for i in seen])
            px = found.corners_px[seen]
            flat = cv2.findHomography(mm.reshape(-1, 2), px.reshape(-1, 2), cv2.RANSAC, 4.0)
            if flat[0] is None:
                continue
            good = np.asarray(flat[1]).reshape(-1, 4).all(axis=1)
            if good.sum() >= FEWEST_MARKERS:
                best = (sheet, mm[good], px[good])
    return best


def _pose(
    sheet: Sheet, solution: Solution, prior: Prior, markers: int, bar: tuple[float, float]
) -> SheetPose:
    """Say what the solution is worth, the sheet's own errors included.

    ``bar`` is the length of its bar, mm, and the relative u of its size.
    """
    p, covariance = solution.p, solution.covariance
    bar_mm, u_size = bar

    def heights(q: Points) -> Points:
        r = rotation_of(q)
        tilt = np.degrees(np.arccos(np.clip(r[2, 2], -1, 1)))
        return np.array([q[5] / np.exp(q[6]), r[:, 2] @ q[3:6], tilt])

    value = heights(p)
    step = np.sqrt(np.diag(covariance)) * 0.1 + 1e-12
    jac = np.column_stack(
        [(heights(p + d) - heights(p - d)) / (2 * step[i]) for i, d in enumerate(np.diag(step))]
    )
    var = np.diag(jac @ covariance @ jac.T)
    r, f, camera = rotation_of(p), float(np.exp(p[6])), camera_of(p, prior)
    edge = sheet.window_corners_mm * (bar_mm / BAR_MM)
    window = camera.project(edge @ r[:, :2].T + p[3:6])
    flat = U_FLAT_MM / value[1]
    return SheetPose(
        size=sheet.name,
        rotation=tuple((float(a[0]), float(a[1]), float(a[2])) for a in r),
        translation_mm=(float(p[3]), float(p[4]), float(p[5])),
        f_px=Quantity(value=f, u=f * float(np.sqrt(covariance[6, 6]))),
        centre_px=camera.centre_px,
        u_centre_px=float(np.sqrt((covariance[7, 7] + covariance[8, 8]) / 2)),
        k1=camera.k1,
        k2=camera.k2,
        mm_per_px=Quantity(
            value=float(value[0]), u=float(np.sqrt(var[0] + value[0] ** 2 * (u_size**2 + flat**2)))
        ),
        camera_height_mm=Quantity(
            value=float(value[1]),
            u=float(np.sqrt(var[1] + (value[1] * u_size) ** 2 + U_FLAT_MM**2)),
        ),
        # Near zero the angle's own derivative vanishes; its u is then that of either component.
        tilt_deg=Quantity(
            value=float(value[2]),
            u=float(np.degrees(np.sqrt(max(covariance[0, 0], covariance[1, 1])))),
        ),
        residual_px=solution.rms_px,
        markers=markers,
        bar_mm=bar_mm,
        window_px=tuple((float(x), float(y)) for x, y in window),
    )
