"""Bolting by the handbook: stress areas, torque and preload, washers, seats, who gives way."""

import csv
import math
from pathlib import Path

import pytest

from pitchcam.joining.bolting.formulas import stress_area_mm2, tightening_torque_n_m
from pitchcam.joining.bolting.seating import seats, washer_width_mm
from pitchcam.joining.bolting.tightening import UNKNOWN, Piece, tightening
from pitchcam.joining.mating.ends import parse_end
from pitchcam.joining.mating.mate import Mating, mate
from pitchcam.joining.metals import known_metals, metal
from pitchcam.joining.practice import practice
from pitchcam.series import find

AREAS = Path(__file__).parents[1] / "data" / "stress_areas_from_memory.csv"


def table() -> list[dict[str, str]]:
    lines = AREAS.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(x for x in lines if not x.startswith("#")))


@pytest.mark.parametrize("row", table(), ids=lambda r: r["designation"])
def test_stress_areas(row: dict[str, str]) -> None:
    size = find(row["designation"])
    area = stress_area_mm2(size.basic_major_mm, size.pitch_mm)
    if row["unit"] == "in2":
        assert area / 25.4**2 == pytest.approx(float(row["area"]), abs=0.0007)
    else:
        # ISO 898-1 takes 0.9382 P off the diameter, the federal standard 0.9743 P: 2 % at most.
        assert 0.98 * float(row["area"]) < area < float(row["area"]) + 0.06


def test_a_bore_takes_its_circle_from_the_section() -> None:
    whole, bored = stress_area_mm2(14, 1.5), stress_area_mm2(14, 1.5, 6.0)
    assert whole - bored == pytest.approx(math.pi / 4 * 36)


@pytest.mark.parametrize(
    ("friction", "k"),
    # Torque factor K of T = K F d for a coarse bolt under its head: handbook figures for dry,
    # lightly oiled and well lubricated bolts, from memory, to a tenth.
    [(0.20, 0.26), (0.15, 0.20), (0.10, 0.14), (0.08, 0.12)],
)
def test_torque_factors(friction: float, k: float) -> None:
    torque = tightening_torque_n_m(10_000, 12, 1.75, 30, friction)
    assert torque / (10_000 * 0.012) == pytest.approx(k, rel=0.08)


def test_without_friction_the_torque_only_lifts_the_load() -> None:
    # T = F P / 2 pi: the work of one turn is the load times the lead.
    assert tightening_torque_n_m(1000, 20, 2.5, 30, 0.0) == pytest.approx(2.5 / (2 * math.pi))


def test_a_face_of_its_own_diameter_counts_instead_of_the_usual_one() -> None:
    base = tightening_torque_n_m(1000, 12, 1.75, 30, 0.15, 0.0)
    for mean in (12.0, 15.0, 20.0):
        face = tightening_torque_n_m(1000, 12, 1.75, 30, 0.15, mean) - base
        assert face == pytest.approx(1000 * 0.15 * mean / 2000)
    usual = tightening_torque_n_m(1000, 12, 1.75, 30, 0.15)
    assert usual == pytest.approx(tightening_torque_n_m(1000, 12, 1.75, 30, 0.15, 15.0))


def test_steeper_flanks_rub_more() -> None:
    torques = [tightening_torque_n_m(1000, 12, 1.5, half, 0.15) for half in (23.75, 27.5, 30, 40)]
    assert torques == sorted(torques)


@pytest.mark.parametrize(
    ("thread_mm", "outside_mm"),
    # DIN 7603 A: rings of 10 x 14, 14 x 18, 16 x 20, 18 x 22, 22 x 27, 27 x 32, 33 x 39, 42 x 49.
    [(10, 14), (12, 16), (14, 18), (16, 20), (18, 22), (22, 27), (26, 31), (33, 39), (39, 45)],
)
def test_washers(thread_mm: float, outside_mm: float) -> None:
    assert thread_mm + 2 * washer_width_mm(thread_mm) == pytest.approx(outside_mm)


def joint(male: str, female: str) -> Mating:
    return mate(parse_end(male, "external"), parse_end(female, "internal"))


@pytest.mark.parametrize(
    ("male", "female", "names"),
    [
        ("M14x1.5", "M14x1.5", ["copper washer", "bonded seal"]),
        ("G 1/4", "G 1/4", ["copper washer", "bonded seal"]),
        ("R 1/4", "Rc 1/4", ["taper thread"]),
        ("1/8-27 NPTF", "1/8-27 NPTF", ["taper thread"]),
        ("7/16-20 UNF cone37", "7/16-20 UNF cone37", ["metal cone"]),
        ("M14x1.5 oring", "M14x1.5 oring", ["O-ring"]),
        ("Pg 16", "Pg 16", []),
        ("hose 10", "hose 10", []),
    ],
)
def test_what_seals_a_joint(male: str, female: str, names: list[str]) -> None:
    assert [s.name for s in seats(joint(male, female), 10.0)] == names


def test_two_steel_cones_need_the_more() -> None:
    cone = joint("M18x1.5 cone24", "M18x1.5 cone24")
    (soft,), (hard,) = seats(cone, 0.0), seats(cone, 0.0, steel=True)
    assert hard.name == "metal cone of steel"
    # y of iron or soft steel over that of soft copper or brass: ASME VIII-1 table 2-5.1.
    assert hard.force_n / soft.force_n == pytest.approx(124 / 89.6)


@pytest.mark.parametrize(
    ("male", "female", "trade_n_m"),
    # 8 N m at 1/8, 15 at 1/4, 37 at 1/2: common practice, no source.
    [("R 1/8", "Rc 1/8", 8), ("1/4-18 NPT", "1/4-18 NPT", 15), ("R 1/2", "Rp 1/2", 37)],
)
def test_taper_threads_by_the_trade(male: str, female: str, trade_n_m: float) -> None:
    (seat,) = seats(joint(male, female), 5.0)
    assert seat.torque_n_m == pytest.approx(trade_n_m, rel=0.08) and seat.force_n == 0.0
    # Pressure adds nothing to what sealant needs.
    assert seats(joint(male, female), 50.0) == (seat,)


def test_pressure_counts_from_where_holding_exceeds_seating() -> None:
    one = joint("M14x1.5", "M14x1.5")
    copper = [seats(one, bar)[0].force_n for bar in (0.0, 1.0, 500.0, 1000.0)]
    assert copper[0] == copper[1] < copper[2]
    assert copper[3] == pytest.approx(2 * copper[2])
    # p (pi/4 G^2 + 2 pi b G m), b 1 mm and G 16 mm; ASME VIII-1 appendix 2.
    expected = 50 * (math.pi / 4 * 16**2 + 2 * math.pi * 1 * 16 * 4.75)
    assert copper[2] == pytest.approx(expected)


BRASS = Piece(metal=metal("brass"))


@pytest.mark.parametrize("key", known_metals())
def test_a_piece_says_its_metal_and_temper(key: str) -> None:
    held = metal(key)
    assert held is not None
    as_bought, brazed = Piece(metal=held), Piece(metal=held, heated=True)
    assert as_bought.yield_mpa == held.supplied_yield_mpa and brazed.yield_mpa == held.yield_mpa
    assert as_bought.text == (
        f"{held.name}, as supplied: yield {held.supplied_yield_mpa:g} MPa, {held.supplied_source}"
    )
    assert brazed.text == f"{held.name}, annealed by brazing: yield {held.yield_mpa:g} MPa"


def test_an_unknown_metal_counts_as_brass_and_says_so() -> None:
    assert UNKNOWN.known == metal("brass")
    assert UNKNOWN.text.startswith("leaded brass CuZn39Pb3 (CW614N) assumed, as supplied")
    assert metal("kryptonite") is None and metal(" BRASS ") == metal("brass")


def test_a_hose_is_clamped() -> None:
    done = tightening(joint("hose 10", "hose 10"), BRASS, UNKNOWN)
    assert done.action == "push over all barbs, clamp behind them"
    assert (done.least_n_m, done.most_n_m, done.seat, done.fault) == (None, None, None, "")


def test_no_seal_for_the_heat_is_said() -> None:
    done = tightening(joint("G 1/4", "G 1/4"), BRASS, UNKNOWN, temperature_c=300.0)
    assert done.action == "no seal for this heat" and done.seat is None
    # A bonded seal's rubber gives out at 200, copper stands 250.
    hot = tightening(joint("G 1/4", "G 1/4"), BRASS, UNKNOWN, temperature_c=240.0)
    assert hot.seat is not None and hot.seat.name == "copper washer"


def test_a_span_is_from_what_seals_to_what_breaks() -> None:
    done = tightening(joint("G 1/4", "G 1/4"), BRASS, UNKNOWN)
    assert done.least_n_m is not None and done.most_n_m is not None
    assert done.action == (
        f"copper washer: {done.least_n_m:.0f} to {done.most_n_m:.0f} N m; the maker's figure "
        "goes first"
    )
    assert done.how == (
        "least seats the copper washer; most by the male's section of leaded brass CuZn39Pb3 "
        "(CW614N), as supplied: yield 220 MPa, bar drawn to R430, EN 12164 (from memory); "
        "friction 0.15"
    )
    # Preload at 0.4 of yield in the section, as torque (Shigley).
    area = stress_area_mm2(13.157, 25.4 / 19)
    mean = 13.157 + washer_width_mm(13.157)
    expected = tightening_torque_n_m(0.4 * 220 * area, 13.157, 25.4 / 19, 27.5, 0.15, mean)
    assert done.most_n_m == pytest.approx(expected)


def test_a_limit_from_elsewhere_is_named() -> None:
    done = tightening(joint("G 1/4", "G 1/4"), BRASS, UNKNOWN, most_n_m=2.0)
    assert done.fault.startswith("G 1/4 male in G 1/4 female cannot be tightened enough: its ")
    assert done.fault.endswith(" N m and the brazed joint stands 2.0")
    assert done.action == done.fault and done.most_n_m == 2.0


def test_the_second_best_seal_says_what_the_best_would_need() -> None:
    bored = Piece(metal=metal("brass"), bore_mm=9.5)
    plain = tightening(joint("G 1/4", "G 1/4"), bored, UNKNOWN)
    assert plain.second_best and plain.seat is not None and plain.seat.name == "bonded seal"
    best = seats(joint("G 1/4", "G 1/4"), 0.0)[0]
    assert f"bonded seal (no copper washer: it needs {best.torque_n_m:.0f} N m): " in plain.action


def test_a_taper_stops_at_whichever_comes_first() -> None:
    done = tightening(joint("1/4-18 NPT", "1/4-18 NPT"), BRASS, UNKNOWN)
    # ASME B1.20.1: hand-tight 0.2278 in, 4.1 turns.
    assert done.action.startswith(
        "sealant on the male; hand-tight near 5.8 mm (4.1 turns), then 2 to 3 turns by wrench"
    )
    assert done.action.endswith("stop at whichever comes first; never back off")
    dry = tightening(joint("1/4-18 NPTF", "1/4-18 NPTF"), BRASS, UNKNOWN)
    assert dry.action.startswith("lubricant at most; hand-tight near 5.8 mm")
    british = tightening(joint("R 1/4", "Rc 1/4"), BRASS, UNKNOWN)
    assert "then about 1.5 turns by wrench" in british.action
    assert british.how.startswith("turns of ISO 7-1; torque that seals by diameter (")


def test_a_hollow_taper_twists_off_sooner() -> None:
    one = joint("R 1/4", "Rc 1/4")
    most = [
        tightening(one, Piece(metal=metal("brass"), bore_mm=b), UNKNOWN).most_n_m
        for b in (0.0, 6.0, 9.0)
    ]
    root = find("R 1/4").basic_minor_mm
    solid = 0.8 / math.sqrt(3) * 220 * math.pi / 16 * root**3 / 1e3
    assert most[0] == pytest.approx(solid) and practice("taper_share") == 0.8
    for found, bore in zip(most, (0.0, 6.0, 9.0), strict=True):
        assert found == pytest.approx(solid * (1 - (bore / root) ** 4))


STEEL, RUST = Piece(metal=metal("steel")), Piece(metal=metal("stainless"))


@pytest.mark.parametrize(
    ("male", "female", "hard"),
    [(STEEL, STEEL, True), (STEEL, RUST, True), (STEEL, BRASS, False), (BRASS, STEEL, False)],
    ids=["steel", "steel and stainless", "steel in brass", "brass in steel"],
)
def test_a_cone_is_hard_where_both_are_of_steel(male: Piece, female: Piece, hard: bool) -> None:
    done = tightening(joint("M18x1.5 cone24", "M18x1.5 cone24"), male, female)
    assert done.seat is not None
    assert (done.seat.name == "metal cone of steel") == hard


def test_a_thin_hexagon_bursts_first() -> None:
    male = Piece(metal=metal("steel"))
    thin, thick = (
        tightening(joint("G 1/4", "G 1/4"), male, Piece(metal=metal("brass"), hex_mm=h))
        for h in (14.0, 24.0)
    )
    assert "most by the female's wall of leaded brass" in thin.how
    assert "the female's wall" not in thick.how and thin.most_n_m < thick.most_n_m
    around = math.pi / 4 * (14.0**2 - 13.157**2)
    mean = 13.157 + washer_width_mm(13.157)
    expected = tightening_torque_n_m(0.4 * 220 * around, 13.157, 25.4 / 19, 27.5, 0.15, mean)
    assert thin.most_n_m == pytest.approx(expected)


def test_a_wedge_helps_a_cone_and_friction_hinders_it() -> None:
    names = ("7/16-20 UNF cone37", "M18x1.5 cone24", "G 1/4 cone60")
    # Half angles against the axis: 37 (ISO 8434-2), 12 (ISO 8434-1), 30 degrees (ISO 8434-6).
    for name, half_deg in zip(names, (37.0, 12.0, 30.0), strict=True):
        (seat,) = seats(joint(name, name), 0.0)
        major = find(name.rsplit(" ", 1)[0]).basic_major_mm
        half = math.radians(half_deg)
        wedge = math.sin(half) + 0.15 * math.cos(half)
        assert seat.force_n == pytest.approx(math.pi / 2 * major * 89.6 * wedge)
