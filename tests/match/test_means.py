"""The ways to measure on: how good each is, and what it tells apart."""

import math

import pytest

from pitchcam.match.advice import distance_apart, real_range, tell_apart, tell_twins, ways
from pitchcam.match.confusable import EASILY, confusables, confused_pairs
from pitchcam.match.means import CAST, EXTERNAL, INTERNAL, Means
from pitchcam.match.population import ANGLE, MAJOR, MINOR, PITCH, TAPER, population
from pitchcam.match.separation import separation
from pitchcam.records import Gender
from pitchcam.series import find


@pytest.mark.parametrize(
    ("means", "value", "apart", "u"),
    [
        (Means(quantity=MAJOR, u=0.03, tool="", short=""), 14.0, 8.0, 0.03),
        (Means(quantity=PITCH, u=0.005, relative=True, tool="", short=""), 1.5, 8.0, 0.0075),
        # A difference of two diameters over their distance is a taper.
        (Means(quantity=TAPER, u=0.04, tool="", short=""), 1 / 16, 8.0, 0.005),
        (Means(quantity=ANGLE, u=0.85, tool="", short=""), 60.0, 8.0, 0.85),
    ],
)
def test_the_uncertainty_of_a_reading(means: Means, value: float, apart: float, u: float) -> None:
    assert means.u_at(value, apart) == pytest.approx(u)


def test_a_taper_from_two_readings_has_the_error_of_both() -> None:
    for some, crest in ((EXTERNAL, MAJOR), (INTERNAL, MINOR), (CAST, MAJOR)):
        one = next(m.u for m in some if m.quantity == crest)
        two = next(m.u for m in some if m.quantity == TAPER)
        assert two == pytest.approx(math.sqrt(2) * one)


def test_a_photo_tells_pitch_and_angle_better_than_a_bench() -> None:
    for some in (EXTERNAL, CAST):
        for quantity in (PITCH, ANGLE):
            bench, photo = (m for m in some if m.quantity == quantity)
            assert "photo" in photo.short and "photo" not in bench.short
            assert photo.u < bench.u


def test_ways_by_gender_and_cast() -> None:
    assert ways("external") == EXTERNAL == ways("external", cast=True)
    assert ways("internal") == INTERNAL and ways("internal", cast=True) == CAST
    # Only a port without a cast asks for one to be made, and the jaws come before it.
    assert not any(m.needs_cast for m in (*EXTERNAL, *CAST))
    late = [m.needs_cast for m in INTERNAL]
    assert late == sorted(late) and any(late) and not all(late)


@pytest.mark.parametrize(
    ("designation", "apart"),
    # Five turns, in whole mm, and never under 2 mm.
    [("M14x1.5", 8.0), ("G 1/2", 9.0), ("R 1", 12.0), ("M3x0.5", 2.0), ("16 BA", 2.0)],
)
def test_how_far_apart_two_diameters_are_read(designation: str, apart: float) -> None:
    assert distance_apart(find(designation)) == apart


@pytest.mark.parametrize(
    ("designation", "gender", "cast", "low", "high"),
    [
        # ISO 965-1: 8g is the widest class below, h the highest above.
        ("M14x1.5", "external", False, 13.593, 14.0),
        # 4H to 7H and 6G, P = 1.5.
        ("M14x1.5", "internal", False, 12.376, 12.751),
        # At the small end face, 8.2 mm before the gauge plane.
        ("R 1/2", "external", False, 20.33, 20.55),
        # A port is read at its mouth, which is the gauge plane: one and a quarter turns wide.
        ("Rc 1/2", "internal", False, 18.49, 18.775),
    ],
)
def test_what_a_caliper_can_read(
    designation: str, gender: Gender, cast: bool, low: float, high: float
) -> None:
    assert real_range(find(designation), gender, cast=cast) == pytest.approx((low, high), abs=0.006)


def test_a_cast_of_a_port_is_read_over_its_crests() -> None:
    bore, crests = (real_range(find("M14x1.5"), "internal", cast=c) for c in (False, True))
    assert crests[0] == pytest.approx(14.0) and bore[1] < 13.0 < crests[0]


@pytest.mark.parametrize(
    ("one", "other", "quantity"),
    [
        ("M14x1.5", "M14x1.25", PITCH),
        ("M14x1.5", "M16x1.5", MAJOR),
        ("1/4-20 UNC", "1/4-20 BSW", ANGLE),
        ("R 1/2", "G 1/2", TAPER),
    ],
)
def test_the_quantity_that_differs_separates(one: str, other: str, quantity: int) -> None:
    parts = population("external")
    rows = [parts.sizes.index(find(d)) for d in (one, other)]
    apart = {m.quantity: separation(parts, *rows, m, 8.0) for m in reversed(EXTERNAL)}
    assert apart[quantity] > 3.0
    assert all(d < apart[quantity] for q, d in apart.items() if q != quantity)
    for m in EXTERNAL:
        back = separation(parts, *reversed(rows), m, 8.0)
        assert back == pytest.approx(separation(parts, *rows, m, 8.0))
        assert separation(parts, rows[0], rows[0], m, 8.0) == 0.0


def test_a_worse_instrument_separates_less() -> None:
    parts = population("external")
    rows = [parts.sizes.index(find(d)) for d in ("M14x1.5", "M16x1.5")]
    near = [
        separation(parts, *rows, Means(quantity=MAJOR, u=u, tool="", short=""), 8.0)
        for u in (0.01, 0.1, 0.5, 2.0)
    ]
    assert near == sorted(near, reverse=True)
    # At 2 mm the parts' own spread no longer counts: 2 mm apart is one standard deviation.
    assert near[-1] == pytest.approx(1.0, rel=0.02)


@pytest.mark.parametrize(
    ("one", "other", "gender", "name", "first", "second"),
    [
        ("M14x1.5", "M14x1.25", "external", "pitch gauge", "1.500 mm", "1.250 mm"),
        ("M14x1.5", "M16x1.5", "external", "diameter over crests", "13.59", "15.59"),
        (
            "R 1/2",
            "G 1/2",
            "external",
            "two diameters 9 mm apart",
            "changes by 0.56 mm",
            "stays equal",
        ),
        ("1/4-20 UNC", "1/4-20 BSW", "external", "form gauge", "60 deg", "55 deg"),
        ("M14x1.5", "M14x1.25", "internal", "pitch gauge", "1.500 mm", "1.250 mm"),
        ("G 1/2", "1/2-14 NPSM", "internal", "cast, flank angle by photo", "55 deg", "60 deg"),
    ],
)
def test_the_one_measurement_that_tells_two_apart(
    one: str, other: str, gender: Gender, name: str, first: str, second: str
) -> None:
    said, a, b = tell_apart(find(one), find(other), gender)
    assert said == name
    assert a.startswith(first) and b.startswith(second)


def test_a_gauge_value_is_given_in_both_units() -> None:
    _, a, b = tell_apart(find("3/8-16 UNC"), find("M10x1.5"), "external")
    assert "mm" in a and "mm" in b
    _, a, b = tell_apart(find("G 1/4"), find("1/4-18 NPT"), "external")
    assert (a, b) == ("1.337 mm (19 TPI)", "1.411 mm (18 TPI)")


@pytest.mark.parametrize(
    ("designation", "gender", "holds"),
    [
        ("1/2-14 NPT", "external", "NPTF has the same size: look for its marking"),
        ("G 1/2", "internal", "Rp has the same size: G has a sealing face"),
        ("1/4-26 BSF", "external", "the fine and the brass thread are one at 1/4 in"),
        ("7/16-20 UNF", "external", "37 degree flare, 1/4 in tube or 45 degree flare"),
        ("1/2-20 UNF", "external", "1/2-20 BSC has the same crests and pitch"),
    ],
)
def test_what_else_tells_twins(designation: str, gender: Gender, holds: str) -> None:
    said = tell_twins(find(designation), gender)
    assert said is not None and said.endswith(".")
    assert said.startswith("One size serves several uses, told apart by seat or marking: ")
    assert holds.split(" or ")[0] in said


@pytest.mark.parametrize(
    ("designation", "gender"),
    [("M11x1.5", "external"), ("R 1/2", "external"), ("G 1/2", "external"), ("2 BA", "external")],
)
def test_a_size_without_a_twin_has_nothing_to_tell(designation: str, gender: Gender) -> None:
    assert tell_twins(find(designation), gender) is None


def test_confusables_are_near_in_both_and_nearest_first() -> None:
    found = confusables(find("G 1/4"))
    assert [c.nearness for c in found] == sorted(c.nearness for c in found)
    assert all(c.nearness < EASILY and c.first is find("G 1/4") for c in found)
    assert {"1/4-18 NPT", "R 1/4"} <= {c.second.designation for c in found}
    for c in found:
        assert abs(c.second.basic_major_mm - c.first.basic_major_mm) <= 3
        assert abs(c.second.pitch_mm / c.first.pitch_mm - 1) < 0.025 * EASILY * math.sqrt(2)
        assert c.measurement and c.values[0] != c.values[1]
        assert c.second.geometry != c.first.geometry


def test_a_size_of_the_other_gender_is_confused_with_nothing() -> None:
    assert confusables(find("R 1/2"), "internal") == ()
    assert confusables(find("Rc 1/2"), "external") == ()
    assert "1/2-14 NPT" in {c.second.designation for c in confusables(find("Rc 1/2"), "internal")}


def test_pairs_among_some_sizes_are_of_these_sizes() -> None:
    some = [find(d) for d in ("G 1/4", "1/4-18 NPT", "R 1/4", "M24x3", "1/2-14 NPTF")]
    pairs = confused_pairs(some)
    names = [frozenset((c.first.designation, c.second.designation)) for c in pairs]
    assert len(names) == len(set(names)) and all(len(n) == 2 for n in names)
    assert not any("M24x3" in n for n in names)
    assert set().union(*names) <= {s.designation for s in some}
    assert confused_pairs([find("M24x3")]) == ()
