"""Which joints the metal of two donors allows: spigots, sockets and sleeves, or what is missing."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import product

from pitchcam.errors import RefusedError
from pitchcam.frozen import dataclass
from pitchcam.joining.brazing.donors import Donor
from pitchcam.joining.brazing.form import Clearance, JointForm, Lap, Sleeve
from pitchcam.joining.brazing.strength import lap_for_full_strength_mm
from pitchcam.joining.metals import Metal
from pitchcam.joining.practice import practice
from pitchcam.series import find

_ROOM_C = 20.0
#: A spigot is put in by hand with at least this on the diameter (a free running fit, H8/f7 of
#: ISO 286 starts at about 0.02 mm in these sizes).
_LEAST_COLD_MM = 0.02


@dataclass(frozen=True, slots=True)
class _Stock:
    """What a spigot can be turned from: diameter and length there, and what it must clear."""

    outside_mm: float
    length_mm: float
    core_mm: float
    from_thread: bool = False
    over_thread: bool = False


class NoMetalError(RefusedError):
    """Two donors that have no metal for a spigot and socket; ``short_mm`` is what lacks least."""

    short_mm: float = math.inf


def possible_forms(donors: tuple[Donor, Donor], work_c: float) -> tuple[JointForm, ...]:
    """Return every joint that the metal allows, best first: sockets, then sleeves over both.

    Raises
    ------
    NoMetalError
        If none can be made; what each donor lacks is said.
    """
    sockets: list[JointForm] = []
    lacks: list[list[_Lack]] = [[], []]
    for inner in (0, 1):
        for stock in _stocks(donors[inner]):
            form = _socketed((donors[inner], donors[1 - inner]), inner, stock, work_c)
            if isinstance(form, JointForm):
                sockets.append(form)
            else:
                lacks[inner].append(form)
    sleeves, lack = _sleeved(donors, work_c)
    if not sockets and lack is not None:
        least = [min(side, key=lambda each: each.short_mm) for side in lacks]
        raise _no_metal(donors, least, lack)
    return tuple(
        form for each in (sockets, sleeves) for form in sorted(each, key=_merit, reverse=True)
    )


@dataclass(frozen=True, slots=True)
class _Lack:
    """What is missing for one spigot, in words and mm."""

    text: str
    short_mm: float


def _no_metal(donors: tuple[Donor, Donor], lacks: list[_Lack], sleeved: _Lack) -> NoMetalError:
    names = " and ".join(d.fitting.id for d in donors)
    each = "; ".join(
        f"spigot on {d.fitting.id}: {lack.text}" for d, lack in zip(donors, lacks, strict=True)
    )
    error = NoMetalError(
        f"{names} have no metal for a spigot and socket ({each}) nor for a sleeve over both "
        f"({sleeved.text}), and two faces are never brazed together for a line that shakes or "
        "holds pressure.",
        "Take donors with longer or larger bodies.",
    )
    error.short_mm = min(sleeved.short_mm, *(lack.short_mm for lack in lacks))
    return error


def _merit(form: JointForm) -> tuple[bool, float, float]:
    """Flats on both sides first, then the thicker weakest wall, then the larger cold clearance."""
    flats = min(form.flats_mm) >= practice("flats")
    return flats, round(form.least_wall_mm, 2), form.laps[0].clearance.cold_mm[1]


def _stocks(d: Donor) -> Iterator[_Stock]:
    """Yield what a donor's spigot can be turned from: body, body around its thread, stub."""
    bore, skin = d.final_bore_mm, 0.5
    yield _Stock(d.hex_mm - skin, d.solid_mm - practice("floor"), bore)
    if d.keep_depth_mm:
        around = max(bore, find(d.keep.designation).basic_major_mm)
        yield _Stock(d.hex_mm - skin, d.body_left_mm - practice("flats"), around, over_thread=True)
    if d.stub_mm > 0.0:
        yield _Stock(d.stub_mm, d.cut_thread_mm, bore, from_thread=True)


def _socketed(
    pair: tuple[Donor, Donor], inner: int, stock: _Stock, work_c: float
) -> JointForm | _Lack:
    """Return the spigot of balanced walls that fits this way round, or what is missing for it.

    The overlap is as strong as the wall where the bodies give the length, else as long as they
    give: its load is judged afterwards.
    """
    spigot, socket = pair
    wall, core = practice("wall_min"), stock.core_mm
    balanced = (socket.hex_mm + core) / 2.0
    top = min(balanced, stock.outside_mm, socket.hex_mm - 2.0 * wall)
    least = max(core + 2.0 * wall, socket.final_bore_mm + 1.0)
    deep = socket.solid_mm - practice("floor")
    if deep < practice("overlap_least"):
        needed = practice("overlap_least") + practice("floor")
        return _Lack(
            f"{socket.fitting.id} has {max(socket.solid_mm, 0.0):.1f} mm of solid body where a "
            f"socket needs {needed:.1f}",
            practice("overlap_least") - deep,
        )
    around = _Around(socket.metal, socket.hex_mm, deep)
    lap = _lap(spigot, inner, stock, (least, top), around, work_c)
    if isinstance(lap, _Lack):
        return lap
    flats = (_left(spigot, lap), socket.body_left_mm)
    return JointForm(
        laps=(lap,),
        sleeve=None,
        bore_mm=min(spigot.final_bore_mm, socket.final_bore_mm),
        flats_mm=flats if inner == 0 else flats[::-1],
    )


@dataclass(frozen=True, slots=True)
class _Around:
    """What goes round a spigot: metal, outside diameter, and how deep it can be bored, mm."""

    metal: Metal
    outside_mm: float
    deep_mm: float


def _lap(
    d: Donor, donor: int, stock: _Stock, limits: tuple[float, float], around: _Around, work_c: float
) -> Lap | _Lack:
    """Return the largest spigot between two diameters, or what is missing for it."""
    least, top = limits
    diameter = math.floor(top * 2.0) / 2.0
    if diameter < least:
        return _Lack(
            f"it would be {max(diameter, 0.0):g} mm thick where {least:.1f} are needed for "
            f"{practice('wall_min'):g} mm walls",
            least - diameter,
        )
    shortest, mouth = practice("overlap_least"), practice("mouth")
    room = stock.length_mm - mouth
    if room < shortest:
        return _Lack(
            f"{max(stock.length_mm, 0.0):.1f} mm can be turned where "
            f"{shortest + mouth:.1f} are needed",
            shortest - room,
        )
    walls = ((diameter - stock.core_mm) / 2.0, (around.outside_mm - diameter) / 2.0)
    full = _overlap((d.metal, around.metal), diameter, walls)
    clearance = _clearance((d.metal, around.metal), diameter, work_c)
    if clearance is None:
        return _Lack("in the heat the spigot would grow tight in its socket", math.inf)
    return Lap(
        donor=donor,
        from_thread=stock.from_thread,
        over_thread=stock.over_thread,
        spigot_mm=diameter,
        overlap_mm=min(full, math.floor(min(room, around.deep_mm) * 2.0) / 2.0),
        walls_mm=walls,
        clearance=clearance,
    )


def _left(d: Donor, lap: Lap) -> float:
    """Return the hex that a spigot leaves for a spanner."""
    return d.body_left_mm + (practice("facing") if lap.from_thread else -lap.spigot_length_mm)


def _sleeved(donors: tuple[Donor, Donor], work_c: float) -> tuple[list[JointForm], _Lack | None]:
    """Return every sleeve of bar over a spigot on each donor, else what is missing for one."""
    metal = _sleeve_metal(donors)
    sides: list[list[Lap]] = []
    for number, d in enumerate(donors):
        tried = [_in_sleeve(d, number, stock, metal, work_c) for stock in _stocks(d)]
        good = [lap for lap in tried if isinstance(lap, Lap)]
        if not good:
            lack = min((t for t in tried if isinstance(t, _Lack)), key=lambda t: t.short_mm)
            return [], _Lack(f"spigot on {d.fitting.id}: {lack.text}", lack.short_mm)
        sides.append(good)
    forms = []
    for pair in product(*sides):
        outside = math.ceil(max(lap.spigot_mm for lap in pair) + 2.0 * _SLEEVE_WALL_MM)
        laps = tuple(
            replace(lap, walls_mm=(lap.walls_mm[0], (outside - lap.spigot_mm) / 2.0))
            for lap in pair
        )
        length = sum(lap.overlap_mm for lap in laps)
        forms.append(
            JointForm(
                laps=laps,
                sleeve=Sleeve(metal=metal, outside_mm=outside, length_mm=length),
                bore_mm=min(d.final_bore_mm for d in donors),
                flats_mm=(_left(donors[0], laps[0]), _left(donors[1], laps[1])),
            )
        )
    return forms, None


def _in_sleeve(d: Donor, number: int, stock: _Stock, metal: Metal, work_c: float) -> Lap | _Lack:
    """Return the spigot for a sleeve: as thick as leaves a shoulder for the sleeve."""
    least = stock.core_mm + 2.0 * practice("wall_min")
    shoulder = stock.outside_mm if stock.from_thread else d.hex_mm - 2.0 * _SHOULDER_MM
    top = min(stock.outside_mm, max(shoulder, least))
    around = _Around(metal, top + 2.0 * _SLEEVE_WALL_MM, math.inf)
    return _lap(d, number, stock, (least, top), around, work_c)


#: Shoulder that a sleeve stands against, a side, mm (common practice, no source).
_SHOULDER_MM = 1.0
#: Wall of a sleeve, mm: over the least wall by what a file or a slipped chuck may take off it
#: (common practice, no source).
_SLEEVE_WALL_MM = 2.0


def _sleeve_metal(donors: tuple[Donor, Donor]) -> Metal:
    """Return the sleeve's metal: that of both, else of the copper one, which turns easily."""
    return next((d.metal for d in donors if d.metal.group == "copper"), donors[0].metal)


def _overlap(metals: tuple[Metal, Metal], diameter: float, walls: tuple[float, float]) -> float:
    """Return the overlap, up to the half mm: as strong as the weaker wall, at most three walls.

    Filler runs less surely the deeper the gap, and nothing is won beyond three walls.
    """
    strong = min(
        lap_for_full_strength_mm(metal.tensile_mpa, wall, diameter)
        for metal, wall in zip(metals, walls, strict=True)
    )
    least = practice("overlap_least")
    wanted = max(least, min(strong, practice("overlap_t") * min(walls)))
    return math.ceil(wanted * 2.0) / 2.0


def _clearance(metals: tuple[Metal, Metal], diameter: float, work_c: float) -> Clearance | None:
    """Return the cold clearance that gives the gap at working heat, None if it cannot go in."""
    inner, outer = metals
    rise = work_c - _ROOM_C
    grows = diameter * (outer.alpha_per_k - inner.alpha_per_k) * rise
    u = (
        0.0
        if outer.key == inner.key
        else diameter * rise * math.hypot(outer.u_alpha_per_k, inner.u_alpha_per_k)
    )
    least = max(2.0 * practice("gap_min") - grows, _LEAST_COLD_MM)
    most = 2.0 * practice("gap_max") - grows
    aim = min(max(2.0 * practice("gap_aim") - grows, least), most)
    if most < _LEAST_COLD_MM:
        return None
    return Clearance(grows_mm=grows, u_grows_mm=u, cold_mm=(least, aim, most))
