"""One chain of fittings between a port and a part: its joints, and what it adds and carries."""

from __future__ import annotations

import math
from functools import cache

from pitchcam.frozen import dataclass
from pitchcam.joining.chains.question import Question
from pitchcam.joining.mating.ends import End, profile_of
from pitchcam.joining.mating.mate import Mating, mate, planned_rule
from pitchcam.joining.metals import metal
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.joining.tables import Row, keyed
from pitchcam.series import find

#: Acceleration for the hanging load: 10 g at the engine, common practice for bolted-on parts, no
#: source; ISO 16750-3 gives spectra by mounting place.
VIBRATION_G = 10.0
_G_M_S2 = 9.80665
#: A male thread left in the open by tightening: a parallel male goes home to its shoulder, a
#: taper one stops about three turns short of its last thread (ISO 7-1 wrenching allowance and
#: NPT's L3, rounded).
_TAPER_TURNS_OUT = 3.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Link:
    """A fitting in a chain; ``turned`` when its end B faces the port."""

    fitting: Fitting
    turned: bool = False

    @property
    def near(self) -> End | None:
        """The end towards the port."""
        return self.fitting.end_b if self.turned else self.fitting.end_a

    @property
    def far(self) -> End | None:
        """The end towards the part."""
        return self.fitting.end_a if self.turned else self.fitting.end_b


@dataclass(frozen=True, kw_only=True, slots=True)
class Chain:
    """A way to join; figures as the report prints them, lengths in mm.

    ``demerits`` counts joints by agreement only and, for a one-wire part, joints whose contact is
    in doubt. ``added_mm`` is the distance between the port's face and the part's, ``immersion_mm``
    what is left of the probe in the fluid. ``moment_n_m`` is the hanging load's moment at the
    port under VIBRATION_G, ``bend_mpa`` its stress in the first male thread.
    """

    links: tuple[Link, ...]
    joints: tuple[Mating, ...]
    demerits: int
    added_mm: float
    bore_mm: float
    pressure_bar: float | None
    temperature_c: float | None
    immersion_mm: float | None
    widest_corner_mm: float
    mass_g: float
    moment_n_m: float
    bend_mpa: float | None
    warnings: tuple[str, ...] = ()


@cache
def joint(one: End, other: End) -> Mating | None:
    """Return the mating of two ends in whichever order they fit, None for two of one gender."""
    if one.gender == other.gender:
        return None
    return mate(one, other) if one.gender == "external" else mate(other, one)


def joint_demerits(one: End, other: End, question: Question) -> int | None:
    """Return how much is against a joint, None where it may not be planned on.

    By agreement only counts 1; for a one-wire part doubtful earth contact counts 1 too. A joint
    that does not seal, that stands less heat than asked, or that breaks the earth is None.
    """
    rule = planned_rule(one, other)
    if rule is None:
        return None
    seal = keyed("seals")[rule.seal]
    if question.temperature_c is not None and question.temperature_c > _stands_c(seal, question):
        return None
    if rule.seal == "hose" and (question.hose_bar or math.inf) < (question.pressure_bar or 0.0):
        return None
    if question.one_wire and seal["conducts"] == "no":
        return None
    doubtful = question.one_wire and seal["conducts"] == "doubtful"
    return int(rule.answer == "by-agreement") + int(doubtful)


def _stands_c(seal: Row, question: Question) -> float:
    """Return the heat that a seal stands; a hose has its own rating where that is known."""
    if seal["key"] == "hose" and question.hose_c is not None:
        return question.hose_c
    return float(seal["max_c"])


def fitting_allowed(f: Fitting, question: Question) -> bool:
    """Whether one fitting keeps the limits by itself; an unknown rating keeps none."""
    if f.end_a is None or f.end_b is None or f.bore_mm < max(question.bore_mm, 1e-9):
        return False
    if question.pressure_bar is not None and (f.pressure_bar or 0.0) < question.pressure_bar:
        return False
    rated = f.temperature_c if f.temperature_c is not None else -math.inf
    if question.temperature_c is not None and rated < question.temperature_c:
        return False
    if question.room_mm is not None and corner_radius_mm(f) > question.room_mm:
        return False
    made_of = metal(f.material)
    return not question.one_wire or (made_of is not None and made_of.conducts)


def corner_radius_mm(f: Fitting) -> float:
    """Return the radius a fitting sweeps as it is turned in: its hex across corners, halved."""
    if f.hex_mm is not None:
        return f.hex_mm / math.sqrt(3.0)
    return max((_outside_mm(e) for e in (f.end_a, f.end_b) if e is not None), default=0.0) / 2.0


def added_mm(f: Fitting) -> float:
    """Return what a fitting adds between the two faces: over-all length less its male threads."""
    inside = _inside_mm(f.end_a, f.thread_a_mm) + _inside_mm(f.end_b, f.thread_b_mm)
    return max(0.0, f.length_mm - inside)


def bottoms(link: Link, question: Question) -> bool:
    """Whether a piece's male end is too long for the port: it bottoms before its face seals.

    A female end goes into nothing.
    """
    near = link.near
    if question.port_depth_mm is None or near is None:
        return False
    f = link.fitting
    return (
        _inside_mm(near, f.thread_b_mm if link.turned else f.thread_a_mm) > question.port_depth_mm
    )


@cache
def _inside_mm(end: End | None, thread_mm: float | None) -> float:
    """Return how much of a male end disappears into its female; a hose tail counts whole."""
    if end is None or end.gender == "internal":
        return 0.0
    if end.is_hose:
        return thread_mm or 0.0
    profile = profile_of(end)
    length = thread_mm if thread_mm is not None else profile.engagement_mm
    if profile.taper:
        return max(0.0, length - _TAPER_TURNS_OUT * profile.pitch_mm)
    return length


def _outside_mm(end: End) -> float:
    return float(end.designation[5:]) if end.is_hose else find(end.designation).basic_major_mm


@cache
def mass_g(f: Fitting) -> float:
    """Return the stated mass, else hex bar over the body and round bar over male threads, bored.

    An unknown material counts as steel, the heavier of the usual two.
    """
    if f.mass_g is not None:
        return f.mass_g
    made_of = metal(f.material)
    density = 7850.0 if made_of is None else made_of.density_kg_m3
    threads = 0.0
    length = 0.0
    for end, stated in ((f.end_a, f.thread_a_mm), (f.end_b, f.thread_b_mm)):
        if end is not None and end.gender == "external":
            part = stated if stated is not None else 0.8 * _outside_mm(end)
            threads += math.pi / 4.0 * _outside_mm(end) ** 2 * part
            length += part
    across = 2.0 * corner_radius_mm(f) * math.sqrt(3.0) / 2.0
    body = math.sqrt(3.0) / 2.0 * across**2 * max(0.0, f.length_mm - length)
    bored = math.pi / 4.0 * f.bore_mm**2 * f.length_mm
    return max(0.0, body + threads - bored) * density * 1e-6


def evaluate(question: Question, links: tuple[Link, ...]) -> Chain:
    """Return a chain's figures; its joints must exist and be allowed.

    Raises
    ------
    ValueError
        If two ends that face each other are no joint: a fault of the search.
    """
    ends: list[End | None] = [question.port]
    for link in links:
        ends += [link.near, link.far]
    ends.append(question.part)
    joints: list[Mating] = []
    demerits = 0
    for one, other in zip(ends[::2], ends[1::2], strict=True):
        mating = None if one is None or other is None else joint(one, other)
        against = None if one is None or other is None else joint_demerits(one, other, question)
        if mating is None or against is None:
            raise ValueError("ends that face each other are no joint")
        joints.append(mating)
        demerits += against
    fittings = [link.fitting for link in links]
    added = sum(added_mm(f) for f in fittings)
    moment = _moment(question, fittings)
    bend = _bend_mpa(moment, joints[0], question, fittings)
    return Chain(
        links=links,
        joints=tuple(joints),
        demerits=demerits,
        added_mm=added,
        bore_mm=min((f.bore_mm for f in fittings), default=math.inf),
        pressure_bar=_weakest([f.pressure_bar for f in fittings] + _hose_bars(joints, question)),
        temperature_c=_weakest(
            [f.temperature_c for f in fittings] + _seal_limits(joints, question)
        ),
        immersion_mm=None
        if question.probe_mm is None
        else question.probe_mm - question.wall_mm - added,
        widest_corner_mm=max((corner_radius_mm(f) for f in fittings), default=0.0),
        mass_g=sum(mass_g(f) for f in fittings) + question.part_mass_g,
        moment_n_m=moment,
        bend_mpa=bend,
    )


def _weakest(values: list[float | None]) -> float | None:
    """Return the least; None where any is unknown or there are none."""
    known = [v for v in values if v is not None]
    return min(known) if known and len(known) == len(values) else None


def _seal_limits(joints: list[Mating], question: Question) -> list[float | None]:
    return [None if m.seal_row is None else _stands_c(m.seal_row, question) for m in joints]


def _hose_bars(joints: list[Mating], question: Question) -> list[float | None]:
    """Return the hose's rating where the chain has one and it is known."""
    hose = any(m.male.is_hose for m in joints)
    return [question.hose_bar] if hose and question.hose_bar is not None else []


def _moment(question: Question, fittings: list[Fitting]) -> float:
    """Return the moment (N m) at the port's face: each piece at its middle, the part at the end."""
    reach = total = 0.0
    for f in fittings:
        total += mass_g(f) * (reach + added_mm(f) / 2.0)
        reach += added_mm(f)
    total += question.part_mass_g * reach
    return total * 1e-6 * _G_M_S2 * VIBRATION_G


def _bend_mpa(
    moment: float, first: Mating, question: Question, fittings: list[Fitting]
) -> float | None:
    """Return the bending stress in the male thread at the port: 32 M d / pi (d^4 - b^4)."""
    if first.male.is_hose or not fittings:
        return None
    root = find(first.male.designation).basic_minor_mm
    bore = fittings[0].bore_mm if question.port.gender == "internal" else question.bore_mm
    if bore >= root:
        return None
    return 32.0 * moment * 1e3 * root / (math.pi * (root**4 - bore**4))
