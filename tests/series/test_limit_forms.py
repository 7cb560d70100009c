"""What each series makes of its classes: which side moves, by how much, and what stays."""

import math
import pickle

import pytest

from pitchcam.records import MM_PER_INCH
from pitchcam.series import Limits, ThreadSize, find, load_series
from pitchcam.series.iso import (
    external_limits,
    formula_tolerance_um,
    internal_limits,
    pitch_tolerance_um,
    round_r40,
)
from pitchcam.series.records import OnDemand
from pitchcam.series.unified import bore_tolerance_in, pitch_tolerance_in
from pitchcam.series.whitworth import effective_tolerance_in


def of_class(designation: str, thread_class: str) -> Limits:
    size = find(designation)
    return next(x for x in (*size.external, *size.internal) if x.thread_class == thread_class)


def width(pair: tuple[float, float]) -> float:
    return pair[1] - pair[0]


@pytest.mark.parametrize(
    ("designation", "external", "internal"),
    # The usual class stands first: a medium fit of each standard.
    [
        ("M14x1.5", "6g", "6H"),
        ("1/2-13 UNC", "2A", "2B"),
        ("1/2-12 BSW", "medium", "medium"),
        ("2 BA", "normal", "normal"),
        ("G 1/2", "A", "G"),
        ("1/2-14 NPSM", "2A", "2B"),
        ("9/16-20 BSC", "medium", "medium"),
    ],
)
def test_the_usual_class_stands_first(designation: str, external: str, internal: str) -> None:
    size = find(designation)
    assert size.external[0].thread_class == external
    assert size.internal[0].thread_class == internal
    assert size.limits("external") == size.external and size.limits("internal") == size.internal


@pytest.mark.parametrize(
    ("designation", "classes"),
    [
        ("M14x1.5", {"6g", "6e", "8g", "4h", "6h", "6H", "5H", "7H", "6G", "4H"}),
        # ISO 965-1 has no grade 8 below 0.8 mm and no e below 0.5 mm.
        ("M3x0.5", {"6g", "6e", "4h", "6h", "6H", "5H", "7H", "6G", "4H"}),
        ("M1.6x0.35", {"6g", "4h", "6h", "6H", "5H", "6G", "4H"}),
        ("M1.6x0.2", {"6g", "4h", "6h", "4H"}),
        ("1/2-13 UNC", {"1A", "2A", "3A", "1B", "2B", "3B"}),
        ("1/2-12 BSW", {"close", "medium", "free", "normal"}),
        ("2 BA", {"normal", "close"}),
        ("G 1/2", {"A", "B", "G"}),
    ],
)
def test_classes_of_a_size(designation: str, classes: set[str]) -> None:
    size = find(designation)
    assert {x.thread_class for x in (*size.external, *size.internal)} == classes


@pytest.mark.parametrize(
    ("thread_class", "top_um"),
    # ISO 965-1 table 1, fundamental deviation es of P = 1.5 mm: e -67, g -32, h 0.
    [("6e", -67), ("6g", -32), ("8g", -32), ("6h", 0), ("4h", 0)],
)
def test_the_position_moves_a_metric_bolt_as_a_whole(thread_class: str, top_um: float) -> None:
    limits = of_class("M14x1.5", thread_class)
    assert (limits.major_mm[1] - 14) * 1000 == pytest.approx(top_um)
    assert (limits.pitch_diameter_mm[1] - 13.0257) * 1000 == pytest.approx(top_um, abs=0.05)


@pytest.mark.parametrize(
    ("thread_class", "major_um", "pitch_um"),
    # ISO 965-1, P = 1.5 mm, 11.2 to 22.4 mm: Td and Td2 in um.
    [("4h", 150, 90), ("6g", 236, 140), ("6h", 236, 140), ("6e", 236, 140), ("8g", 375, 224)],
)
def test_the_grade_widens_a_metric_bolt(
    thread_class: str, major_um: float, pitch_um: float
) -> None:
    limits = of_class("M14x1.5", thread_class)
    assert width(limits.major_mm) * 1000 == pytest.approx(major_um)
    assert width(limits.pitch_diameter_mm) * 1000 == pytest.approx(pitch_um)


@pytest.mark.parametrize(
    ("thread_class", "bore_um", "pitch_um", "shift_um"),
    # ISO 965-1, P = 1.5 mm, 11.2 to 22.4 mm: TD1, TD2 and EI in um.
    [
        ("4H", 190, 118, 0),
        ("5H", 236, 150, 0),
        ("6H", 300, 190, 0),
        ("7H", 375, 236, 0),
        ("6G", 300, 190, 32),
    ],
)
def test_the_grade_widens_a_metric_nut(
    thread_class: str, bore_um: float, pitch_um: float, shift_um: float
) -> None:
    limits = of_class("M14x1.5", thread_class)
    assert width(limits.minor_mm) * 1000 == pytest.approx(bore_um)
    assert width(limits.pitch_diameter_mm) * 1000 == pytest.approx(pitch_um)
    assert (limits.minor_mm[0] - 12.3762) * 1000 == pytest.approx(shift_um, abs=0.05)
    assert (limits.major_mm[0] - 14) * 1000 == pytest.approx(shift_um)
    # A tap's crest may stand H/24 past the basic groove: the standard leaves it open.
    past = limits.major_mm[1] - limits.major_mm[0] - pitch_um / 1000
    assert past == pytest.approx(1.5 * math.sqrt(3) / 2 / 12)


def test_a_metric_root_is_at_least_an_eighth_of_the_pitch_round() -> None:
    # ISO 965-1: with R = P/8 the root lies H/2 - P/8 below the lowest pitch line, on the radius.
    limits, height = of_class("M14x1.5", "6g"), 1.5 * math.sqrt(3) / 2
    depth = (limits.pitch_diameter_mm[0] - limits.minor_mm[0]) / 2
    assert depth == pytest.approx(height / 2 - 1.5 / 8)
    # At most it is the basic bore's diameter, moved with the bolt.
    assert limits.minor_mm[1] == pytest.approx(limits.major_mm[1] - 1.25 * height)


@pytest.mark.parametrize("pitch", [0.123, 1.1, 7.0])
def test_a_pitch_of_no_table_has_no_limits(pitch: float) -> None:
    assert external_limits(14, pitch, "6g") is None
    assert internal_limits(14, pitch, "6H") is None


@pytest.mark.parametrize(
    ("value", "nearest"),
    # ISO 3, R40 rounded as ISO 965-1 has it; halfway goes down.
    [
        (1.0, 1.0),
        (1.03, 1.0),
        (1.031, 1.06),
        (1.57, 1.6),
        (97.4, 95.0),
        (99.0, 100.0),
        (139.5, 140.0),
        (0.0239, 0.0236),
        (212.0, 212.0),
        (231.0, 236.0),
        (9.9, 10.0),
    ],
)
def test_the_renard_series(value: float, nearest: float) -> None:
    assert round_r40(value) == pytest.approx(nearest)


@pytest.mark.parametrize(
    ("d", "step_mm"),
    # ISO 965-1: over 5.6 to 11.2 and so on; the ends belong to the lower step.
    [
        (5.6, (2.8, 5.6)),
        (5.7, (5.6, 11.2)),
        (11.2, (5.6, 11.2)),
        (22.5, (22.4, 45)),
        (1, (0.99, 1.4)),
    ],
)
def test_the_step_of_a_diameter(d: float, step_mm: tuple[float, float]) -> None:
    mean = math.sqrt(step_mm[0] * step_mm[1])
    assert formula_tolerance_um(d, 1.0) == pytest.approx(90 * mean**0.1)


@pytest.mark.parametrize(
    ("d", "pitch", "grade", "internal", "um"),
    # ISO 965-1 tables 4 and 5, from memory.
    [
        (3, 0.5, 6, False, 75),
        (3, 0.5, 6, True, 100),
        (6, 1, 4, False, 71),
        (6, 1, 6, False, 112),
        (6, 1, 8, False, 180),
        (6, 1, 5, True, 118),
        (6, 1, 6, True, 150),
        (6, 1, 7, True, 190),
        (10, 1.5, 6, False, 132),
        (10, 1.5, 6, True, 180),
        (12, 1.75, 6, False, 150),
        (12, 1.75, 6, True, 200),
        (20, 2.5, 6, False, 170),
        (20, 2.5, 6, True, 224),
        (24, 3, 6, False, 200),
        (24, 3, 6, True, 265),
        (36, 4, 6, False, 224),
        (36, 4, 6, True, 300),
        (64, 6, 6, False, 280),
        (64, 6, 6, True, 375),
    ],
)
def test_pitch_tolerances(d: float, pitch: float, grade: int, internal: bool, um: float) -> None:
    assert pitch_tolerance_um(d, pitch, grade, internal=internal) == pytest.approx(um)


def test_a_fine_pitch_beyond_the_table_takes_the_formula() -> None:
    # M40x0.2 is in no table; a nut has 1.32 times the bolt's tolerance.
    bolt = pitch_tolerance_um(40, 0.2, 6, internal=False)
    assert bolt == round_r40(formula_tolerance_um(40, 0.2))
    nut = pitch_tolerance_um(40, 0.2, 6, internal=True)
    assert nut == round_r40(1.32 * formula_tolerance_um(40, 0.2)) > bolt


@pytest.mark.parametrize(
    ("series", "tpi", "length_in"),
    # ASME B1.1, 5.1.2: one diameter for UNC, UNF, 4-, 6- and 8-UN; nine pitches otherwise.
    [
        ("UNC", 13, 0.5),
        ("UNF", 20, 0.5),
        ("UN", 8, 0.5),
        ("UN", 6, 0.5),
        ("UN", 4, 0.5),
        ("UN", 16, 9 / 16),
        ("UNEF", 28, 9 / 28),
        ("UNS", 18, 9 / 18),
        ("UNS", 8, 9 / 8),
    ],
)
def test_length_of_engagement_of_unified_threads(series: str, tpi: float, length_in: float) -> None:
    fixed = 0.0015 * 0.5 ** (1 / 3) + 0.015 * tpi ** (-2 / 3)
    expected = fixed + 0.0015 * math.sqrt(length_in)
    assert pitch_tolerance_in(0.5, tpi, series) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("thread_class", "share", "allowed"),
    # ASME B1.1, 5.1.3: class 1 half as much again, class 3 three quarters; nuts 1.3 times.
    [
        ("1A", 1.5, True),
        ("2A", 1.0, True),
        ("3A", 0.75, False),
        ("1B", 1.95, False),
        ("2B", 1.3, False),
        ("3B", 0.975, False),
    ],
)
def test_shares_of_unified_classes(thread_class: str, share: float, allowed: bool) -> None:
    unit = pitch_tolerance_in(0.5, 13, "UNC") * MM_PER_INCH
    limits = of_class("1/2-13 UNC", thread_class)
    assert width(limits.pitch_diameter_mm) == pytest.approx(share * unit)
    if thread_class.endswith("A"):
        assert 12.7 - limits.major_mm[1] == pytest.approx(0.3 * unit if allowed else 0.0)
    else:
        assert limits.major_mm[0] == pytest.approx(12.7)


@pytest.mark.parametrize(("thread_class", "factor"), [("1A", 0.090), ("2A", 0.060), ("3A", 0.060)])
def test_major_tolerance_of_unified_classes(thread_class: str, factor: float) -> None:
    limits = of_class("1/2-13 UNC", thread_class)
    assert width(limits.major_mm) / MM_PER_INCH == pytest.approx(factor * 13 ** (-2 / 3))


@pytest.mark.parametrize(
    ("d", "tpi", "thread_class", "low_in", "high_in"),
    # Limits of the internal minor diameter, ASME B1.1 table, from memory; rounded to 0.001 in.
    [
        (0.25, 20, "2B", 0.196, 0.207),
        (0.3125, 18, "2B", 0.252, 0.265),
        (0.375, 16, "2B", 0.307, 0.321),
        (0.5, 13, "2B", 0.417, 0.434),
        (0.5, 20, "2B", 0.446, 0.457),
        (0.625, 11, "2B", 0.527, 0.546),
        (0.75, 10, "2B", 0.642, 0.663),
        (0.75, 16, "2B", 0.682, 0.696),
        (1.0, 8, "2B", 0.865, 0.890),
        (1.0, 12, "2B", 0.910, 0.928),
        (0.25, 20, "3B", 0.1960, 0.2067),
        (0.5, 13, "3B", 0.4170, 0.4284),
        (0.75, 10, "3B", 0.6420, 0.6545),
        (1.0, 8, "3B", 0.8650, 0.8797),
    ],
)
def test_bores_of_unified_nuts(
    d: float, tpi: float, thread_class: str, low_in: float, high_in: float
) -> None:
    basic = d - 1.25 * math.sqrt(3) / 2 / tpi
    assert basic == pytest.approx(low_in, abs=0.00056)
    high = basic + bore_tolerance_in(d, tpi, thread_class)
    assert high == pytest.approx(high_in, abs=0.00075)


def test_a_coarse_unified_bore_is_fifteen_hundredths_of_the_pitch() -> None:
    # ASME B1.1, 5.2: 0.15 P from 4 threads per inch down.
    assert bore_tolerance_in(2.5, 4, "2B") == pytest.approx(0.15 / 4)
    assert bore_tolerance_in(2.5, 4.5, "2B") == pytest.approx(0.25 / 4.5 - 0.4 / 4.5**2)
    # The small sizes never take more than 0.394 P.
    assert bore_tolerance_in(0.06, 80, "2B") <= 0.394 / 80 + 1e-12


@pytest.mark.parametrize(
    ("designation", "thread_class", "share", "allowance"),
    # BS 84, from memory: close 2/3, medium 1, free 3/2; an allowance of 0.3 T up to 3/4 in.
    [
        ("1/2-12 BSW", "close", 2 / 3, 0.0),
        ("1/2-12 BSW", "medium", 1.0, 0.3),
        ("1/2-12 BSW", "free", 1.5, 0.3),
        ("3/4-10 BSW", "medium", 1.0, 0.3),
        ("7/8-9 BSW", "medium", 1.0, 0.0),
        ("1-8 BSW", "free", 1.5, 0.0),
        ("1/4-26 BSF", "medium", 1.0, 0.3),
    ],
)
def test_whitworth_bolts(
    designation: str, thread_class: str, share: float, allowance: float
) -> None:
    size, limits = find(designation), of_class(designation, thread_class)
    assert size.tpi is not None
    unit = effective_tolerance_in(size.basic_major_mm / MM_PER_INCH, size.tpi) * MM_PER_INCH
    assert size.basic_major_mm - limits.major_mm[1] == pytest.approx(allowance * unit)
    assert width(limits.pitch_diameter_mm) == pytest.approx(share * unit)
    more = 0.01 * math.sqrt(1 / size.tpi) * MM_PER_INCH
    assert width(limits.major_mm) == pytest.approx(share * unit + more)


@pytest.mark.parametrize(
    ("designation", "fixed_in"),
    # BS 84, from memory: 0.2 p + 0.004 in from 26 threads per inch, 0.005 from 22, else 0.007.
    [("1/4-26 BSF", 0.004), ("5/16-22 BSF", 0.005), ("3/8-20 BSF", 0.007), ("1/2-12 BSW", 0.007)],
)
def test_whitworth_nuts(designation: str, fixed_in: float) -> None:
    size = find(designation)
    for nut, share in zip(size.internal, (1.0, 1.5), strict=True):
        assert nut.minor_mm[0] == pytest.approx(size.basic_minor_mm)
        expected = 0.2 * size.pitch_mm + fixed_in * MM_PER_INCH
        assert width(nut.minor_mm) == pytest.approx(expected)
        assert size.tpi is not None
        unit = effective_tolerance_in(size.basic_major_mm / MM_PER_INCH, size.tpi) * MM_PER_INCH
        assert width(nut.pitch_diameter_mm) == pytest.approx(share * unit)


def test_ba_screws_of_the_normal_class_have_an_allowance() -> None:
    # BS 93, from memory: 0.025 mm on the normal class, none on the close one.
    for name, d in (("0 BA", 6.0), ("8 BA", 2.2), ("16 BA", 0.79)):
        assert d - of_class(name, "normal").major_mm[1] == pytest.approx(0.025)
        assert of_class(name, "close").major_mm[1] == pytest.approx(d)


def test_class_b_of_g_is_twice_as_wide_on_the_flanks() -> None:
    # ISO 228-1, 4: the tolerance of class B is twice that of class A, all minus.
    for size in load_series():
        if size.family == "G":
            a, b = size.external
            assert width(b.pitch_diameter_mm) == pytest.approx(2 * width(a.pitch_diameter_mm))
            assert b.pitch_diameter_mm[1] == a.pitch_diameter_mm[1]
            assert a.major_mm == b.major_mm and a.major_mm[1] == size.basic_major_mm
            # No external root is limited: a tenth of the pitch for its rounding.
            root = width(a.minor_mm) - width(a.pitch_diameter_mm)
            assert root == pytest.approx(0.1 * size.pitch_mm)
            (nut,) = size.internal
            assert nut.pitch_diameter_mm[0] == pytest.approx(size.basic_pitch_diameter_mm)
            assert width(nut.pitch_diameter_mm) == pytest.approx(width(a.pitch_diameter_mm))


@pytest.mark.parametrize(
    ("designation", "turns"),
    # ISO 7-1: one turn either way at the gauge plane outside, 1 1/4 inside (tabulated to 0.1 mm).
    [("R 1/8", 1), ("R 1/2", 1), ("R 1", 1), ("Rc 1/8", 1.25), ("Rc 1/2", 1.25), ("Rp 1", 1.25)],
)
def test_the_gauge_plane_of_iso_7_is_a_turn_wide(designation: str, turns: float) -> None:
    size = find(designation)
    (limits,) = (*size.external, *size.internal)
    place = size.position_mm[0 if designation.startswith("R ") else 1]
    assert place == pytest.approx(turns * size.pitch_mm, abs=0.06)
    for pair in (limits.major_mm, limits.pitch_diameter_mm, limits.minor_mm):
        assert width(pair) == pytest.approx(2 * place / 16)
    assert limits.thread_class == "ISO 7-1"
    assert sum(limits.major_mm) / 2 == pytest.approx(size.basic_major_mm)
    assert sum(limits.pitch_diameter_mm) / 2 == pytest.approx(size.basic_pitch_diameter_mm)
    assert sum(limits.minor_mm) / 2 == pytest.approx(size.basic_minor_mm)


def test_npt_is_a_turn_wide_and_truncated_inward() -> None:
    # ASME B1.20.1: one turn either way; crests may be truncated, which makes them smaller only.
    size = find("1/2-14 NPT")
    (limits,), half = size.external, size.pitch_mm / 16
    assert limits.pitch_diameter_mm == pytest.approx(
        (size.basic_pitch_diameter_mm - half, size.basic_pitch_diameter_mm + half)
    )
    assert limits.major_mm[1] == pytest.approx(size.basic_major_mm + half)
    assert limits.major_mm[0] == pytest.approx(size.basic_major_mm - half - size.truncation_mm)
    assert limits.minor_mm[1] == pytest.approx(size.basic_minor_mm + half + size.truncation_mm)
    assert size.position_mm == (size.pitch_mm, size.pitch_mm)
    # Table 2: crests truncated by 0.033 to 0.078 p at 14 threads: 0.0024 to 0.0056 in, twice.
    assert size.truncation_mm == pytest.approx(2 * (0.0056 - 0.0024) * MM_PER_INCH, abs=0.02)


def test_nptf_is_npt_but_for_its_name() -> None:
    for name in ("1/8-27", "1/2-14", "1-11.5"):
        npt, dry = find(f"{name} NPT"), find(f"{name} NPTF")
        assert dry.external[0] == npt.external[0] and dry.gauge_length_mm == npt.gauge_length_mm
        assert dry.standard == "ASME B1.20.3" and dry.commonness == "rare"
        assert dry.geometry == npt.geometry


@pytest.mark.parametrize(("p", "useful"), [(1.0, 8.0), (1.25, 12.0), (1.5, 12.0), (2.0, 14.0)])
def test_useful_length_of_metric_tapers(p: float, useful: float) -> None:
    # DIN 3852-1 form C: 8 mm for P = 1, 12 for 1.5, 14 above.
    held = [s for s in load_series() if s.family == "M taper" and s.pitch_mm == p]
    assert held and {s.useful_length_mm for s in held} == {useful}


def test_conduit_glands_stay_within_two_tenths() -> None:
    # DIN 40430: bolts below, nuts above the basic size.
    size = find("Pg 16")
    (bolt,), (nut,) = size.external, size.internal
    assert bolt.major_mm == pytest.approx((22.3, 22.5)) and nut.minor_mm[0] == pytest.approx(
        21.16, abs=0.05
    )
    for outer, inner in (
        (nut.major_mm, bolt.major_mm),
        (nut.pitch_diameter_mm, bolt.pitch_diameter_mm),
        (nut.minor_mm, bolt.minor_mm),
    ):
        assert outer[0] == pytest.approx(inner[1])
        assert width(outer) == pytest.approx(width(inner)) == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("designation", "major_in", "pitch_in", "bore_in"),
    # ASME B1.20.1 table 7, from memory.
    [
        ("1/8-27 NPSM", (0.390, 0.397), (0.3689, 0.3725), (0.358, 0.364)),
        ("1/2-14 NPSM", (0.813, 0.823), (0.7718, 0.7769), (0.747, 0.759)),
    ],
)
def test_npsm_limits_are_tabulated_in_inches(
    designation: str,
    major_in: tuple[float, float],
    pitch_in: tuple[float, float],
    bore_in: tuple[float, float],
) -> None:
    (bolt,), (nut,) = find(designation).external, find(designation).internal

    def inches(pair: tuple[float, float]) -> tuple[float, float]:
        return pair[0] / MM_PER_INCH, pair[1] / MM_PER_INCH

    assert inches(bolt.major_mm) == pytest.approx(major_in)
    assert inches(bolt.pitch_diameter_mm) == pytest.approx(pitch_in)
    assert inches(nut.minor_mm) == pytest.approx(bore_in)
    # A bolt lies inside its nut on every line.
    assert bolt.major_mm[1] < nut.major_mm[0] and bolt.minor_mm[1] < nut.minor_mm[0]


def both(size: ThreadSize) -> bool:
    return len(size.genders) == 2 and not size.taper


def test_a_worse_class_is_never_narrower() -> None:
    """Free is wider than medium, 8 than 6, 1A than 2A: on the pitch diameter of every size."""
    order = {
        "external": (("4h", "6h", "8g"), ("3A", "2A", "1A"), ("close", "medium", "free")),
        "internal": (("4H", "5H", "6H", "7H"), ("3B", "2B", "1B"), ("medium", "normal")),
    }
    compared = 0
    for size in filter(both, load_series()):
        for gender, chains in order.items():
            held = {x.thread_class: x for x in size.limits(gender)}
            for chain in chains:
                widths = [width(held[c].pitch_diameter_mm) for c in chain if c in held]
                assert widths == sorted(widths), size.designation
                compared += len(widths) > 1
    assert compared > 900


def test_limits_are_worked_out_once_and_when_they_are_asked_for() -> None:
    asked = []

    def work() -> tuple[Limits, ...]:
        asked.append("again")
        return tuple(find("M14x1.5").external)

    held = OnDemand(work)
    assert not asked
    assert len(held) == 5 and held[0].thread_class == "6g" and held[1:] == tuple(held)[1:]
    assert held == find("M14x1.5").external == tuple(held) and held != find("M12x1.5").external
    assert hash(held) == hash(tuple(held)) and repr(held) == repr(tuple(held))
    assert pickle.loads(pickle.dumps(held)) == held
    assert len(asked) == 1
