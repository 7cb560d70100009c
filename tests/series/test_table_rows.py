"""One reader for the tables: what a cell may be, and how a bad one is named."""

from collections.abc import Callable
from pathlib import Path

import pytest

from pitchcam.calibration import calibration_path, read_rows
from pitchcam.errors import InputError
from pitchcam.series.drills import load_drills
from pitchcam.series.families import load_families
from pitchcam.series.gauges import load_leaves
from pitchcam.series.table import Row, read_table, size_inches


def row(**cells: str) -> Row:
    return Row(file="made.csv", line=7, cells=cells)


def says(call: Callable[[], object]) -> tuple[str, str]:
    with pytest.raises(InputError) as caught:
        call()
    return caught.value.message, caught.value.advice


def test_a_cell_is_read_without_its_blanks() -> None:
    held = row(name=" G 1/4 ", width=" 2.5 ", note="  ")
    assert held.text("name") == "G 1/4"
    assert held.number("width") == held.optional("width") == 2.5
    assert held.remark("note") == held.remark("no such column") == ""
    assert held.optional("note") is None


def test_an_empty_cell_that_must_not_be_is_named() -> None:
    empty = ("made.csv line 7: name is empty.", "fill it in.")
    assert says(lambda: row(name=" ").text("name")) == empty
    assert says(lambda: row(name="").number("name")) == empty
    assert says(lambda: row().text("name")) == empty


@pytest.mark.parametrize(
    ("cell", "advice"),
    [
        ("wide", "write a plain number."),
        ("1,5", "write a plain number."),
        ("1/2", "write a plain number."),
        ("0", "write a number above 0."),
        ("-1", "write a number above 0."),
        ("nan", "write a number above 0."),
        ("inf", "write a number above 0."),
    ],
)
def test_a_number_is_plain_finite_and_above_nothing(cell: str, advice: str) -> None:
    expected = (f"made.csv line 7: width is '{cell}'.", advice)
    assert says(lambda: row(width=cell).optional("width")) == expected


def test_a_choice_lists_what_is_allowed() -> None:
    assert row(unit="mm").choice("unit", ("mm", "in")) == "mm"
    assert says(lambda: row(unit="cm").choice("unit", ("mm", "in"))) == (
        "made.csv line 7: unit is 'cm'.",
        "use one of: mm, in.",
    )


@pytest.mark.parametrize(
    ("size", "inches"),
    [("1/2", 0.5), ("1", 1.0), ("1-1/4", 1.25), ("2-7/16", 2.4375), ("0.968", 0.968)],
)
def test_trade_sizes_in_inches(size: str, inches: float) -> None:
    assert size_inches(size) == pytest.approx(inches)


def test_rows_keep_their_line_for_messages(tmp_path: Path) -> None:
    (tmp_path / "made.csv").write_text('a,b\n1,x\n2,"two\nlines"\n3,y\n')
    held = list(read_table("made.csv", tmp_path))
    assert [(r.file, r.line) for r in held] == [("made.csv", n) for n in (2, 4, 5)]
    assert held[1].text("b") == "two\nlines"


@pytest.mark.parametrize("line", ["1", "1,2,3"])
def test_a_row_that_does_not_match_the_head(tmp_path: Path, line: str) -> None:
    (tmp_path / "made.csv").write_text(f"a,b\n1,2\n{line}\n")
    assert says(lambda: list(read_table("made.csv", tmp_path))) == (
        "made.csv line 3: the row does not match the head.",
        "Give 2 cells; quote a cell that holds a comma.",
    )


def test_a_table_that_is_no_text_or_not_there(tmp_path: Path) -> None:
    (tmp_path / "made.csv").write_bytes(b"a,b\n\xff\xfe,1\n")
    for name in ("made.csv", "gone.csv"):
        message, advice = says(lambda name=name: list(read_rows(tmp_path / name)))
        assert message.startswith(f"{tmp_path / name} cannot be read (")
        assert advice == "Restore the file."


def test_a_broken_installation_says_what_is_missing() -> None:
    with pytest.raises(FileNotFoundError, match="calibration data missing: series/none.csv"):
        calibration_path("series", "none.csv")


def test_a_workshop_may_bring_its_own_drills_and_leaves(tmp_path: Path) -> None:
    (tmp_path / "drills.csv").write_text(
        "drill,diameter,unit,kind,source\n1/4,0.25,in,fraction,own\n6 mm,6,mm,metric,own\n"
    )
    assert [(d.name, d.diameter_mm) for d in load_drills(tmp_path)] == [("6 mm", 6), ("1/4", 6.35)]
    (tmp_path / "gauges.csv").write_text(
        "leaf,pitch_mm,angle_deg,source\n2mm,2,60,own\n1mm,1,60,own\n1mm,1,55,own\n"
    )
    assert [(x.mark, x.angles_deg) for x in load_leaves(tmp_path)] == [
        ("1mm", (60.0, 55.0)),
        ("2mm", (60.0,)),
    ]


@pytest.mark.parametrize(
    ("head", "line", "load", "names"),
    [
        ("drill,diameter,unit,kind,source", "x,1,ft,metric,own", load_drills, "unit is 'ft'"),
        ("drill,diameter,unit,kind,source", "x,1,mm,odd,own", load_drills, "kind is 'odd'"),
        ("drill,diameter,unit,kind,source", ",1,mm,metric,own", load_drills, "drill is empty"),
        ("leaf,pitch_mm,angle_deg,source", "1mm,one,60,own", load_leaves, "pitch_mm is 'one'"),
        ("leaf,pitch_mm,angle_deg,source", "1mm,1,,own", load_leaves, "angle_deg is empty"),
        ("family,name,form,seal,standard", "X,x,oval,s,t", load_families, "form is 'oval'"),
        ("family,name,form,seal,standard", "X,x,taper,,t", load_families, "seal is empty"),
        ("family,name,form,seal,standard", "X,x,taper,s,", load_families, "standard is empty"),
    ],
)
def test_a_bad_row_of_any_table_is_named(
    tmp_path: Path, head: str, line: str, load: Callable[[Path], object], names: str
) -> None:
    name = {"drill": "drills", "leaf": "gauges", "family": "families"}[head.split(",")[0]]
    (tmp_path / f"{name}.csv").write_text(f"{head}\n{line}\n")
    message, _ = says(lambda: load(tmp_path))
    assert message == f"{name}.csv line 2: {names}."


@pytest.mark.parametrize(
    ("family", "form", "words"),
    # How a joint of each family seals: common practice, no source.
    [
        ("M", "parallel", "washer"),
        ("M taper", "taper", "taper"),
        ("G", "parallel", "washer"),
        ("R", "taper", "jointing medium"),
        ("NPT", "taper", "sealant"),
        ("NPTF", "taper", "crests into roots"),
        ("UNC", "parallel", "does not seal"),
        ("Pg", "parallel", "gland"),
    ],
)
def test_a_family_says_its_form_and_how_it_seals(family: str, form: str, words: str) -> None:
    held = load_families()[family]
    assert (held.family, held.form) == (family, form)
    assert words in held.seal
