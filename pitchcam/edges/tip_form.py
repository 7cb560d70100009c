"""The outlines of crests and roots: a flat, or a circle that touches both flanks; which of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.section import Section

Values = NDArray[np.float64]

#: Thread angles, and how likely a crest is round there: by BS 84, ISO 7-1, ISO 228-1, BS 93 and DIN
#: 40430 it is; ISO 68-1 and ASME B1.1 draw it flat, but rolled threads come out round (common
#: practice, no source).
ROUND_CRESTS = ((60.0, 0.5), (55.0, 0.98), (47.5, 0.98), (80.0, 0.98))


def meeting_radius(section: Section, *, groove: bool) -> float:
    """Return the radius where the flanks of a ridge (or a groove) would meet, as seen, mm."""
    seen = section.seen
    width = seen.width_mm - (abs(seen.pitch_mm) if groove else 0.0)
    return float(seen.ref_radius_mm + width / sum(seen.tan_half))


def tip_outline(
    z: Values, end_mm: Values, section: Section, is_round: NDArray[np.bool_], *, groove: bool
) -> tuple[Values, Values]:
    """Return outlines across the middle of a ridge or groove.

    Parameters
    ----------
    z
        Stations from the middle, mm, (k,).
    end_mm
        Radii at which the outlines end, (p, 1).
    section
        The fitted flanks.
    is_round
        Whether an end is a circle that touches both flanks, or flat, (p, 1).
    groove
        The bottoms of grooves instead of the tops of ridges.

    Returns
    -------
    radius_mm, cos_b
        Radius of the outline, and the cosine of its slope, (p, k).
    """
    tan = sum(section.seen.tan_half) / 2
    sine = tan / np.hypot(1.0, tan)
    meet = meeting_radius(section, groove=groove)
    # Mirrored at the meeting point, a groove is a ridge.
    up = -1.0 if groove else 1.0
    z = np.abs(z)
    cut = np.maximum(up * (meet - end_mm), 0.0)
    radius = np.maximum(cut / (1 / sine - 1), 1e-4)
    on = z < radius * np.sqrt(1 - sine**2)
    chord = np.sqrt(np.maximum(radius**2 - z**2, 1e-12))
    flank = np.broadcast_to(z / tan, on.shape)
    circle = (np.where(on, cut + radius - chord, flank), np.where(on, z / chord, 1 / tan))
    flat = (np.maximum(flank, cut), np.where(flank < cut, 0.0, 1 / tan))
    fall, slope = (np.where(is_round, a, b) for a, b in zip(circle, flat, strict=True))
    return meet - up * fall, 1 / np.hypot(1.0, slope)


def round_share(angle_deg: float, u_deg: float) -> float:
    """Return how likely a thread of a measured angle has round crests."""
    angles, shares = (np.array(column) for column in zip(*ROUND_CRESTS, strict=True))
    off = ((angle_deg - angles) / u_deg) ** 2
    likely = np.exp(-0.5 * (off - off.min()))
    return float(likely @ shares / likely.sum())
