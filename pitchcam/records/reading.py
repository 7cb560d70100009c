"""What was read of one thread."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Any, Literal

from pitchcam.frozen import dataclass
from pitchcam.records.quantities import (
    MM_PER_INCH,
    NAMING_QUANTITIES,
    Quantity,
    quantity_json,
    quantity_of,
)

Gender = Literal["external", "internal"]

_READ = (*NAMING_QUANTITIES, "diameter_station_mm")


@dataclass(frozen=True, kw_only=True, slots=True)
class ThreadReading:
    """What was read of one thread, by photo, cast, caliper or gauge; ``None`` where not read.

    On a tapered thread the diameters are those at the large end of the measured thread, and
    ``diameter_station_mm`` is the distance of that station from the small end face. For a caliper
    reading at the small end it is 0. ``correlation`` holds the correlation coefficients between
    pairs of NAMING_QUANTITIES (names in that order); absent pairs are uncorrelated. The scale's
    error, for instance, moves pitch and diameters together. ``forms`` holds, where the form of
    hidden flanks was weighed (``pitchcam.series.ridges``), the natural logarithm of each form's
    likelihood, the best one's 0; forms that are absent were not weighed.
    """

    gender: Gender = "external"
    pitch_mm: Quantity | None = None
    major_mm: Quantity | None = None
    pitch_diameter_mm: Quantity | None = None
    minor_mm: Quantity | None = None
    angle_deg: Quantity | None = None
    taper: Quantity | None = None
    diameter_station_mm: Quantity | None = None
    starts: int = 1
    correlation: Mapping[tuple[str, str], float] = field(default_factory=dict)
    forms: Mapping[str, float] = field(default_factory=dict)

    @property
    def tpi(self) -> Quantity | None:
        """Threads per inch: 25.4 mm over the pitch."""
        if self.pitch_mm is None:
            return None
        n = MM_PER_INCH / self.pitch_mm.value
        return Quantity(value=n, u=n * self.pitch_mm.u / self.pitch_mm.value)

    @classmethod
    def from_json(cls, thread: Mapping[str, Any]) -> ThreadReading:
        """Return the reading of an entry of the contract's ``threads``."""
        read: dict[str, Any] = {name: quantity_of(thread.get(name)) for name in _READ}
        return cls(
            gender=thread.get("gender", "external"),
            starts=thread.get("starts") or 1,
            correlation={(a, b): float(r) for a, b, r in thread.get("correlation") or ()},
            forms={name: float(log) for name, log in (thread.get("forms") or {}).items()},
            **read,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class ThreadRatios:
    """What of a thread is free of scale: pitch and diameters over the major diameter."""

    pitch_over_major: Quantity | None = None
    pitch_diameter_over_major: Quantity | None = None
    minor_over_major: Quantity | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the contract's ``ratios``."""
        return {name: quantity_json(getattr(self, name)) for name in _RATIOS}

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> ThreadRatios:
        """Return the ratios of the contract's ``ratios``."""
        return cls(**{name: quantity_of(document.get(name)) for name in _RATIOS})


_RATIOS = ("pitch_over_major", "pitch_diameter_over_major", "minor_over_major")
