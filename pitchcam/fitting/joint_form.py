"""The joint between two donors: a spigot in a socket, or a refusal that says what is missing.

A butt of two faces is never planned: it carries on the wall's section only, bends open where the
part shakes, and its inside cannot be looked at.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from pitchcam.errors import RefusedError
from pitchcam.fitting.donors import Donor
from pitchcam.fitting.practice import practice
from pitchcam.fitting.strength import lap_for_full_strength_mm
from pitchcam.series import find

_ROOM_C = 20.0
#: A spigot is put in by hand with at least this on the diameter (a free running fit, H8/f7 of
#: ISO 286 starts at about 0.02 mm in these sizes).
_LEAST_COLD_MM = 0.02


@dataclass(frozen=True, kw_only=True, slots=True)
class Clearance:
    """Clearance on the diameter, mm: what the gap grows by in the heat, and what to machine cold.

    ``cold_mm`` is (least, aimed at, most); ``grows_mm`` is negative where the gap closes.
    """

    grows_mm: float
    u_grows_mm: float
    cold_mm: tuple[float, float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class JointForm:
    """The joint as machined, lengths in mm.

    ``inner`` is the donor that carries the spigot (0 or 1), ``from_thread`` whether it is turned
    from the unwanted thread instead of the body, ``over_thread`` whether it is turned on the body
    around the kept female thread. Walls are (spigot, socket).
    """

    inner: int
    from_thread: bool
    over_thread: bool
    spigot_mm: float
    overlap_mm: float
    walls_mm: tuple[float, float]
    clearance: Clearance
    area_mm2: float
    bore_mm: float
    flats_mm: tuple[float, float]

    @property
    def spigot_length_mm(self) -> float:
        """Length of the spigot: the overlap and the open groove at the socket's mouth."""
        return self.overlap_mm + practice("mouth")

    @property
    def shortens_mm(self) -> float:
        """What the joint takes off the two bodies' lengths together."""
        return 0.0 if self.from_thread else self.overlap_mm


#: Why this form, as the work sheet says it.
WHY = (
    "a spigot lines up by itself, carries in shear over an overlap as strong as the wall, and its "
    "fillets show that filler ran through"
)


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


def choose_form(donors: tuple[Donor, Donor], work_c: float) -> JointForm:
    """Return the best spigot and socket that the metal of two donors allows.

    Raises
    ------
    RefusedError
        If neither donor can carry a spigot for the other; what each lacks is said.
    """
    found: list[JointForm] = []
    lacks: list[list[_Lack]] = [[], []]
    for inner in (0, 1):
        for stock in _stocks(donors[inner]):
            form = _spigot((donors[inner], donors[1 - inner]), inner, stock, work_c)
            if isinstance(form, JointForm):
                found.append(form)
            else:
                lacks[inner].append(form)
    if not found:
        raise _no_metal(donors, [min(side, key=lambda lack: lack.short_mm) for side in lacks])
    return max(found, key=_merit)


@dataclass(frozen=True, slots=True)
class _Lack:
    """What is missing for one spigot, in words and mm."""

    text: str
    short_mm: float


def _no_metal(donors: tuple[Donor, Donor], lacks: list[_Lack]) -> NoMetalError:
    names = " and ".join(d.fitting.id for d in donors)
    each = "; ".join(f"spigot on {d.fitting.id}: {lack.text}"
                     for d, lack in zip(donors, lacks, strict=True))  # fmt: skip
    error = NoMetalError(
        f"{names} have no metal for a spigot and socket ({each}), and two faces are never brazed "
        "together for a line that shakes or holds pressure.",
        "Take donors with longer or larger bodies.",
    )
    error.short_mm = min(lack.short_mm for lack in lacks)
    return error


def _merit(form: JointForm) -> tuple[bool, float, float]:
    """Flats on both sides first, then the thicker weakest wall, then the larger cold clearance."""
    flats = min(form.flats_mm) >= practice("flats")
    return flats, round(min(form.walls_mm), 2), form.clearance.cold_mm[1]


def _stocks(d: Donor) -> Iterator[_Stock]:
    """Yield what a donor's spigot can be turned from: body, body around its thread, stub."""
    bore, skin = d.final_bore_mm, 0.5
    yield _Stock(d.hex_mm - skin, d.solid_mm - practice("floor"), bore)
    if d.keep_depth_mm:
        around = max(bore, find(d.keep.designation).basic_major_mm)
        yield _Stock(d.hex_mm - skin, d.body_left_mm - practice("flats"), around, over_thread=True)
    if d.stub_mm > 0.0:
        yield _Stock(d.stub_mm, d.cut_thread_mm, bore, from_thread=True)


def _spigot(
    pair: tuple[Donor, Donor], inner: int, stock: _Stock, work_c: float
) -> JointForm | _Lack:
    """Return the spigot of balanced walls that fits this way round, or what is missing for it.

    The overlap is as strong as the wall where the bodies give the length, else as long as they
    give: its load is judged afterwards.
    """
    spigot, socket = pair
    wall, core = practice("wall_min"), stock.core_mm
    balanced = (socket.hex_mm + core) / 2.0
    top = min(stock.outside_mm, socket.hex_mm - 2.0 * wall)
    diameter = math.floor(min(balanced, top) * 2.0) / 2.0
    least = max(core + 2.0 * wall, socket.final_bore_mm + 1.0)
    if diameter < least:
        return _Lack(
            f"it would be {max(diameter, 0.0):g} mm thick where {least:.1f} are needed for "
            f"{wall:g} mm walls", least - diameter,
        )  # fmt: skip
    walls = ((diameter - core) / 2.0, (socket.hex_mm - diameter) / 2.0)
    shortest, mouth, floor = (practice(key) for key in ("overlap_least", "mouth", "floor"))
    room = stock.length_mm - mouth
    if room < shortest:
        return _Lack(f"{max(stock.length_mm, 0.0):.1f} mm can be turned where "
                     f"{shortest + mouth:.1f} are needed", shortest - room)  # fmt: skip
    deep = socket.solid_mm - floor
    if deep < shortest:
        return _Lack(
            f"{socket.fitting.id} has {max(socket.solid_mm, 0.0):.1f} mm of solid body where a "
            f"socket needs {shortest + floor:.1f}", shortest - deep,
        )  # fmt: skip
    full = _overlap(spigot, socket, diameter, walls)
    overlap = min(full, math.floor(min(room, deep) * 2.0) / 2.0)
    turned = overlap + mouth
    clearance = _clearance(spigot, socket, diameter, work_c)
    if clearance is None:
        return _Lack("in the heat the spigot would grow tight in its socket", math.inf)
    left = spigot.body_left_mm + (practice("facing") if stock.from_thread else -turned)
    flats = (left, socket.body_left_mm)
    return JointForm(
        inner=inner, from_thread=stock.from_thread, over_thread=stock.over_thread,
        spigot_mm=diameter, overlap_mm=overlap, walls_mm=walls, clearance=clearance,
        area_mm2=math.pi * diameter * overlap,
        bore_mm=min(spigot.final_bore_mm, socket.final_bore_mm),
        flats_mm=flats if inner == 0 else flats[::-1],
    )  # fmt: skip


def _overlap(spigot: Donor, socket: Donor, diameter: float, walls: tuple[float, float]) -> float:
    """Return the overlap, up to the half mm: as strong as the weaker wall, at most three walls.

    Filler runs less surely the deeper the gap, and nothing is won beyond three walls.
    """
    metals = (spigot.metal, socket.metal)
    strong = min(
        lap_for_full_strength_mm(metal.tensile_mpa, wall, diameter)
        for metal, wall in zip(metals, walls, strict=True)
    )
    least = practice("overlap_least")
    wanted = max(least, min(strong, practice("overlap_t") * min(walls)))
    return math.ceil(wanted * 2.0) / 2.0


def _clearance(spigot: Donor, socket: Donor, diameter: float, work_c: float) -> Clearance | None:
    """Return the cold clearance that gives the gap at working heat, None if it cannot go in."""
    rise = work_c - _ROOM_C
    grows = diameter * (socket.metal.alpha_per_k - spigot.metal.alpha_per_k) * rise
    same = socket.metal.key == spigot.metal.key
    u = 0.0 if same else diameter * rise * math.hypot(
        socket.metal.u_alpha_per_k, spigot.metal.u_alpha_per_k)  # fmt: skip
    least = max(2.0 * practice("gap_min") - grows, _LEAST_COLD_MM)
    most = 2.0 * practice("gap_max") - grows
    aim = min(max(2.0 * practice("gap_aim") - grows, least), most)
    if most < _LEAST_COLD_MM:
        return None
    return Clearance(grows_mm=grows, u_grows_mm=u, cold_mm=(least, aim, most))
