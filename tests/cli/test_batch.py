"""``pitchcam batch`` from the command line, with the tests' measuring function behind it."""

from __future__ import annotations

import functools
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pitchcam.batch import run
from pitchcam.cli.batch import command
from pitchcam.errors import InputError, UsageError
from pitchcam.records import FORMAT
from tests.batch import double
from tests.records.published import check


@pytest.fixture
def box(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of photos; the command measures with the double and keeps its files beside it."""
    monkeypatch.setattr(run, "Setup", functools.partial(run.Setup, measure=double.measure))
    monkeypatch.chdir(tmp_path)
    double.write_photo(tmp_path / "photos" / "a.jpg", [["M14x1.5"]])
    double.write_photo(tmp_path / "photos" / "b.jpg", [["?"], ["G 1/4"]])
    double.write_photo(tmp_path / "photos" / "c.jpg", wrong="unreadable")
    return tmp_path / "photos"


def batch(*arguments: str | Path) -> Result:
    return CliRunner().invoke(command, [str(a) for a in arguments], catch_exceptions=False)


def test_answers_tables_and_sheets(box: Path) -> None:
    done = batch(box, "--pin", "8", "--jobs", "1")
    assert done.exit_code == 4  # a photo was refused
    assert "a.jpg: part 1.1: M14x1.5  (ISO 261, probability 99.0 %)" in done.stdout
    told = "Not certain yet: M14x1.5 (60.0 %) or 1/4-18 NPT (40.0 %)"
    assert f"b.jpg: part 1.1: {told}" in done.stdout
    # As it goes by what is wrong, in the summary what to do: not the same twice.
    assert "c.jpg: refused: the outline is out of focus." in done.stdout
    assert done.stdout.count("Retake.") == 1
    assert done.stdout.index("Retake.") > done.stdout.index("In doubt (2)")
    assert done.stdout.index("In doubt (2)") < done.stdout.index("Named (2)")
    made = sorted(path.name for path in (box.parent / "box").iterdir())
    assert made == ["box.csv", "box.json", "contact-sheet.pdf", "counts.csv", "labels.pdf"]
    table = json.loads((box.parent / "box" / "box.json").read_text(encoding="utf-8"))
    check("threads", table)
    assert [(r["number"], r["photo"]) for r in table["rows"]][:2] == [(1, "b.jpg"), (2, "c.jpg")]
    again = batch(box, "--pin", "8")
    assert "part 1.1" not in again.stdout and "Named (2)" in again.stdout


def test_a_file_that_cannot_be_opened_is_told_and_the_rest_goes_on(box: Path) -> None:
    (box / "gone.jpg").symlink_to(box / "nowhere")
    done = batch(box, "--pin", "8", "--tables-only")
    assert "gone.jpg: failed: there is no file gone.jpg\n" in done.stdout
    assert "to be tried again: there is no file gone.jpg; check the name" in done.stdout
    assert "gone.jpg,,,failed" in (box.parent / "box" / "box.csv").read_text()
    assert "Named (2)" in done.stdout


def test_one_named_photo_exits_with_zero(box: Path) -> None:
    assert batch(box / "a.jpg", "--pin", "8", "--tables-only").exit_code == 0


def test_json_is_the_contract_for_every_photo(box: Path) -> None:
    done = batch(box, "--pin", "8", "--jobs", "1", "--json", "--tables-only")
    documents = {d["photo"]["file"]: d for d in map(json.loads, done.stdout.splitlines())}
    assert set(documents) == {"a.jpg", "b.jpg", "c.jpg"}
    assert {d["format"] for d in documents.values()} == {FORMAT}
    assert documents["c.jpg"]["parts"] == []
    assert documents["c.jpg"]["warnings"][0]["code"] == "blurred"
    assert documents["a.jpg"]["parts"][0]["threads"][0]["verdict"]["designation"] == "M14x1.5"


def test_a_study_needs_named_parts(box: Path) -> None:
    pytest.importorskip("statsmodels")
    for n in range(2):
        double.write_photo(box / "plug" / f"{n}.jpg", n=n)
    done = batch(box / "plug" / "..", "--pin", "8", "--tables-only", "--follow", "--idle", "2")
    assert "Named (4)" in done.stdout
    with pytest.raises(UsageError, match="does not say which part"):
        batch(box, "--pin", "8", "--tables-only", "--study")
    for name in "abc":
        (box / f"{name}.jpg").unlink()
    done = batch(box, "--pin", "8", "--tables-only", "--study")
    assert "major: 2 readings, 1 part" in done.stdout
    assert (box.parent / "box" / "study.pdf").exists()


@pytest.mark.parametrize(
    "arguments",
    [("--follow", "--study"), ("--idle", "3"), ("--list", "l.csv"), ("--pin", "8", "--card")],
)
def test_options_that_do_not_go_together(box: Path, arguments: tuple[str, ...]) -> None:
    with pytest.raises(UsageError):
        batch(box, *arguments)


def test_nothing_to_measure(box: Path) -> None:
    (box.parent / "empty").mkdir()
    with pytest.raises(UsageError, match="no photos"):
        batch(box.parent / "empty")
    with pytest.raises(InputError, match="does not exist"):
        batch(box.parent / "nowhere")


def test_a_file_in_the_place_of_the_folder_is_found_before_the_work(box: Path) -> None:
    (box.parent / "box").write_text("a letter")
    with pytest.raises(UsageError, match="cannot be made"):
        batch(box, "--pin", "8")
    assert not (box.parent / "pitchcam.sqlite").exists()
