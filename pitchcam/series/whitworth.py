"""Limits of the British parallel threads: BS 84 (BSW, BSF), BS 93 (BA), and ISO 228-1 (G).

BS 84 formulas from memory (the ratios close 2/3, medium 1, free 3/2 are published); BS 93 annex B;
ISO 228-1 table 1.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from pitchcam.records import MM_PER_INCH
from pitchcam.series.records import Limits

#: Depth over pitch: BS 84 (and ISO 228-1, ISO 7-1, BS 31); BS 811, 60 degrees with crests and roots
#: rounded by a radius of P/6, which leaves H - P/3; BS 93.
WHITWORTH_DEPTH = 0.640327
CYCLE_DEPTH = math.sqrt(3) / 2 - 1 / 3
BA_DEPTH = 0.6
EXTERNAL_CLASSES = ("medium", "free", "close")
INTERNAL_CLASSES = ("medium", "normal")
_SHARE = {"close": 2 / 3, "medium": 1.0, "free": 1.5, "normal": 1.5}


def effective_tolerance_in(d_in: float, tpi: float) -> float:
    """Return BS 84's T in inches, with an engagement of one diameter."""
    return 0.002 * math.cbrt(d_in) + 0.003 * math.sqrt(d_in) + 0.005 * math.sqrt(1 / tpi)


def external(d_in: float, tpi: float, depth: float) -> Iterator[Limits]:
    """Yield a bolt's limits in every class of BS 84."""
    return (external_limits(d_in, tpi, c, depth) for c in EXTERNAL_CLASSES)


def internal(d_in: float, tpi: float, depth: float) -> Iterator[Limits]:
    """Yield a nut's limits in every class of BS 84."""
    return (internal_limits(d_in, tpi, c, depth) for c in INTERNAL_CLASSES)


def external_limits(d_in: float, tpi: float, thread_class: str, depth: float) -> Limits:
    """Return the limits of a bolt by BS 84; ``depth`` is the thread's depth over its pitch."""
    p = 1 / tpi
    unit = effective_tolerance_in(d_in, tpi)
    tolerance = _SHARE[thread_class] * unit
    allowed = thread_class in ("medium", "free") and d_in <= 0.75
    top = d_in - (0.3 * unit if allowed else 0.0)
    root = 0.013 if thread_class == "close" else 0.02
    pd, minor = top - depth * p, top - 2 * depth * p
    return _limits(
        thread_class,
        (top - tolerance - 0.01 * math.sqrt(p), top),
        (pd - tolerance, pd),
        (minor - tolerance - root * math.sqrt(p), minor),
    )


def internal_limits(d_in: float, tpi: float, thread_class: str, depth: float) -> Limits:
    """Return the limits of a nut by BS 84, classes medium and normal."""
    p = 1 / tpi
    tolerance = _SHARE[thread_class] * effective_tolerance_in(d_in, tpi)
    bore_tolerance = 0.2 * p + (0.004 if tpi >= 26 else 0.005 if tpi >= 22 else 0.007)
    pd, bore = d_in - depth * p, d_in - 2 * depth * p
    return _limits(
        thread_class,
        (d_in, d_in + tolerance + 0.05 * p),  # a new tap's crest; the standard leaves it open
        (pd, pd + tolerance),
        (bore, bore + bore_tolerance),
    )


def ba_external(d_mm: float, pitch_mm: float, number: int, thread_class: str) -> Limits:
    """Return the limits of a BA screw, classes normal and close (BS 93:2008 annex B)."""
    p = pitch_mm
    normal = thread_class == "normal"
    top = d_mm - (0.025 if normal else 0.0)  # allowance of the normal class, from memory
    major_share = (0.20 if number <= 10 else 0.25) if normal else 0.15
    effective = 0.10 * p + 0.025 if normal else 0.08 * p + 0.02
    root = 0.20 * p + 0.05 if normal else 2 * effective
    pd, minor = top - BA_DEPTH * p, top - 2 * BA_DEPTH * p
    return Limits(
        thread_class=thread_class,
        major_mm=(top - major_share * p, top),
        pitch_diameter_mm=(pd - effective, pd),
        minor_mm=(minor - root, minor),
    )


def ba_internal(d_mm: float, pitch_mm: float) -> Limits:
    """Return the limits of a BA nut (BS 93:2008 annex B)."""
    p = pitch_mm
    pd, bore = d_mm - BA_DEPTH * p, d_mm - 2 * BA_DEPTH * p
    effective = 0.12 * p + 0.03
    return Limits(
        thread_class="normal",
        major_mm=(d_mm, d_mm + effective + 0.05 * p),  # a new tap's crest
        pitch_diameter_mm=(pd, pd + effective),
        minor_mm=(bore, bore + 0.375 * p),
    )


def g_external(d_mm: float, pitch_mm: float, td2_um: float, td_um: float, name: str) -> Limits:
    """Return the limits of an external G thread, class A or B (ISO 228-1 table 1)."""
    depth = WHITWORTH_DEPTH * pitch_mm
    pd, minor = d_mm - depth, d_mm - 2 * depth
    tolerance = td2_um / 1000
    return Limits(
        thread_class=name,
        major_mm=(d_mm - td_um / 1000, d_mm),
        pitch_diameter_mm=(pd - tolerance, pd),
        # The standard limits no external root: the flank tolerance and the root's own rounding.
        minor_mm=(minor - tolerance - 0.1 * pitch_mm, minor),
    )


def g_internal(d_mm: float, pitch_mm: float, td2_um: float, tD1_um: float) -> Limits:
    """Return the limits of an internal G thread (ISO 228-1 table 1); also those of Rp's form."""
    depth = WHITWORTH_DEPTH * pitch_mm
    pd, bore = d_mm - depth, d_mm - 2 * depth
    tolerance = td2_um / 1000
    return Limits(
        thread_class="G",
        major_mm=(d_mm, d_mm + tolerance + 0.05 * pitch_mm),  # a new tap's crest
        pitch_diameter_mm=(pd, pd + tolerance),
        minor_mm=(bore, bore + tD1_um / 1000),
    )


def _limits(
    name: str, major: tuple[float, float], pd: tuple[float, float], minor: tuple[float, float]
) -> Limits:
    def mm(pair: tuple[float, float]) -> tuple[float, float]:
        return pair[0] * MM_PER_INCH, pair[1] * MM_PER_INCH

    return Limits(
        thread_class=name, major_mm=mm(major), pitch_diameter_mm=mm(pd), minor_mm=mm(minor)
    )
