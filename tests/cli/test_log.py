"""``pitchcam log`` on a record made by the tests' measuring function."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pitchcam.batch.settings import Settings
from pitchcam.cli.log import command
from pitchcam.errors import InputError, UsageError
from pitchcam.records import ScaleSpec
from pitchcam.store.entries import Outcome
from pitchcam.store.store import Store
from tests.batch import double

PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))


@pytest.fixture
def record(tmp_path: Path) -> Path:
    with Store(tmp_path / "r.sqlite") as store:
        for name, parts in (("plug.jpg", [["M14x1.5"]]), ("box.jpg", [["?"], ["G 1/4"]])):
            path = double.write_photo(tmp_path / name, parts, name=name)
            document = double.measure(path, PIN)
            outcome = Outcome(status="measured", document=document)
            store.add(document["photo"]["sha256"], PIN.text, PIN.key, outcome, [name])
    return tmp_path / "r.sqlite"


def log(*arguments: str) -> Result:
    return CliRunner().invoke(command, arguments, catch_exceptions=False)


def identity(record: Path, name: str) -> str:
    out = log("list", "--record", str(record), "--photo", name).stdout
    return out.split()[0]


def test_list_and_its_filters(record: Path) -> None:
    def count(*filters: str) -> int:
        return len(log("list", "--record", str(record), *filters).stdout.splitlines())

    assert count() == 3
    assert count("--name", "G 1/4") == count("--status", "ambiguous") == count("--doubtful") == 1
    assert count("--photo", "box") == 2
    assert count("--corrected") == 0


def test_correct_then_show_then_export(record: Path, tmp_path: Path) -> None:
    plug = identity(record, "plug")
    said = log(
        "correct", plug, "R 1/4", "--who", "Ana", "--why", "ring gauge", "--record", str(record)
    )
    assert said.stdout == f"{plug} is R 1/4, says Ana: ring gauge\n"
    shown = log("show", plug, "--record", str(record)).stdout
    assert "name                   R 1/4" in shown
    assert "designation            M14x1.5" in shown
    assert "says Ana: ring gauge" in shown
    kept = json.loads(log("show", plug, "--json", "--record", str(record)).stdout)
    assert kept["photo"]["file"] == "plug.jpg" and len(kept["parts"]) == 1
    log("export", str(tmp_path / "t.csv"), "--corrected", "--record", str(record))
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as handle:
        (row,) = csv.DictReader(handle)
    assert (row["id"], row["name"], row["corrected_why"]) == (plug, "R 1/4", "ring gauge")


def test_a_misspelt_designation_is_refused_unless_meant(record: Path) -> None:
    plug = identity(record, "plug")
    arguments = ("correct", plug, "R1/4", "--who", "Ana", "--why", "gauge", "--record", str(record))
    with pytest.raises(UsageError, match="Did you mean R 1/4"):
        log(*arguments)
    assert "R1/4" in log(*arguments, "--unlisted").stdout


def test_what_is_not_there_is_one_line(record: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="has no ffffffffff"):
        log("show", "ffffffffff", "--record", str(record))
    with pytest.raises(InputError, match="there is no record"):
        log("list", "--record", str(tmp_path / "none.sqlite"))
