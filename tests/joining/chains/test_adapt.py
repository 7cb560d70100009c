"""The search for chains against a plain enumeration, and the limits a chain must keep."""

import itertools
import json
import math
import random
from dataclasses import replace

import pytest
from click.testing import CliRunner

from pitchcam.cli.adapt import command
from pitchcam.errors import UsageError
from pitchcam.joining.chains.adapt import adapt, rank_rows, what_stands_in_the_way
from pitchcam.joining.chains.chain import (
    VIBRATION_G,
    Link,
    added_mm,
    corner_radius_mm,
    evaluate,
    joint,
    mass_g,
)
from pitchcam.joining.chains.orders import consumables, missing
from pitchcam.joining.chains.question import Question, check_question, parse_side
from pitchcam.joining.chains.text import answer_text, bend_allowed_mpa, chain_warnings
from pitchcam.joining.mating.ends import parse_end
from pitchcam.joining.mating.mate import mate, planned_rule
from pitchcam.joining.metals import metal
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.joining.stock.store import stock_csv
from pitchcam.joining.tables import keyed
from pitchcam.series import find

# An invented drawer: sizes that an engine shop has, all figures made up.
SIZES = ["M10x1", "M14x1.5", "M18x1.5", "1/8-27 NPT", "G 1/4", "R 1/4", "hose 10"]


def end(text, gender):
    if text.startswith("R ") and gender == "internal":
        text = random.choice(["Rc", "Rp"]) + text[1:]
    return parse_end(text, "external" if text.startswith("hose") else gender)


def random_stock(rng, rows):
    random.seed(rng.random())
    return [
        Fitting(
            id=f"S{i:04}",
            end_a=end(rng.choice(SIZES), rng.choice(["external", "internal"])),
            end_b=end(rng.choice(SIZES), rng.choice(["external", "internal"])),
            bore_mm=rng.choice([3.0, 4.0, 5.0]),
            length_mm=rng.randint(25, 45),
            hex_mm=rng.choice([17.0, 19.0, 22.0]),
            material=rng.choice(["brass", "steel", "nylon"]),
            pressure_bar=rng.choice([None, 10.0, 16.0, 40.0]),
            temperature_c=rng.choice([None, 100.0, 130.0]),
            count=rng.choice([0, 1, 1, 3]),
        )
        for i in range(rows)
    ]


def random_question(rng):
    port = rng.choice(SIZES)
    return Question(
        port=parse_side(port.replace("R ", "Rc "), "internal"),
        part=parse_side(rng.choice(SIZES), "external"),
        bore_mm=rng.choice([0.0, 0.0, 4.0]),
        pressure_bar=rng.choice([None, None, 12.0]),
        temperature_c=rng.choice([None, None, 110.0]),
        room_mm=rng.choice([None, None, 11.5]),
        stand_off_mm=rng.choice([None, None, 40.0]),
        port_depth_mm=rng.choice([None, None, 13.0]),
        one_wire=rng.random() < 0.3,
    )


def may_join(question, one, other):
    """The joint's demerits by the full mating, None where it may not be: no shortcut."""
    if one.gender == other.gender:
        return None
    m = mate(one, other) if one.gender == "external" else mate(other, one)
    if m.answer not in ("yes", "by-agreement"):
        return None
    seal = keyed("seals")[m.seal]
    if question.temperature_c is not None and float(seal["max_c"]) < question.temperature_c:
        return None
    if question.one_wire and seal["conducts"] == "no":
        return None
    return (m.answer == "by-agreement") + (question.one_wire and seal["conducts"] == "doubtful")


def may_use(question, f):
    return (
        f.count > 0
        and f.bore_mm >= question.bore_mm
        and (question.pressure_bar is None or (f.pressure_bar or 0) >= question.pressure_bar)
        and (question.temperature_c is None or (f.temperature_c or 0) >= question.temperature_c)
        and (question.room_mm is None or f.hex_mm / 3**0.5 <= question.room_mm)
        and (not question.one_wire or metal(f.material).conducts)
    )


def too_long(question, link):
    """Male threads of these sizes, all of 0.8 diameters or the taper's own length less 3 turns."""
    if question.port_depth_mm is None or link.near.gender == "internal" or link.near.is_hose:
        return False
    size = find(link.near.designation)
    length = (
        size.useful_length_mm - 3 * size.pitch_mm
        if size.taper
        else 0.8 * (size.limits("external")[0].major_mm[1])
    )
    return length > question.port_depth_mm


def enumerate_all(question, stock):
    """Every chain of up to three pieces, tried one after the other."""
    usable = [f for f in stock if may_use(question, f)]
    turns = [
        Link(fitting=f, turned=t)
        for f in usable
        for t in (False, True)
        if not (t and f.end_a == f.end_b)
    ]
    ranks = rank_rows(usable)
    found = []

    def grow(links, open_end, demerits):
        last = may_join(question, open_end, question.part)
        added = sum(round(added_mm(k.fitting) * 1000) for k in links)
        most = question.stand_off_mm
        if last is not None and (most is None or added <= most * 1000):
            names = tuple(k.fitting.id for k in links)
            rank = sum(ranks[name] for name in names)
            found.append((len(links), demerits + last, added, rank, names))
        for link in turns if len(links) < 3 else []:
            used = sum(k.fitting.id == link.fitting.id for k in links)
            against = may_join(question, open_end, link.near)
            if not links and too_long(question, link):
                continue
            if against is not None and used < link.fitting.count:
                grow([*links, link], link.far, demerits + against)

    grow([], question.port, 0)
    kept = []
    for way in sorted(found):
        if not any(adds_to(way[-1], shorter[-1]) for shorter in kept):
            kept.append(way)
    return kept


def adds_to(names, shorter):
    """Whether taking pieces out of a chain leaves a shorter one."""
    return len(shorter) < len(names) and any(
        names[:i] + names[i + 1 :] == shorter
        or (len(names) - len(shorter) > 1 and adds_to(names[:i] + names[i + 1 :], shorter))
        for i in range(len(names))
    )


def order_key(chain, ranks):
    """What answers are sorted by: fittings, demerits, length, the rows' ranks, their ids."""
    fittings = [link.fitting for link in chain.links]
    return (
        len(fittings),
        chain.demerits,
        sum(round(added_mm(f) * 1000.0) for f in fittings),
        sum(ranks[f.id] for f in fittings),
        tuple(f.id for f in fittings),
    )


def test_search_gives_the_answers_of_a_plain_enumeration():
    rng = random.Random(20)
    answered = 0
    for _ in range(200):
        stock, question = random_stock(rng, rng.randint(8, 40)), random_question(rng)
        wanted = enumerate_all(question, stock)
        ranks = rank_rows([f for f in stock if may_use(question, f)])
        found = [order_key(c, ranks) for c in adapt(question, stock, best=4)]
        assert found == wanted[:4], question
        answered += bool(wanted)
    assert answered > 60


def test_quick_rule_agrees_with_the_full_mating():
    rng = random.Random(3)
    random.seed(3)
    ends = [end(s, g) for s in SIZES for g in ("external", "internal") for _ in range(2)]
    for one, other in itertools.product(ends, ends):
        if one.gender == "external" and other.gender == "internal":
            assert (planned_rule(one, other) is not None) == mate(one, other).seals
    assert planned_rule(ends[0], ends[0]) is None
    assert rng


def drawer():
    """A sender drawer of the invented yard: one good chain, one short adapter that has run out."""
    make = {
        "bore_mm": 9.0,
        "hex_mm": 24.0,
        "material": "brass",
        "pressure_bar": 16.0,
        "temperature_c": 150.0,
        "count": 2,
    }
    return [
        Fitting(
            id="A",
            end_a=parse_end("M18x1.5", "external"),
            thread_a_mm=12.0,
            end_b=parse_end("G 1/4", "internal"),
            length_mm=34.0,
            **make | {"bore_mm": 8.0},
        ),
        Fitting(
            id="B",
            end_a=parse_end("R 1/4", "external"),
            thread_a_mm=12.0,
            end_b=parse_end("M14x1.5", "internal"),
            length_mm=30.0,
            **make,
        ),
        Fitting(
            id="C",
            end_a=parse_end("G 1/4", "external"),
            thread_a_mm=11.0,
            end_b=parse_end("M14x1.5", "internal"),
            length_mm=40.0,
            **make,
        ),
        Fitting(
            id="D",
            end_a=parse_end("M18x1.5", "external"),
            thread_a_mm=12.0,
            end_b=parse_end("M14x1.5", "internal"),
            length_mm=28.0,
            **make | {"count": 0},
        ),
    ]


ASK = Question(port=parse_side("M18x1.5", "internal"), part=parse_side("M14x1.5", "external"))


def ids(chains):
    return ["".join(k.fitting.id for k in c.links) for c in chains]


def test_a_right_seal_goes_before_a_shorter_way_by_agreement():
    chains = adapt(ASK, drawer())
    assert ids(chains) == ["AC", "AB"]
    assert chains[0].added_mm == pytest.approx(22 + 29)
    assert chains[1].added_mm < chains[0].added_mm
    assert "by-agreement" in [m.answer for m in chains[1].joints]
    assert any("no standard pair" in w for w in chain_warnings(chains[1], ASK))


def test_what_has_run_out_and_what_to_buy_is_said():
    chains = adapt(ASK, drawer())
    lacking = missing(ASK, drawer(), chains)
    assert lacking.reorder[0].startswith("D ") or lacking.reorder[0].startswith("D:")
    assert "M18x1.5 male to M14x1.5 female" in lacking.buy
    text = answer_text(ASK, chains, lacking)
    assert "For a shorter chain, buy one adapter" in text and "1 x copper washer" in text
    assert (
        missing(
            ASK,
            [replace(f, count=1) for f in drawer()],
            adapt(ASK, [replace(f, count=1) for f in drawer()]),
        )
        is None
    )


def test_a_chain_that_only_adds_to_a_shorter_one_is_none():
    sleeve = Fitting(
        id="E",
        end_a=parse_end("M14x1.5", "internal"),
        end_b=parse_end("M14x1.5", "internal"),
        bore_mm=5,
        length_mm=30,
        material="steel",
        count=1,
    )
    nipple = replace(
        sleeve,
        id="F",
        end_a=parse_end("M14x1.5", "external"),
        end_b=parse_end("M14x1.5", "external"),
    )
    ask = replace(
        ASK,
        port=parse_side("M14x1.5 male", "external"),
        part=parse_side("M14x1.5 female", "external"),
    )
    assert ids(adapt(ask, [sleeve, nipple])) == [""]
    ask = replace(
        ASK, port=parse_side("M14x1.5", "internal"), part=parse_side("M14x1.5", "internal")
    )
    assert ids(adapt(ask, [sleeve, nipple])) == ["F"]
    # Two nipples and a sleeve hold the one nipple that does it alone: no answer of its own.
    assert ids(adapt(ask, [sleeve, replace(nipple, count=2)])) == ["F"]


@pytest.mark.parametrize(
    ("limits", "left"),
    [
        ({"bore_mm": 8.5}, []),
        ({"bore_mm": 7.9}, ["AC", "AB"]),
        ({"pressure_bar": 17.0}, []),
        ({"temperature_c": 160.0}, []),
        ({"room_mm": 13.0}, []),
        ({"stand_off_mm": 50.0}, ["AB"]),
        ({"probe_mm": 60.0, "wall_mm": 5.0, "immersion_mm": 5.0}, ["AB"]),
        ({"max_pieces": 1}, []),
        ({"one_wire": True}, ["AC", "AB"]),
        ({"port_depth_mm": 11.9}, []),
        ({"port_depth_mm": 12.0}, ["AC", "AB"]),
    ],
)
def test_limits(limits, left):
    ask = replace(ASK, **limits)
    assert ids(adapt(ask, drawer())) == left
    if not left and limits != {"max_pieces": 1}:
        (words, chain), *_ = what_stands_in_the_way(ask, drawer())
        assert ids([chain]) == ["AC"] and str(next(iter(limits.values()))).rstrip(".0") in words


def test_plastic_breaks_a_one_wire_earth():
    nylon = [replace(f, material="nylon") for f in drawer()]
    assert adapt(ASK, nylon) and not adapt(replace(ASK, one_wire=True), nylon)
    odd = [replace(f, material="unobtainium") for f in drawer()]
    assert not adapt(replace(ASK, one_wire=True), odd)


def test_doubtful_earth_is_a_demerit_and_a_warning():
    ask = replace(ASK, one_wire=True)
    chain = adapt(ask, drawer())[1]
    assert chain.demerits == 2
    assert any("under 1 ohm" in w for w in chain_warnings(chain, ask))


def test_direct_joint_is_no_piece():
    ask = Question(port=parse_side("R 1/4 male", "internal"), part=parse_side("Rc 1/4", "internal"))
    chains = adapt(ask, drawer())
    assert chains[0].links == () and math.isinf(chains[0].bore_mm)
    assert "mate directly" in answer_text(ask, chains, None)


def test_hoses_of_two_bores_are_joined_by_tails():
    joiner = Fitting(
        id="J",
        end_a=parse_end("hose 10", "external"),
        thread_a_mm=25.0,
        end_b=parse_end("hose 12", "external"),
        thread_b_mm=25.0,
        bore_mm=7.0,
        length_mm=56.0,
        material="brass",
        count=1,
    )
    ask = Question(port=parse_side("hose 12", "internal"), part=parse_side("hose 10", "internal"))
    (chain,) = adapt(ask, [joiner])
    assert chain.added_mm == pytest.approx(6.0)
    assert consumables(chain.joints) == (
        "1 x hose clamp for 12 mm bore hose",
        "1 x hose clamp for 10 mm bore hose",
    )
    assert not adapt(replace(ask, one_wire=True), [joiner])


def test_mass_and_moment_of_a_plain_bar_are_hand_arithmetic():
    """A hex bar 20 x 50 bored 10, steel: (0.8660 * 400 - 78.54) * 50 * 7.85e-3 = 105.1 g."""
    bar = Fitting(
        id="H",
        end_a=parse_end("M18x1.5", "internal"),
        end_b=parse_end("M14x1.5", "internal"),
        bore_mm=10.0,
        length_mm=50.0,
        hex_mm=20.0,
        material="steel",
        count=1,
    )
    assert mass_g(bar) == pytest.approx((math.sqrt(3) / 2 * 400 - 78.54) * 50 * 7.85e-3, rel=1e-4)
    assert corner_radius_mm(bar) == pytest.approx(11.547, abs=1e-3)
    ask = Question(
        port=parse_side("M18x1.5 male", "external"),
        part=parse_side("M14x1.5", "external"),
        part_mass_g=200.0,
    )
    chain = evaluate(ask, (Link(fitting=bar),))
    newtons = VIBRATION_G * 9.80665 * (mass_g(bar) * 25.0 + 200.0 * 50.0) * 1e-6
    assert chain.moment_n_m == pytest.approx(newtons)


def test_heavy_part_far_out_is_warned_of():
    ask = replace(ASK, part_mass_g=2500.0)
    chain = adapt(ask, drawer())[0]
    assert chain.bend_mpa > bend_allowed_mpa(chain)
    assert any("hangs too heavy" in w for w in chain_warnings(chain, ask))
    assert not any("heavy" in w for w in chain_warnings(adapt(ASK, drawer())[0], ASK))


def test_ends_that_face_each_other_must_be_a_joint():
    with pytest.raises(ValueError):
        evaluate(ASK, (Link(fitting=drawer()[1]),))
    assert joint(ASK.port, ASK.port) is None


@pytest.mark.parametrize(
    "limits", [{"probe_mm": 10.0, "immersion_mm": 12.0}, {"max_pieces": 0}, {"max_pieces": 9}]
)
def test_limits_that_cannot_be(limits):
    with pytest.raises(UsageError):
        check_question(replace(ASK, **limits))


def test_command(tmp_path):
    sheet = tmp_path / "drawer.csv"
    sheet.write_text(stock_csv(drawer()), encoding="utf-8")
    call = ["--port", "M18x1.5", "--part", "M14x1.5", "--stock", str(sheet)]
    run = CliRunner().invoke(command, call)
    assert run.exit_code == 0 and run.output.startswith("M14x1.5 male to M18x1.5 female:\n1. 2")
    run = CliRunner().invoke(command, [*call, "--json", "--bore", "0.3in"])
    assert [p["id"] for p in json.loads(run.output)["chains"][0]["pieces"]] == ["A", "C"]
    run = CliRunner().invoke(command, [*call, "--pressure", "300 psi"])
    assert run.exit_code == 3 and "Nothing in stock" in run.output
    run = CliRunner().invoke(command, [*call, "--pressure", "much"])
    assert run.exit_code == 2 and "is not a pressure" in run.output
    run = CliRunner().invoke(command, [*call[:4], "--record", str(tmp_path / "no.sqlite")])
    assert isinstance(run.exception, UsageError)


@pytest.mark.parametrize(
    ("material", "g_per_cm3"),
    # Handbook densities (from memory): steel 7.85, brass 8.4 to 8.5; what is not known is heavy.
    [("steel", 7.85), ("brass", 8.45), ("mystery", 7.85)],
)
def test_a_piece_is_as_heavy_as_its_metal(material, g_per_cm3):
    """A closed hex bar 20 x 30 with a stud M10, 12 long: hand arithmetic of both bodies."""
    plug = Fitting(
        id="P",
        end_a=parse_end("M10x1", "external"),
        end_b=None,
        bore_mm=0.0,
        length_mm=42.0,
        hex_mm=20.0,
        thread_a_mm=12.0,
        material=material,
        count=1,
    )
    volume = math.sqrt(3) / 2 * 20.0**2 * 30.0 + math.pi / 4 * 10.0**2 * 12.0
    assert mass_g(plug) == pytest.approx(volume * g_per_cm3 * 1e-3, rel=0.01)
    assert mass_g(replace(plug, mass_g=99.0)) == 99.0  # the scale knows better
