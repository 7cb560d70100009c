"""Formulas of bolting: the section that a thread bears on, and the torque of a preload."""

from __future__ import annotations

import math


def stress_area_mm2(basic_mm: float, pitch_mm: float, bore_mm: float = 0.0) -> float:
    """Return the tensile stress area less the bore: pi/4 ((d - 0.9743/n)^2 - b^2).

    FED-STD-H28/2B formula (1b); the same as ISO 898-1's 0.9382 P to 2 %.
    """
    core = basic_mm - 9.0 * math.sqrt(3.0) / 16.0 * pitch_mm
    return math.pi / 4.0 * (core**2 - bore_mm**2)


def tightening_torque_n_m(
    preload_n: float,
    basic_mm: float,
    pitch_mm: float,
    half_angle_deg: float,
    friction: float,
    face_mean_mm: float | None = None,
) -> float:
    """Return the torque that makes a preload, with friction in the thread and under the face.

    T = F dm/2 (tan l + f sec a) / (1 - f tan l sec a) + F f dc/2, with tan l = P / (pi dm):
    Shigley, Mechanical Engineering Design, eq. 8-5 (dc 1.25 d where the face is not known) and
    its mean diameter, half of crest and root.
    """
    root = basic_mm - 1.299038 * pitch_mm
    mean = (basic_mm + root) / 2.0
    rise = pitch_mm / (math.pi * mean)
    secant = 1.0 / math.cos(math.radians(half_angle_deg))
    thread = mean / 2.0 * (rise + friction * secant) / (1.0 - friction * rise * secant)
    face = friction * (1.25 * basic_mm if face_mean_mm is None else face_mean_mm) / 2.0
    return preload_n * (thread + face) / 1e3
