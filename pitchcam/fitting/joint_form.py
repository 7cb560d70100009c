"""The joint between two donors: a spigot in a socket where there is metal for it, else a butt."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from pitchcam.errors import RefusedError
from pitchcam.fitting.donors import Donor
from pitchcam.fitting.practice import practice
from pitchcam.fitting.strength import lap_for_full_strength_mm

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
    """The joint as machined; for a butt ``spigot_mm`` is the faces' outside diameter.

    ``inner`` is the donor that carries the spigot (0 or 1), ``from_thread`` whether it is turned
    from the unwanted thread instead of the body. Walls are (spigot, socket).
    """

    form: Literal["spigot", "butt"]
    inner: int
    from_thread: bool
    spigot_mm: float
    overlap_mm: float
    walls_mm: tuple[float, float]
    clearance: Clearance | None
    area_mm2: float
    bore_mm: float
    flats_mm: tuple[float, float]
    why: str

    @property
    def spigot_length_mm(self) -> float:
        """Length of the spigot: the overlap and the open groove at the socket's mouth."""
        return self.overlap_mm + practice("mouth")

    @property
    def shortens_mm(self) -> float:
        """What the joint takes off the two bodies' lengths together."""
        return self.overlap_mm if self.form == "spigot" and not self.from_thread else 0.0


def choose_form(donors: tuple[Donor, Donor], work_c: float) -> JointForm:
    """Return the best spigot that the metal allows, else a butt of faced annuli.

    A spigot carries load in shear over an area that is chosen, lines the parts up by itself and
    shows by its fillets that filler ran through; a butt carries over the wall's section only.

    Raises
    ------
    RefusedError
        If there is not even metal for a butt.
    """
    spigots = list(_spigots(donors, work_c))
    if spigots:
        return max(spigots, key=_merit)
    return _butt(donors)


def _merit(form: JointForm) -> tuple[bool, float, float]:
    """Flats on both sides first, then the thicker weakest wall, then the larger cold clearance."""
    flats = min(form.flats_mm) >= practice("flats")
    cold = 0.0 if form.clearance is None else form.clearance.cold_mm[1]
    return flats, round(min(form.walls_mm), 2), cold


def _spigots(donors: tuple[Donor, Donor], work_c: float) -> Iterator[JointForm]:
    for inner in (0, 1):
        spigot, socket = donors[inner], donors[1 - inner]
        sources = [(False, spigot.hex_mm)]
        if spigot.stub_mm > 0.0:
            sources.append((True, spigot.stub_mm))
        for from_thread, stock_mm in sources:
            form = _spigot(spigot, socket, inner, from_thread, stock_mm, work_c)
            if form is not None:
                yield form


def _spigot(
    spigot: Donor, socket: Donor, inner: int, from_thread: bool, stock_mm: float, work_c: float
) -> JointForm | None:
    """Return the spigot of balanced walls that fits this way round, None where none does."""
    wall = practice("wall_min")
    bore = spigot.final_bore_mm
    balanced = (socket.hex_mm + bore) / 2.0
    top = min(stock_mm - 0.5 * (not from_thread), socket.hex_mm - 2.0 * wall)
    diameter = math.floor(min(balanced, top) * 2.0) / 2.0
    if diameter < bore + 2.0 * wall or socket.final_bore_mm > diameter - 1.0:
        return None
    walls = ((diameter - bore) / 2.0, (socket.hex_mm - diameter) / 2.0)
    overlap = _overlap(spigot, socket, diameter, walls)
    turned = overlap + practice("mouth")
    deep = socket.solid_mm >= overlap + practice("floor")
    length = spigot.cut_thread_mm if from_thread else spigot.solid_mm - practice("floor")
    clearance = _clearance(spigot, socket, diameter, work_c)
    if not deep or length < turned or clearance is None:
        return None
    left = spigot.body_left_mm + (practice("facing") if from_thread else -turned)
    flats = (left, socket.body_left_mm)
    return JointForm(
        form="spigot", inner=inner, from_thread=from_thread, spigot_mm=diameter,
        overlap_mm=overlap, walls_mm=walls, clearance=clearance,
        area_mm2=math.pi * diameter * overlap, bore_mm=min(bore, socket.final_bore_mm),
        flats_mm=flats if inner == 0 else flats[::-1],
        why="there is metal for a spigot: it lines up by itself, carries in shear over an "
        "overlap as strong as the wall, and its fillets show that filler ran through",
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


def _butt(donors: tuple[Donor, Donor]) -> JointForm:
    outside = min(d.hex_mm for d in donors)
    bores = [d.final_bore_mm for d in donors]
    wall = (outside - max(bores)) / 2.0
    if wall < 2.0 * practice("wall_min"):
        raise RefusedError(
            f"the faces would be {max(wall, 0.0):.1f} mm wide: too little for a butt, and there "
            "is no room for a spigot.", "Take larger donors, or ask for less bore.",
        )  # fmt: skip
    return JointForm(
        form="butt", inner=0, from_thread=False, spigot_mm=outside, overlap_mm=0.0,
        walls_mm=(wall, wall), clearance=None,
        area_mm2=math.pi / 4.0 * (outside**2 - max(bores) ** 2), bore_mm=min(bores),
        flats_mm=(donors[0].body_left_mm, donors[1].body_left_mm),
        why="the bodies are too short or too thin for a spigot and socket: the faces alone carry, "
        "so keep bending off it",
    )  # fmt: skip
