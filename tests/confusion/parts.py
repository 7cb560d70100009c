"""Draws real parts from the standards' limits, and readings of them.

Nothing here comes from the model that names threads: diameters lie evenly within their class,
crests are a little worn, the included angle scatters by 0.5 degree and the lead by 0.1 %, taper
threads start early or late by up to their gauge tolerance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from pitchcam.match.population import ANGLE, MAJOR, MINOR, PITCH, PITCH_DIAMETER, TAPER
from pitchcam.records import NAMING_QUANTITIES, Gender, Quantity, ThreadReading
from pitchcam.series import ThreadSize

Array = NDArray[np.float64]
Way = Literal["a", "b"]

LEAD_SCATTER, ANGLE_SCATTER_DEG, WEAR_OF_PITCH = 0.001, 0.5, 0.02
USUAL_CLASS_SHARE = 0.8
#: A taper of NPT may be steeper by 17 % and flatter by 8 % (ASME B1.20.1).
NPT_TAPER = (-0.08, 0.17)


@dataclass(frozen=True, kw_only=True, slots=True)
class Instrument:
    """Standard uncertainty of a reading, 0 where it is not read; pitch as a share of itself."""

    pitch: float
    diameter: float
    angle: float
    taper: float
    station: float


INSTRUMENTS: dict[Way, Instrument] = {
    "a": Instrument(pitch=0.0015, diameter=0.05, angle=0.75, taper=0.006, station=0.1),
    "b": Instrument(pitch=0.005, diameter=0.03, angle=0.0, taper=0.0, station=0.2),
}


def quantities_read(way: Way, gender: Gender) -> tuple[int, ...]:
    """Return which of NAMING_QUANTITIES a way of reading gives."""
    if way == "a":
        return (PITCH, MAJOR, PITCH_DIAMETER, MINOR, ANGLE, TAPER)
    return (PITCH, MAJOR if gender == "external" else MINOR)


def draw_parts(size: ThreadSize, gender: Gender, rng: np.random.Generator, n: int) -> Array:
    """Return ``n`` real parts (n, 6): NAMING_QUANTITIES at the small end, or inside the mouth."""
    parts = np.zeros((n, len(NAMING_QUANTITIES)))
    parts[:, PITCH] = size.pitch_mm * (1 + LEAD_SCATTER * rng.standard_normal(n))
    parts[:, ANGLE] = size.angle_deg + ANGLE_SCATTER_DEG * rng.standard_normal(n)
    parts[:, TAPER] = size.taper
    if size.taper:
        _draw_taper(parts, size, gender, rng)
    else:
        classes = size.limits(gender)
        share = class_shares(len(classes))
        drawn = rng.choice(len(classes), size=n, p=share)
        for d, name in (
            (MAJOR, "major_mm"),
            (PITCH_DIAMETER, "pitch_diameter_mm"),
            (MINOR, "minor_mm"),
        ):
            field = np.array([getattr(c, name) for c in classes])[drawn]
            parts[:, d] = rng.uniform(field[:, 0], field[:, 1])
    wear = rng.exponential(WEAR_OF_PITCH * size.pitch_mm, n)
    if gender == "external":
        parts[:, MAJOR] -= wear
    else:
        parts[:, MINOR] += wear
    return parts


def class_shares(n: int) -> Array:
    """Return each tolerance class's share of the parts, the usual class first, shape (n,)."""
    if n == 1:
        return np.ones(1)
    return np.array([USUAL_CLASS_SHARE] + [(1 - USUAL_CLASS_SHARE) / (n - 1)] * (n - 1))


def _draw_taper(parts: Array, size: ThreadSize, gender: Gender, rng: np.random.Generator) -> None:
    n = len(parts)
    if size.family.startswith("NPT"):
        parts[:, TAPER] *= 1 + rng.uniform(*NPT_TAPER, n)
    shift = rng.uniform(-1, 1, n) * size.position_mm[gender == "internal"] * size.taper
    if gender == "external":
        shift -= parts[:, TAPER] * (size.gauge_length_mm or 0.0)
    crests, roots = truncated(size, gender)
    parts[:, MAJOR] = rng.uniform(*crests, n) + shift
    parts[:, PITCH_DIAMETER] = size.basic_pitch_diameter_mm + shift
    parts[:, MINOR] = rng.uniform(*roots, n) + shift


def truncated(size: ThreadSize, gender: Gender) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return what a taper's major and minor diameters may be with its gauge plane in its place."""
    half = size.position_mm[gender == "internal"] * size.taper
    (held,) = size.limits(gender)
    (a, b), (c, d) = held.major_mm, held.minor_mm
    # A range that is all gauge plane comes out empty to rounding.
    return (a + half, max(b - half, a + half)), (c + half, max(d - half, c + half))


def uncertainty(way: Way, pitch_mm: float) -> Array:
    """Return the standard uncertainties of NAMING_QUANTITIES for a pitch, shape (6,)."""
    i = INSTRUMENTS[way]
    return np.array([i.pitch * pitch_mm, *[i.diameter] * 3, i.angle, i.taper])


def read_parts(parts: Array, way: Way, rng: np.random.Generator) -> Array:
    """Return readings (n, 6) of parts (n, 6); what a way does not read is left without meaning."""
    u = np.array([uncertainty(way, p) for p in parts[:, PITCH]])
    return np.asarray(parts + u * rng.standard_normal(parts.shape))


def to_reading(values: Array, way: Way, gender: Gender) -> ThreadReading:
    """Return one row of :func:`read_parts` as the record that naming takes."""
    u = uncertainty(way, float(values[PITCH]))
    held: dict[str, Any] = {
        NAMING_QUANTITIES[i]: Quantity(value=float(values[i]), u=float(u[i]))
        for i in quantities_read(way, gender)
    }
    station = Quantity(value=0.0, u=INSTRUMENTS[way].station)
    return ThreadReading(gender=gender, diameter_station_mm=station, **held)
