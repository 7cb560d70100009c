"""The outlines of crests and roots: a flat, or a circle that touches both flanks; which of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.section import Section
from pitchcam.light.stations import Line, Moved, Stretch

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
    line: Line, end_mm: Values, section: Section, is_round: NDArray[np.bool_], *, groove: bool
) -> Stretch:
    """Return outlines across the middle of a ridge or groove, and how they move with their ends.

    Parameters
    ----------
    line
        The line along which the light is compared.
    end_mm
        Radii at which the outlines end, (p, 1).
    section
        The fitted flanks.
    is_round
        Whether an end is a circle that touches both flanks, or flat, (p, 1).
    groove
        The bottoms of grooves instead of the tops of ridges.

    Notes
    -----
    All of a flat is one station, and the others lie beyond its corner, so that nothing jumps where
    the corner passes one.
    """
    tan = sum(section.seen.tan_half) / 2
    # Mirrored at the meeting point, a groove is a ridge.
    up = -1.0 if groove else 1.0
    meet = meeting_radius(section, groove=groove)
    cut = np.maximum(up * (meet - end_mm), 0.0)
    if is_round.all():
        tip = _circle(line, cut, tan)
    else:
        forms = zip(_circle(line, cut, tan), _flat(line, cut, tan), strict=True)
        tip = tuple(np.where(is_round, a, b) for a, b in forms)
    fall, slope, weights, *by_cut = tip
    # Ends that lie farther out are cut less.
    fall_by, slope_by, weights_by = (-up * b * (cut > 0) for b in by_cut)
    cos_b, steepest = 1 / np.hypot(1.0, slope), 1 / np.hypot(1.0, tan)
    return Stretch(
        y=meet - up * fall,
        cos_b=cos_b,
        lean=slope * cos_b / steepest,
        weights=weights,
        moved=Moved(
            y=-up * fall_by,
            cos_b=-slope * slope_by * cos_b**3,
            lean=slope_by * cos_b**3 / steepest,
            weights=weights_by,
        ),
    )


def _circle(line: Line, cut: Values, tan: float) -> tuple[Values, ...]:
    """Return fall, slope and weights (p, k) of round tips, and their changes by the cut (p, 1)."""
    sine = tan / np.hypot(1.0, tan)
    share = 1 / (1 / sine - 1)
    radius = np.maximum(cut * share, 1e-4)
    by = share * (cut * share > 1e-4)
    touch = np.sqrt(1 - sine**2)
    at = line.cornered(radius * touch, flat=False)
    z, moved = at.z, at.z_moved * by * touch
    on = z < radius * touch
    chord = np.sqrt(np.maximum(radius**2 - z**2, 1e-12))
    inward = (radius * by - z * moved) / chord
    return (
        np.where(on, cut + radius - chord, z / tan),
        np.where(on, z / chord, 1 / tan),
        at.weights,
        np.where(on, 1 + by - inward, moved / tan),
        np.where(on, (moved - z * inward / chord) / chord, 0.0),
        at.weights_moved * by * touch,
    )


def _flat(line: Line, cut: Values, tan: float) -> tuple[Values, ...]:
    """Return of flat tips what :func:`_circle` returns."""
    at = line.cornered(cut * tan, flat=True)
    fall, by, slope = at.z / tan, at.z_moved, np.full(at.z.shape, 1 / tan)
    fall[:, :1], by[:, 0], slope[:, 0] = cut, 1.0, 0.0
    return fall, slope, at.weights, by, np.zeros(slope.shape), at.weights_moved * tan


def round_share(angle_deg: float, u_deg: float) -> float:
    """Return how likely a thread of a measured angle has round crests."""
    angles, shares = (np.array(column) for column in zip(*ROUND_CRESTS, strict=True))
    off = ((angle_deg - angles) / u_deg) ** 2
    likely = np.exp(-0.5 * (off - off.min()))
    return float(likely @ shares / likely.sum())
