"""Limits of Unified threads by the formulas of ASME B1.1 (inch; from memory).

Formulas were compared with published tables: see the tests.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from pitchcam.records import MM_PER_INCH
from pitchcam.series.iso import INTERNAL_MINOR, PITCH_LINE
from pitchcam.series.records import Limits

EXTERNAL_CLASSES = ("2A", "3A", "1A")
INTERNAL_CLASSES = ("2B", "3B", "1B")
_D2_FACTOR = {"1A": 1.5, "2A": 1.0, "3A": 0.75, "1B": 1.95, "2B": 1.3, "3B": 0.975}
#: Flat root of the external thread, H/8 wide (B1.1 basic profile), below the pitch line.
_ROOT_BELOW_PITCH_LINE = 0.75 * math.sqrt(3) / 2


def pitch_tolerance_in(d_in: float, tpi: float, series: str) -> float:
    """Return the pitch-diameter tolerance of class 2A in inches.

    The length of engagement is the diameter for UNC, UNF and the 4, 6 and 8 thread series, and
    nine pitches otherwise (B1.1, 5.1.2).
    """
    p = 1 / tpi
    by_diameter = series in ("UNC", "UNF") or (series == "UN" and tpi in (4, 6, 8))
    engagement = d_in if by_diameter else 9 * p
    return 0.0015 * math.cbrt(d_in) + 0.0015 * math.sqrt(engagement) + 0.015 * math.cbrt(p * p)


def external(d_in: float, tpi: float, series: str) -> Iterator[Limits]:
    """Yield a bolt's limits in every class."""
    return (external_limits(d_in, tpi, series, c) for c in EXTERNAL_CLASSES)


def internal(d_in: float, tpi: float, series: str) -> Iterator[Limits]:
    """Yield a nut's limits in every class."""
    return (internal_limits(d_in, tpi, series, c) for c in INTERNAL_CLASSES)


def external_limits(d_in: float, tpi: float, series: str, thread_class: str) -> Limits:
    """Return the limits of an external Unified thread of class 1A, 2A or 3A."""
    p = 1 / tpi
    base = pitch_tolerance_in(d_in, tpi, series)
    allowance = 0.0 if thread_class == "3A" else 0.3 * base
    top = d_in - allowance
    major_tolerance = (0.090 if thread_class == "1A" else 0.060) * math.cbrt(p * p)
    pd = top - PITCH_LINE * p
    low = pd - _D2_FACTOR[thread_class] * base
    return _limits(
        thread_class,
        (top - major_tolerance, top),
        (low, pd),
        (low - _ROOT_BELOW_PITCH_LINE * p, top - INTERNAL_MINOR * p),
    )


def bore_tolerance_in(d_in: float, tpi: float, thread_class: str) -> float:
    """Return the tolerance of the internal minor diameter in inches (B1.1, 5.2)."""
    p = 1 / tpi
    small = 0.05 * math.cbrt(p * p) + 0.03 * p / d_in - 0.002
    if thread_class == "3B":
        floor = 0.23 * p - 1.5 * p * p if tpi >= 13 else 0.120 * p
        return min(max(small, floor), 0.394 * p)
    wide = 0.25 * p - 0.40 * p * p if tpi > 4 else 0.15 * p
    if d_in >= 0.25:
        return wide
    return min(max(small, wide), 0.394 * p)


def internal_limits(d_in: float, tpi: float, series: str, thread_class: str) -> Limits:
    """Return the limits of an internal Unified thread of class 1B, 2B or 3B."""
    p = 1 / tpi
    pd = d_in - PITCH_LINE * p
    tolerance = _D2_FACTOR[thread_class] * pitch_tolerance_in(d_in, tpi, series)
    bore = d_in - INTERNAL_MINOR * p
    return _limits(
        thread_class,
        # A tap's crest may reach H/24 past the H/8 flat of the basic groove.
        (d_in, d_in + tolerance + math.sqrt(3) / 24 * p),
        (pd, pd + tolerance),
        (bore, bore + bore_tolerance_in(d_in, tpi, thread_class)),
    )


def _limits(
    name: str, major: tuple[float, float], pd: tuple[float, float], minor: tuple[float, float]
) -> Limits:
    def mm(pair: tuple[float, float]) -> tuple[float, float]:
        return pair[0] * MM_PER_INCH, pair[1] * MM_PER_INCH

    return Limits(
        thread_class=name, major_mm=mm(major), pitch_diameter_mm=mm(pd), minor_mm=mm(minor)
    )
