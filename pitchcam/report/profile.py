"""The named standard's profile over one pitch, to be laid over the measured one."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pitchcam.series import ThreadSize
from pitchcam.series.profile import axial_profile

# Fine enough that a chord of an arc is within a thousandth of the pitch.
_ARC_POINTS = 24
_PHASES = 240

Array = NDArray[np.float64]


def standard_radius(size: ThreadSize, turn: ArrayLike, station_mm: float | None = None) -> Array:
    """Return the radius of the standard's profile in mm, at its basic size.

    Parameters
    ----------
    size
        The named size.
    turn
        Axial position in pitches; the ridge's middle is at 0.
    station_mm
        Where on a tapered thread, from the small end face; the gauge plane by default. The profile
        is drawn level there.
    """
    points = axial_profile(size, 1.0, _ARC_POINTS)
    along = points[:, 0]
    below = points[:, 1] - along * size.taper / 2.0
    major = size.basic_major_mm
    if size.taper and station_mm is not None:
        major = size.major_at(station_mm)
    at = np.mod(np.asarray(turn, float), 1.0) * size.pitch_mm
    return np.asarray(major / 2.0 + np.interp(at, along, below), float)


def best_phase(
    size: ThreadSize, turn: ArrayLike, radius_mm: ArrayLike, station_mm: float | None
) -> float:
    """Return the shift in pitches that lays the standard's profile on the measured points.

    The level is left free, so that a worn or undersized thread is laid over by its shape.
    """
    shares, radii = np.asarray(turn, float), np.asarray(radius_mm, float)
    phases = np.arange(_PHASES) / _PHASES
    spread = [
        float(np.var(radii - standard_radius(size, shares - phase, station_mm))) for phase in phases
    ]
    return float(phases[int(np.argmin(spread))])
