"""Frozen records of the standard series: one size, its limits by class, and its uses."""

from __future__ import annotations

from typing import Literal

from pitchcam.frozen import dataclass
from pitchcam.records import MM_PER_INCH, Gender

Commonness = Literal["common", "usual", "rare"]
Range = tuple[float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """Limits of one tolerance class, (min, max) in mm; at the gauge plane for a taper thread.

    The largest major diameter of an internal thread and the smallest minor diameter of an
    external one are those of a new tool, where the standard leaves them to the tool.
    """

    thread_class: str
    major_mm: Range
    pitch_diameter_mm: Range
    minor_mm: Range


@dataclass(frozen=True, kw_only=True, slots=True)
class Use:
    """What a size is used for, and how that joint seals."""

    designation: str
    gender: Gender | Literal["both"]
    use: str
    seal: str
    twin: str
    source: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ThreadSize:
    """One designation of one series; the basic diameters of a taper thread hold at its gauge plane.

    ``taper`` is the change of diameter per length. ``gauge_length_mm`` is the distance of the gauge
    plane from the small end face, ``useful_length_mm`` that of the last full thread; both None for
    a parallel thread. ``position_mm`` is the tolerance (plus and minus) of the gauge plane along
    the axis, (external, internal). ``truncation_mm`` is how much the crest's diameter may lie below
    ``basic_major_mm`` by the standard's larger truncation (taper pipe threads, else 0).
    ``source`` is where its figures come from, ``checked`` the data of others that they agree with,
    empty where they were compared with none.
    ``geometry`` is equal for designations whose size is the same in every measurable respect.
    """

    designation: str
    standard: str
    family: str
    size: str
    basic_major_mm: float
    pitch_mm: float
    angle_deg: float
    taper: float
    basic_pitch_diameter_mm: float
    basic_minor_mm: float
    genders: tuple[Gender, ...]
    external: tuple[Limits, ...]
    internal: tuple[Limits, ...]
    commonness: Commonness
    source: str
    geometry: str
    tpi: float | None = None
    gauge_length_mm: float | None = None
    useful_length_mm: float | None = None
    position_mm: tuple[float, float] = (0.0, 0.0)
    truncation_mm: float = 0.0
    checked: str = ""

    def __hash__(self) -> int:
        """Return the name's: no two sizes have one, and all else is hashed anew at every call."""
        return hash(self.designation)

    def limits(self, gender: Gender) -> tuple[Limits, ...]:
        """Return the limits of every class for one gender, the usual class first."""
        return self.external if gender == "external" else self.internal

    def major_at(self, station_mm: float) -> float:
        """Return the basic major diameter in mm at a station from the small end face."""
        return self.basic_major_mm + self.taper * (station_mm - (self.gauge_length_mm or 0.0))

    @property
    def tpi_value(self) -> float:
        """Threads per inch, derived from the pitch."""
        return MM_PER_INCH / self.pitch_mm
