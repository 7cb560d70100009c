"""A camera's profile: focal length, principal point and distortion from photos of the sheet."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import InputError, PitchcamError, UnreadableError
from pitchcam.files import read_whole
from pitchcam.frozen import dataclass
from pitchcam.records import json_text
from pitchcam.records.formats import document, format_of

Points = NDArray[np.float64]

FORMAT = format_of("camera")

#: A profile has a kilobyte.
MOST_BYTES = 1_000_000

#: Views from which focal length, centre and two terms of distortion come apart.
FEWEST_VIEWS = 4

#: Without a tilt of this much in some views the focal length and the distance are one number.
LEAST_TILT_DEG = 12.0

#: A focusing, stabilised lens differs from shot to shot by this share of f and of the width; the
#: profile's own fit is better, and the next photo is not (common experience, no source).
SHOT_F_SHARE = 0.005
SHOT_CENTRE_SHARE = 0.003


@dataclass(frozen=True, kw_only=True)
class CameraProfile:
    """What was found of one lens of one phone, for photos of one size.

    Distortion is that of :class:`pitchcam.camera.pinhole.Camera`: r_d = r (1 + k1 r^2 + k2 r^4),
    r in units of the focal length. ``f35_mm`` is the EXIF value of the photos used, to tell whether
    another photo came from the same lens.
    """

    name: str
    width_px: int
    height_px: int
    f_px: float
    u_f_px: float
    centre_px: tuple[float, float]
    u_centre_px: tuple[float, float]
    k1: float
    k2: float
    residual_px: float
    views: int
    f35_mm: float | None = None

    def for_size(self, width_px: int, height_px: int) -> CameraProfile:
        """Return the profile for the same picture at another size, or turned by a quarter.

        Raises
        ------
        InputError
            If the photo's shape is not that of the profile's photos.
        """
        if (width_px - height_px) * (self.width_px - self.height_px) < 0:
            return self._turned().for_size(width_px, height_px)
        sx, sy = width_px / self.width_px, height_px / self.height_px
        if abs(sx / sy - 1) > 0.005:
            raise InputError(
                f"camera profile {self.name}: made for {self.width_px} x {self.height_px} px "
                f"photos, this one has {width_px} x {height_px};",
                "take both with the same lens and without cropping",
            )
        cx, cy = (c * s + (s - 1) / 2 for c, s in zip(self.centre_px, (sx, sy), strict=True))
        return replace(
            self,
            width_px=width_px,
            height_px=height_px,
            f_px=self.f_px * sx,
            u_f_px=self.u_f_px * sx,
            centre_px=(cx, cy),
            u_centre_px=(self.u_centre_px[0] * sx, self.u_centre_px[1] * sy),
        )

    def _turned(self) -> CameraProfile:
        """Return the profile for upright photos; which way they were turned is not known.

        So the centre is the picture's middle, give or take how far off it was.
        """
        x, y = (self.width_px - 1) / 2, (self.height_px - 1) / 2
        off = float(np.hypot(self.centre_px[0] - x, self.centre_px[1] - y))
        u = (float(np.hypot(self.u_centre_px[1], off)), float(np.hypot(self.u_centre_px[0], off)))
        return replace(
            self, width_px=self.height_px, height_px=self.width_px, centre_px=(y, x), u_centre_px=u
        )

    def undistort(self, xy: Points) -> Points:
        """Return photo positions (..., 2) as a lens without distortion would give them."""
        q = (np.asarray(xy, float) - self.centre_px) / self.f_px
        out = q
        for _ in range(8):
            r2 = np.sum(out * out, axis=-1, keepdims=True)
            out = q / (1 + self.k1 * r2 + self.k2 * r2 * r2)
        straight: Points = out * self.f_px + np.array(self.centre_px)
        return straight


def calibrate(
    views: Sequence[tuple[Points, Points]],
    size_px: tuple[int, int],
    *,
    name: str,
    f35_mm: float | None = None,
) -> CameraProfile:
    """Fit the camera to several views of the sheet.

    Parameters
    ----------
    views : sequence of (plan, photo)
        Corners in the plan (n, 2), mm, and in the photo (n, 2), px, per view.
    size_px : (width, height)
        Of all photos.
    name : str
        Of the phone and lens, for people.
    f35_mm : float, optional
        EXIF 35-mm-equivalent focal length of the photos.

    Raises
    ------
    UnreadableError
        If there are too few views, none is tilted enough, or they do not fit one camera.
    """
    if len(views) < FEWEST_VIEWS:
        raise UnreadableError(
            f"only {len(views)} of the photos show the sheet; {FEWEST_VIEWS} are needed;",
            "take six to ten, from above and tilted to all four sides",
            code="no-reference",
        )
    plan = [np.column_stack([p, np.zeros(len(p))]).astype(np.float32) for p, _ in views]
    photo = [q.astype(np.float32).reshape(-1, 1, 2) for _, q in views]
    guess = _guess(size_px, f35_mm)
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS
        | cv2.CALIB_FIX_ASPECT_RATIO
        | cv2.CALIB_ZERO_TANGENT_DIST
        | cv2.CALIB_FIX_K3
    )
    result = cv2.calibrateCameraExtended(plan, photo, size_px, guess, np.zeros(5), flags=flags)
    rms, matrix, k, turns, spread = result[0], result[1], np.ravel(result[2]), result[3], result[5]
    tilts = [_tilt(np.asarray(t)) for t in turns]
    if sum(t >= LEAST_TILT_DEG for t in tilts) < 2:
        raise UnreadableError(
            f"the views are all nearly square on (steepest {max(tilts):.0f} degrees);",
            "take at least two more tilted by 20 to 35 degrees",
            code="tilt",
        )
    if rms > 3.0:
        raise UnreadableError(
            f"the views do not fit one camera (misfit {rms:.1f} px);",
            "use one phone, one lens, no crop, and a flat sheet",
            code="no-reference",
        )
    u = np.ravel(spread)
    f = float(matrix[0, 0])
    u_c = [float(np.hypot(u[i], SHOT_CENTRE_SHARE * max(size_px))) for i in (2, 3)]
    return CameraProfile(
        name=name,
        width_px=size_px[0],
        height_px=size_px[1],
        f_px=f,
        u_f_px=float(np.hypot(u[0], SHOT_F_SHARE * f)),
        centre_px=(float(matrix[0, 2]), float(matrix[1, 2])),
        u_centre_px=(u_c[0], u_c[1]),
        k1=float(k[0]),
        k2=float(k[1]),
        residual_px=float(rms),
        views=len(views),
        f35_mm=f35_mm,
    )


def _guess(size_px: tuple[int, int], f35_mm: float | None) -> Points:
    from pitchcam.camera.pinhole import camera_from_exif

    camera = camera_from_exif(*size_px, f35_mm)
    x, y = camera.centre_px
    return np.array([[camera.f_px, 0, x], [0, camera.f_px, y], [0, 0, 1]])


def _tilt(turn: Points) -> float:
    return float(np.degrees(np.arccos(np.clip(cv2.Rodrigues(turn)[0][2, 2], -1, 1))))


def save_profile(profile: CameraProfile, path: Path) -> None:
    """Write a profile as JSON, whole or not at all.

    Raises
    ------
    PitchcamError
        If the file cannot be written.
    """
    part = path.with_name(path.name + ".part")
    text = json_text(document("camera", asdict(profile)), indent=1) + "\n"
    try:
        part.write_text(text)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise PitchcamError(
            f"{path}: cannot be written: {error.strerror or error}", "choose another folder"
        ) from None


def load_profile(path: Path) -> CameraProfile:
    """Read a profile and check it.

    Raises
    ------
    InputError
        If the file is missing, is no camera profile, or holds values that no camera has.
    """
    try:
        kept = json.loads(
            read_whole(path, MOST_BYTES, advice="name a profile made by 'pitchcam calibrate'")
        )
    except (ValueError, RecursionError):  # no JSON, or nested as deep as no profile is
        kept = None
    if not isinstance(kept, dict) or kept.get("format") != FORMAT:
        raise InputError(
            f"{path}: not a camera profile ({FORMAT});",
            "name a profile made by 'pitchcam calibrate'",
        )
    try:
        profile = _from_json(kept)
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise InputError(
            f"{path}: damaged camera profile ({error});", "make it again with 'pitchcam calibrate'"
        ) from None
    return profile


def _from_json(d: dict[str, Any]) -> CameraProfile:
    def pair(key: str) -> tuple[float, float]:
        x, y = d[key]
        return float(x), float(y)

    f35 = d.get("f35_mm")
    profile = CameraProfile(
        name=str(d["name"]),
        width_px=int(d["width_px"]),
        height_px=int(d["height_px"]),
        f_px=float(d["f_px"]),
        u_f_px=float(d["u_f_px"]),
        centre_px=pair("centre_px"),
        u_centre_px=pair("u_centre_px"),
        k1=float(d["k1"]),
        k2=float(d["k2"]),
        residual_px=float(d["residual_px"]),
        views=int(d["views"]),
        f35_mm=None if f35 is None else float(f35),
    )
    numbers = [
        profile.f_px,
        profile.u_f_px,
        *profile.centre_px,
        *profile.u_centre_px,
        profile.k1,
        profile.k2,
    ]
    sizes = (profile.f_px, profile.width_px, profile.height_px)
    if not np.all(np.isfinite(numbers)) or min(sizes) <= 0:
        raise ValueError("values that no camera has")
    return profile
