"""One thread as mating sees it: limits at the entry end, and the ridge's shape.

Lengths in mm, radii from the thread axis, angles in degrees. The entry end is a male's small end
and a female's mouth; with a taper, a male grows and a female shrinks away from it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from pitchcam.frozen import dataclass
from pitchcam.records import Gender

Form = Literal["flat60", "pipe60", "round55", "round47.5", "round60", "round80"]


@dataclass(frozen=True, kw_only=True, slots=True)
class FormShape:
    """A thread form: flank angle, and in pitches its depth, crest height and rounding radius.

    ``crest`` is the height of the basic crest over the pitch line.
    """

    angle_deg: float
    depth: float
    crest: float
    radius: float = 0.0


#: ISO 68-1 (5/8 H between the basic crests, 3/8 H over the pitch line); ASME B1.20.1 (depth
#: 0.8 P at the most); BS 84 and ISO 228-1; BS 93; BS 811 (radius P/6) and DIN
#: 40430 (depth and radius), both from memory.
FORMS: dict[str, FormShape] = {
    "flat60": FormShape(angle_deg=60.0, depth=0.541266, crest=0.324760),
    "pipe60": FormShape(angle_deg=60.0, depth=0.8, crest=0.4),
    "round55": FormShape(angle_deg=55.0, depth=0.640327, crest=0.320164, radius=0.137329),
    "round47.5": FormShape(angle_deg=47.5, depth=0.6, crest=0.3, radius=0.180835),
    "round60": FormShape(angle_deg=60.0, depth=0.532692, crest=0.266346, radius=1 / 6),
    "round80": FormShape(angle_deg=80.0, depth=0.4767, crest=0.23835, radius=0.107),
}


@dataclass(frozen=True, kw_only=True, slots=True)
class MatingProfile:
    """One thread's limits at its entry end; pairs are (smallest, largest) allowed, in mm."""

    designation: str
    gender: Gender
    form: Form
    pitch_mm: float
    major_mm: tuple[float, float]
    pitch_diameter_mm: tuple[float, float]
    minor_mm: tuple[float, float]
    taper: float = 0.0
    length_mm: float | None = None

    @property
    def half_angle_deg(self) -> float:
        """Half of the flank angle."""
        return FORMS[self.form].angle_deg / 2.0

    @property
    def depth_mm(self) -> float:
        """Basic depth of the form."""
        return FORMS[self.form].depth * self.pitch_mm

    @property
    def crest_mm(self) -> float:
        """Height of the basic crest over the pitch line."""
        return FORMS[self.form].crest * self.pitch_mm

    @property
    def crest_radius_mm(self) -> float:
        """Radius of crest and root of the basic form; 0 for flat ones."""
        return FORMS[self.form].radius * self.pitch_mm

    @property
    def engagement_mm(self) -> float:
        """Usual length of engagement: the thread's own useful length, else 0.8 diameters.

        0.8 diameters is common practice for plugs and sender threads, no source.
        """
        return self.length_mm if self.length_mm is not None else 0.8 * self.major_mm[1]


@dataclass(frozen=True, kw_only=True, slots=True)
class MadeThread:
    """One definite thread within the limits: radii at the entry end, in mm."""

    pitch_mm: float
    half_angle_deg: float
    taper: float
    crest_radius_mm: float
    crest_mm: float
    depth_mm: float
    r_major: float
    r_pitch: float
    r_minor: float

    def moved(self, radial_mm: float) -> MadeThread:
        """Return the thread with every radius changed, as a taper does along the axis."""
        return replace(
            self,
            r_major=self.r_major + radial_mm,
            r_pitch=self.r_pitch + radial_mm,
            r_minor=self.r_minor + radial_mm,
        )


def made_thread(profile: MatingProfile, material: float) -> MadeThread:
    """Return the thread at a share of its limits: 0 least metal, 1 most metal, 0.5 the middle.

    Most metal is the largest male and the smallest female.
    """
    share = material if profile.gender == "external" else 1.0 - material

    def at(pair: tuple[float, float]) -> float:
        return 0.5 * (pair[0] + share * (pair[1] - pair[0]))

    return MadeThread(
        pitch_mm=profile.pitch_mm,
        half_angle_deg=profile.half_angle_deg,
        taper=profile.taper,
        crest_radius_mm=profile.crest_radius_mm,
        crest_mm=profile.crest_mm,
        depth_mm=profile.depth_mm,
        r_major=at(profile.major_mm),
        r_pitch=at(profile.pitch_diameter_mm),
        r_minor=at(profile.minor_mm),
    )
