"""What a term of the budget starts from: the measured quantities and the place of the thread."""

from __future__ import annotations

import numpy as np

from pitchcam.camera.held import PRIOR_TILT_RAD
from pitchcam.camera.pinhole import Camera
from pitchcam.frozen import dataclass
from pitchcam.records import Quantity
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.measure import ThreadShape
from pitchcam.thread.pose.records import U_INCLINE_RAD

#: A thread measured whole, or by its crests alone.
Measured = ThreadShape | CrestShape
#: The quantities that a wrong scale makes larger, all by the same share.
LENGTHS = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm")
#: A distortion makes three times as much of the scale along the radius as across it: this is what
#: it makes of a size that is read every way.
BENT_EVERY_WAY = 2.0


@dataclass(frozen=True, kw_only=True)
class Geometry:
    """What the place of a thread adds: its axis's height and how far it lies from the reference.

    ``u_scale`` is the relative uncertainty of the reference's own scale; ``rise_mm`` the height
    of the axis over the reference's plane with ``u_rise_mm``; ``apart_mm`` the distance along the
    plate between reference and thread, across the part's axis, and ``u_tilt_rad`` the camera's
    tilt that way; ``corner_share`` the thread's distance from the picture's
    centre as a share of the corner's, ``corner_share_reference`` the reference's; ``radial`` the
    square of the cosine between the axis and the way from the centre, and ``bent_reference`` what a
    distortion makes of the scale that the reference tells, against that across the radius;
    ``bent_tilt`` what one of 1 at the corner makes of the thread's scale by the tilt that the
    reference then tells, which ``u_tilt_rad`` leaves out.
    ``scale_on_axis`` says that a part's own crests gave the scale, ``read_crests`` that this
    thread's did. The axis rises by
    ``slope_rad`` over the plate; its height goes with that by ``height_per_rad``, which
    ``u_rise_mm`` leaves out, and with the focal length's logarithm by ``slope_per_lens``, which
    ``u_slope_rad`` leaves out; the scale in the reference's plane goes with it by
    ``scale_per_lens``, logarithm by logarithm. ``rows_shown`` says that something
    straight would show rows of the picture that are out of place. ``recentred`` are cameras whose
    principal point is moved by its u to either side, along the axis and across it; none where it is
    known.

    Where a part's own crests gave the scale to another thread, ``lever_mm`` is how far along the
    axis this thread lies from theirs, if both are of one part; ``u_beside_mm`` what is open of
    their axes' difference in depth, if they are not; and ``bent_read`` what a distortion of 1 at
    the corner makes of the scale at the crests that were read, None where they are this thread's.
    """

    height_mm: float
    u_scale: float
    rise_mm: float
    u_rise_mm: float
    apart_mm: float
    corner_share: float
    corner_share_reference: float
    scale_on_axis: bool = False
    read_crests: bool = False
    rows_shown: bool = True
    slope_rad: float = 0.0
    u_slope_rad: float = U_INCLINE_RAD
    height_per_rad: float = 0.0
    slope_per_lens: float = 0.0
    scale_per_lens: float = 0.0
    recentred: tuple[tuple[Camera, Camera], ...] = ()
    u_tilt_rad: float = PRIOR_TILT_RAD
    radial: float = 0.5
    bent_reference: float = BENT_EVERY_WAY
    bent_tilt: float = 0.0
    lever_mm: float = 0.0
    u_beside_mm: float = 0.0
    bent_read: float | None = None


def values(shape: Measured) -> dict[str, float]:
    """Return the naming quantities of a measured thread; what was not measured is absent."""
    return {k: v for k, v in shape.quantities().items() if np.isfinite(v)}


def reach_mm(shape: Measured) -> float:
    """Return the distance of the pinhole from the middle of the thread's axis."""
    return float(np.linalg.norm(shape.frame.origin))


def scaled(shape: Measured, share: float) -> dict[str, float]:
    """Return what a relative error of the scale contributes to each length."""
    v = values(shape)
    return {k: v[k] * share for k in LENGTHS if k in v}


def by_pitch(shape: Measured, u: dict[str, float]) -> dict[str, float]:
    """Return contributions of which those of lengths are given as shares of the pitch."""
    return {k: u[k] * (shape.pitch_mm if k in LENGTHS else 1.0) for k in u}


def quantity(value: float | None, u: float) -> Quantity | None:
    """Return a quantity as a photo tells it, or None where there is no value."""
    return None if value is None else Quantity.measured(float(value), float(u))
