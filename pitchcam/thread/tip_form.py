"""The outlines of crests and roots: a flat, or a circle that touches both flanks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.thread.fitting import Section

Values = NDArray[np.float64]


def tip_outline(
    z: Values, end_mm: float, section: Section, *, rounded: bool, groove: bool
) -> tuple[Values, Values]:
    """Return the radius of a ridge's (or groove's) outline at stations from its middle, and cos b.

    The end is a flat across the flanks, or a circle tangent to both.
    """
    seen = section.seen
    tan = sum(seen.tan_half) / 2
    half = np.arctan(tan)
    width = seen.width_mm - (abs(seen.pitch_mm) if groove else 0.0)
    meet = seen.ref_radius_mm + width / (2 * tan)
    # Mirrored at the meeting point, a groove is a ridge.
    up = -1.0 if groove else 1.0
    z = np.abs(z)
    fall = z / tan
    slope = np.full_like(z, 1 / tan)
    depth = max(up * (meet - end_mm), 0.0)
    if rounded:
        rho = max(depth / (1 / np.sin(half) - 1), 1e-4)
        on = z < rho * np.cos(half)
        chord = np.sqrt(np.maximum(rho**2 - z**2, 1e-12))
        fall = np.where(on, depth + rho - chord, fall)
        slope = np.where(on, z / chord, slope)
    else:
        slope = np.where(fall < depth, 0.0, slope)
        fall = np.maximum(fall, depth)
    return meet - up * fall, 1 / np.hypot(1.0, slope)
