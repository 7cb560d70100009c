"""Readings as a fitter has them: caliper, gauge leaf, form gauge; to a :class:`ThreadReading`."""

from __future__ import annotations

import math
from dataclasses import replace

from pitchcam.errors import ReadingError
from pitchcam.frozen import dataclass
from pitchcam.match.hand import ANGLES_DEG, Form
from pitchcam.records import MM_PER_INCH, Gender, Quantity, ThreadReading
from pitchcam.series import load_series
from pitchcam.series.gauges import Leaf

#: Standard uncertainties of hand and instrument (judgement): a caliper of 0.02 mm resolution held
#: square by hand; inside jaws rock and their flats read small; a leaf held to the light over five
#: turns or more shows half a percent of drift; a form gauge shows a wedge of light at 2 degrees.
U_DIAMETER_MM, U_BORE_MM, U_GAUGE, U_ANGLE_DEG = 0.03, 0.05, 0.005, 0.85
#: No thread of any series is as coarse as this share of its diameter (M1.6x0.35 has 0.22).
COARSEST = 0.3


@dataclass(frozen=True, kw_only=True, slots=True)
class Typed:
    """What a person typed, in mm and degrees; ``None`` where not read.

    ``second_mm`` is a second diameter, ``apart_mm`` from the first; which of them is nearer the
    small end is left open. ``station_mm`` is the first one's distance from the small end, None if
    it may be anywhere on the useful thread. ``form`` is what the eye says. ``cast`` says that the
    diameters are those of a cast or plug of an internal thread.
    """

    diameter_mm: float | None = None
    second_mm: float | None = None
    apart_mm: float | None = None
    bore_mm: float | None = None
    leaf: Leaf | None = None
    angle_deg: float | None = None
    form: Form | None = None
    cast: bool = False
    station_mm: float | None = None
    u_diameter_mm: float | None = None
    u_gauge: float | None = None
    u_angle_deg: float | None = None


def gender_of(typed: Typed) -> Gender:
    """Return whether the thread that was read is external or internal."""
    return "internal" if typed.bore_mm is not None or typed.cast else "external"


def u_diameter(typed: Typed) -> float:
    """Return the standard uncertainty of a diameter in mm, as stated or as a hand has it."""
    return typed.u_diameter_mm or (U_BORE_MM if typed.bore_mm is not None else U_DIAMETER_MM)


def to_reading(typed: Typed) -> ThreadReading:
    """Return the reading with its uncertainties and correlation.

    Raises
    ------
    ReadingError
        If the readings cannot be those of a thread, or contradict one another.

    Examples
    --------
    >>> to_reading(Typed(diameter_mm=13.8)).major_mm
    Quantity(value=13.8, u=0.03)
    """
    _check(typed)
    gender, u, station = gender_of(typed), u_diameter(typed), None
    if typed.station_mm is not None:
        station = Quantity(value=typed.station_mm, u=0.5)
    reading = ThreadReading(
        gender=gender,
        pitch_mm=None
        if typed.leaf is None
        else _share(typed.leaf.pitch_mm, typed.u_gauge or U_GAUGE),
        angle_deg=None
        if typed.angle_deg is None
        else Quantity(value=typed.angle_deg, u=typed.u_angle_deg or U_ANGLE_DEG),
        major_mm=None if typed.diameter_mm is None else Quantity(value=typed.diameter_mm, u=u),
        minor_mm=None if typed.bore_mm is None else Quantity(value=typed.bore_mm, u=u),
        diameter_station_mm=station,
    )
    return reading if typed.second_mm is None else _with_taper(reading, typed, u)


def _share(value: float, share: float) -> Quantity:
    return Quantity(value=value, u=value * share)


def _with_taper(reading: ThreadReading, typed: Typed, u: float) -> ThreadReading:
    """Return the reading with the taper of two diameters; it leans on the first of them."""
    assert typed.second_mm is not None and typed.apart_mm is not None
    crest = "minor_mm" if typed.bore_mm is not None else "major_mm"
    first = typed.bore_mm if typed.bore_mm is not None else typed.diameter_mm
    assert first is not None
    taper = (typed.second_mm - first) / typed.apart_mm
    u_taper = math.hypot(math.sqrt(2) * u / typed.apart_mm, taper * 0.5 / typed.apart_mm)
    # Inside, the mouth is the large end, and the second reading lies deeper and smaller.
    taper = -taper if reading.gender == "internal" else taper
    sign = 1.0 if reading.gender == "internal" else -1.0
    return replace(
        reading,
        taper=Quantity(value=taper, u=u_taper),
        correlation={(crest, "taper"): sign * u / typed.apart_mm / u_taper},
    )


def _check(typed: Typed) -> None:
    if typed.diameter_mm is not None and typed.bore_mm is not None:
        raise ReadingError(
            "a thread is read outside or inside, not both.", "Give --diameter, or --bore."
        )
    if all(x is None for x in (typed.diameter_mm, typed.bore_mm, typed.leaf)):
        raise ReadingError(
            "neither a diameter nor a pitch was given.", "Give --diameter or --bore, and --gauge."
        )
    for value in (typed.diameter_mm, typed.second_mm, typed.bore_mm):
        if value is not None:
            _check_diameter(value)
    crest = typed.diameter_mm if typed.diameter_mm is not None else typed.bore_mm
    if typed.second_mm is not None:
        _check_pair(crest, typed.second_mm, typed.apart_mm)
    if typed.leaf is not None and crest is not None and typed.leaf.pitch_mm > COARSEST * crest:
        hint = f" If the diameter is in inches write {crest:g}in." if crest < 4 else ""
        raise ReadingError(
            f"a pitch of {typed.leaf.pitch_mm:.3g} mm cannot be on a diameter of {crest:g} mm.",
            "Read both again." + hint,
        )
    if typed.angle_deg is not None and not ANGLES_DEG[0] <= typed.angle_deg <= ANGLES_DEG[1]:
        raise ReadingError(
            f"{typed.angle_deg:g} is not the angle between a thread's flanks.",
            "Form gauges have 47.5, 55, 60 or 80 degrees.",
        )


def _check_diameter(value: float) -> None:
    sizes = [s.basic_major_mm for s in load_series()]
    small, large = 0.7 * min(sizes), 1.02 * max(sizes)
    if not math.isfinite(value) or value <= 0:
        raise ReadingError(f"{value:g} is not a diameter.", "Read the caliper again.")
    if value < small:
        raise ReadingError(
            f"{value:g} mm is smaller than any thread here.",
            f"If the reading is in inches write {value:g}in.",
        )
    if value > large:
        inches = value / MM_PER_INCH
        # A round number of inches looks like mm that were typed as inches.
        slip = small < inches < large and math.isclose(inches, round(inches, 3), rel_tol=1e-9)
        hint = f" If {inches:g} mm was meant write {inches:g}mm." if slip else ""
        raise ReadingError(
            f"{value:g} mm is larger than any thread here ({large:.0f} mm).",
            "Read the caliper again." + hint,
        )


def _check_pair(first: float | None, second: float, apart: float | None) -> None:
    if first is None or apart is None:
        raise ReadingError("two diameters need their distance.", "Give it with --apart.")
    if apart < 1.0:
        raise ReadingError(
            f"{apart:g} mm between two diameters tells no taper.",
            "Measure at places at least three turns apart.",
        )
    if abs(second - first) / apart > 0.25:
        raise ReadingError(
            f"{first:g} and {second:g} mm, {apart:g} mm apart, are steeper than any taper thread.",
            "Read both diameters and their distance again.",
        )
