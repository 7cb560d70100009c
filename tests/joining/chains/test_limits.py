"""Limits of a chain one by one, how sides are read, what is missing and what is used up."""

import dataclasses
import math
from typing import Any

import pytest

from pitchcam.errors import InputError, UsageError
from pitchcam.joining.chains.adapt import adapt, rank_rows, what_stands_in_the_way, without
from pitchcam.joining.chains.chain import (
    Link,
    added_mm,
    bottoms,
    corner_radius_mm,
    evaluate,
    fitting_allowed,
    joint,
    joint_demerits,
    mass_g,
)
from pitchcam.joining.chains.makeup import chain_tightenings
from pitchcam.joining.chains.orders import adapter_wanted, consumables, missing
from pitchcam.joining.chains.question import Question, check_question, parse_side
from pitchcam.joining.mating.ends import parse_end
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.records import Gender


def fitting(name: str, male: str | None, female: str | None, **more: Any) -> Fitting:
    """Return an invented piece of stock, male at A and female at B."""
    given: dict[str, Any] = {
        "end_a": None if male is None else parse_end(male, "external"),
        "end_b": None if female is None else parse_end(female, "internal"),
        "thread_a_mm": 12.0,
        "bore_mm": 6.0,
        "length_mm": 30.0,
        "hex_mm": 22.0,
        "material": "brass",
        "pressure_bar": 16.0,
        "temperature_c": 150.0,
        "mass_g": 50.0,
        "count": 1,
    }
    return Fitting(id=name, **(given | more))


BUSH = fitting("A", "M18x1.5", "G 1/4")
NIPPLE = fitting("B", "G 1/4", "M14x1.5")
DIRECT = fitting("D", "M18x1.5", "M14x1.5")
ASK = Question(port=parse_side("M18x1.5", "internal"), part=parse_side("M14x1.5", "external"))


def asked(**changes: Any) -> Question:
    return dataclasses.replace(ASK, **changes)


@pytest.mark.parametrize(
    ("typed", "default", "text"),
    [
        ("M14x1.5", "external", "M14x1.5 male"),
        ("M14x1.5", "internal", "M14x1.5 female"),
        ("M14x1.5 male", "internal", "M14x1.5 male"),
        ("M14x1.5, FEMALE", "external", "M14x1.5 female"),
        ("G 1/4 cone60 male", "internal", "G 1/4 cone60 male"),
        # A hose asked for is the hose; its tail is the male.
        ("hose 10", "external", "hose of 10 mm (3/8 in) bore"),
        ("hose 10 male", "internal", "hose tail 10 mm (3/8 in)"),
        ("tail 10", "internal", "hose tail 10 mm (3/8 in)"),
    ],
)
def test_a_side_as_it_is_typed(typed: str, default: Gender, text: str) -> None:
    assert parse_side(typed, default).text == text


def test_a_side_that_is_none() -> None:
    with pytest.raises(UsageError):
        parse_side("M14x1.49", "external")
    with pytest.raises(InputError, match="male thread only"):
        parse_side("R 1/4 female", "external")


@pytest.mark.parametrize(
    ("limits", "most"),
    [
        ({}, None),
        ({"stand_off_mm": 25.0}, 25.0),
        ({"probe_mm": 60.0, "wall_mm": 10.0, "immersion_mm": 20.0}, 30.0),
        ({"probe_mm": 60.0, "stand_off_mm": 25.0}, 25.0),
        ({"probe_mm": 60.0, "wall_mm": 40.0, "stand_off_mm": 25.0}, 20.0),
    ],
)
def test_the_most_that_may_stand_between_the_faces(
    limits: dict[str, float], most: float | None
) -> None:
    assert asked(**limits).most_added_mm == most
    check_question(asked(**limits))


@pytest.mark.parametrize(
    ("limits", "says"),
    [
        (
            {"probe_mm": 20.0, "wall_mm": 15.0, "immersion_mm": 6.0},
            "the probe is shorter than the port's wall and the immersion wanted together. "
            "Check --probe, --wall and --immersion.",
        ),
        ({"max_pieces": 0}, "a chain has 1 to 6 pieces; more would hang and leak."),
        ({"max_pieces": 7}, "a chain has 1 to 6 pieces; more would hang and leak."),
    ],
)
def test_limits_that_no_chain_can_keep(limits: dict[str, Any], says: str) -> None:
    with pytest.raises(UsageError) as caught:
        check_question(asked(**limits))
    assert str(caught.value) == says
    with pytest.raises(UsageError):
        adapt(asked(**limits), (DIRECT,))


@pytest.mark.parametrize(
    ("limits", "allowed"),
    [
        ({}, True),
        ({"bore_mm": 6.0}, True),
        ({"bore_mm": 6.1}, False),
        ({"pressure_bar": 16.0}, True),
        ({"pressure_bar": 16.1}, False),
        ({"temperature_c": 150.0}, True),
        ({"temperature_c": 150.1}, False),
        # A hex of 22 sweeps 22 / sqrt 3 = 12.70 mm.
        ({"room_mm": 12.71}, True),
        ({"room_mm": 12.69}, False),
        ({"one_wire": True}, True),
    ],
)
def test_a_fitting_keeps_a_limit_to_the_last(limits: dict[str, Any], allowed: bool) -> None:
    assert fitting_allowed(DIRECT, asked(**limits)) == allowed
    assert bool(adapt(asked(**limits), (DIRECT,))) == allowed


@pytest.mark.parametrize(
    ("change", "limits"),
    [
        ({"pressure_bar": None}, {"pressure_bar": 0.5}),
        ({"temperature_c": None}, {"temperature_c": 20.0}),
        ({"material": "nylon"}, {"one_wire": True}),
        ({"material": "pot metal"}, {"one_wire": True}),
        ({"end_a": None}, {}),
        ({"bore_mm": 0.0}, {}),
    ],
)
def test_what_is_not_known_keeps_no_limit(change: dict[str, Any], limits: dict[str, Any]) -> None:
    assert not fitting_allowed(dataclasses.replace(DIRECT, **change), asked(**limits))


def test_a_round_fitting_sweeps_its_own_radius() -> None:
    assert corner_radius_mm(DIRECT) == pytest.approx(22 / math.sqrt(3))
    assert corner_radius_mm(dataclasses.replace(DIRECT, hex_mm=None)) == 9.0
    tail = fitting("T", "hose 20", "G 1/4", hex_mm=None)
    assert corner_radius_mm(tail) == 10.0


@pytest.mark.parametrize(
    ("piece", "added"),
    [
        # Over-all length less the male thread that disappears.
        (DIRECT, 18.0),
        (fitting("F", "M18x1.5", "M14x1.5", thread_a_mm=40.0), 0.0),
        # Of a taper male three turns stay out: NPT 1/4 has 1.411 mm each.
        (fitting("N", "1/4-18 NPT", "M14x1.5", thread_a_mm=15.0), 30 - 15 + 3 * 25.4 / 18),
        # Unstated: 0.8 of the diameter, 17.968 for M18x1.5 6g.
        (fitting("U", "M18x1.5", "M14x1.5", thread_a_mm=None), 30 - 0.8 * 17.968),
        # A male at either end disappears.
        (
            fitting("B", "M18x1.5", None, end_b=parse_end("M14x1.5", "external"), thread_b_mm=7.0),
            11.0,
        ),
        # A hose goes over the whole tail.
        (fitting("H", "hose 10", "M14x1.5", thread_a_mm=22.0), 8.0),
    ],
    ids=lambda v: getattr(v, "id", ""),
)
def test_what_a_fitting_adds(piece: Fitting, added: float) -> None:
    assert added_mm(piece) == pytest.approx(added, abs=1e-3)


def test_a_male_may_be_too_long_for_its_port() -> None:
    link = Link(fitting=DIRECT)
    for depth, too_long in ((11.9, True), (12.0, False), (None, False)):
        assert bottoms(link, asked(port_depth_mm=depth)) == too_long
        assert bool(adapt(asked(port_depth_mm=depth), (DIRECT,))) != too_long
    # A female end goes into nothing.
    assert not bottoms(Link(fitting=DIRECT, turned=True), asked(port_depth_mm=1.0))


def test_masses() -> None:
    assert mass_g(DIRECT) == 50.0
    bare = dataclasses.replace(DIRECT, mass_g=None)
    hexagon = math.sqrt(3) / 2 * 22**2 * 18
    thread, bore = math.pi / 4 * 18**2 * 12, math.pi / 4 * 36 * 30
    assert mass_g(bare) == pytest.approx((hexagon + thread - bore) * 8470e-6)
    # Of an unknown metal it counts as steel, the heavier.
    heavy = dataclasses.replace(bare, material="pot metal")
    assert mass_g(heavy) / mass_g(bare) == pytest.approx(7850 / 8470)


@pytest.mark.parametrize(
    ("male", "female", "limits", "demerits"),
    [
        ("M18x1.5", "M18x1.5", {}, 0),
        ("R 1/4", "Rc 1/4", {}, 0),
        ("R 1/4", "G 1/4", {}, 1),
        ("G 1/4", "Rc 1/4", {}, None),
        ("M18x1.5", "M14x1.5", {}, None),
        # Copper washers stand 200 deg C, an anaerobic sealant 150.
        ("M18x1.5", "M18x1.5", {"temperature_c": 200.0}, 0),
        ("M18x1.5", "M18x1.5", {"temperature_c": 201.0}, None),
        ("R 1/4", "Rc 1/4", {"temperature_c": 151.0}, None),
        # Sealant leaves the earth in doubt, a washer does not.
        ("R 1/4", "Rc 1/4", {"one_wire": True}, 1),
        ("R 1/4", "G 1/4", {"one_wire": True}, 2),
        ("M18x1.5", "M18x1.5", {"one_wire": True}, 0),
        ("hose 10", "hose 10", {"one_wire": True}, None),
        ("hose 10", "hose 10", {"temperature_c": 126.0}, None),
        ("hose 10", "hose 10", {"temperature_c": 126.0, "hose_c": 130.0}, 0),
        ("hose 10", "hose 10", {"pressure_bar": 3.0, "hose_bar": 2.0}, None),
        ("hose 10", "hose 10", {"pressure_bar": 3.0}, 0),
    ],
)
def test_what_is_against_a_joint(
    male: str, female: str, limits: dict[str, Any], demerits: int | None
) -> None:
    one, other = parse_end(male, "external"), parse_end(female, "internal")
    assert joint_demerits(one, other, asked(**limits)) == demerits
    assert joint_demerits(other, one, asked(**limits)) == demerits


def test_two_of_one_gender_are_no_joint() -> None:
    male, female = parse_end("M14x1.5", "external"), parse_end("M14x1.5", "internal")
    assert joint(male, male) is None and joint(female, female) is None
    assert joint(female, male) == joint(male, female)
    with pytest.raises(ValueError, match="no joint"):
        evaluate(ASK, (Link(fitting=NIPPLE),))


def test_a_chain_is_as_weak_as_its_weakest() -> None:
    strong = dataclasses.replace(NIPPLE, pressure_bar=40.0, temperature_c=90.0, bore_mm=8.0)
    chain = evaluate(
        asked(probe_mm=80.0, wall_mm=5.0, part_mass_g=20.0),
        (Link(fitting=BUSH), Link(fitting=strong)),
    )
    assert (chain.pressure_bar, chain.temperature_c, chain.bore_mm) == (16.0, 90.0, 6.0)
    assert chain.added_mm == 36.0 and chain.immersion_mm == 80 - 5 - 36
    assert chain.mass_g == 120.0 and chain.demerits == 0
    # 50 g at 9 mm, 50 g at 27 mm and 20 g at 36 mm, ten times their weight.
    moment = (50 * 9 + 50 * 27 + 20 * 36) * 1e-6 * 9.80665 * 10
    assert chain.moment_n_m == pytest.approx(moment)
    root = 18 - 1.25 * 0.866025 * 1.5
    assert chain.bend_mpa == pytest.approx(
        32e3 * moment * root / (math.pi * (root**4 - 6**4)), 1e-4
    )
    # A rating that nobody knows leaves the chain without one.
    unknown = dataclasses.replace(strong, pressure_bar=None)
    assert evaluate(ASK, (Link(fitting=BUSH), Link(fitting=unknown))).pressure_bar is None


def test_two_that_mate_need_nothing() -> None:
    ask = Question(port=parse_side("M14x1.5", "internal"), part=ASK.part)
    (chain,) = adapt(ask, (BUSH, NIPPLE))
    assert chain.links == () and chain.added_mm == 0.0 and math.isinf(chain.bore_mm)
    assert chain.bend_mpa is None and len(chain.joints) == 1


def ids(chains: tuple[Any, ...]) -> list[str]:
    return ["".join(link.fitting.id for link in c.links) for c in chains]


def test_fewest_pieces_then_demerits_then_length() -> None:
    longer = dataclasses.replace(DIRECT, id="L", length_mm=40.0)
    assert ids(adapt(ASK, (BUSH, NIPPLE, longer, DIRECT))) == ["D", "L", "AB"]
    assert ids(adapt(ASK, (BUSH, NIPPLE, longer, DIRECT), best=1)) == ["D"]
    assert ids(adapt(asked(max_pieces=1), (BUSH, NIPPLE))) == []
    # A row that has run out is not used, and one piece is used once.
    assert ids(adapt(ASK, (dataclasses.replace(DIRECT, count=0), BUSH, NIPPLE))) == ["AB"]


def test_ratings_rank_rows_then_bore_then_name() -> None:
    rows = [
        dataclasses.replace(DIRECT, id="b"),
        dataclasses.replace(DIRECT, id="a"),
        dataclasses.replace(DIRECT, id="wide", bore_mm=8.0),
        dataclasses.replace(DIRECT, id="strong", pressure_bar=40.0),
        dataclasses.replace(DIRECT, id="unrated", pressure_bar=None),
    ]
    ranks = rank_rows(rows)
    assert sorted(ranks, key=lambda k: ranks[k]) == ["strong", "wide", "a", "b", "unrated"]


@pytest.mark.parametrize(
    ("limit", "changes", "words"),
    [
        ("bore", {"bore_mm": 7.0}, "a bore of 7 mm"),
        ("pressure", {"pressure_bar": 20.0}, "a rating of 20 bar"),
        ("temperature", {"temperature_c": 160.0}, "a rating of 160 deg C"),
        ("room", {"room_mm": 10.0}, "the limit of 10 mm of room about the port"),
        ("length", {"stand_off_mm": 15.0}, "the limit of 15 mm between the faces"),
        ("depth", {"port_depth_mm": 9.0}, "the port's depth of 9 mm"),
    ],
)
def test_the_limit_that_stands_in_the_way_is_named(
    limit: str, changes: dict[str, Any], words: str
) -> None:
    question = asked(**changes)
    assert adapt(question, (DIRECT,)) == ()
    [(said, chain)] = what_stands_in_the_way(question, (DIRECT,))
    assert said == words and ids((chain,)) == ["D"]
    assert without(question, limit) == ASK and without(ASK, limit) is None


def test_an_earth_may_stand_in_the_way() -> None:
    plastic = dataclasses.replace(DIRECT, material="nylon")
    [(said, _)] = what_stands_in_the_way(asked(one_wire=True), (plastic,))
    assert said == "an earth through the thread"
    assert without(ASK, "earth") is None
    # Two limits at once are not one that stands in the way.
    assert what_stands_in_the_way(asked(one_wire=True, bore_mm=9.0), (plastic,)) == ()


def test_what_to_buy_has_the_limits() -> None:
    assert adapter_wanted(ASK) == "one adapter, M18x1.5 male to M14x1.5 female"
    full = asked(
        bore_mm=4.0, pressure_bar=6.0, temperature_c=120.0, stand_off_mm=25.0, one_wire=True
    )
    assert adapter_wanted(full) == (
        "one adapter, M18x1.5 male to M14x1.5 female, bore 4 mm or more, rated 6 bar or more, "
        "rated 120 deg C or more, adding no more than 25 mm, metal"
    )


def test_what_ran_out_is_to_be_reordered() -> None:
    gone = dataclasses.replace(DIRECT, count=0)
    stock = (gone, BUSH, NIPPLE)
    found = adapt(ASK, stock)
    lacks = missing(ASK, stock, found)
    assert lacks is not None and lacks.buy.startswith("one adapter")
    assert lacks.reorder == (DIRECT.text,)
    assert missing(ASK, (DIRECT,), adapt(ASK, (DIRECT,))) is None
    none = missing(ASK, (), ())
    assert none is not None and none.reorder == ()


def test_each_joint_uses_up_its_seal() -> None:
    def pair(male: str, female: str) -> Any:
        found = joint(parse_end(male, "external"), parse_end(female, "internal"))
        assert found is not None
        return found

    washer = pair("M18x1.5", "M18x1.5")
    assert consumables([washer, washer]) == (
        "2 x copper washer or bonded seal for M18x1.5 (18.0 mm thread)",
    )
    assert consumables([pair("R 1/4", "Rc 1/4")] * 2) == (
        "sealant for taper threads, for the fluid and its temperature",
    )
    assert consumables([pair("M14x1.5 oring", "M14x1.5 oring"), pair("hose 10", "hose 10")]) == (
        "1 x O-ring for the stud end for M14x1.5 (14.0 mm thread)",
        "1 x hose clamp for 10 mm bore hose",
    )
    assert consumables([pair("7/16-20 UNF cone37", "7/16-20 UNF cone37")]) == ()


def test_every_joint_of_a_chain_is_tightened_port_first() -> None:
    chain = evaluate(asked(pressure_bar=4.0), (Link(fitting=BUSH), Link(fitting=NIPPLE)))
    said = [t.joint for t in chain_tightenings(chain, asked(pressure_bar=4.0))]
    assert said == [m.text for m in chain.joints]
    assert said[0] == "M18x1.5 male in M18x1.5 female" and said[-1].startswith("M14x1.5 male")
    # Proof asks for half as much again.
    [first, *_] = chain_tightenings(chain, asked(pressure_bar=400.0))
    [idle, *_] = chain_tightenings(chain, ASK)
    assert first.least_n_m is not None and idle.least_n_m is not None
    assert first.least_n_m > idle.least_n_m
