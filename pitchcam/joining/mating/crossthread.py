"""How far a male thread goes into a female one: pitch drift and flank interference, computed.

Both threads are taken as rigid. A male thread that is engaged over the length L has room to sit
in the female's groove if one axial offset exists for which, at every engaged turn, the ridge is
inside the groove. Two things use that room up: the pitches differ, so turns drift along the axis
by the difference per turn; and diameters, tapers and flank angles differ, so the groove is wider
or narrower than the ridge. The longest L with room is what turns by hand; beyond it metal must
give.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Literal

from pitchcam.frozen import dataclass
from pitchcam.joining.mating.geometry import MadeThread, MatingProfile, made_thread
from pitchcam.joining.mating.shear import basic_profile, half_width_mm, shear_areas

#: Places along the engaged length that are looked at: drift and taper are linear, and what they
#: leave free is so in pieces, whose extreme 41 places miss by less than a hundredth of a turn.
STATIONS = 41

#: A part that turns less than this freely has not started: chamfers alone allow half a turn.
_START_TURNS = 0.5

#: The loosest right pair of the catalogue keeps 0.585 of its basic shear area (#0-80; the tests
#: go through all sizes). A pair that keeps less is held by less than any right pair is.
_RIGHT_PAIR_SHEAR = 0.58

Kind = Literal["falls-through", "loose", "fits", "binds", "does-not-start"]


@dataclass(frozen=True, kw_only=True, slots=True)
class CrossThread:
    """What happens when the pair is tried; ranges are (tightest pair, loosest pair) in limits.

    ``free_turns`` is what turns by hand, ``wanted_turns`` the usual engagement in turns of the
    female. ``overlap`` is how much of the basic thread depth is shared, ``shear_share`` the
    strength of the engaged turns against a right pair of the female's own kind,
    ``drift_mm_per_turn`` the pitch difference, ``interference_mm`` the flank overlap (per flank)
    at the wanted turns.
    """

    kind: Kind
    free_turns: tuple[float, float]
    wanted_turns: float
    overlap: tuple[float, float]
    shear_share: tuple[float, float]
    drift_mm_per_turn: float
    angle_difference_deg: float
    interference_mm: tuple[float, float]


@cache
def cross_thread(male: MatingProfile, female: MatingProfile) -> CrossThread:
    """Compute how the male goes into the female, over the limits of both.

    Parameters
    ----------
    male, female
        External and internal thread with their limits at the entry end.

    Returns
    -------
    CrossThread
        Ranges from the tightest to the loosest pair that the limits allow. It leaves out burrs,
        dents, plating beyond the limits, and the elastic give of the metal.
    """
    length = min(male.engagement_mm, female.engagement_mm)
    tight = (made_thread(male, 1.0), made_thread(female, 1.0))
    loose = (made_thread(male, 0.0), made_thread(female, 0.0))
    free = tuple(_free_length(m, f, 2.0 * length) / f.pitch_mm for m, f in (tight, loose))
    overlap = tuple(_overlap(m, f) for m, f in (loose, tight))
    shear = tuple(_shear_share(m, f) for m, f in (loose, tight))
    interference = tuple(max(0.0, -_room(m, f, length) / 2.0) for m, f in (loose, tight))
    wanted = length / female.pitch_mm
    return CrossThread(
        kind=_kind(free[1], wanted, overlap[1], shear[0]),
        free_turns=(free[0], free[1]),
        wanted_turns=wanted,
        overlap=(overlap[0], overlap[1]),
        shear_share=(shear[0], shear[1]),
        drift_mm_per_turn=abs(male.pitch_mm - female.pitch_mm),
        angle_difference_deg=abs(male.half_angle_deg - female.half_angle_deg) * 2.0,
        interference_mm=(interference[0], interference[1]),
    )


def _kind(free: float, wanted: float, overlap: float, shear: float) -> Kind:
    """Sort the pair at its loosest limits: how far it can go, and how little may hold it."""
    if overlap <= 0.0:
        return "falls-through"
    if free < _START_TURNS:
        return "does-not-start"
    if free < wanted:
        return "binds"
    return "fits" if shear >= _RIGHT_PAIR_SHEAR else "loose"


def _free_length(male: MadeThread, female: MadeThread, limit: float) -> float:
    """Return the longest engaged length with room, up to ``limit``, by bisection."""
    if _room(male, female, 0.0) < 0.0:
        return 0.0
    if _room(male, female, limit) >= 0.0:
        return limit
    low, high = 0.0, limit
    for _ in range(24):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _room(male, female, middle) >= 0.0 else (low, middle)
    return low


def _room(male: MadeThread, female: MadeThread, length: float) -> float:
    """Return the axial room (mm) left at this engaged length; negative is interference."""
    if male.crest_radius_mm > 0.0 or female.crest_radius_mm > 0.0:
        from pitchcam.joining.mating.rounded import half_plays

        plays = half_plays(male, female, stations(length), length)
    else:
        plays = [_straight_play(male, female, x, length) for x in stations(length)]
    per_mm = (male.pitch_mm - female.pitch_mm) / female.pitch_mm
    drifts = [x * per_mm for x in stations(length)]
    both = list(zip(drifts, plays, strict=True))
    return min(drift + play for drift, play in both) - max(drift - play for drift, play in both)


def stations(length: float) -> list[float]:
    """Return the places along an engaged length that are looked at, from the male's small end."""
    if length <= 0.0:
        return [0.0]
    step = length / (STATIONS - 1)
    return [i * step for i in range(STATIONS - 1)] + [length]


def _straight_play(male: MadeThread, female: MadeThread, along: float, length: float) -> float:
    """Return the half play of ridge in groove at a station, both with straight flanks.

    The ridge ends in a point and the groove's flanks go on, so that the play is concave over the
    radius: it is least at an end of what is shared. Few lines, since a library of arrays takes
    longer to load than a pair to be judged.
    """
    shift_m, shift_f = along * male.taper / 2.0, -(length - along) * female.taper / 2.0
    inner = max(male.r_minor + shift_m, female.r_minor + shift_f)
    outer = male.r_major + shift_m
    if outer <= inner:
        return female.pitch_mm / 2.0  # nothing touches
    play = min(
        half_width_mm(female, r - (female.r_pitch + shift_f))
        - max(half_width_mm(male, r - (male.r_pitch + shift_m)), 0.0)
        for r in (inner, outer)
    )
    # The female's crest reaching the male's root leaves no room either, however wide the groove.
    buried = max((male.r_minor + shift_m) - (female.r_minor + shift_f), 0.0)
    return play - buried * math.tan(math.radians(female.half_angle_deg))


def _overlap(male: MadeThread, female: MadeThread) -> float:
    """Return the shared depth over the female's basic depth, at the entry end."""
    return (male.r_major - female.r_minor) / female.depth_mm


def _shear_share(male: MadeThread, female: MadeThread) -> float:
    """Return the weaker shear area per length over that of the female's basic pair.

    The area a thread shears on is its axial thickness where the other's crest passes, times the
    circumference there, per pitch: FED-STD-H28/2B table II.B.1 formulas (2a) and (4a), written
    for any flank angle. Fewer turns bear where the pitches differ: not counted here.
    """
    if male.r_major <= female.r_minor:
        return 0.0
    basic = basic_profile(female)
    right = min(shear_areas(basic, basic))
    return max(0.0, min(shear_areas(male, female))) / right
