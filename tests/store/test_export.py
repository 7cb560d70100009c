"""Rows out: CSV against Python's reader, Parquet against pyarrow's, JSON against json."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from pitchcam.errors import UsageError
from pitchcam.store.entries import Entry, Outcome
from pitchcam.store.export import columns, export_rows
from pitchcam.store.rows import ThreadRow, entry_rows
from tests.batch import double
from tests.records.published import check
from tests.store.test_store import PIN


def rows(folder: Path, name: str = "part.jpg") -> list[ThreadRow]:
    path = double.write_photo(folder / "part.jpg", [["M14x1.5", "?"], []])
    document = double.measure(path, PIN)
    entry = Entry(
        id="0123456789",
        sha256="ab" * 32,
        settings_key="cd" * 32,
        names=(name,),
        corrections={},
        outcome=Outcome(status="measured", document=document),
    )
    return entry_rows(entry)


def test_every_thread_and_every_part_without_one_has_its_row(tmp_path: Path) -> None:
    got = [(r.id, r.status, r.settled) for r in rows(tmp_path)]
    assert got == [
        ("0123456789-1.1", "named", True),
        ("0123456789-1.2", "ambiguous", False),
        ("0123456789-2", "unreadable", False),
    ]


def test_a_failed_photo_says_why_and_what_to_do(tmp_path: Path) -> None:
    outcome = Outcome(status="failed", code="error", message="It is cut short;", advice="resend.")
    entry = Entry(
        id="0123456789",
        sha256="ab" * 32,
        settings_key="",
        names=(),
        corrections={},
        outcome=outcome,
    )
    (row,) = entry_rows(entry)
    assert row.next_step == "It is cut short; resend."
    assert row.photo == "ab" * 6


def test_a_part_gets_its_own_warning_first_and_not_its_neighbour_s(tmp_path: Path) -> None:
    warnings = [
        {"code": "rim", "message": "parts mirror the light", "advice": "raise them"},
        {"code": "touching", "message": "part 1 touches another", "advice": "part them", "part": 1},
        {"code": "cut", "message": "the thread of part 2 is cut", "advice": "move it", "part": 2},
    ]
    path = double.write_photo(tmp_path / "p.jpg", [[], [], []], warnings=warnings)
    entry = Entry(
        id="0123456789",
        sha256="",
        settings_key="",
        names=(),
        corrections={},
        outcome=Outcome(status="measured", document=double.measure(path, PIN)),
    )
    one, two, three = entry_rows(entry)
    assert (one.warnings, two.warnings, three.warnings) == ("touching rim", "cut rim", "rim")
    assert two.next_step == "the thread of part 2 is cut: move it"


def test_csv_reads_back(tmp_path: Path) -> None:
    made = rows(tmp_path)
    export_rows(made, tmp_path / "t.csv")
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as handle:
        back = list(csv.DictReader(handle))
    assert list(back[0]) == columns()
    assert [b["id"] for b in back] == [r.id for r in made]
    assert float(back[0]["pitch_mm"]) == pytest.approx(1.5, abs=0.001)
    assert back[2]["pitch_mm"] == ""


def test_json_and_parquet_hold_the_same_values(tmp_path: Path) -> None:
    pq = pytest.importorskip("pyarrow.parquet")
    made = rows(tmp_path)
    export_rows(made, tmp_path / "t.json")
    export_rows(made, tmp_path / "t.parquet")
    from_json = json.loads((tmp_path / "t.json").read_text(encoding="utf-8"))
    check("threads", from_json)
    assert pq.read_table(tmp_path / "t.parquet").to_pylist() == from_json["rows"]


@pytest.mark.parametrize("ending", ["csv", "json", "parquet"])
def test_same_rows_same_bytes(tmp_path: Path, ending: str) -> None:
    for name in ("a", "b"):
        export_rows(rows(tmp_path), tmp_path / f"{name}.{ending}")
    assert (tmp_path / f"a.{ending}").read_bytes() == (tmp_path / f"b.{ending}").read_bytes()


def test_a_file_name_cannot_become_a_formula(tmp_path: Path) -> None:
    export_rows(rows(tmp_path, "=HYPERLINK(1).jpg"), tmp_path / "t.csv")
    assert "'=HYPERLINK" in (tmp_path / "t.csv").read_text(encoding="utf-8")


def test_an_unknown_ending_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"\.csv, \.json, \.parquet"):
        export_rows(rows(tmp_path), tmp_path / "t.xls")
    assert not (tmp_path / "t.xls").exists()
