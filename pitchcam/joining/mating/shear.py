"""On how much metal a thread shears, against a right pair of its own kind."""

from __future__ import annotations

import math
from dataclasses import replace

from pitchcam.joining.mating.geometry import MadeThread


def basic_profile(thread: MadeThread) -> MadeThread:
    """Return the basic profile on this thread's pitch line: male and female share it."""
    return replace(
        thread,
        r_major=thread.r_pitch + thread.crest_mm,
        r_minor=thread.r_pitch + thread.crest_mm - thread.depth_mm,
    )


def shear_areas(male: MadeThread, female: MadeThread) -> tuple[float, float]:
    """Return the shear area (mm2 per mm of engagement) of the male and of the female thread."""
    at_minor = max(half_width_mm(male, female.r_minor - male.r_pitch), 0.0)
    male_area = 2.0 * math.pi * female.r_minor * 2.0 * at_minor / male.pitch_mm
    groove = max(half_width_mm(female, male.r_major - female.r_pitch), 0.0)
    thickness = max(female.pitch_mm - 2.0 * groove, 0.0)
    female_area = 2.0 * math.pi * male.r_major * thickness / female.pitch_mm
    return male_area, female_area


def half_width_mm(thread: MadeThread, offset_mm: float) -> float:
    """Return half the axial width of a ridge or groove ``offset_mm`` outside its pitch line.

    One place of :func:`pitchcam.joining.mating.rounded.groove_half_width`: negative beyond the
    theoretical crest of straight flanks, none beyond a rounded one.
    """
    flat = thread.pitch_mm / 4.0 - offset_mm * math.tan(math.radians(thread.half_angle_deg))
    radius = thread.crest_radius_mm
    if radius <= 0.0:
        return flat
    below_crest = thread.depth_mm / 2.0 - offset_mm
    if below_crest <= 0.0:
        return min(flat, 0.0)
    if below_crest < radius * (1.0 - math.sin(math.radians(thread.half_angle_deg))):
        return math.sqrt(max(2.0 * radius * below_crest - below_crest**2, 0.0))
    return flat
