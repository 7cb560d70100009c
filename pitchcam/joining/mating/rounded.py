"""The play of a ridge in a groove where crests are rounded: sampled, since it has no short form."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.joining.mating.geometry import MadeThread

Array = NDArray[np.float64]

#: Radii across the flank that are looked at: the clearance is linear or an arc of radius r, whose
#: extreme 41 of them miss by (height / 80)^2 / 2r at most, under a micrometre.
SAMPLES = 41


def half_plays(
    male: MadeThread, female: MadeThread, stations: list[float], length: float
) -> list[float]:
    """Return, per station (mm from the male's small end), the half play of ridge in groove."""
    along = np.array(stations)
    shift_m = along * male.taper / 2.0
    shift_f = -(length - along) * female.taper / 2.0
    inner = np.maximum(male.r_minor + shift_m, female.r_minor + shift_f)
    outer = male.r_major + shift_m
    share = np.linspace(0.0, 1.0, SAMPLES)
    radius = inner[:, None] + share[None, :] * np.maximum(outer - inner, 0.0)[:, None]
    ridge = ridge_half_width(male, radius - (male.r_pitch + shift_m)[:, None])
    groove = groove_half_width(female, radius - (female.r_pitch + shift_f)[:, None])
    play: Array = np.min(groove - ridge, axis=1)
    # The female's crest reaching the male's root leaves no room either, however wide the groove.
    buried = np.maximum((male.r_minor + shift_m) - (female.r_minor + shift_f), 0.0)
    play = play - buried * np.tan(np.radians(female.half_angle_deg))
    # No overlap at all: nothing touches, the play is half a pitch.
    return list(np.where(outer <= inner, female.pitch_mm / 2.0, play).tolist())


def ridge_half_width(male: MadeThread, offset: Array) -> Array:
    """Return half the male ridge's axial width at ``offset`` mm outside its pitch line.

    Straight flanks through P/4 at the pitch line, rounded near the crest where the form is; 0
    beyond the theoretical crest.
    """
    slope = np.tan(np.radians(male.half_angle_deg))
    flat = male.pitch_mm / 4.0 - offset * slope
    return np.maximum(_rounded(male, offset, flat), 0.0)


def groove_half_width(female: MadeThread, offset: Array) -> Array:
    """Return half the female groove's axial width at ``offset`` mm outside its pitch line.

    The same form as a ridge: the basic profile is one line with metal on either side of it.
    Beyond the female's own root the flank is continued, so that a ridge that is too tall shows as
    a loss of play in proportion and not as a jump.
    """
    slope = np.tan(np.radians(female.half_angle_deg))
    flat = female.pitch_mm / 4.0 - offset * slope
    return _rounded(female, offset, flat)


def _rounded(thread: MadeThread, offset: Array, flat: Array) -> Array:
    """Replace the flank by the crest arc where the arc is narrower."""
    radius = thread.crest_radius_mm
    if radius <= 0.0:
        return flat
    below_crest = thread.depth_mm / 2.0 - offset
    tangent = radius * (1.0 - np.sin(np.radians(thread.half_angle_deg)))
    arc = np.sqrt(np.maximum(2.0 * radius * below_crest - below_crest**2, 0.0))
    inside = (below_crest > 0.0) & (below_crest < tangent)
    return np.where(inside, arc, np.where(below_crest <= 0.0, np.minimum(flat, 0.0), flat))
