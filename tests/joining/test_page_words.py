"""Chains and jobs in words, paragraph by paragraph, and as JSON."""

import dataclasses
import math
from typing import Any

import pytest

from pitchcam.errors import UsageError
from pitchcam.joining.brazing.plan import Duty
from pitchcam.joining.chains.adapt import adapt, what_stands_in_the_way
from pitchcam.joining.chains.chain import Link, evaluate
from pitchcam.joining.chains.orders import missing
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.chains.text import (
    CAUTION,
    answer_text,
    bend_allowed_mpa,
    chain_json,
    chain_text,
    chain_warnings,
)
from pitchcam.joining.job import Side, SideName, measured_side, named_side, plan_job
from pitchcam.joining.job_text import job_json, job_text, joints_of, orders, paragraphs, tightenings
from pitchcam.joining.mating.ends import parse_end
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.records import Candidate, Verdict

NAMES = {
    "A": ("M18x1.5", "G 1/4"),
    "B": ("G 1/4", "M14x1.5"),
    "D": ("M18x1.5", "M14x1.5"),
    "N": ("R 1/4", "M14x1.5"),
}


def fitting(name: str, **more: Any) -> Fitting:
    male, female = NAMES[name]
    given: dict[str, Any] = {
        "end_a": parse_end(male, "external"),
        "end_b": parse_end(female, "internal"),
        "thread_a_mm": 12.0,
        "bore_mm": 6.0,
        "length_mm": 30.0,
        "hex_mm": 22.0,
        "material": "brass",
        "plating": "none",
        "pressure_bar": 16.0,
        "temperature_c": 150.0,
        "mass_g": 50.0,
        "count": 1,
    }
    return Fitting(id=name, **(given | more))


ASK = Question(port=parse_side("M18x1.5", "internal"), part=parse_side("M14x1.5", "external"))


def one(question: Question, *names: str, **more: Any) -> Any:
    return evaluate(question, tuple(Link(fitting=fitting(n, **more)) for n in names))


def test_one_piece_in_words() -> None:
    said = chain_text(one(ASK, "D"), ASK, 1).splitlines()
    assert said[0] == "1. 1 piece: D: M18x1.5 male / M14x1.5 female"
    assert said[1] == (
        "   M18x1.5 male in M18x1.5 female: seals by washer or bonded seal (ISO 261 and ISO 9974-1)"
    )
    assert said[3] == (
        "   adds 18.0 mm; bore 6 mm; weakest 16 bar; up to 150 deg C (seals counted); needs 12.7 "
        "mm radius to turn; 50 g, 0.04 N m at the port under 10 g"
    )
    assert said[4].startswith(
        "   Needs: 1 x copper washer or bonded seal for M18x1.5 (18.0 mm thread); "
    )
    assert len(said) == 5


def test_two_pieces_and_what_they_leave_of_a_probe() -> None:
    ask = dataclasses.replace(ASK, probe_mm=70.0, wall_mm=5.0)
    said = chain_text(one(ask, "A", "B"), ask, 2)
    assert said.startswith("2. 2 pieces: A: M18x1.5 male / G 1/4 female + B: G 1/4 male / ")
    assert "; 29.0 mm of the probe left in the fluid; " in said


def test_a_direct_joint_adds_nothing() -> None:
    ask = dataclasses.replace(ASK, port=parse_side("M14x1.5", "internal"))
    said = chain_text(adapt(ask, ())[0], ask, 1)
    assert said.startswith("1. they mate directly.\n") and "nothing added" in said
    told = chain_json(adapt(ask, ())[0], ask)
    assert told["pieces"] == [] and told["bore_mm"] is None and told["added_mm"] == 0.0


def test_what_must_be_agreed_stands_first() -> None:
    ask = dataclasses.replace(ASK, port=parse_side("G 1/4", "internal"))
    chain = one(ask, "N")
    assert chain.demerits == 1
    said = chain_text(chain, ask, 1)
    assert said.startswith(
        "1. Only where the product's own standard says so and the thread grips hand-tight "
        "(R 1/4 male in G 1/4 female): 1 piece: N"
    )
    assert chain_warnings(chain, ask)[0].startswith("R 1/4 male in G 1/4 female: Only where the ")


def test_a_doubtful_earth_is_minded() -> None:
    ask = dataclasses.replace(ASK, port=parse_side("Rc 1/4", "internal"), one_wire=True)
    notes = chain_warnings(one(ask, "N"), ask)
    assert len(notes) == 1 and notes[0].startswith("Sealant may break the earth of a one-wire part")
    sure = dataclasses.replace(ASK, one_wire=True)
    assert chain_warnings(one(sure, "D"), sure) == ()


def test_what_hangs_too_heavy_is_minded() -> None:
    chain = one(ASK, "D")
    # A quarter of the tensile strength as endurance, a notch of 3, and 2 for safety.
    allowed = 360 / 24
    assert bend_allowed_mpa(chain) == pytest.approx(allowed)
    assert bend_allowed_mpa(one(ASK, "D", material="pot metal")) is None
    light, heavy = (dataclasses.replace(chain, bend_mpa=allowed + d) for d in (-0.1, 0.1))
    assert chain_warnings(light, ASK) == ()
    [note] = chain_warnings(heavy, ASK)
    assert note == (
        "It hangs too heavy: 15.1 MPa in the port's thread under 10 g against 15.0 MPa. Support "
        "it, or mount the part apart on a hose."
    )


def test_a_rating_that_is_not_stated_is_said() -> None:
    chain = one(ASK, "D", pressure_bar=None)
    assert "pressure rating not stated" in chain_text(chain, ASK, 1)
    assert chain_warnings(chain, ASK) == (
        "Not every piece states its pressure rating: do not guess it.",
    )


@pytest.mark.parametrize(
    ("limits", "rated"),
    [
        ({}, " for the fluid, its pressure and its heat"),
        ({"pressure_bar": 2.0}, " for 2 bar"),
        ({"temperature_c": 100.0}, " for 100 deg C"),
        ({"pressure_bar": 2.0, "temperature_c": 100.0}, " for 2 bar and 100 deg C"),
    ],
)
def test_a_hose_is_read_for_its_rating(limits: dict[str, float], rated: str) -> None:
    ask = Question(
        port=parse_side("tail 10", "external"), part=parse_side("hose 10", "internal"), **limits
    )
    [chain] = adapt(ask, ())
    assert chain_warnings(chain, ask) == (
        f"The hose itself must be rated{rated}: read it on the hose.",
    )
    assert chain_warnings(chain, dataclasses.replace(ask, hose_c=120.0)) == ()


def test_the_whole_answer() -> None:
    stock = (fitting("A"), fitting("B"))
    chains = adapt(ASK, stock)
    said = answer_text(ASK, chains, missing(ASK, stock, chains)).splitlines()
    assert said[0] == "M14x1.5 male to M18x1.5 female:" and said[1].startswith("1. 2 pieces: A: ")
    assert said[-2] == "For a shorter chain, buy one adapter, M18x1.5 male to M14x1.5 female."
    assert said[-1] == CAUTION and "Not for brakes, fuel rails, LPG or other gas" in CAUTION
    narrow = dataclasses.replace(ASK, bore_mm=7.0)
    none = answer_text(
        narrow,
        (),
        missing(narrow, (fitting("D", count=0),), ()),
        what_stands_in_the_way(narrow, (fitting("D"),)),
        ("plug P: drill",),
    ).splitlines()
    assert none[1] == "Nothing in stock joins them within the limits."
    assert none[2].startswith(
        "Without a bore of 7 mm this would: D: M18x1.5 male / M14x1.5 female ("
    )
    assert none[3].startswith(
        "To join them, buy one adapter, M18x1.5 male to M14x1.5 female, bore 7 "
    )
    assert none[-3:-1] == [
        "Or tap a plug: plug P: drill.",
        "Or make one from two donors: pitchcam join.",
    ]


def test_a_chain_as_json() -> None:
    ask = dataclasses.replace(ASK, probe_mm=70.0)
    told = chain_json(one(ask, "A", "B"), ask)
    assert [p["id"] for p in told["pieces"]] == ["A", "B"]
    assert [j["answer"] for j in told["joints"]] == ["yes"] * 3
    assert told["added_mm"] == 36.0 and told["immersion_mm"] == 34.0 and told["mass_g"] == 100.0
    assert told["turning_radius_mm"] == pytest.approx(22 / math.sqrt(3))
    assert len(told["needs"]) == 3 and told["warnings"] == []


# The job.


def verdict(status: Any = "ambiguous", **more: Any) -> Verdict:
    pairs = (("M14x1.5", 0.6), ("M14x1.25", 0.36), ("M14x2", 0.005))
    given: dict[str, Any] = {
        "candidates": tuple(Candidate(designation=n, standard="", probability=p) for n, p in pairs),
        "next_step": "read the pitch",
    }
    return Verdict(status=status, **(given | more))


def test_names_that_are_likely_share_the_whole() -> None:
    side = measured_side("part", "photo a.jpg", verdict(), "external", "external")
    assert [(n.end.text, round(n.probability, 3)) for n in side.names] == [
        ("M14x1.5 male", 0.625),
        ("M14x1.25 male", 0.375),
    ]
    assert side.next_step == "read the pitch" and not side.certain


def test_a_name_is_one_whatever_else_is_listed() -> None:
    named = verdict("named", designation="M14x1.5", probability=0.97)
    side = measured_side("part", "photo a.jpg", named, "external", "external")
    assert side.certain and side.names[0].probability == 1.0


@pytest.mark.parametrize(
    ("name", "ends"),
    [
        ("R 1/4", ["Rc 1/4 female", "Rp 1/4 female"]),
        ("M14x1.5", ["M14x1.5 female"]),
        ("M14x1.5 taper", ["M14x1.5 female"]),
        ("1/4-18 NPT", ["1/4-18 NPT female"]),
    ],
)
def test_an_old_plug_stands_for_the_port_it_came_from(name: str, ends: list[str]) -> None:
    named = Verdict(status="named", designation=name, probability=0.98)
    side = measured_side("port", "readings, the old part out of it", named, "external", "internal")
    assert [n.end.text for n in side.names] == ends
    assert sum(n.probability for n in side.names) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (verdict("off-series"), "the port has no name yet (off-series); read the pitch"),
        (
            Verdict(status="unreadable"),
            "the port has no name yet (unreadable). Measure it first: pitchcam identify or lookup.",
        ),
        (
            Verdict(status="ambiguous"),
            "the port has no name yet (ambiguous). Measure it first: pitchcam identify or lookup.",
        ),
    ],
)
def test_what_has_no_name_is_no_side(given: Verdict, says: str) -> None:
    with pytest.raises(UsageError) as caught:
        measured_side("port", "", given, "internal", "internal")
    assert str(caught.value) == says
    assert caught.value.message == f"the port has no name yet ({given.status})."


def job(part: Side, *stock: Fitting, duty: Duty | None = None, **limits: Any) -> Any:
    port = named_side("port", "M18x1.5", "internal")
    ask = Question(port=port.names[0].end, part=part.names[0].end, **limits)
    return plan_job(port, part, ask, stock, duty)


PART = named_side("part", "M14x1.5", "external")


def test_a_plain_job_in_paragraphs() -> None:
    made = job(PART, fitting("D"))
    said = dict(paragraphs(made))
    assert list(said) == ["Names", "Join", "Order list", "Tighten and seal", "Cautions"]
    assert said["Names"] == ("Port: M18x1.5 female (as typed)", "Part: M14x1.5 male (as typed)")
    assert said["Join"] == (
        "D: M18x1.5 male / M14x1.5 female",
        "adds 18.0 mm, bore 6 mm, weakest rating 16 bar",
    )
    assert len(said["Tighten and seal"]) == len(joints_of(made.ways[0])) == 2
    assert said["Tighten and seal"][0].startswith("M18x1.5 male in M18x1.5 female: copper washer: ")
    assert said["Cautions"] == (CAUTION,) and made.settled and made.left_out == 0.0
    assert job_text(made).splitlines()[0] == "Names"


def test_work_that_hangs_on_a_name_says_so() -> None:
    part = measured_side("part", "photo a.jpg", verdict(), "external", "external")
    made = job(dataclasses.replace(part, twins=("a twin",)), fitting("D"))
    said = dict(paragraphs(made))
    assert said["Names"][1:] == (
        "Part: M14x1.5 male, probability 62.5 % (photo a.jpg)",
        "Part: M14x1.25 male, probability 37.5 % (photo a.jpg)",
        "Same size as: a twin",
        "To settle the part: read the pitch",
    )
    assert said["Under other names"] == (
        "37.5 %: M14x1.25 male to M18x1.5 female: buy one adapter, M18x1.5 male to M14x1.25 female",
        "The work depends on the name: settle it before anything is ordered or cut.",
    )
    assert not made.settled


def test_what_joins_nothing_says_what_would() -> None:
    made = job(PART, fitting("D", count=1), bore_mm=7.0)
    said = dict(paragraphs(made))
    assert said["Join"] == (
        "Nothing in stock joins them within the limits.",
        "Without a bore of 7 mm: D: M18x1.5 male / M14x1.5 female",
        "No made adapter: state --service to plan a made adapter",
    )
    assert said["Order list"] == ("one adapter, M18x1.5 male to M14x1.5 female, bore 7 mm or more",)
    assert "Tighten and seal" not in said and tightenings(made.ways[0]) == ()
    assert made.ways[0].what == "buy one adapter, M18x1.5 male to M14x1.5 female, bore 7 mm or more"


def test_a_shorter_way_may_be_bought_instead() -> None:
    made = job(PART, fitting("A"), fitting("B"), fitting("D", count=0))
    [way] = made.ways
    assert way.what == "from stock: A + B"
    assert orders(way)[-2:] == [
        "instead, if it can be had: one adapter, M18x1.5 male to M14x1.5 female",
        "has run out: D: M18x1.5 male / M14x1.5 female",
    ]


def test_two_that_mate_need_only_their_seal() -> None:
    port = named_side("port", "M14x1.5", "internal")
    ask = Question(port=port.names[0].end, part=PART.names[0].end)
    [way] = plan_job(port, PART, ask, (), None).ways
    assert way.what == "they mate directly"
    assert orders(way) == ["1 x copper washer or bonded seal for M14x1.5 (14.0 mm thread)"]


def test_more_pairs_of_names_than_a_page_holds_are_counted() -> None:
    sizes = ["M14x1.5", "M14x1.25", "M14x2", "M16x1.5", "M16x2", "M12x1.5", "M12x1.25", "M18x1.5",
             "M18x2", "M20x1.5"]  # fmt: skip
    many = Side(
        role="part",
        origin="photo a.jpg",
        names=tuple(SideName(end=parse_end(s, "external"), probability=0.1) for s in sizes),
    )
    made = job(many, fitting("D"))
    assert len(made.ways) == 8 and made.left_out == pytest.approx(0.2)
    said = dict(paragraphs(made))["Under other names"]
    assert said[-2] == "20.0 %: other pairs of names, not shown"
    told = job_json(made)
    assert told["format"] == "pitchcam.job/1" and told["left_out"] == pytest.approx(0.2)
    assert [w["probability"] for w in told["ways"]] == pytest.approx([0.1] * 8)
    assert told["port"]["next_step"] is None and not told["settled"]


def test_work_that_is_the_same_under_every_name_is_settled() -> None:
    both = Side(
        role="part",
        origin="photo a.jpg",
        names=(
            SideName(end=parse_end("M14x1.5", "external"), probability=0.6),
            # The taper male goes into the parallel female too (DIN 158-1).
            SideName(end=parse_end("M14x1.5 taper", "external"), probability=0.4),
        ),
    )
    made = job(both, fitting("D"))
    said = dict(paragraphs(made))["Under other names"]
    assert made.settled and said == (
        "40.0 %: M14x1.5 taper male to M18x1.5 female: the same",
        "The work is the same under every name shown.",
    )


def test_an_adapter_that_is_made_points_to_its_work_sheet() -> None:
    plug = fitting("D", end_b=None, thread_a_mm=14.0, length_mm=32.0, hex_mm=24.0, bore_mm=0.0)
    tail = dataclasses.replace(
        plug,
        id="T",
        end_a=parse_end("hose 10", "external"),
        end_b=parse_end("G 3/8", "external"),
        thread_a_mm=24.0,
        thread_b_mm=12.0,
        length_mm=52.0,
        hex_mm=22.0,
        bore_mm=7.5,
    )
    made = job(named_side("part", "hose 10", "external"), plug, tail, duty=Duty(service="coolant"))
    [way] = made.ways
    assert way.what == "made of D + T" and way.made is not None and way.chain is None
    said = dict(paragraphs(made))
    assert said["Join"] == (
        "Nothing in stock joins them; made of D + T: D: M18x1.5 male / closed and T: hose tail 10 "
        "mm (3/8 in) / G 3/8 male",
        "spigot and socket, Ag 155, 63.0 mm over all, bore 7.5 mm, proof 3.0 bar: see the work "
        "sheet",
    )
    rod = way.made.filler.rod_mm
    assert said["Order list"] == (
        "1 x copper washer or bonded seal for M18x1.5 (18.0 mm thread)",
        "1 x hose clamp for 10 mm bore hose",
        f"{rod:.0f} mm of Ag 155 rod, 1.5 mm; flux FH10",
        "instead, if it can be had: one adapter, M18x1.5 male to hose tail 10 mm (3/8 in)",
    )
    assert joints_of(way) == way.made.matings and tightenings(way) == way.made.tightenings
    told = job_json(made)["ways"][0]
    assert told["made"]["donors"] == ["D", "T"] and told["chain"] is None
    assert told["port"] == "M18x1.5 female" and told["part"] == "hose of 10 mm (3/8 in) bore"
    assert told["orders"] == orders(way) and len(told["tighten"]) == 2
    assert said["Tighten and seal"][1] == (
        "hose of 10 mm (3/8 in) bore on hose tail 10 mm (3/8 in): push over all barbs, clamp "
        "behind them (common practice, no source)"
    )
