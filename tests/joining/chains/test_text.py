"""What a chain's page tells a fitter besides its figures: what to buy, to mind and to agree on."""

from __future__ import annotations

import pytest

from pitchcam.joining.chains.adapt import adapt
from pitchcam.joining.chains.orders import adapter_wanted, consumables
from pitchcam.joining.chains.question import Question
from pitchcam.joining.chains.text import chain_text, chain_warnings
from pitchcam.joining.mating.ends import parse_end
from pitchcam.joining.mating.mate import mate
from pitchcam.joining.stock.sheet import Fitting


def asked(port: str, part: str, **limits) -> Question:
    given = {"port": parse_end(port, "internal"), "part": parse_end(part, "external")}
    return Question(**(given | limits))


def fitting(name: str, a: str, gender_a: str, b: str, gender_b: str, **more) -> Fitting:
    """An invented piece of stock."""
    given = {"bore_mm": 5.0, "length_mm": 30.0, "hex_mm": 22.0, "material": "brass", "count": 2}
    ends = {"end_a": parse_end(a, gender_a), "end_b": parse_end(b, gender_b)}
    return Fitting(id=name, **ends, **(given | more))


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ({}, ""),
        ({"bore_mm": 6.0}, ", bore 6 mm or more"),
        (
            {"pressure_bar": 16.0, "temperature_c": 130.0},
            ", rated 16 bar or more, rated 130 deg C or more",
        ),
        # A probe of 60 mm through a wall of 10 that must reach 25 into the fluid.
        (
            {"probe_mm": 60.0, "wall_mm": 10.0, "immersion_mm": 25.0, "one_wire": True},
            ", adding no more than 25 mm, metal",
        ),
    ],
)
def test_the_adapter_to_buy_has_the_ends_that_face_both_and_every_limit(limits, said) -> None:
    wanted = adapter_wanted(asked("M18x1.5", "1/8-27 NPT", **limits))
    assert wanted == f"one adapter, M18x1.5 male to 1/8-27 NPT female{said}"


@pytest.mark.parametrize(
    ("male", "female", "needs"),
    [
        # ISO 228-1: G 1/4 has 13.157 mm; ISO 261: M14 has 14.
        ("G 1/4", "G 1/4", "1 x copper washer or bonded seal for G 1/4 (13.2 mm thread)"),
        ("M14x1.5", "M14x1.5", "1 x copper washer or bonded seal for M14x1.5 (14.0 mm thread)"),
        # ISO 11926: 7/16-20 with an O-ring in the port's chamfer; 7/16 in are 11.1 mm.
        (
            "7/16-20 UNF oring",
            "7/16-20 UNF oring",
            "1 x O-ring for the stud end for 7/16-20 UNF (11.1 mm thread)",
        ),
        ("R 1/4", "Rc 1/4", "sealant for taper threads, for the fluid and its temperature"),
        ("hose 10", "hose 10", "1 x hose clamp for 10 mm bore hose"),
        # ISO 8434-2: metal on metal, nothing is used up.
        ("7/16-20 UNF cone37", "7/16-20 UNF cone37", None),
    ],
)
def test_what_a_joint_uses_up(male, female, needs) -> None:
    joint = mate(parse_end(male, "external"), parse_end(female, "internal"))
    assert consumables([joint]) == (() if needs is None else (needs,))


def test_two_of_a_kind_are_counted_and_sealant_is_not() -> None:
    washer = mate(parse_end("G 1/4", "external"), parse_end("G 1/4", "internal"))
    taper = mate(parse_end("R 1/4", "external"), parse_end("Rc 1/4", "internal"))
    told = consumables([washer, taper, washer, taper])
    assert told[0].startswith("2 x copper washer") and len(told) == 2
    assert told[1].startswith("sealant")


@pytest.mark.parametrize(
    ("limits", "rated"),
    [
        ({}, "rated for the fluid, its pressure and its heat"),
        ({"pressure_bar": 6.0}, "rated for 6 bar:"),
        ({"temperature_c": 110.0}, "rated for 110 deg C:"),
        ({"pressure_bar": 6.0, "temperature_c": 110.0}, "rated for 6 bar and 110 deg C:"),
    ],
)
def test_a_hose_must_be_rated_for_what_is_asked(limits, rated) -> None:
    tail = fitting(
        "T10", "M18x1.5", "external", "hose 10", "external", pressure_bar=20.0, temperature_c=150.0
    )
    question = Question(
        port=parse_end("M18x1.5", "internal"), part=parse_end("hose 10", "internal"), **limits
    )
    (chain, *_) = adapt(question, [tail], best=1)
    assert any(rated in note for note in chain_warnings(chain, question))


def test_a_joint_by_agreement_is_said_first_and_minded() -> None:
    """EN 10226-1 and ISO 7-1 want Rc or Rp for R; R into G is by agreement (ISO 7-1 note)."""
    question = Question(port=parse_end("G 1/4", "internal"), part=parse_end("R 1/4", "external"))
    chains = adapt(question, [], best=1)
    assert chains and chains[0].joints[0].answer == "by-agreement"
    text = chain_text(chains[0], question, 1)
    head = text.splitlines()[0]
    assert head.startswith("1. ") and "R 1/4 male" in head and head.endswith("they mate directly.")
    assert "nothing added" in text
    assert any(
        note.startswith(chains[0].joints[0].text) for note in chain_warnings(chains[0], question)
    )


def test_a_rating_that_no_piece_states_is_not_guessed() -> None:
    piece = fitting("AD", "M18x1.5", "external", "M10x1", "internal")
    question = asked("M18x1.5", "M10x1")
    (chain,) = adapt(question, [piece], best=1)
    text = chain_text(chain, question, 2)
    assert text.startswith("2. 1 piece: ")
    assert "pressure rating not stated" in text
    assert "Mind: Not every piece states its pressure rating: do not guess it." in text
