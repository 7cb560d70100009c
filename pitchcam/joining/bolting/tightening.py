"""How a joint is tightened and sealed: what its seal needs, what its threads stand."""

from __future__ import annotations

import math

from pitchcam.frozen import dataclass
from pitchcam.joining.bolting.formulas import stress_area_mm2, tightening_torque_n_m
from pitchcam.joining.bolting.seating import Seat, seats, washer_width_mm
from pitchcam.joining.mating.ends import profile_of
from pitchcam.joining.mating.geometry import made_thread
from pitchcam.joining.mating.mate import Mating
from pitchcam.joining.mating.shear import basic_profile, shear_areas
from pitchcam.joining.metals import Metal, metal
from pitchcam.joining.practice import practice
from pitchcam.series import find

#: Turns by wrench beyond hand-tight: 1 1/2 for ISO 7-1 (its wrenching allowance, from memory);
#: up to 3 for NPT to 2 in (ASME B1.20.1, L3 = 3 p), of which the trade takes 2 as a rule; metric
#: taper as ISO 7-1 (common practice, no source).
_WRENCH_TURNS = {"R": "about 1.5", "NPT": "2 to 3", "NPTF": "2 to 3", "M-taper": "about 1.5"}
#: Shear yield over tensile yield (von Mises).
_SHEAR = 1.0 / math.sqrt(3.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Piece:
    """One side of a joint: its metal, whether it was heated to brazing heat, and its section.

    ``metal`` is None where it is not known; ``bore_mm`` is the way through a male end, ``hex_mm``
    across the flats around a female one, None where not known.
    """

    metal: Metal | None
    heated: bool = False
    bore_mm: float = 0.0
    hex_mm: float | None = None

    @property
    def known(self) -> Metal:
        """The metal, brass as the weaker of the usual ones where it is not known."""
        made_of = self.metal or metal("brass")
        assert made_of is not None
        return made_of

    @property
    def yield_mpa(self) -> float:
        """Yield in the temper that it has: annealed once it was brazed, else as supplied."""
        return self.known.yield_mpa if self.heated else self.known.supplied_yield_mpa

    @property
    def text(self) -> str:
        """Metal, temper and its yield in words, with where the temper comes from."""
        temper = "annealed by brazing" if self.heated else "as supplied"
        source = "" if self.heated else f", {self.known.supplied_source}"
        return (
            f"{self.known.name}{'' if self.metal else ' assumed'}, {temper}: yield "
            f"{self.yield_mpa:g} MPa{source}"
        )


#: The part or the engine, of which nothing is known.
UNKNOWN = Piece(metal=None)


@dataclass(frozen=True, kw_only=True, slots=True)
class Tightening:
    """What to do at one joint, with the torque its seal needs and its threads stand, in N m.

    ``least_n_m`` and ``most_n_m`` are None for a hose. ``seat`` is what seals, ``second_best``
    whether a tighter seal would need more than the threads stand, ``fault`` why it cannot be
    tightened enough, empty where it can.
    """

    joint: str
    action: str
    how: str
    least_n_m: float | None = None
    most_n_m: float | None = None
    seat: Seat | None = None
    second_best: bool = False
    fault: str = ""


def tightening(
    joint: Mating,
    male: Piece,
    female: Piece,
    *,
    pressure_bar: float = 0.0,
    temperature_c: float | None = None,
    most_n_m: float = math.inf,
) -> Tightening:
    """Return how a joint is made up; the same for a chain, a job and a work sheet.

    Parameters
    ----------
    joint
        A joint that seals.
    male, female
        The two pieces.
    pressure_bar, temperature_c
        What the seal must stand: proof pressure, highest heat (None where not asked).
    most_n_m
        A limit from elsewhere, such as a brazed joint that the torque passes through.
    """
    if joint.male.is_hose:
        return Tightening(
            joint=joint.text,
            action="push over all barbs, clamp behind them",
            how="common practice, no source",
        )
    most, weak, why = _limit(joint, male, female)
    if most_n_m < most:
        most, weak, why = most_n_m, "the brazed joint", ""
    steel = all(p.known.group in ("steel", "stainless") for p in (male, female))
    stand = [
        s
        for s in seats(joint, pressure_bar, steel=steel)
        if temperature_c is None or s.max_c >= temperature_c
    ]
    if not stand:
        return Tightening(
            joint=joint.text,
            action="hand-tight and a quarter turn: it seals nothing"
            if joint.seal == "gasket-dust"
            else "no seal for this heat",
            how="common practice, no source",
        )
    seat = next((s for s in stand if s.torque_n_m <= most), stand[-1])
    fault = ""
    if seat.torque_n_m > most:
        fault = (
            f"{joint.text} cannot be tightened enough: its {seat.name} needs "
            f"{_figure(seat.torque_n_m)} N m and {weak} stands {_figure(most)}"
            f"{f' ({why})' if why else ''}"
        )
    return Tightening(
        joint=joint.text,
        action=fault or _action(joint, seat, stand[0], most),
        how=_how(joint, seat, f"{weak} of {why}" if why else weak),
        least_n_m=seat.torque_n_m,
        most_n_m=most,
        seat=seat,
        second_best=seat is not stand[0],
        fault=fault,
    )


def _figure(torque: float) -> str:
    return f"{torque:.0f}" if torque >= 3.0 else f"{torque:.1f}"


def _action(joint: Mating, seat: Seat, tightest: Seat, most: float) -> str:
    span = f"{_figure(seat.torque_n_m)} to {_figure(most)} N m"
    if joint.seal in ("taper-sealant", "taper-dry"):
        size = find(joint.male.designation)
        hand = size.gauge_length_mm or 0.0
        coat = "lubricant at most" if joint.seal == "taper-dry" else "sealant on the male"
        return (
            f"{coat}; hand-tight near {hand:.1f} mm ({hand / size.pitch_mm:.1f} turns), then "
            f"{_WRENCH_TURNS[joint.male.family]} turns by wrench, which is some {span}: stop "
            "at whichever comes first; never back off"
        )
    only = (
        ""
        if seat is tightest
        else (f" (no {tightest.name}: it needs {_figure(tightest.torque_n_m)} N m)")
    )
    return f"{seat.name}{only}: {span}; the maker's figure goes first"


def _how(joint: Mating, seat: Seat, weak: str) -> str:
    if joint.seal in ("taper-sealant", "taper-dry"):
        return (
            f"turns of {find(joint.male.designation).standard}; torque that seals by diameter "
            f"({seat.source}); most by {weak}"
        )
    return f"least seats the {seat.name}; most by {weak}; friction {practice('friction'):g}"


def _limit(joint: Mating, male: Piece, female: Piece) -> tuple[float, str, str]:
    """Return the torque that the weaker thread stands, whose it is, and what that is made of."""
    size = find(joint.male.designation)
    root = size.basic_minor_mm
    if joint.seal in ("taper-sealant", "taper-dry"):
        polar = math.pi / 16.0 * (root**4 - male.bore_mm**4) / root
        torque = practice("taper_share") * _SHEAR * male.yield_mpa * polar / 1e3
        return max(torque, 0.0), "the male's root", male.text
    share = practice("preload")
    area = max(stress_area_mm2(size.basic_major_mm, size.pitch_mm, male.bore_mm), 0.0)
    limits = [(share * male.yield_mpa * area, "the male's section", male.text)]
    if female is not UNKNOWN:
        limits.append(
            (
                share * _SHEAR * female.yield_mpa * _shear_mm2(joint),
                "the female's thread",
                female.text,
            )
        )
    if female.hex_mm is not None:
        around = math.pi / 4.0 * (female.hex_mm**2 - size.basic_major_mm**2)
        limits.append(
            (share * female.yield_mpa * max(around, 0.0), "the female's wall", female.text)
        )
    preload, weak, why = min(limits)
    torque = tightening_torque_n_m(
        preload,
        size.basic_major_mm,
        size.pitch_mm,
        size.angle_deg / 2.0,
        practice("friction"),
        _face_mm(joint),
    )
    return torque, weak, why


def _face_mm(joint: Mating) -> float:
    """Return the mean diameter of the face that turns on its seat."""
    major = find(joint.male.designation).basic_major_mm
    return major + washer_width_mm(major) if joint.seal == "face" else major


def _shear_mm2(joint: Mating) -> float:
    """Return the area on which the female's engaged thread shears, least metal on both sides."""
    male, female = profile_of(joint.male), profile_of(joint.female)
    one, other = made_thread(male, 0.0), made_thread(female, 0.0)
    per_mm = shear_areas(one, other)[1] if one.r_major > other.r_minor else 0.0
    right = shear_areas(basic_profile(other), basic_profile(other))[1]
    return min(per_mm, right) * min(male.engagement_mm, female.engagement_mm)
