"""Loads on a brazed joint and what it bears: pressure, torque through it, lap length."""

from __future__ import annotations

import math

from pitchcam.frozen import dataclass
from pitchcam.joining.practice import practice


@dataclass(frozen=True, kw_only=True, slots=True)
class JointLoad:
    """Loads in N and N m, mean stresses in MPa, and safety factors against failure.

    ``stress_mpa`` is the shear from end load and torque together. ``factor`` is over the least
    strength at failure.
    """

    end_load_n: float
    torque_n_m: float
    pressure_stress_mpa: float
    torque_stress_mpa: float
    stress_mpa: float
    allowed_mpa: float
    factor: float


def lap_load(
    spigot_mm: float, overlap_mm: float, pressure_bar: float, torque_n_m: float
) -> JointLoad:
    """Return the load on a cylindrical lap: shear by end load and by torque, at right angles.

    The pressure is taken to act over the whole spigot, as if the filler let it in.
    """
    area = math.pi * spigot_mm * overlap_mm
    end = pressure_bar * 0.1 * math.pi / 4.0 * spigot_mm**2
    axial = end / area
    around = torque_n_m * 1e3 / (area * spigot_mm / 2.0)
    both = math.hypot(axial, around)
    least = practice("shear_least")
    return JointLoad(
        end_load_n=end,
        torque_n_m=torque_n_m,
        pressure_stress_mpa=axial,
        torque_stress_mpa=around,
        stress_mpa=both,
        allowed_mpa=practice("shear_allowed"),
        factor=least / both if both else math.inf,
    )


def lap_torque_n_m(load: JointLoad, spigot_mm: float, overlap_mm: float) -> float:
    """Return the torque at which a lap under this end load carries the shear that is allowed."""
    left = math.sqrt(max(load.allowed_mpa**2 - load.pressure_stress_mpa**2, 0.0))
    return left * math.pi * spigot_mm * overlap_mm * spigot_mm / 2.0 / 1e3


def lap_for_full_strength_mm(tensile_mpa: float, wall_mm: float, diameter_mm: float) -> float:
    """Return the overlap at which the joint is as strong as the tube wall.

    X = W (D - W) T / (C L D), the lap formula for tubes (published Brazing Book), with its typical
    filler shear and joint factor.
    """
    return (
        wall_mm
        * (diameter_mm - wall_mm)
        * tensile_mpa
        / (practice("lap_factor") * practice("shear_typical") * diameter_mm)
    )


def hoop_mpa(pressure_bar: float, bore_mm: float, wall_mm: float) -> float:
    """Return the hoop stress at the bore of a thick wall: p (ro^2 + ri^2) / (ro^2 - ri^2), Lame."""
    inner, outer = bore_mm / 2.0, bore_mm / 2.0 + wall_mm
    return pressure_bar * 0.1 * (outer**2 + inner**2) / (outer**2 - inner**2)
