"""Frozen records of the standard series: one size, its limits by class, and its uses."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Literal, overload

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


class OnDemand(Sequence[Limits]):
    """A size's limits by class, worked out when they are first asked for.

    Of hundreds of sizes a command asks two for theirs, and a photo those of one gender. It equals
    the tuple of what it holds.
    """

    __slots__ = ("_held", "_work")

    def __init__(self, work: Callable[[], Iterable[Limits]]) -> None:
        self._work = work
        self._held: tuple[Limits, ...] | None = None

    def all(self) -> tuple[Limits, ...]:
        """Return the limits of every class."""
        if self._held is None:
            self._held = tuple(self._work())
        return self._held

    def __len__(self) -> int:
        return len(self.all())

    def __iter__(self) -> Iterator[Limits]:
        return iter(self.all())

    @overload
    def __getitem__(self, at: int) -> Limits: ...
    @overload
    def __getitem__(self, at: slice) -> tuple[Limits, ...]: ...
    def __getitem__(self, at: int | slice) -> Limits | tuple[Limits, ...]:
        return self.all()[at]

    def __eq__(self, other: object) -> bool:
        return self.all() == (other.all() if isinstance(other, OnDemand) else other)

    def __hash__(self) -> int:
        return hash(self.all())

    def __repr__(self) -> str:
        return repr(self.all())

    def __reduce__(self) -> tuple[type[tuple[Limits, ...]], tuple[tuple[Limits, ...]]]:
        return tuple, (self.all(),)


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
    external: Sequence[Limits]
    internal: Sequence[Limits]
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
        held = self.external if gender == "external" else self.internal
        return held.all() if isinstance(held, OnDemand) else tuple(held)

    def major_at(self, station_mm: float) -> float:
        """Return the basic major diameter in mm at a station from the small end face."""
        return self.basic_major_mm + self.taper * (station_mm - (self.gauge_length_mm or 0.0))

    @property
    def tpi_value(self) -> float:
        """Threads per inch, derived from the pitch."""
        return MM_PER_INCH / self.pitch_mm
