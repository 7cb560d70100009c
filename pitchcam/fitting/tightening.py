"""How each joint of a chain is tightened and sealed: torque for faces, turns for tapers."""

from __future__ import annotations

from dataclasses import dataclass

from pitchcam.fitting.ends import profile_of
from pitchcam.fitting.mate import Mating
from pitchcam.fitting.metals import Metal, metal
from pitchcam.fitting.practice import practice
from pitchcam.fitting.strength import stress_area_mm2, tightening_torque_n_m
from pitchcam.series import find

#: Turns by wrench beyond hand-tight: 1 1/2 for ISO 7-1 (its wrenching allowance, from memory);
#: 3 for NPT up to 2 in (ASME B1.20.1, L3 = 3 p); metric taper as ISO 7-1 (common practice, no
#: source).
_WRENCH_TURNS = {"R": 1.5, "NPT": 3.0, "NPTF": 3.0, "M-taper": 1.5}


@dataclass(frozen=True, kw_only=True, slots=True)
class Tightening:
    """What to do at one joint, in words, with the figures' grounds."""

    joint: str
    action: str
    how: str


def tightening(joint: Mating, material: str | None = None, bore_mm: float = 0.0) -> Tightening:
    """Return how a joint is made up.

    Parameters
    ----------
    joint
        A joint that seals.
    material
        Key of the softer known metal of the two; brass as the weaker of the usual ones if None.
    bore_mm
        Bore through the male end, which takes from its section.
    """
    name = joint.text
    if joint.male.is_hose:
        return Tightening(joint=name, action="push over all barbs, clamp behind them",
                          how="common practice, no source")  # fmt: skip
    if joint.seal in ("taper-sealant", "taper-dry"):
        return _by_turns(name, joint)
    return _by_torque(name, joint, material, bore_mm)


def _by_turns(name: str, joint: Mating) -> Tightening:
    profile = profile_of(joint.male)
    hand = find(joint.male.designation).gauge_length_mm or 0.0
    turns = _WRENCH_TURNS[joint.male.family]
    coat = "lubricant at most" if joint.seal == "taper-dry" else "sealant on the male"
    return Tightening(
        joint=name,
        action=f"{coat}; hand-tight near {hand:.1f} mm ({hand / profile.pitch_mm:.1f} turns), "
        f"then about {turns:g} turns by wrench; never back off",
        how=f"gauge length and wrench turns of {find(joint.male.designation).standard}",
    )


def _by_torque(name: str, joint: Mating, material: str | None, bore_mm: float) -> Tightening:
    made_of = metal(material or "brass")
    soft: Metal | None = made_of if made_of is not None else metal("brass")
    assert soft is not None
    size = find(joint.male.designation)
    section = max(stress_area_mm2(size.basic_major_mm, size.pitch_mm, bore_mm), 1.0)
    preload = practice("preload") * soft.yield_mpa * section
    torque = tightening_torque_n_m(
        preload, size.basic_major_mm, size.pitch_mm, size.angle_deg / 2.0, practice("friction")
    )
    row = joint.seal_row
    seal = "" if row is None else f"{row['name']}; "
    given = soft.name if material is not None and made_of is not None else f"{soft.name} assumed"
    return Tightening(
        joint=name,
        action=f"{seal}no more than {torque:.0f} N m; the maker's figure goes first",
        how=f"{practice('preload'):g} of the annealed yield ({soft.yield_mpa:g} MPa, {given}), "
        f"friction {practice('friction'):g}",
    )
