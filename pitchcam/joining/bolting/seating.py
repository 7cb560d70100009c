"""The force and torque that a joint's seal needs before it is tight, by gasket seating stress."""

from __future__ import annotations

import math

from pitchcam.frozen import dataclass
from pitchcam.joining.bolting.formulas import tightening_torque_n_m
from pitchcam.joining.mating.mate import Mating
from pitchcam.joining.practice import practice
from pitchcam.joining.tables import keyed, read_table
from pitchcam.series import find

#: Half angle of each cone against the axis: 37 degree flare (ISO 8434-2), 24 degree cone
#: (ISO 8434-1), 60 degree cone (ISO 8434-6).
_HALF_DEG = {"cone37": 37.0, "cone24": 12.0, "cone60": 30.0}


@dataclass(frozen=True, kw_only=True, slots=True)
class Seat:
    """What seals a joint, the axial force in N and the torque in N m that seat it, and why."""

    name: str
    force_n: float
    torque_n_m: float
    max_c: float
    source: str


def seats(joint: Mating, pressure_bar: float, *, steel: bool = False) -> tuple[Seat, ...]:
    """Return the seals that a joint can have, the tighter one first; empty for a hose or gland.

    Parameters
    ----------
    joint
        A joint that seals.
    pressure_bar
        Pressure that the seal must hold with no part of the seating force to spare: the proof.
    steel
        Whether both cones are of steel, which is harder to seat.

    Notes
    -----
    Force is the larger of seating (pi b G y) and holding (end load and 2 pi b G m p), the scheme of
    ASME VIII-1 appendix 2, with b half of the contact's width. A taper thread's torque is the
    trade's, by diameter squared.
    """
    if joint.seal in ("taper-sealant", "taper-dry"):
        return (_taper(joint),)
    if joint.seal == "face":
        return _seat(joint, "copper", pressure_bar), _seat(joint, "bonded", pressure_bar)
    if joint.seal == "cone":
        return (_seat(joint, "cone-steel" if steel else "cone", pressure_bar),)
    if joint.seal == "oring":
        return (_seat(joint, "oring", pressure_bar),)
    return ()


def _taper(joint: Mating) -> Seat:
    size = find(joint.male.designation)
    torque = practice("taper_torque") * size.basic_major_mm**2
    source = keyed("practice")["taper_torque"]["source"]
    return Seat(
        name="taper thread",
        force_n=0.0,
        torque_n_m=torque,
        max_c=float(keyed("seals")[joint.seal]["max_c"]),
        source=source,
    )


def washer_width_mm(thread_mm: float) -> float:
    """Return the width of the sealing ring for a thread: (outside - inside) / 2."""
    return next(
        float(row["width_mm"])
        for row in read_table("washers")
        if thread_mm <= float(row["up_to_mm"])
    )


def _seat(joint: Mating, key: str, pressure_bar: float) -> Seat:
    row = keyed("seats")[key]
    size = find(joint.male.designation)
    major, pressure = size.basic_major_mm, pressure_bar * 0.1
    width = float(row["width_mm"]) if row["width_mm"] else washer_width_mm(major)
    mean = major + width if joint.seal == "face" else major
    contact = math.pi * width / 2.0 * mean
    seating = contact * float(row["seating_mpa"]) * _wedge(joint)
    holding = pressure * (math.pi / 4.0 * mean**2 + 2.0 * contact * float(row["m"]))
    force = max(seating, holding)
    if key in ("bonded", "oring"):
        # Rubber seats by itself; the shoulder must still be held down, and stay tight.
        force = max(force, practice("held_share") * _copper_force_n(major))
    torque = tightening_torque_n_m(
        force, major, size.pitch_mm, size.angle_deg / 2.0, practice("friction"), mean
    )
    return Seat(
        name=row["name"],
        force_n=force,
        torque_n_m=torque,
        max_c=float(row["max_c"]),
        source=row["source"],
    )


def _copper_force_n(thread_mm: float) -> float:
    """Return the force that seats a copper washer of this thread."""
    width = washer_width_mm(thread_mm)
    stress = float(keyed("seats")["copper"]["seating_mpa"])
    return math.pi * width / 2.0 * (thread_mm + width) * stress


def _wedge(joint: Mating) -> float:
    """Return the axial force per force square to the seat: a cone is helped by its wedge."""
    seat = joint.male.family.rpartition("-")[2]
    if joint.seal != "cone" or seat not in _HALF_DEG:
        return 1.0
    half = math.radians(_HALF_DEG[seat])
    return math.sin(half) + practice("friction") * math.cos(half)
