"""The camera over the plate: from photo positions to rays, planes and lengths.

The camera frame has its origin in the pinhole, x to the right and y down in the picture, z along
the optical axis toward the plate. The plate is the plane ``normal . X = distance``; what stands
``h`` above it lies on ``normal . X = distance - h``.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.held import Held, known
from pitchcam.frozen import dataclass, replace

Points = NDArray[np.float64]
Point = tuple[float, float, float]
Number = TypeVar("Number", float, Points)

#: Diagonal of the 36 mm x 24 mm frame that the EXIF 35-mm-equivalent focal length refers to.
DIAGONAL_35MM = 43.2666
#: Displacement left by a phone's own correction of distortion, as a share of the corner's distance
#: from the centre: 0.1-0.5 % (common practice, no source), of which the upper end is taken: phones
#: that leave more, and pictures that nothing corrected, are among those that are sent (judgement).
U_CORNER = 0.005
#: What a profile of the camera leaves of it (judgement: profiles' own fits end at 0.02-0.05 %).
U_CORNER_PROFILE = 0.0005
#: Newton's steps that undo a distortion to the last digit.
UNBENT = 4


@dataclass(frozen=True, kw_only=True)
class Camera:
    """A pinhole camera with radial distortion over a plate.

    ``k1``, ``k2`` are those of r_d = r (1 + k1 r^2 + k2 r^4) with r in units of the focal length.
    ``distance_mm`` is the perpendicular distance of the pinhole from the plate. ``u_corner`` is
    what is not known of the lens's distortion: a displacement at the picture's corner, as a share
    of its distance from the middle. ``u_tilt_rad`` is the standard uncertainty of the plate's
    normal about either axis, ``held`` more of it where it is not the same both ways.
    ``u_centre_px`` is the standard uncertainty of the principal
    point ``centre_px`` in each direction: of a picture that may have been cropped, 0 of one that a
    lens gave. ``f_guess_px`` is the focal length as it was guessed before a
    part told it; None where none did.
    """

    f_px: float
    u_f_px: float
    centre_px: tuple[float, float]
    distance_mm: float = np.nan
    normal: tuple[float, float, float] = (0.0, 0.0, 1.0)
    u_tilt_rad: float = 0.03
    k1: float = 0.0
    k2: float = 0.0
    u_corner: float = U_CORNER
    f_guess_px: float | None = None
    u_centre_px: float = 0.0
    held: Held | None = None

    @property
    def corner(self) -> float:
        """Displacement by ``k1`` at the picture's corner, as a share of its distance."""
        return self.k1 * float(np.hypot(*self.centre_px)) ** 2 / self.f_px**2

    def bent(self, corner: float, u_corner: float) -> Camera:
        """Return the same camera with its distortion set by the displacement at the corner."""
        k1 = corner * self.f_px**2 / float(np.hypot(*self.centre_px)) ** 2
        return replace(self, k1=float(k1), u_corner=float(u_corner))

    @property
    def u_lens(self) -> float:
        """Relative standard uncertainty of the focal length."""
        return self.u_f_px / self.f_px

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the plate's normal."""
        return float(np.degrees(np.arccos(min(1.0, self.normal[2]))))

    def rays(self, xy: Points) -> Points:
        """Return directions (..., 3) with z = 1 for photo positions (..., 2)."""
        q = self.straight(xy)
        out = np.empty((*q.shape[:-1], 3))
        out[..., :2], out[..., 2] = q, 1.0
        return out

    def straight(self, xy: Points) -> Points:
        """Return x and y (..., 2) of the directions with z = 1 for photo positions (..., 2)."""
        q: Points = (np.asarray(xy, dtype=float) - np.array(self.centre_px)) / self.f_px
        if self.k1 == 0.0 and self.k2 == 0.0:
            return q
        q *= _shrunk(q[..., 0] ** 2 + q[..., 1] ** 2, self.k1, self.k2)[..., None]
        return q

    def point_on_plane(self, x: float, y: float, height_mm: float) -> Point:
        """Return where one photo position meets a plane above the plate, as :meth:`on_plane`."""
        qx, qy = (x - self.centre_px[0]) / self.f_px, (y - self.centre_px[1]) / self.f_px
        if self.k1 != 0.0 or self.k2 != 0.0:
            s = _shrunk(qx * qx + qy * qy, self.k1, self.k2)
            qx, qy = qx * s, qy * s
        nx, ny, nz = self.normal
        reach = (self.distance_mm - height_mm) / (qx * nx + qy * ny + nz)
        return qx * reach, qy * reach, reach

    def project(self, points: Points) -> Points:
        """Return photo positions (..., 2) of points (..., 3) in the camera frame, mm."""
        q = points[..., :2] / points[..., 2:]
        if self.k1 != 0.0 or self.k2 != 0.0:
            r2 = q[..., 0] ** 2 + q[..., 1] ** 2
            q = q * (1 + r2 * (self.k1 + r2 * self.k2))[..., None]
        out: Points = q * self.f_px + np.array(self.centre_px)
        return out

    def on_plane(self, xy: Points, height_mm: float = 0.0) -> Points:
        """Return the points (..., 3) where photo positions meet a plane above the plate, mm."""
        rays = self.rays(xy)
        reach = (self.distance_mm - height_mm) / (rays @ np.array(self.normal))
        out: Points = rays * reach[..., None]
        return out

    def recentred(self, off_px: Points) -> Camera:
        """Return the same camera with its principal point moved by two pixel coordinates.

        What stands square to the optical axis does so whatever the principal point is: the plate's
        normal stays.
        """
        x, y = np.array(self.centre_px) + off_px
        return replace(self, centre_px=(float(x), float(y)))

    def over_plate(self, distance_mm: float) -> Camera:
        """Return the same camera with its distance from the plate set."""
        return replace(self, distance_mm=float(distance_mm))

    def refocused(self, longer: float, plane_mm: float) -> Camera:
        """Return a camera of another focal length that sees a plane at the same scale.

        Parameters
        ----------
        longer
            The new focal length over this one.
        plane_mm
            Height over the plate of the plane whose mm per pixel stay.

        Notes
        -----
        A tilt was told by lines that meet far off, at so many pixels: its tangent goes with the
        focal length. A distortion is a share of the picture, whatever the focal length is.
        """
        longer = float(longer)
        x, y, z = self.normal
        away = (self.distance_mm - plane_mm) * longer
        return replace(
            self.tilted(np.array([x * longer, y * longer, z]), self.u_tilt_rad * longer),
            held=None if self.held is None else self.held.scaled(longer),
            f_px=self.f_px * longer,
            u_f_px=self.u_f_px * longer,
            distance_mm=plane_mm + away,
            k1=self.k1 * longer**2,
            k2=self.k2 * longer**4,
        )

    def tilted(self, normal: Points, u_rad: float) -> Camera:
        """Return the same camera with the plate's normal set (made a unit vector, z > 0)."""
        n = np.asarray(normal, dtype=float)
        n = n / np.linalg.norm(n) * np.sign(n[2])
        return replace(
            self, normal=(float(n[0]), float(n[1]), float(n[2])), u_tilt_rad=float(u_rad), held=None
        )

    @property
    def leans(self) -> Held:
        """What is known of the plate's normal, about its x and y."""
        return known(np.array(self.normal), self.u_tilt_rad) if self.held is None else self.held

    def held_as(self, held: Held) -> Camera:
        """Return the same camera with what is known of the plate's normal."""
        x, y = held.mean()
        u = float(np.sqrt(np.trace(held.likely().covariance()) / 2))
        level = self.tilted(np.array([x, y, np.sqrt(max(1e-6, 1 - x * x - y * y))]), u)
        return replace(level, held=held)


def _shrunk(r2: Number, k1: float, k2: float) -> Number:
    """Return what undoes the distortion at squared distances from the middle, as a factor.

    It is the s of s (1 + k1 s^2 r^2 + k2 s^4 r^4) = 1, by Newton's steps: they double the digits
    each, and begin with two of them at the strongest distortion that a phone leaves.
    """
    s = 1 / (1 + r2 * (k1 + r2 * k2))
    for _ in range(UNBENT):
        t = r2 * s * s
        s = s - (s * (1 + t * (k1 + t * k2)) - 1) / (1 + t * (3 * k1 + 5 * k2 * t))
    return s


def camera_from_exif(
    width_px: int, height_px: int, f35_mm: float | None, *, zoom_guess_mm: float = 26.0
) -> Camera:
    """Return a camera whose focal length comes from the EXIF 35-mm equivalent, or from a guess.

    EXIF rounds to whole millimetres, and a lens that focuses near stands farther out, which gives
    u = 3 %. Without EXIF the main camera of a phone is assumed (24-28 mm equivalent; common
    practice, no source) with u = 12 %, which leaves a longer lens within 2-3 u. What all tags of a
    photo tell together is in :mod:`pitchcam.camera.focal`.
    """
    diagonal = float(np.hypot(width_px, height_px))
    f35, share = (f35_mm, 0.03) if f35_mm else (zoom_guess_mm, 0.12)
    f_px = f35 / DIAGONAL_35MM * diagonal
    return Camera(
        f_px=f_px, u_f_px=share * f_px, centre_px=((width_px - 1) / 2, (height_px - 1) / 2)
    )
