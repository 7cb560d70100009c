"""The catalogue as a whole: completeness, spelling, twins, and broken tables."""

import shutil
from fractions import Fraction
from pathlib import Path

import pytest

from pitchcam.calibration import calibration_path
from pitchcam.errors import InputError, UsageError
from pitchcam.series import find, load_series, load_uses, same_geometry
from pitchcam.series.families import load_families
from pitchcam.series.names import dash_sizes
from tests.series import checked


def test_every_size_is_sound() -> None:
    for size in load_series():
        assert size.source and size.standard
        assert 0.5 < size.basic_minor_mm < size.basic_pitch_diameter_mm < size.basic_major_mm
        assert size.family in load_families()
        for gender in size.genders:
            assert size.limits(gender), size.designation
            for x in size.limits(gender):
                for low, high in (x.major_mm, x.pitch_diameter_mm, x.minor_mm):
                    assert low < high, size.designation
                # Ridge and groove stay in order in every class.
                assert x.minor_mm[0] < x.pitch_diameter_mm[0] < x.major_mm[1]


def test_a_male_of_the_usual_class_enters_its_female() -> None:
    for size in load_series():
        if len(size.genders) == 2 and not size.taper:
            male, female = size.external[0], size.internal[0]
            slack = 1e-9
            assert male.pitch_diameter_mm[1] <= female.pitch_diameter_mm[0] + slack
            assert male.major_mm[1] <= female.major_mm[0] + slack
            assert male.minor_mm[1] <= female.minor_mm[0] + slack, size.designation


@pytest.mark.parametrize(
    ("family", "count"),
    [
        ("M", 150),
        ("UNC", 25),
        ("UNF", 24),
        ("UNEF", 25),
        ("BSW", 20),
        ("BSF", 20),
        ("BA", 17),
        ("G", 20),
        ("R", 12),
        ("Rp", 12),
        ("Rc", 12),
        ("NPT", 12),
        ("NPTF", 12),
        ("NPSM", 9),
        ("M taper", 18),
        ("Pg", 10),
        ("BS Conduit", 8),
        ("BSC", 30),
        ("BS Brass", 10),
        ("UN", 100),
        ("UNS", 20),
    ],
)
def test_families_are_complete(family: str, count: int) -> None:
    assert sum(s.family == family for s in load_series()) >= count


@pytest.mark.parametrize(
    ("typed", "designation"),
    [
        ("M14", "M14x2"),
        ("m14x1,5", "M14x1.5"),
        ("M14 x 1.50", "M14x1.5"),
        ("1/4 NPT", "1/4-18 NPT"),
        ("NPT 1/4", "1/4-18 NPT"),
        ("G1/4", "G 1/4"),
        ("1/4 BSPP", "G 1/4"),
        ("BSPT 1/2", "R 1/2"),
        ("5/8 UNF", "5/8-18 UNF"),
        ("UNF 5/8-18", "5/8-18 UNF"),
        ("1 1/4 NPT", "1-1/4-11.5 NPT"),
        ("G 1 1/4", "G 1-1/4"),
        ("2BA", "2 BA"),
        ("BA 2", "2 BA"),
        ("10-32", "#10-32 UNF"),
        ("M10x1 keg", "M10x1 taper"),
        ("1/4-26 brass", "1/4-26 BS Brass"),
        ("Pg13.5", "Pg 13.5"),
        ("7/16-20", "7/16-20 UNF"),
        ("BSPT 1/4", "R 1/4"),
        ("PT 1/4", "R 1/4"),
        ("PF 1/4", "G 1/4"),
        ('G1/4"', "G 1/4"),
        ("G 1/4 A", "G 1/4"),
        ("M10 keg", "M10x1 taper"),
        ("M 14 x 1,5", "M14x1.5"),
        ("M12 con", "M12x1.5 taper"),
        ("M14x1.5-6g", "M14x1.5"),
        ("3/8 whit", "3/8-16 BSW"),
        ("JIC 6", "9/16-18 UNF"),
        ("-6 AN", "9/16-18 UNF"),
        ("ORFS 8", "13/16-16 UN"),
        ("45 flare -6", "5/8-18 UNF"),
        ("9/16-20 CEI", "9/16-20 BSC"),
        ("PS 1/4", "Rp 1/4"),
        ("5/8 conduit", "5/8-18 BS Conduit"),
        ("1/4-20 UNC-2A", "1/4-20 UNC"),
        ("G\u00bd", "G 1/2"),
        ("1\u00bd npt", "1-1/2-11.5 NPT"),
        ("npt1/2", "1/2-14 NPT"),
        ("UNF7/16", "7/16-20 UNF"),
        ("BSW3/8", "3/8-16 BSW"),
    ],
)
def test_usual_spellings_are_understood(typed: str, designation: str) -> None:
    assert find(typed).designation == designation


def test_every_designation_finds_itself() -> None:
    for size in load_series():
        assert find(size.designation) is size
        assert size.designation.isascii()


@pytest.mark.parametrize("typed", ["1/4-20", "5/8-18", "1/8-27", "1/2-14", "1/2-26", "3/4 BSC"])
def test_an_unclear_name_is_asked_back(typed: str) -> None:
    with pytest.raises(UsageError, match="may be"):
        find(typed)


@pytest.mark.parametrize(
    ("typed", "holds"),
    [
        ("1/4 BSP", ("G 1/4", "R 1/4")),
        ("1/4 gas", ("G 1/4", "R 1/4")),
        ('1/2"', ("G 1/2", "1/2-20 UNF", "1/2-14 NPT")),
        ("-6", ("9/16-18", "5/8-18", "11/16-16")),
        ("1/4-19", ("G 1/4", "R 1/4")),
    ],
)
def test_a_name_of_two_threads_is_asked_back_with_both(typed: str, holds: tuple[str, ...]) -> None:
    with pytest.raises(UsageError) as caught:
        find(typed)
    assert all(name in str(caught.value) for name in holds)


def test_dash_sizes_are_sixteenths_and_known_threads() -> None:
    # By construction of dash sizes: sixteenths of an inch of tube (common practice).
    for kind, sizes in dash_sizes().items():
        for dash, designation in sizes.items():
            tube = Fraction(dash, 16)
            whole, rest = divmod(tube, 1)
            text = f"{whole}-{rest}" if whole and rest else str(whole or rest)
            use, size = f"{kind}, {text} in tube", find(designation)
            held = [u.designation for u in load_uses() if u.use == use]
            assert held == [size.designation], (kind, dash)


@pytest.mark.parametrize(
    ("designation", "major_mm"),
    # The sizes by which the trade knows them, in mm: common practice, no source.
    [("9/16-20 BSC", 14.29), ("1.37-24 BSC", 34.80), ("1-24 BSC", 25.40), ("1/4-26 BSC", 6.35)],
)
def test_cycle_threads_are_60_degree_and_shallow(designation: str, major_mm: float) -> None:
    size = find(designation)
    assert size.angle_deg == 60.0 and size.standard == "BS 811"
    assert size.basic_major_mm == pytest.approx(major_mm, abs=0.005)
    # Depth of BS 811, 0.5327 P (handbook figure, from memory there too).
    depth = (size.basic_major_mm - size.basic_minor_mm) / 2
    assert depth / size.pitch_mm == pytest.approx(0.5327, abs=1e-4)


@pytest.mark.parametrize("typed", ["", "foo", "M14x1.3", "1/4-19", "G 7"])
def test_an_unknown_name_gets_one_line(typed: str) -> None:
    with pytest.raises(UsageError) as caught:
        find(typed)
    assert "\n" not in str(caught.value)


def test_twins_of_one_geometry() -> None:
    assert "1/2-14 NPTF" in same_geometry(find("1/2-14 NPT"), "external")
    assert "1/4-26 BS Brass" in same_geometry(find("1/4-26 BSF"), "external")
    assert "Rp 1/2" in same_geometry(find("G 1/2"), "internal")
    assert "Rp 1/2" not in same_geometry(find("G 1/2"), "external")
    assert any("37 degree flare" in t for t in same_geometry(find("7/16-20 UNF"), "external"))
    assert same_geometry(find("R 1/2"), "external") == ()


def test_near_sizes_are_not_twins() -> None:
    # 55 and 60 degrees of one pitch and diameter are two geometries.
    assert find("1/4-20 BSW").geometry != find("1/4-20 UNC").geometry
    assert find("M6x1").geometry != find("0 BA").geometry


def test_uses_name_their_seal() -> None:
    for use in load_uses():
        assert use.seal and use.source


@pytest.fixture
def tables(tmp_path: Path) -> Path:
    target = tmp_path / "series"
    shutil.copytree(calibration_path("series"), target)
    return target


def corrupt(tables: Path, name: str, old: str, new: str) -> None:
    path = tables / name
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


@pytest.mark.parametrize(
    ("name", "old", "new", "says"),
    [
        ("ba.csv", "0,6,1,", "0,-6,1,", "ba.csv line 2: d_mm"),
        ("ba.csv", "0,6,1,", "0,six,1,", "ba.csv line 2: d_mm"),
        ("ba.csv", "0,6,1,", "0,,1,", "ba.csv line 2: d_mm"),
        ("ba.csv", "0,6,1,", "0,nan,1,", "ba.csv line 2: d_mm"),
        ("ba.csv", "0,6,1,", "0,6,1,2,3,", "ba.csv line 2"),
        ("metric.csv", "coarse", "medium", "metric.csv line 2: series"),
        ("whitworth.csv", "1/16,0.0625", "1/16,0.07", "whitworth.csv line 2: major_in"),
        ("pg.csv", "11.28", "10.28", "pg.csv line 2: core_mm"),
        ("metric.csv", "1.6,0.2", "1.6,0.35", "stands twice"),
        ("iso965.csv", "0.2,17,", "0.2,-17,", "iso965.csv line 2: es_g_um"),
    ],
)
def test_a_broken_table_is_named(tables: Path, name: str, old: str, new: str, says: str) -> None:
    corrupt(tables, name, old, new)
    with pytest.raises(InputError, match=says):
        load_series(tables)


def test_a_missing_table_is_named(tables: Path) -> None:
    (tables / "npt.csv").unlink()
    with pytest.raises(InputError, match="npt.csv"):
        load_series(tables)


def test_a_table_with_a_row_more_is_used(tables: Path) -> None:
    with (tables / "metric.csv").open("a") as f:
        f.write("13,1.5,fine,rare,a workshop's own,\n")
    assert any(s.designation == "M13x1.5" for s in load_series(tables))


@pytest.mark.parametrize("name", checked.TABLES)
def test_what_a_row_was_checked_against_is_what_the_comparisons_say(name: str) -> None:
    held = calibration_path("series", name).read_text(encoding="utf-8")
    assert held == checked.written(name), "run: python -m tests.series.checked"


def test_every_table_of_sizes_says_what_its_rows_were_checked_against() -> None:
    """A table with a source and a commonness is one of sizes."""
    for path in calibration_path("series", "ba.csv").parent.glob("*.csv"):
        columns = path.read_text(encoding="utf-8").splitlines()[0].split(",")
        if {"source", "commonness"} <= set(columns):
            assert "checked" in columns, path.name


def test_a_row_that_nobody_else_has_claims_no_check() -> None:
    # M35x1.5 6g, M33x3.5 6g: rows in which the origin is wrong are no check of ours.
    assert "6g" not in find("M35x1.5").checked and find("M14x1.5").checked.startswith("FreeCAD")
    assert find("1/4-20 BSW").checked == find("0 BA").checked == find("M10x1 taper").checked == ""
    assert "as G" in find("R 1/4").checked == find("Rc 1/4").checked
    assert find("1/8-27 NPT").checked and not find("3-8 NPT").checked
    claimed = sum(bool(s.checked) for s in load_series())
    assert 200 < claimed < len(load_series())
