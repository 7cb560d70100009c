"""Damage to the record: known by its row's checksum, kept to its row, and said."""

from __future__ import annotations

import json
import os
import random
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitchcam.cli import cli
from pitchcam.errors import InputError, PitchcamError
from pitchcam.records import FORMAT
from pitchcam.store.digest import row_digest
from pitchcam.store.entries import Outcome, record_id
from pitchcam.store.rows import entry_rows
from pitchcam.store.schema import VERSION
from pitchcam.store.store import Store

NOON = datetime(2030, 1, 2, 12, 0, tzinfo=UTC)
DOCUMENT = {
    "format": FORMAT,
    "photo": {"file": "a", "sha256": "0" * 64, "width_px": 4, "height_px": 3},
    "scale": None,
    "parts": [],
    "warnings": [],
}
SCALE = {"source": "pin", "mm_per_px": {"value": 0.04, "u": 1e-5}, "camera_height_mm": None}


def filled(path: Path, count: int = 5) -> list[str]:
    with Store(path) as store:
        for k in range(count):
            outcome = Outcome(status="measured", document=DOCUMENT, thumbnails={0: b"jpeg" * k})
            store.add(f"{k:064x}", "{}", "key", outcome, [f"photo{k}.jpg"])
        ids = store.ids()
        store.correct(ids[0], "M10x1.5", who="bench", why="gauge", now=NOON)
    return ids


def tamper(path: Path, statement: str, *values: object) -> None:
    """Change a row as a bad disk would: behind the triggers' back."""
    with closing(sqlite3.connect(path)) as db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
            db.execute(f"DROP TRIGGER {name}")
        db.execute(statement, values)
        db.commit()


@pytest.mark.parametrize(
    "column, value",
    [
        ("document", "{not json"),
        ("document", None),
        ("code", "other"),
        ("status", "refused"),
        ("sha256", "f" * 64),
        ("digest", ""),
    ],
)
def test_one_bad_row_costs_only_itself(tmp_path: Path, column: str, value: str | None) -> None:
    ids = filled(tmp_path / "r.sqlite")
    statement = f"UPDATE measurement SET {column} = ? WHERE id = ?"
    tamper(tmp_path / "r.sqlite", statement, value, ids[2])
    with Store(tmp_path / "r.sqlite") as store:
        entries = list(store.entries())
        assert store.damaged == {ids[2]}
    assert [e.id for e in entries] == ids
    bad = entries[2]
    assert (bad.outcome.status, bad.outcome.code) == ("failed", "record-damaged")
    assert "Measure the photo again" in entry_rows(bad)[0].next_step
    assert all(e.outcome.status == "measured" for e in entries if e.id != ids[2])
    done = CliRunner().invoke(cli, ["log", "list", "--record", str(tmp_path / "r.sqlite")])
    assert done.stdout.count("photo") == 4
    assert isinstance(done.exception, InputError)
    assert f"1 damaged, the rest is whole: {ids[2]}" in str(done.exception)


def test_a_damaged_photo_is_measured_again_and_found_from_then_on(tmp_path: Path) -> None:
    ids = filled(tmp_path / "r.sqlite")
    number = next(k for k in range(5) if record_id(f"{k:064x}", "key") == ids[1])
    tamper(tmp_path / "r.sqlite", "UPDATE measurement SET document = 'x' WHERE id = ?", ids[1])
    again = Outcome(status="measured", document={**DOCUMENT, "scale": SCALE})
    with Store(tmp_path / "r.sqlite") as store:
        assert not store.has(f"{number:064x}", "key")
        assert store.add(f"{number:064x}", "{}", "key", again) == ids[1]
        assert store.has(f"{number:064x}", "key")
        entry = store.entry(ids[1])
        assert entry is not None and entry.outcome.document is not None
        assert entry.outcome.document["scale"] == SCALE
        assert store.ids() == ids


def test_what_is_to_be_tried_again_is_kept_and_then_replaced(tmp_path: Path) -> None:
    fault = Outcome(status="failed", code="fault", message="it broke.", advice="", lasting=False)
    with Store(tmp_path / "r.sqlite") as store:
        for _ in range(3):  # the same once more is no news
            identity = store.add("ab" * 32, "{}", "key", fault, ["a.jpg"])
        assert not store.has("ab" * 32, "key")
        entry = store.entry(identity)
        assert entry is not None and not entry.outcome.lasting
        (row,) = entry_rows(entry)
        assert (row.status, row.photo) == ("failed", "a.jpg")
        assert row.next_step.startswith("to be tried again: it broke.")
        store.correct(identity, "R 1/4", who="Ana", why="ring gauge", now=NOON)
        store.add("ab" * 32, "{}", "key", Outcome(status="measured", document=DOCUMENT))
        assert store.has("ab" * 32, "key")
        entry = store.entry(identity)
        assert entry is not None and entry.outcome.status == "measured"
        assert entry.corrections[identity].designation == "R 1/4"
        assert store._db.execute("SELECT count(*) FROM attempt").fetchone() == (1,)


@pytest.mark.parametrize("table", ["settings", "measurement", "thumbnail", "correction"])
def test_insert_or_replace_is_refused_too(tmp_path: Path, table: str) -> None:
    filled(tmp_path / "r.sqlite")
    with closing(sqlite3.connect(tmp_path / "r.sqlite")) as db:
        before = db.execute(f"SELECT * FROM {table}").fetchall()
        marks = ", ".join("?" * len(before[0]))
        with pytest.raises(sqlite3.IntegrityError, match="never overwritten"):
            db.execute(f"INSERT OR REPLACE INTO {table} VALUES ({marks})", before[0])
        assert db.execute(f"SELECT * FROM {table}").fetchall() == before


def test_a_correction_that_is_damaged_is_left_out_and_said(tmp_path: Path) -> None:
    ids = filled(tmp_path / "r.sqlite")
    tamper(tmp_path / "r.sqlite", "UPDATE correction SET designation = 'M99x9'")
    with Store(tmp_path / "r.sqlite") as store:
        entry = store.entry(ids[0])
        assert entry is not None and entry.corrections == {}
        assert store.damaged == {ids[0]}


def test_bytes_that_change_anywhere_are_one_clear_line_or_no_matter(tmp_path: Path) -> None:
    filled(tmp_path / "whole.sqlite", 8)
    with closing(sqlite3.connect(tmp_path / "whole.sqlite")) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    whole = (tmp_path / "whole.sqlite").read_bytes()
    rng, path, complete = random.Random(3), tmp_path / "hurt.sqlite", 0
    for _ in range(250):
        data = bytearray(whole)
        for _ in range(rng.randint(1, 30)):
            data[rng.randrange(len(data))] = rng.randrange(256)
        path.write_bytes(data)
        for log in ("-wal", "-shm"):
            path.with_name(path.name + log).unlink(missing_ok=True)
        try:
            with Store(path, must_exist=True) as store:
                entries = list(store.entries())
                [entry_rows(entry) for entry in entries]
                complete += len(entries) == 8
        except PitchcamError as error:
            assert str(error).isprintable() and error.advice
    assert complete > 60


def test_a_record_of_the_first_version_is_taken_over(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    ids = filled(path)
    with closing(sqlite3.connect(path)) as db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
            db.execute(f"DROP TRIGGER {name}")
        for table in ("measurement", "thumbnail", "correction"):
            db.execute(f"ALTER TABLE {table} DROP COLUMN digest")
        db.execute("DROP TABLE attempt")
        db.execute(
            "CREATE TRIGGER measurement_keeps_UPDATE BEFORE UPDATE ON measurement "
            "BEGIN SELECT RAISE(ABORT, 'no'); END"
        )
        db.execute("PRAGMA user_version = 1")
        db.commit()
    with Store(path) as store:
        assert store._version() == VERSION
        assert [e.id for e in store.entries()] == ids
        assert store.damaged == set()
        assert [c.designation for c in store.corrections(ids[0])] == ["M10x1.5"]
        assert store.thumbnail(ids[1], 0) is not None
        store.add("cd" * 32, "{}", "key", Outcome(status="measured", document=DOCUMENT))
    with pytest.raises(sqlite3.IntegrityError), closing(sqlite3.connect(path)) as db:
        db.execute("DELETE FROM correction")


def test_a_medium_that_cannot_be_written_is_read(tmp_path: Path, monkeypatch: object) -> None:
    """As on a disc: no file may appear beside the record, and none does."""
    path = tmp_path / "r.sqlite"
    ids = filled(path)
    before = sorted(p.name for p in tmp_path.iterdir())
    real = os.access
    monkeypatch.setattr(os, "access", lambda p, m: m != os.W_OK and real(p, m))  # type: ignore[attr-defined]
    with Store(path, must_exist=True, only_read=True) as store:
        assert [e.id for e in store.entries()] == ids
        assert sorted(p.name for p in tmp_path.iterdir()) == before
    (tmp_path / "r.sqlite-wal").write_bytes(b"newer rows")
    with pytest.raises(InputError, match="newest rows stand in r.sqlite-wal"):
        Store(path, must_exist=True, only_read=True)


def test_a_record_must_be_a_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for place in (tmp_path, tmp_path / "pipe"):
        with pytest.raises(InputError, match="not a regular file"):
            Store(place, must_exist=True)


def test_the_checksum_tells_cells_apart() -> None:
    rows = [("a", "b"), ("ab", ""), ("", "ab"), ("a", None, "b"), (b"a", "b"), (1, "b"), ("1", "b")]
    assert len({row_digest(*row) for row in rows}) == len(rows)
    assert json.dumps(DOCUMENT)  # the rows above are as plain as those of a record
