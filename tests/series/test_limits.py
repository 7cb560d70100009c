"""Tolerance formulas against worked limits; the source stands beside each check."""

import pytest

from pitchcam.records import MM_PER_INCH
from pitchcam.series import find
from pitchcam.series.iso import formula_tolerance_um, pitch_tolerance_um, round_r40
from pitchcam.series.unified import pitch_tolerance_in
from pitchcam.series.whitworth import effective_tolerance_in


def span(designation: str, thread_class: str, gender: str = "external") -> tuple[float, float]:
    limits = next(x for x in find(designation).limits(gender) if x.thread_class == thread_class)
    return limits.major_mm if gender == "external" else limits.minor_mm


@pytest.mark.parametrize(
    ("designation", "thread_class", "low", "high"),
    [
        # ISO 965-1 worked; the 6g rows stand in FreeCAD's table too.
        ("M14x1.5", "6g", 13.732, 13.968),
        ("M14x1.5", "8g", 13.593, 13.968),
        # ISO 28741 spark plugs, class 6e.
        ("M14x1.25", "6e", 13.725, 13.937),
        ("M12x1.25", "6e", 11.725, 11.937),
        ("M10x1", "6e", 9.760, 9.940),
        ("M18x1.5", "6e", 17.697, 17.933),
        # ISO 228-1 table.
        ("G 1/2", "A", 20.671, 20.955),
        # BS 93:2008 annex B.
        ("2 BA", "normal", 4.513, 4.675),
        ("0 BA", "normal", 5.775, 5.975),
        # BS 84, from memory.
        ("1/4-20 BSW", "medium", 6.165, 6.320),
        ("1/2-16 BSF", "medium", 12.473, 12.662),
        ("1-8 BSW", "medium", 25.138, 25.400),
    ],
)
def test_worked_major_limits(designation: str, thread_class: str, low: float, high: float) -> None:
    assert span(designation, thread_class) == pytest.approx((low, high), abs=0.0011)


@pytest.mark.parametrize(
    ("designation", "thread_class", "low_in", "high_in"),
    [
        # ASME B1.1 tables.
        ("5/8-18 UNF", "2A", 0.6149, 0.6236),
        ("1/2-20 UNF", "2A", 0.4906, 0.4987),
        ("1/2-13 UNC", "2A", 0.4876, 0.4985),
        ("3/4-16 UNF", "2A", 0.7391, 0.7485),
        ("1/2-20 UNF", "1A", 0.4865, 0.4987),
    ],
)
def test_worked_unified_limits(
    designation: str, thread_class: str, low_in: float, high_in: float
) -> None:
    low, high = span(designation, thread_class)
    assert (low / MM_PER_INCH, high / MM_PER_INCH) == pytest.approx((low_in, high_in), abs=1.1e-4)


def test_g_quarter_class_a() -> None:
    # ISO 228-1 table 1: 13.157 less 0.250; pitch diameter 12.301 less 0.125.
    limits = find("G 1/4").external[0]
    assert limits.thread_class == "A"
    assert limits.major_mm == pytest.approx((12.907, 13.157), abs=0.001)
    assert limits.pitch_diameter_mm == pytest.approx((12.176, 12.301), abs=0.001)


def test_m14_pitch_diameter_by_the_formula_and_the_table() -> None:
    # 90 * 1.5^0.4 * 15.84^0.1 = 139.5, tabulated 140 (ISO 965-1).
    assert formula_tolerance_um(14, 1.5) == pytest.approx(139.5, abs=0.1)
    assert pitch_tolerance_um(14, 1.5, 6, internal=False) == 140
    assert pitch_tolerance_um(14, 1.5, 8, internal=False) == pytest.approx(224)
    # M4 and M5 6H have 118 and 125 (a tap maker's tolerance page).
    assert pitch_tolerance_um(4, 0.7, 6, internal=True) == 118
    assert pitch_tolerance_um(5, 0.8, 6, internal=True) == 125


def test_the_table_is_the_formula_within_one_step_of_r40() -> None:
    # ASME B1.13M-2005, 6.2: rounded to R40, whose steps are 6 percent.
    for d, p in ((3, 0.5), (6, 1), (10, 1.5), (16, 2), (24, 3), (30, 3.5), (48, 5), (64, 6)):
        table = pitch_tolerance_um(d, p, 6, internal=False)
        assert table == pytest.approx(formula_tolerance_um(d, p), rel=0.065)
        assert round_r40(table) == pytest.approx(table)


def test_unified_pitch_tolerance_of_5_8_18() -> None:
    # ASME B1.1: 0.0015 * 0.8550 + 0.0015 * 0.7906 + 0.015 * 0.14559 = 0.00465.
    assert pitch_tolerance_in(0.625, 18, "UNF") == pytest.approx(0.00465, abs=5e-6)


def test_whitworth_unit_of_1_4_20() -> None:
    # BS 84 (from memory): T = 0.00388 for 1/4-20.
    assert effective_tolerance_in(0.25, 20) == pytest.approx(0.00388, abs=5e-6)


@pytest.mark.parametrize(
    ("designation", "e0_in", "e1_in", "l2_in"),
    [
        # ASME B1.20.1 table 2 as Machinery's Handbook 27 prints it (p. 1861, table 1a).
        ("1/8-27 NPT", 0.36351, 0.37360, 0.2639),
        ("1/4-18 NPT", 0.47739, 0.49163, 0.4018),
        ("3/8-18 NPT", 0.61201, 0.62701, 0.4078),
        ("1/2-14 NPT", 0.75843, 0.77843, 0.5337),
        ("3/4-14 NPT", 0.96768, 0.98887, 0.5457),
        ("1-11.5 NPT", 1.21363, 1.23863, 0.6828),
    ],
)
def test_npt_follows_the_table(designation: str, e0_in: float, e1_in: float, l2_in: float) -> None:
    size = find(designation)
    assert size.gauge_length_mm is not None
    e1 = size.basic_pitch_diameter_mm / MM_PER_INCH
    assert e1 == pytest.approx(e1_in, abs=1.5e-5)
    assert e1 - size.gauge_length_mm / 16 / MM_PER_INCH == pytest.approx(e0_in, abs=1.5e-5)
    assert size.useful_length_mm == pytest.approx(l2_in * MM_PER_INCH, abs=0.003)


def test_half_inch_npt_at_the_small_end() -> None:
    # ASME B1.20.1 worked: E0 0.75843 + h 0.05714 = 0.8156 in = 20.715 mm; limits 20.44 to 20.83.
    size = find("1/2-14 NPT")
    assert size.major_at(0.0) == pytest.approx(20.715, abs=0.002)
    low, high = size.external[0].major_mm
    back = size.basic_major_mm - size.major_at(0.0)
    assert (low - back, high - back) == pytest.approx((20.44, 20.83), abs=0.006)


def test_quarter_npt_at_the_gauge_plane() -> None:
    # ASME B1.20.1: E1 0.49163 in; h 0.800 p = 0.04444 in.
    size = find("1/4-18 NPT")
    assert size.basic_major_mm == pytest.approx((0.49163 + 0.04444) * MM_PER_INCH, abs=0.001)


@pytest.mark.parametrize(
    ("designation", "low", "high"),
    [
        ("R 1/2", 20.33, 20.55),  # ISO 7-1: 20.955 less 8.2/16, one turn either way
        ("M10x1 taper", 9.80, 9.89),  # DIN 158-1 worked back from its gauge plane
        ("M14x1.5 taper", 13.72, 13.84),
    ],
)
def test_taper_limits_at_the_small_end(designation: str, low: float, high: float) -> None:
    size = find(designation)
    back = size.basic_major_mm - size.major_at(0.0)
    a, b = size.external[0].major_mm
    assert (a - back, b - back) == pytest.approx((low, high), abs=0.006)


def test_iso_7_1_useful_less_gauge_length_is_two_and_three_quarter_turns() -> None:
    # ISO 7-1, sizes 1/8 to 1 (allowance for fitting); lengths are tabulated to 0.1 mm.
    for name in ("R 1/8", "R 1/4", "R 3/8", "R 1/2", "R 3/4", "R 1"):
        size = find(name)
        assert size.useful_length_mm is not None and size.gauge_length_mm is not None
        turns = (size.useful_length_mm - size.gauge_length_mm) / size.pitch_mm
        assert turns == pytest.approx(2.75, abs=0.06), name


def test_pg_core_follows_from_the_profile() -> None:
    # DIN 40430 core diameters stand in the table; the profile gives them within 0.02 mm.
    size = find("Pg 7")
    assert size.basic_minor_mm == pytest.approx(11.28, abs=0.02)


@pytest.mark.parametrize("designation", ["1/4-20 BSW", "1/2-16 BSF", "3/4-10 BSW"])
def test_classes_of_bs_84_by_their_published_ratios(designation: str) -> None:
    # BS 84: close 2/3, medium 1, free 3/2 of the unit; an allowance of 0.3 up to 3/4 in for all but
    # close (from memory).
    classes = {x.thread_class: x for x in find(designation).external}
    size = find(designation)
    unit = effective_tolerance_in(size.basic_major_mm / MM_PER_INCH, size.tpi) * MM_PER_INCH
    for name, share, allowance in (("close", 2 / 3, 0.0), ("medium", 1, 0.3), ("free", 1.5, 0.3)):
        low, high = classes[name].pitch_diameter_mm
        assert high - low == pytest.approx(share * unit)
        assert size.basic_pitch_diameter_mm - high == pytest.approx(allowance * unit)
    normal = find(designation).internal[1].pitch_diameter_mm
    assert normal[1] - normal[0] == pytest.approx(1.5 * unit)


def test_whitworth_roots_have_their_own_tolerance() -> None:
    # BS 84 (from memory): the unit and 0.02 root p, in inches; close 0.013 root p.
    for name, share, root in (("close", 2 / 3, 0.013), ("medium", 1, 0.02), ("free", 1.5, 0.02)):
        limits = next(x for x in find("1/2-12 BSW").external if x.thread_class == name)
        expected = share * effective_tolerance_in(0.5, 12) + root * (1 / 12) ** 0.5
        low, high = limits.minor_mm
        assert (high - low) / MM_PER_INCH == pytest.approx(expected)


@pytest.mark.parametrize(
    ("designation", "thread_class", "major", "effective", "root"),
    [
        # BS 93:2008 annex B, from memory: normal 0.20 p (0.25 p above 10 BA), 0.10 p + 0.025,
        # 0.20 p + 0.05; close 0.15 p, 0.08 p + 0.02, twice that.
        ("0 BA", "normal", 0.200, 0.125, 0.250),
        ("0 BA", "close", 0.150, 0.100, 0.200),
        ("4 BA", "normal", 0.132, 0.091, 0.182),
        ("4 BA", "close", 0.099, 0.0728, 0.1456),
    ],
)
def test_ba_tolerances(
    designation: str, thread_class: str, major: float, effective: float, root: float
) -> None:
    limits = next(x for x in find(designation).external if x.thread_class == thread_class)
    widths = [b - a for a, b in (limits.major_mm, limits.pitch_diameter_mm, limits.minor_mm)]
    assert widths == pytest.approx([major, effective, root])


@pytest.mark.parametrize(("number", "share"), [("10", 0.20), ("11", 0.25), ("12", 0.25)])
def test_the_smallest_ba_have_a_wider_major_tolerance(number: str, share: float) -> None:
    size = find(f"{number} BA")
    low, high = size.external[0].major_mm
    assert high - low == pytest.approx(share * size.pitch_mm)


def test_ba_nuts() -> None:
    # BS 93:2008 annex B, from memory: effective 0.12 p + 0.03, bore 0.375 p.
    (nut,) = find("0 BA").internal
    assert nut.pitch_diameter_mm[1] - nut.pitch_diameter_mm[0] == pytest.approx(0.15)
    assert nut.minor_mm[1] - nut.minor_mm[0] == pytest.approx(0.375)
    assert nut.minor_mm[0] == pytest.approx(6.0 - 1.2)


@pytest.mark.parametrize(
    ("thread_class", "low_in", "high_in"),
    [("1A", 0.4598, 0.4662), ("2A", 0.4619, 0.4662), ("3A", 0.4643, 0.4675)],
)
def test_unified_pitch_diameters_of_1_2_20(
    thread_class: str, low_in: float, high_in: float
) -> None:
    # ASME B1.1 table, from memory.
    limits = next(x for x in find("1/2-20 UNF").external if x.thread_class == thread_class)
    low, high = limits.pitch_diameter_mm
    assert (low / MM_PER_INCH, high / MM_PER_INCH) == pytest.approx((low_in, high_in), abs=6e-5)
