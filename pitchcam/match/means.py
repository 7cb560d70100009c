"""The ways to measure on, with the uncertainty that a bench's means have."""

from __future__ import annotations

import math

from pitchcam.frozen import dataclass
from pitchcam.match.population import ANGLE, MAJOR, MINOR, PITCH, TAPER

#: Standard uncertainty of each measurement with a bench's means (judgement): pitch by a gauge leaf
#: or a rule over ten turns, 0.5 %; diameter by caliper 0.03 mm, bore by jaws 0.05 mm; angle by a
#: form gauge held to the light 0.85 degree; taper by two caliper readings, 0.03 mm each.
BENCH = {PITCH: 0.005, MAJOR: 0.03, MINOR: 0.05, ANGLE: 0.85}
#: The same by a photo of clean quality: what settles pitches closer than a gauge can.
PHOTO_PITCH, PHOTO_ANGLE_DEG = 0.0015, 0.75


@dataclass(frozen=True, kw_only=True, slots=True)
class Means:
    """One way to measure on: its quantity, its u, and how it is said.

    ``u`` is a share of the value where ``relative``; for a taper it is that of the difference of
    two diameters in mm, ``apart`` mm from each other.
    """

    quantity: int
    u: float
    tool: str
    short: str
    relative: bool = False

    @property
    def needs_cast(self) -> bool:
        """Whether a cast of the thread must be made first."""
        return self.tool.startswith("Make a cast")

    def u_at(self, value: float, apart_mm: float) -> float:
        """Return the standard uncertainty of a reading of ``value``, in the quantity's unit."""
        if self.quantity == TAPER:
            return self.u / apart_mm
        return self.u * value if self.relative else self.u


EXTERNAL = (
    Means(
        quantity=MAJOR,
        u=BENCH[MAJOR],
        tool="Measure over the crests at the small end with a caliper",
        short="diameter over crests",
    ),
    Means(
        quantity=PITCH,
        u=BENCH[PITCH],
        relative=True,
        tool="Read the pitch with a gauge leaf over its full length",
        short="pitch gauge",
    ),
    Means(
        quantity=TAPER,
        u=BENCH[MAJOR] * math.sqrt(2),
        tool="Measure over the crests at two places {apart:g} mm apart",
        short="two diameters {apart:g} mm apart",
    ),
    Means(
        quantity=ANGLE,
        u=BENCH[ANGLE],
        tool="Hold a thread form gauge to the flanks against the light",
        short="form gauge",
    ),
    Means(
        quantity=PITCH,
        u=PHOTO_PITCH,
        relative=True,
        tool="Take the pitch from a photo, or by rule over twenty turns or more",
        short="pitch over twenty turns, or photo",
    ),
    Means(
        quantity=ANGLE,
        u=PHOTO_ANGLE_DEG,
        tool="Take the flank angle from a sharp photo",
        short="flank angle by photo",
    ),
)
#: A port: first what the inside jaws reach, the rest on a cast.
INTERNAL = (
    Means(
        quantity=MINOR,
        u=BENCH[MINOR],
        tool="Measure the bore over the crests with the inside jaws",
        short="bore over crests",
    ),
    Means(
        quantity=PITCH,
        u=BENCH[PITCH],
        relative=True,
        tool="Read the pitch with a gauge leaf",
        short="pitch gauge",
    ),
    Means(
        quantity=TAPER,
        u=BENCH[MINOR] * math.sqrt(2),
        tool="Measure the bore at the mouth and {apart:g} mm deep",
        short="bore at the mouth and {apart:g} mm deep",
    ),
    Means(
        quantity=ANGLE,
        u=PHOTO_ANGLE_DEG,
        tool="Make a cast of the thread and take the flank angle from a photo of it",
        short="cast, flank angle by photo",
    ),
    Means(
        quantity=PITCH,
        u=PHOTO_PITCH,
        relative=True,
        tool="Make a cast of the thread and take its pitch from a photo",
        short="cast, pitch by photo",
    ),
    Means(
        quantity=MAJOR,
        u=BENCH[MAJOR],
        tool="Make a cast of the thread and measure over its crests",
        short="cast, diameter over crests",
    ),
)
#: A cast or plug at hand: it is measured like a male thread.
CAST = (
    Means(
        quantity=MAJOR,
        u=BENCH[MAJOR],
        tool="Measure over the cast's crests with a caliper",
        short="the cast's diameter over crests",
    ),
    Means(
        quantity=PITCH,
        u=BENCH[PITCH],
        relative=True,
        tool="Read the cast's pitch with a gauge leaf over its full length",
        short="pitch gauge on the cast",
    ),
    Means(
        quantity=TAPER,
        u=BENCH[MAJOR] * math.sqrt(2),
        tool="Measure over the cast's crests at two places {apart:g} mm apart",
        short="two diameters of the cast {apart:g} mm apart",
    ),
    Means(
        quantity=ANGLE,
        u=BENCH[ANGLE],
        tool="Hold a thread form gauge to the cast's flanks against the light",
        short="form gauge on the cast",
    ),
    Means(
        quantity=PITCH,
        u=PHOTO_PITCH,
        relative=True,
        tool="Take the pitch from a photo of the cast",
        short="pitch by photo of the cast",
    ),
    Means(
        quantity=ANGLE,
        u=PHOTO_ANGLE_DEG,
        tool="Take the flank angle from a sharp photo of it",
        short="flank angle by photo of the cast",
    ),
)
