"""What seals need and threads stand, against hand arithmetic and the figures of the trade."""

import math
import re

import pytest

from pitchcam.joining.bolting.formulas import stress_area_mm2, tightening_torque_n_m
from pitchcam.joining.bolting.seating import seats
from pitchcam.joining.bolting.tightening import UNKNOWN, Piece, tightening
from pitchcam.joining.chains.adapt import adapt
from pitchcam.joining.chains.makeup import chain_tightenings
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.mating.ends import parse_end
from pitchcam.joining.mating.mate import mate
from pitchcam.joining.metals import metal
from tests.joining.bench_pairs import STOCK

#: Share of the yield that a joint is loaded to (``practice.csv``: common practice).
PRELOAD = 0.4


def joint(male, female):
    return mate(parse_end(male, "external"), parse_end(female, "internal"))


def piece(key, heated=False, bore=0.0, hexagon=None):
    return Piece(metal=metal(key), heated=heated, bore_mm=bore, hex_mm=hexagon)


def test_copper_washer_seats_by_asme_viii_appendix_2():
    """W = pi b G y with b half the contact: M14, ring 14 x 18 (DIN 7603), y 13 000 psi."""
    copper, bonded = seats(joint("M14x1.5", "M14x1.5"), 0.0)
    assert copper.force_n == pytest.approx(math.pi * 1.0 * 16.0 * 13e3 * 6.894757e-3, rel=1e-3)
    assert copper.torque_n_m == pytest.approx(
        tightening_torque_n_m(copper.force_n, 14.0, 1.5, 30.0, 0.15, 16.0)
    )
    assert bonded.torque_n_m < copper.torque_n_m


# Torques that the trade gives for copper washers and for brass taper threads (from memory, common
# practice): the least of ours lies under them, and over half of them.
@pytest.mark.parametrize(
    ("male", "female", "trade"),
    [
        ("M10x1", "M10x1", 10.0),
        ("M14x1.5", "M14x1.5", 20.0),
        ("M18x1.5", "M18x1.5", 30.0),
        ("M22x1.5", "M22x1.5", 45.0),
        ("1/8-27 NPT", "1/8-27 NPT", 12.0),
        ("R 1/4", "Rc 1/4", 20.0),
        ("1/2-14 NPT", "1/2-14 NPT", 50.0),
    ],
)
def test_what_seals_need_is_near_what_the_trade_gives(male, female, trade):
    need = seats(joint(male, female), 0.0)[0].torque_n_m
    assert 0.4 * trade < need < trade


# Half angles: ISO 8434-2 (37 degree flare), ISO 8434-1 (24 degree cone), ISO 8434-6 (60 degree
# cone); from memory.
@pytest.mark.parametrize(
    ("thread", "half"),
    [("9/16-18 UNF cone37", 37.0), ("M18x1.5 cone24", 12.0), ("G 3/8 cone60", 30.0)],
)
def test_cones_seat_by_their_half_angle(thread, half):
    size = parse_end(thread, "external")
    coned = mate(size, parse_end(thread, "internal"))
    (seat,) = seats(coned, 0.0)
    major = {"9": 14.2875, "M": 18.0, "G": 16.662}[thread[0]]
    a = math.radians(half)
    wedge = math.sin(a) + 0.15 * math.cos(a)
    assert seat.force_n == pytest.approx(math.pi * 0.5 * major * 89.6 * wedge, rel=1e-3)
    assert seats(coned, 0.0, steel=True)[0].force_n > seat.force_n


def test_pressure_asks_for_more():
    """At 600 bar the end load and 2 pi b G m p are more than the seating force."""
    low, high = (seats(joint("M14x1.5", "M14x1.5"), p)[0].force_n for p in (0.0, 600.0))
    by_hand = 60.0 * (math.pi / 4 * 16.0**2 + 2 * math.pi * 1.0 * 16.0 * 4.75)
    assert high == pytest.approx(by_hand) and high > low


def test_heat_takes_the_temper_and_the_torque():
    pair = joint("M18x1.5", "M18x1.5")
    supplied, annealed = (
        tightening(pair, piece("brass", heated, 7.5), UNKNOWN) for heated in (False, True)
    )
    assert annealed.most_n_m / supplied.most_n_m == pytest.approx(140 / 220)
    assert "as supplied" in supplied.how and "annealed" in annealed.how
    preload = 0.4 * 140 * stress_area_mm2(18.0, 1.5, 7.5)
    assert annealed.most_n_m == pytest.approx(
        tightening_torque_n_m(preload, 18.0, 1.5, 30.0, 0.15, 20.0)
    )


def test_a_sender_is_not_judged_by_the_bore_of_what_it_goes_into():
    """A solid sender in a bored female: it stands far more than a hollow one would."""
    pair = joint("M10x1", "M10x1")
    solid = tightening(pair, UNKNOWN, piece("brass", True, 8.0, 17.0))
    hollow = tightening(pair, piece("brass", True, 8.0), UNKNOWN)
    assert not solid.fault and solid.most_n_m > 3.0 * hollow.most_n_m
    assert "cannot be tightened enough" in hollow.fault
    assert "annealed by brazing" in hollow.fault


def test_a_rubber_seal_where_copper_asks_too_much():
    weak = tightening(joint("M14x1.5", "M14x1.5"), piece("brass", True, 9.3), UNKNOWN)
    assert weak.second_best and weak.action.startswith("bonded seal (no copper washer: it needs")
    assert not weak.fault
    hot = tightening(
        joint("M14x1.5", "M14x1.5"), piece("brass", True, 9.3), UNKNOWN, temperature_c=240.0
    )
    assert "copper washer needs" in hot.fault


def test_turns_of_taper_threads():
    # ISO 7-1: R 1/4 gauge length 6.0 mm at 19 TPI: 4.5 turns; wrenching allowance 1 1/2 turns.
    r = tightening(joint("R 1/4", "Rp 1/4"), UNKNOWN, UNKNOWN)
    assert "near 6.0 mm (4.5 turns), then about 1.5 turns" in r.action
    # ASME B1.20.1: 1/8-27 L1 0.1615 in, 4.36 turns, and L3 = 3 p.
    npt = tightening(joint("1/8-27 NPT", "1/8-27 NPT"), UNKNOWN, UNKNOWN)
    assert "near 4.1 mm (4.4 turns), then 2 to 3 turns" in npt.action
    # A limit that its own turns would break cannot stand: what seals it lies under what it bears.
    assert npt.least_n_m < npt.most_n_m and npt.most_n_m > 8.0
    dry = tightening(joint("1/8-27 NPTF", "1/8-27 NPTF"), UNKNOWN, UNKNOWN)
    assert dry.action.startswith("lubricant at most")
    assert "clamp" in tightening(joint("hose 10", "hose 10"), UNKNOWN, UNKNOWN).action


def test_torsion_of_a_bored_taper_root():
    """tau = 16 T d / pi (d^4 - b^4), at 0.8 of yield / sqrt 3: 1/8 NPT, root 8.77, bore 5."""
    made = tightening(joint("1/8-27 NPT", "1/8-27 NPT"), piece("steel", True, 5.0), UNKNOWN)
    root = 10.2870 - 2 * 0.8 * 25.4 / 27
    assert made.most_n_m == pytest.approx(
        0.8 * 230 / 3**0.5 * math.pi / 16 * (root**4 - 5.0**4) / root / 1e3, rel=0.02
    )


def test_every_joint_of_a_chain_knows_its_two_pieces():
    ask = Question(port=parse_side("M14x1.5", "internal"), part=parse_side("M10x1", "external"))
    chain = adapt(ask, STOCK, best=1)[0]
    made_up = chain_tightenings(chain, ask)
    assert len(made_up) == len(chain.joints)
    assert all("annealed" not in t.how for t in made_up)
    assert "mild or free-cutting steel" in made_up[0].how


def test_an_o_ring_seats_by_itself_until_the_pressure_lifts_the_stud():
    """ISO 6149: held down as a third of a copper washer's force, then by pi/4 d^2 p."""
    ring = mate(parse_end("M14x1.5 oring", "external"), parse_end("M14x1.5 oring", "internal"))
    (idle,), (pressed,) = seats(ring, 0.0), seats(ring, 700.0)
    copper = seats(joint("M14x1.5", "M14x1.5"), 0.0)[0]
    assert idle.force_n == pytest.approx(0.33 * copper.force_n, rel=1e-6)
    assert pressed.force_n == pytest.approx(70.0 * math.pi / 4 * 14.0**2, rel=1e-6)
    assert idle.max_c < copper.max_c  # rubber


def test_what_only_keeps_dust_out_is_made_up_by_hand():
    """DIN 40430: a gland's thread seals nothing."""
    glands = [f for f in ("Pg 9", "Pg 13.5") if mate(*_both(f)).seal == "gasket-dust"]
    assert glands == ["Pg 9", "Pg 13.5"]
    for name in glands:
        assert seats(mate(*_both(name)), 0.0) == ()
        made_up = tightening(mate(*_both(name)), UNKNOWN, UNKNOWN)
        assert made_up.action == "hand-tight and a quarter turn: it seals nothing"


def _both(name):
    return parse_end(name, "external"), parse_end(name, "internal")


@pytest.mark.parametrize(
    ("thread", "decimals"), [("M5x0.8", 1), ("M14x1.5", 0)], ids=["below 3 N m", "above"]
)
def test_a_torque_is_shown_as_fine_as_a_wrench_is_set(thread, decimals):
    """Small wrenches go by tenths, large ones by whole newton metres (common practice)."""
    made_up = tightening(joint(thread, thread), UNKNOWN, UNKNOWN)
    least = re.search(r"(\d+(?:\.(\d+))?) to \d", made_up.action)
    assert least is not None, made_up.action
    assert len(least[2] or "") == decimals
    assert float(least[1]) == pytest.approx(made_up.least_n_m, abs=0.51 * 10**-decimals)


@pytest.mark.parametrize("hexagon", [16.0, 17.0])
def test_a_thin_female_bursts_before_its_thread_does(hexagon):
    """Hoop of a nut: what is left of pi/4 (hex^2 - d^2) around M14, at 0.4 of its yield."""
    thin = piece("brass", hexagon=hexagon)
    made_up = tightening(joint("M14x1.5", "M14x1.5"), piece("steel", bore=6.0), thin)
    around = math.pi / 4 * (hexagon**2 - 14.0**2)
    by_hand = tightening_torque_n_m(PRELOAD * thin.yield_mpa * around, 14.0, 1.5, 30.0, 0.15, 16.0)
    assert made_up.most_n_m == pytest.approx(by_hand, rel=1e-3)
    assert "the female's wall" in made_up.how + made_up.fault
    thick = tightening(
        joint("M14x1.5", "M14x1.5"), piece("steel", bore=6.0), piece("brass", hexagon=27.0)
    )
    assert thick.most_n_m > made_up.most_n_m and "wall" not in thick.how


def test_a_soft_female_strips_by_the_federal_standards_shear_area():
    """FED-STD-H28/2B (from memory): n pi L d (1/2n + 0.57735 (d - D2)), least d 13.732, largest D2.

    M14x1.5 6g / 6H by ISO 965-2, engaged 0.8 of 13.968; brass as drawn yields at 220 MPa, in shear
    at that over sqrt 3, of which 0.4 is used.
    """
    made_up = tightening(joint("M14x1.5", "M14x1.5"), piece("steel"), piece("brass"))
    area = math.pi * 13.732 * (0.5 + 0.57735 * (13.732 - 13.216) / 1.5) * 0.8 * 13.968
    preload = PRELOAD * 220.0 / math.sqrt(3) * area
    by_hand = tightening_torque_n_m(preload, 14.0, 1.5, 30.0, 0.15, 16.0)
    assert made_up.most_n_m == pytest.approx(by_hand, rel=0.01)
    assert "the female's thread of leaded brass" in made_up.how
