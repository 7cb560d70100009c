"""Limits of ISO metric threads by the tables of ISO 965-1.

The standard's tables are its formulas rounded to the R40 series, now up, now down (ASME
B1.13M-2005, 6.2), so the tables rule where both exist.
"""

from __future__ import annotations

import bisect
import functools
import math
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

from pitchcam.series.records import Limits
from pitchcam.series.table import read_table

#: Basic profile, ISO 68-1: H = 0.866025 P; d2 = d - 3/4 H; D1 = d - 5/4 H.
PITCH_LINE = 0.75 * math.sqrt(3) / 2
INTERNAL_MINOR = 1.25 * math.sqrt(3) / 2
#: Root radius of at least P/8 (ISO 965-1): its lowest point lies H/2 - P/8 inside the pitch line.
ROOT_BELOW_PITCH_LINE = 2 * (math.sqrt(3) / 4 - 0.125)
#: Diameter steps of ISO 965-1; the pitch tolerance is that of the step's geometric mean.
STEPS_MM = (0.99, 1.4, 2.8, 5.6, 11.2, 22.4, 45.0, 90.0, 180.0, 300.0)
#: Tolerance of a grade over that of grade 6 (ISO 965-1, clause 13).
GRADE_FACTOR = {4: 0.63, 5: 0.8, 6: 1.0, 7: 1.25, 8: 1.6}
EXTERNAL_CLASSES = ("6g", "6e", "8g", "4h", "6h")
INTERNAL_CLASSES = ("6H", "5H", "7H", "6G", "4H")
#: Renard R40, one decade (ISO 3, rounded values used by ISO 965-1).
R40 = (
    1.0,
    1.06,
    1.12,
    1.18,
    1.25,
    1.32,
    1.4,
    1.5,
    1.6,
    1.7,
    1.8,
    1.9,
    2.0,
    2.12,
    2.24,
    2.36,
    2.5,
    2.65,
    2.8,
    3.0,
    3.15,
    3.35,
    3.55,
    3.75,
    4.0,
    4.25,
    4.5,
    4.75,
    5.0,
    5.3,
    5.6,
    6.0,
    6.3,
    6.7,
    7.1,
    7.5,
    8.0,
    8.5,
    9.0,
    9.5,
    10.0,
)


def round_r40(value: float) -> float:
    """Return the R40 number nearest to a positive value."""
    decade = 10.0 ** math.floor(math.log10(value))
    mantissa = value / decade
    at = min(max(bisect.bisect_left(R40, mantissa), 1), len(R40) - 1)
    low, high = R40[at - 1], R40[at]
    return (low if mantissa - low <= high - mantissa else high) * decade


def formula_tolerance_um(d_mm: float, pitch_mm: float) -> float:
    """Return the unrounded T_d2 of grade 6 in µm: 90 P^0.4 d^0.1, d the mean of its step."""
    i = min(max(bisect.bisect_left(STEPS_MM, d_mm), 1), len(STEPS_MM) - 1)
    mean = math.sqrt(STEPS_MM[i - 1] * STEPS_MM[i])
    return 90 * math.pow(pitch_mm, 0.4) * math.pow(mean, 0.1)


@functools.cache
def _pitch_rows(folder: Path | None) -> dict[float, list[tuple[float, float, float, float | None]]]:
    rows = defaultdict(list)
    for row in read_table("iso965_pitch_diameter.csv", folder):
        limits = row.number("over_mm"), row.number("to_mm")
        rows[row.number("pitch_mm")].append(
            (*limits, row.number("td2_6_um"), row.optional("tD2_6_um"))
        )
    return rows


@functools.lru_cache(maxsize=4096)
def pitch_tolerance_um(
    d_mm: float, pitch_mm: float, grade: int, *, internal: bool, folder: Path | None = None
) -> float:
    """Return T_d2 or T_D2 in µm: the table's grade 6, by the grade's factor to the nearest R40.

    Fine pitches that the table leaves out take the formula, rounded alike.
    """
    six = None
    for over, to, td2, tD2 in _pitch_rows(folder).get(pitch_mm, ()):
        if over < d_mm <= to:
            six = tD2 if internal else td2
    if six is None:
        six = round_r40(formula_tolerance_um(d_mm, pitch_mm) * (1.32 if internal else 1.0))
    return six if grade == 6 else round_r40(six * GRADE_FACTOR[grade])


@functools.cache
def _rows(folder: Path | None) -> dict[float, dict[str, float]]:
    table = {}
    for row in read_table("iso965.csv", folder):
        cells = {c: row.optional(c) for c in row.cells if c.endswith("_um")}
        table[row.number("pitch_mm")] = {c: v for c, v in cells.items() if v is not None}
    return table


def external(d_mm: float, pitch_mm: float, folder: Path | None = None) -> Iterator[Limits]:
    """Yield a bolt's limits in every class that is defined for the pitch."""
    every = (external_limits(d_mm, pitch_mm, c, folder) for c in EXTERNAL_CLASSES)
    return (x for x in every if x is not None)


def internal(d_mm: float, pitch_mm: float, folder: Path | None = None) -> Iterator[Limits]:
    """Yield a nut's limits in every class that is defined for the pitch."""
    every = (internal_limits(d_mm, pitch_mm, c, folder) for c in INTERNAL_CLASSES)
    return (x for x in every if x is not None)


def external_limits(
    d_mm: float, pitch_mm: float, thread_class: str, folder: Path | None = None
) -> Limits | None:
    """Return the limits of an external thread, or None where the pitch has no such class.

    Parameters
    ----------
    d_mm, pitch_mm : float
        Nominal diameter and pitch in mm.
    thread_class : str
        Grade and position, such as ``6g``; one grade for both diameters.
    """
    row = _rows(folder).get(pitch_mm, {})
    grade, position = int(thread_class[0]), thread_class[1]
    deviation = 0.0 if position == "h" else row.get(f"es_{position}_um")
    tolerance = row.get(f"td{grade}_um")
    if deviation is None or tolerance is None:
        return None
    top = d_mm - deviation / 1000
    pd = top - PITCH_LINE * pitch_mm
    low = pd - pitch_tolerance_um(d_mm, pitch_mm, grade, internal=False, folder=folder) / 1000
    return Limits(
        thread_class=thread_class,
        major_mm=(top - tolerance / 1000, top),
        pitch_diameter_mm=(low, pd),
        minor_mm=(low - ROOT_BELOW_PITCH_LINE * pitch_mm, top - INTERNAL_MINOR * pitch_mm),
    )


def internal_limits(
    d_mm: float, pitch_mm: float, thread_class: str, folder: Path | None = None
) -> Limits | None:
    """Return the limits of an internal thread, or None where the class is not defined."""
    row = _rows(folder).get(pitch_mm, {})
    grade, position = int(thread_class[0]), thread_class[1]
    deviation = 0.0 if position == "H" else row.get(f"es_{position.lower()}_um")
    bore_tolerance = row.get(f"tD1_{grade}_um")
    if deviation is None or bore_tolerance is None:
        return None
    shift = deviation / 1000
    pd = d_mm - PITCH_LINE * pitch_mm + shift
    pd_tolerance = pitch_tolerance_um(d_mm, pitch_mm, grade, internal=True, folder=folder) / 1000
    bore = d_mm - INTERNAL_MINOR * pitch_mm + shift
    return Limits(
        thread_class=thread_class,
        # A tap's crest may reach H/24 past the H/8 flat of the basic groove.
        major_mm=(d_mm + shift, d_mm + shift + pd_tolerance + math.sqrt(3) / 24 * pitch_mm),
        pitch_diameter_mm=(pd, pd + pd_tolerance),
        minor_mm=(bore, bore + bore_tolerance / 1000),
    )
