"""Figures of a shop-made adapter that follow from its donors, joint and alloy."""

from __future__ import annotations

import math

from pitchcam.frozen import dataclass
from pitchcam.joining.brazing.alloys import Choice
from pitchcam.joining.brazing.donors import Donor
from pitchcam.joining.brazing.form import JointForm, Lap
from pitchcam.joining.brazing.heat import Heating, heating
from pitchcam.joining.practice import practice
from pitchcam.series import find


@dataclass(frozen=True, kw_only=True, slots=True)
class Filler:
    """Filler: what gaps and fillets hold, mm3; rod and mass with the extra to have at hand."""

    in_joint_mm3: float
    rod_mm: float
    rod_diameter_mm: float
    grams: float


def overall_length_mm(made: tuple[Donor, Donor], form: JointForm) -> float:
    """Return the length over all of the finished adapter."""
    total = sum(machined_length_mm(d, form.lap_of(i)) for i, d in enumerate(made))
    # A spigot stands in its socket by the overlap; in a sleeve the two tips meet.
    return total - (form.laps[0].overlap_mm if form.sleeve is None else 0.0)


def machined_length_mm(d: Donor, lap: Lap | None) -> float:
    """Return a donor's length ready for brazing, with its spigot if it has one."""
    if lap is not None and lap.from_thread:
        # The whole shoulder stays, and the spigot beyond it.
        return d.keep_thread_mm + d.body_mm + lap.spigot_length_mm
    return d.keep_thread_mm + d.body_left_mm


def filler_for(form: JointForm, choice: Choice) -> Filler:
    """Return the filler for the gaps and their fillets, with the extra to have at hand."""
    gap = practice("gap_aim")
    leg = practice("fillet")
    # Two fillets a lap: at the mouth, and at the spigot's tip on the socket's floor or its mate.
    fillets = sum(
        2.0 * (1.0 - math.pi / 4.0) * leg**2 * math.pi * lap.spigot_mm for lap in form.laps
    )
    volume = form.area_mm2 * gap + fillets
    extra = volume * practice("filler_extra")
    rod = practice("rod")
    return Filler(
        in_joint_mm3=volume,
        rod_mm=extra / (math.pi / 4.0 * rod**2),
        rod_diameter_mm=rod,
        grams=extra * choice.alloy.density_kg_m3 * 1e-6,
    )


def sleeve_mass_g(form: JointForm) -> float:
    """Return the mass of the sleeve, 0 where there is none."""
    if form.sleeve is None:
        return 0.0
    ring = sum((form.sleeve.outside_mm**2 - lap.bore_mm**2) * lap.overlap_mm for lap in form.laps)
    return math.pi / 4.0 * ring * form.sleeve.metal.density_kg_m3 * 1e-6


def donor_mass_g(d: Donor) -> float:
    """Return the mass of what is kept of a donor: hex and thread less the bore."""
    thread = 0.0
    if d.keep_thread_mm:
        outside = keep_outside_mm(d)
        thread = math.pi / 4.0 * outside**2 * d.keep_thread_mm
    body = math.sqrt(3.0) / 2.0 * d.hex_mm**2 * d.body_left_mm
    bored = math.pi / 4.0 * d.final_bore_mm**2 * (d.keep_thread_mm + d.body_left_mm)
    if d.keep_depth_mm:
        inside = find(d.keep.designation).basic_minor_mm
        bored += math.pi / 4.0 * (inside**2 - d.final_bore_mm**2) * d.keep_depth_mm
    return (thread + body - bored) * d.metal.density_kg_m3 * 1e-6


def keep_outside_mm(d: Donor) -> float:
    """Return the outside diameter of the kept male end: thread major or tail."""
    return (
        float(d.keep.designation[5:]) if d.keep.is_hose else find(d.keep.designation).basic_major_mm
    )


def _surface_mm2(d: Donor) -> float:
    body = 2.0 * math.sqrt(3.0) * d.hex_mm * d.body_left_mm
    return body + math.pi * keep_outside_mm(d) * d.keep_thread_mm


def heat_for(
    made: tuple[Donor, Donor], form: JointForm, choice: Choice, torch_kw: float | None
) -> Heating:
    """Return the heating of both kept pieces, and of a sleeve, to working heat."""
    capacity = sum(donor_mass_g(d) * 1e-3 * d.metal.cp_j_kg_k for d in made)
    area = sum(_surface_mm2(d) for d in made)
    if form.sleeve is not None:
        capacity += sleeve_mass_g(form) * 1e-3 * form.sleeve.metal.cp_j_kg_k
        area += math.pi * form.sleeve.outside_mm * form.sleeve.length_mm
    emissivity = max(d.metal.emissivity for d in made)
    torch = torch_kw if torch_kw is not None else practice("torch_kw")
    return heating(capacity, area, emissivity, choice.alloy.working_c, torch)
