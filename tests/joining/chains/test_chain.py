"""One chain by hand: lengths, masses, moment, stress, and the weakest of its parts."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from pitchcam.joining.chains.chain import (
    Link,
    added_mm,
    bottoms,
    corner_radius_mm,
    evaluate,
    fitting_allowed,
    joint_demerits,
    mass_g,
)
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.mating.ends import parse_end
from pitchcam.joining.stock.sheet import Fitting

#: Reducing bush M18x1.5 male to G 1/4 female, and a nipple G 1/4 male to M14x1.5 female.
BUSH = Fitting(
    id="A",
    end_a=parse_end("M18x1.5", "external"),
    thread_a_mm=12.0,
    end_b=parse_end("G 1/4", "internal"),
    bore_mm=8.0,
    length_mm=34.0,
    hex_mm=24.0,
    material="steel",
    mass_g=50.0,
    pressure_bar=40.0,
    temperature_c=150.0,
    count=1,
)
NIPPLE = replace(
    BUSH,
    id="C",
    end_a=parse_end("G 1/4", "external"),
    thread_a_mm=11.0,
    end_b=parse_end("M14x1.5", "internal"),
    bore_mm=9.0,
    length_mm=40.0,
    hex_mm=22.0,
    mass_g=80.0,
    pressure_bar=16.0,
    temperature_c=None,
)
ASK = Question(
    port=parse_side("M18x1.5", "internal"),
    part=parse_side("M14x1.5", "external"),
    part_mass_g=100.0,
    probe_mm=90.0,
    wall_mm=6.0,
)
PAIR = (Link(fitting=BUSH), Link(fitting=NIPPLE))


def test_lengths_masses_and_bores_of_two_pieces() -> None:
    chain = evaluate(ASK, PAIR)
    # Over all less the males: 34 - 12 and 40 - 11.
    assert chain.added_mm == pytest.approx(22.0 + 29.0)
    assert chain.immersion_mm == pytest.approx(90.0 - 6.0 - 51.0)
    assert chain.mass_g == pytest.approx(50.0 + 80.0 + 100.0)
    assert chain.bore_mm == 8.0
    # Across corners is across flats over cos 30, and a turn sweeps half of it.
    assert chain.widest_corner_mm == pytest.approx(24.0 / math.cos(math.pi / 6) / 2)


def test_the_moment_of_a_row_of_pieces_at_ten_g() -> None:
    """Each at its own middle, the part at the end of all (statics, by hand); 10 g as stated."""
    arms = 50.0 * 11.0 + 80.0 * (22.0 + 14.5) + 100.0 * 51.0
    chain = evaluate(ASK, PAIR)
    assert chain.moment_n_m == pytest.approx(arms * 1e-6 * 98.0665)
    # ISO 724: d1 = d - 1.0825 P = 16.376 mm. A tube's stress is M c / I, I = pi (d^4 - b^4) / 64.
    root = 16.376
    second = math.pi * (root**4 - 8.0**4) / 64
    assert chain.bend_mpa == pytest.approx(chain.moment_n_m * 1e3 * (root / 2) / second, rel=1e-3)


def test_where_the_port_is_male_its_own_bore_weakens_it() -> None:
    ask = Question(
        port=parse_side("M18x1.5 male", "external"),
        part=parse_side("M14x1.5", "external"),
        bore_mm=12.0,
        part_mass_g=100.0,
    )
    sleeve = replace(BUSH, end_a=parse_end("M18x1.5", "internal"), thread_a_mm=None)
    sleeve = replace(sleeve, end_b=parse_end("M14x1.5", "internal"))
    chain = evaluate(ask, (Link(fitting=sleeve),))
    second = math.pi * (16.376**4 - 12.0**4) / 64
    assert chain.bend_mpa == pytest.approx(chain.moment_n_m * 1e3 * 8.188 / second, rel=1e-3)
    hollow = evaluate(replace(ask, bore_mm=16.5), (Link(fitting=sleeve),))
    assert hollow.bend_mpa is None


def test_a_chain_bears_what_its_weakest_does_and_unknown_is_unknown() -> None:
    chain = evaluate(ASK, PAIR)
    assert chain.pressure_bar == 16.0
    assert chain.temperature_c is None
    warm = evaluate(ASK, (PAIR[0], Link(fitting=replace(NIPPLE, temperature_c=120.0))))
    assert warm.temperature_c is not None and warm.temperature_c <= 120.0
    odd = evaluate(ASK, (PAIR[0], Link(fitting=replace(NIPPLE, pressure_bar=None))))
    assert odd.pressure_bar is None
    for unknown in ({"pressure_bar": 5.0}, {"temperature_c": 20.0}):
        bare = replace(NIPPLE, pressure_bar=None, temperature_c=None)
        assert not fitting_allowed(bare, replace(ASK, **unknown))
        assert fitting_allowed(BUSH, replace(ASK, **unknown))


def test_a_bore_of_just_what_is_asked_will_do() -> None:
    assert fitting_allowed(BUSH, replace(ASK, bore_mm=8.0))
    assert not fitting_allowed(BUSH, replace(ASK, bore_mm=8.01))
    assert not fitting_allowed(replace(BUSH, bore_mm=0.0), ASK)


@pytest.mark.parametrize(
    ("name", "stated_mm", "pitch_mm"), [("R 1/4", 12.0, 25.4 / 19), ("1/8-27 NPT", 10.0, 25.4 / 27)]
)
def test_a_taper_male_stays_three_turns_out(name: str, stated_mm: float, pitch_mm: float) -> None:
    """ISO 7-1's wrenching allowance and ASME B1.20.1's L3, rounded, of the thread's own pitch."""
    piece = replace(BUSH, end_a=parse_end(name, "external"), thread_a_mm=stated_mm)
    assert added_mm(piece) == pytest.approx(34.0 - (stated_mm - 3 * pitch_mm))
    assert added_mm(replace(piece, length_mm=5.0)) == 0.0


def test_only_a_male_end_bottoms_and_each_by_its_own_thread() -> None:
    shallow = replace(ASK, port_depth_mm=11.5)
    assert bottoms(Link(fitting=BUSH), shallow)
    assert not bottoms(Link(fitting=BUSH), replace(ASK, port_depth_mm=12.5))
    assert not bottoms(Link(fitting=BUSH), ASK)
    # Turned round, the female faces the port, however long what is stated of it.
    turned = Link(fitting=replace(BUSH, thread_b_mm=20.0), turned=True)
    assert turned.near == BUSH.end_b
    assert not bottoms(turned, shallow)
    double = replace(BUSH, end_b=parse_end("M18x1.5", "external"), thread_b_mm=8.0)
    assert bottoms(Link(fitting=double), shallow)
    assert not bottoms(Link(fitting=double, turned=True), shallow)


def test_masses_without_a_stated_one() -> None:
    """Brass 8.45 g/cm3, steel 7.85 (handbook, from memory); what is unknown counts as steel."""
    open_bar = replace(BUSH, mass_g=None, thread_a_mm=None, bore_mm=6.0)
    # A thread without a stated length is eight tenths of its diameter long, 18 mm for M18.
    thread = 0.8 * 18.0
    body = math.sqrt(3) / 2 * 24.0**2 * (34.0 - thread)
    volume = body + math.pi / 4 * 18.0**2 * thread - math.pi / 4 * 6.0**2 * 34.0
    assert mass_g(open_bar) == pytest.approx(volume * 7.85e-3, rel=2e-3)
    assert mass_g(replace(open_bar, material="unobtainium")) == pytest.approx(volume * 7.85e-3)


def test_a_round_piece_sweeps_its_larger_thread() -> None:
    assert corner_radius_mm(replace(BUSH, hex_mm=None)) == pytest.approx(9.0)
    # G 1/4 is 13.157 mm over the crests (ISO 228-1).
    only = replace(BUSH, hex_mm=None, end_a=None)
    assert corner_radius_mm(only) == pytest.approx(13.157 / 2)


def test_a_hose_holds_what_it_is_said_to_hold() -> None:
    tail, hose = parse_end("hose 10", "external"), parse_end("hose 10", "internal")
    cold = replace(ASK, temperature_c=None, pressure_bar=8.0)
    assert joint_demerits(tail, hose, replace(cold, hose_bar=10.0)) == 0
    assert joint_demerits(tail, hose, replace(cold, hose_bar=6.0)) is None
    # Without a rating the hose is the fitter's to judge; its heat has a usual limit.
    assert joint_demerits(tail, hose, cold) == 0
    hot = replace(ASK, pressure_bar=None, temperature_c=400.0)
    assert joint_demerits(tail, hose, hot) is None
    assert joint_demerits(tail, hose, replace(hot, hose_c=450.0)) == 0


def test_an_earth_needs_a_joint_that_conducts() -> None:
    """A hose does not, sealant on a taper may: ask for an ohm-meter, not for another chain."""
    wire = replace(ASK, one_wire=True)
    hose = (parse_end("hose 10", "external"), parse_end("hose 10", "internal"))
    taper = (parse_end("R 1/4", "external"), parse_end("Rc 1/4", "internal"))
    plain = (parse_end("M14x1.5", "external"), parse_end("M14x1.5", "internal"))
    assert joint_demerits(*hose, wire) is None and joint_demerits(*hose, ASK) == 0
    assert joint_demerits(*taper, wire) == 1 and joint_demerits(*taper, ASK) == 0
    assert joint_demerits(*plain, wire) == 0
    # By agreement only, and doubtful as well.
    odd = (parse_end("R 1/4", "external"), parse_end("G 1/4", "internal"))
    assert joint_demerits(*odd, ASK) == 1 and joint_demerits(*odd, wire) == 2
    assert joint_demerits(plain[0], taper[1], ASK) is None
