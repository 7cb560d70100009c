"""A brazed joint as machined: spigot and socket, or a sleeve over two spigots.

A butt of two faces is no form: it carries on the wall's section only, bends open where the part
shakes, and its inside cannot be looked at.
"""

from __future__ import annotations

import math

from pitchcam.frozen import dataclass
from pitchcam.joining.brazing.donors import Donor
from pitchcam.joining.metals import Metal
from pitchcam.joining.practice import practice


@dataclass(frozen=True, kw_only=True, slots=True)
class Clearance:
    """Clearance on the diameter, mm: what the gap grows by in the heat, and what to machine cold.

    ``cold_mm`` is (least, aimed at, most); ``grows_mm`` is negative where the gap closes.
    """

    grows_mm: float
    u_grows_mm: float
    cold_mm: tuple[float, float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Lap:
    """One spigot in its socket or sleeve, lengths in mm; ``donor`` (0 or 1) carries the spigot.

    ``from_thread`` tells whether it is turned from the unwanted thread instead of the body,
    ``over_thread`` whether on the body around the kept female thread. Walls are (spigot, around).
    """

    donor: int
    from_thread: bool
    over_thread: bool
    spigot_mm: float
    overlap_mm: float
    walls_mm: tuple[float, float]
    clearance: Clearance

    @property
    def spigot_length_mm(self) -> float:
        """Length of the spigot: the overlap and the open groove at the mouth."""
        return self.overlap_mm + practice("mouth")

    @property
    def area_mm2(self) -> float:
        """Faying area."""
        return math.pi * self.spigot_mm * self.overlap_mm

    @property
    def bore_mm(self) -> float:
        """What the socket or sleeve is bored to, cold."""
        return self.spigot_mm + self.clearance.cold_mm[1]


@dataclass(frozen=True, kw_only=True, slots=True)
class Sleeve:
    """A sleeve of bar over both spigots: metal, outside diameter and length in mm."""

    metal: Metal
    outside_mm: float
    length_mm: float


@dataclass(frozen=True, kw_only=True, slots=True)
class JointForm:
    """The joint as machined: one spigot in a socket, or two in a sleeve; lengths in mm."""

    laps: tuple[Lap, ...]
    sleeve: Sleeve | None
    bore_mm: float
    flats_mm: tuple[float, float]

    @property
    def name(self) -> str:
        """The form in words."""
        return "spigot and socket" if self.sleeve is None else "sleeve over two spigots"

    @property
    def weakest(self) -> Lap:
        """The lap that carries least: torque goes by diameter squared times overlap."""
        return min(self.laps, key=lambda lap: lap.spigot_mm**2 * lap.overlap_mm)

    @property
    def least_wall_mm(self) -> float:
        """The thinnest wall of the joint."""
        return min(wall for lap in self.laps for wall in lap.walls_mm)

    @property
    def area_mm2(self) -> float:
        """Faying area of all laps."""
        return sum(lap.area_mm2 for lap in self.laps)

    def lap_of(self, donor: int) -> Lap | None:
        """Return the spigot on a donor, None where it has the socket."""
        return next((lap for lap in self.laps if lap.donor == donor), None)

    def metals(self, donors: tuple[Donor, Donor], lap: Lap) -> tuple[Metal, Metal]:
        """Return the metals of a lap: (spigot, around it)."""
        around = donors[1 - lap.donor].metal if self.sleeve is None else self.sleeve.metal
        return donors[lap.donor].metal, around


#: Why this form, as the work sheet says it.
WHY = (
    "a spigot lines up by itself, carries in shear over an overlap as strong as the wall, and its "
    "fillets show that filler ran through"
)
