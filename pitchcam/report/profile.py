"""The named standard's basic profile over one pitch, to be laid over the measured one."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pitchcam.series import ThreadSize

# Crest and root radius as a share of the pitch, by thread angle: BS 84 (55 degrees), BS 93 (47.5).
_RADIUS_SHARE = {55.0: 0.137329, 47.5: 0.180834}
_PHASES = 240

Array = NDArray[np.float64]


def basic_radius(size: ThreadSize, turn: ArrayLike, station_mm: float | None = None) -> Array:
    """Return the radius of the basic profile in mm.

    Parameters
    ----------
    size
        The named size; its basic diameters and angle define the profile.
    turn
        Axial position in pitches; the ridge's middle is at 0.
    station_mm
        Where on a tapered thread, from the small end face; the gauge plane by default.

    Notes
    -----
    Straight flanks through the pitch diameter, ended by the major and minor diameters; for the
    rounded forms by arcs that touch the flanks, with their top at those diameters.
    """
    shift = 0.0
    if size.taper and station_mm is not None:
        shift = (size.major_at(station_mm) - size.basic_major_mm) / 2.0
    pitch, half = size.pitch_mm, np.radians(size.angle_deg / 2.0)
    share = np.asarray(turn, float)
    from_ridge = np.abs(share - np.round(share)) * pitch
    radius = size.basic_pitch_diameter_mm / 2.0 + (pitch / 4.0 - from_ridge) / np.tan(half)
    top, bottom = size.basic_major_mm / 2.0, size.basic_minor_mm / 2.0
    arc = _RADIUS_SHARE.get(size.angle_deg, 0.0) * pitch
    if arc:
        crest = _arc_height(from_ridge, arc, half)
        root = _arc_height(pitch / 2.0 - from_ridge, arc, half)
        radius = np.where(np.isnan(crest), radius, top - arc + crest)
        radius = np.where(np.isnan(root), radius, bottom + arc - root)
    return np.asarray(np.clip(radius, bottom, top) + shift, float)


def _arc_height(offset: Array, arc: float, half: float) -> Array:
    """Return the height over the arc's centre where the arc reaches (to its flanks), else NaN."""
    inside = np.abs(offset) <= arc * np.cos(half)
    return np.where(inside, np.sqrt(np.maximum(arc**2 - np.minimum(offset, arc) ** 2, 0.0)), np.nan)


def best_phase(
    size: ThreadSize, turn: ArrayLike, radius_mm: ArrayLike, station_mm: float | None
) -> float:
    """Return the shift in pitches that lays the basic profile on the measured points.

    The level is left free, so that a worn or undersized thread is laid over by its shape.
    """
    shares, radii = np.asarray(turn, float), np.asarray(radius_mm, float)
    phases = np.arange(_PHASES) / _PHASES
    spread = [
        float(np.var(radii - basic_radius(size, shares - phase, station_mm))) for phase in phases
    ]
    return float(phases[int(np.argmin(spread))])
