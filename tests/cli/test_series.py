"""``pitchcam series`` and ``pitchcam chart`` as they are typed."""

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pitchcam.cli.chart import command as chart
from pitchcam.cli.series import command as series
from pitchcam.errors import PitchcamError


def run(*args: str) -> Result:
    return CliRunner().invoke(series, list(args))


def test_one_designation_in_full() -> None:
    text = run("M14x1.5").output
    for part in (
        "external 6g: major 13.732 to 13.968",
        "tapping drill 12.5 mm",
        "washer",
        "taken for: 9/16-18 UNF",
        "ISO 261",
    ):
        assert part in text
    text = run("1/2", "NPT").output
    for part in ("1/2-14 NPT", "8.13 mm from the small end", "45/64", "NPTF", "form gauge"):
        assert part in text


def test_where_a_tapers_diameters_hold_is_said_of_the_right_end() -> None:
    # ASME B1.20.1: E1 = 0.49163 in; over the crests 13.25 mm at the small end, 13.62 at L1.
    text = run("1/4", "NPT").output
    assert "major 13.616 mm" in text and "hold at the gauge plane, 5.79 mm" in text
    assert "at the small end the major is 13.25 mm" in text
    assert "which is the mouth" in run("Rc 1/4").output


def test_names_as_people_write_them() -> None:
    for typed, name in (('G1/4"', "G 1/4"), ("-6 JIC", "9/16-18 UNF"), ("3/8 whit", "3/8-16 BSW")):
        assert run(typed).output.startswith(name)
    error = run("1/4 BSP").exception
    assert isinstance(error, PitchcamError) and "G 1/4" in str(error) and "R 1/4" in str(error)


@pytest.mark.parametrize(
    ("word", "size"),
    [
        ("inverted flare", "11/16-18 UNS"),
        ("45 degree flare", "1-1/16-14 UNS"),
        ("flat-face", "1-7/16-12 UN"),
        ("60 degree cone", "M38x1.5"),
        ("banjo", "G 3/8"),
    ],
)
def test_uses_are_found_by_their_word(word: str, size: str) -> None:
    assert size in run("--use", word).output


def test_filters() -> None:
    assert "17 sizes" in run("-f", "BA").output
    text = run("-d", "13.8", "--common").output
    assert "M14x1.5" in text and "M16x1.5" not in text
    # G, R, Rp and Rc of 1/4 and 3/8.
    assert "8 sizes" in run("-g", "19tpi").output
    assert "M14x1.25" in run("--use", "spark").output


def test_json() -> None:
    one = json.loads(run("G 1/2", "--json").output)
    assert one["limits"]["external"][0]["class"] == "A"
    assert {c["designation"] for c in one["confusable"]} >= {"R 1/2", "1/2-14 NPT"}
    many = json.loads(run("-f", "G", "--json").output)
    assert len(many["sizes"]) == 20 and many["sizes"][0]["designation"] == "G 1/16"


@pytest.mark.parametrize("args", [("nothing",), ("-f", "X"), ("-d", "90", "-f", "BA")])
def test_what_does_not_exist_gets_one_line(args: tuple[str, ...]) -> None:
    error = run(*args).exception
    assert isinstance(error, PitchcamError) and "\n" not in str(error)


def test_drawing(tmp_path: Path) -> None:
    target = tmp_path / "m14.svg"
    assert run("M14x1.5", "--drawing", str(target)).exit_code == 0
    text = target.read_text()
    assert text.startswith("<svg") and "1.5 mm (16.93 TPI)" in text and "0.920 mm" in text
    error = run("--drawing", str(target)).exception
    assert isinstance(error, PitchcamError)


@pytest.mark.parametrize("name", ["chart.pdf", "chart.html", "chart.csv"])
def test_chart_is_written_whole_and_alike(tmp_path: Path, name: str) -> None:
    made = []
    for folder in ("a", "b"):
        target = tmp_path / folder / name
        target.parent.mkdir()
        result = CliRunner().invoke(chart, ["-o", str(target), "-s", "UNF", "-s", "G"])
        assert result.exit_code == 0, result.output
        made.append(target.read_bytes())
        assert [p.name for p in target.parent.iterdir()] == [name]
    assert made[0] == made[1] and len(made[0]) > 1000


def test_chart_csv_has_a_row_per_size(tmp_path: Path) -> None:
    target = tmp_path / "c.csv"
    CliRunner().invoke(chart, ["-o", str(target), "-s", "NPT", "--sizes", "all"])
    with target.open(newline="") as f:
        rows = list(csv.DictReader(f))
    assert len(rows) == 12
    assert rows[1]["designation"] == "1/8-27 NPT" and rows[1]["inch_drill"] == "Q"


@pytest.mark.parametrize("args", [("c.doc",), ("c.pdf", "-s", "XYZ"), ("no/folder/c.pdf",)])
def test_chart_refuses_in_one_line(tmp_path: Path, args: tuple[str, ...]) -> None:
    result = CliRunner().invoke(chart, ["-o", str(tmp_path / args[0]), *args[1:]])
    assert isinstance(result.exception, PitchcamError) and "\n" not in str(result.exception)
    assert list(tmp_path.iterdir()) == []
