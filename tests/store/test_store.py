"""The record: whole commits, never overwritten, plain words when it cannot go on."""

from __future__ import annotations

import sqlite3
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pitchcam.batch.settings import Settings
from pitchcam.errors import InputError, PitchcamError, UsageError
from pitchcam.files import FullError, write_whole
from pitchcam.records import ScaleSpec
from pitchcam.store import database
from pitchcam.store.entries import Outcome, record_id
from pitchcam.store.rows import entry_rows
from pitchcam.store.store import Store
from tests.batch import double

NOON = datetime(2030, 1, 2, 12, 0, tzinfo=UTC)
PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))


def measured(folder: Path, **what: object) -> tuple[str, Outcome]:
    path = double.write_photo(folder / "part.jpg", **what)  # type: ignore[arg-type]
    document = double.measure(path, PIN)
    return document["photo"]["sha256"], Outcome(status="measured", document=document)


def add(store: Store, sha256: str, outcome: Outcome, *names: str) -> str:
    return store.add(sha256, PIN.text, PIN.key, outcome, names)


def test_an_outcome_comes_back_as_it_was_kept(tmp_path: Path) -> None:
    sha256, outcome = measured(tmp_path)
    with Store(tmp_path / "r.sqlite") as store:
        identity = add(store, sha256, outcome, "b.jpg", "a.jpg")
    with Store(tmp_path / "r.sqlite", must_exist=True) as store:
        entry = store.entry(identity)
        assert store.has(sha256, PIN.key)
        assert not store.has(sha256, "other settings")
    assert entry is not None
    assert entry.outcome.document is not None and outcome.document is not None
    assert entry.outcome.document["parts"] == outcome.document["parts"]
    assert entry.names == ("a.jpg", "b.jpg")
    assert identity == record_id(sha256, PIN.key)


def test_a_document_is_of_the_photo_not_of_the_copy_that_was_measured(tmp_path: Path) -> None:
    sha256, outcome = measured(tmp_path)
    assert outcome.document is not None and outcome.document["photo"]["file"]
    with Store(tmp_path / "r.sqlite") as store:
        entry = store.entry(add(store, sha256, outcome, "second.jpg"))
    assert entry is not None and entry.outcome.document is not None
    assert entry.outcome.document["photo"]["file"] == ""
    assert entry.contract()["photo"]["file"] == "second.jpg"


def test_the_first_result_stays(tmp_path: Path) -> None:
    sha256, outcome = measured(tmp_path)
    with Store(tmp_path / "r.sqlite") as store:
        identity = add(store, sha256, outcome)
        add(store, sha256, Outcome(status="failed", message="later and worse"))
        entry = store.entry(identity)
        assert entry is not None and entry.outcome.status == "measured"


@pytest.mark.parametrize("table", ["settings", "measurement", "thumbnail", "correction"])
@pytest.mark.parametrize("verb", ["UPDATE {} SET rowid = rowid", "DELETE FROM {}"])
def test_sqlite_itself_refuses_to_overwrite(tmp_path: Path, table: str, verb: str) -> None:
    sha256, outcome = measured(tmp_path)
    outcome = Outcome(status="measured", document=outcome.document, thumbnails={1: b"jpeg"})
    with Store(tmp_path / "r.sqlite") as store:
        identity = add(store, sha256, outcome)
        store.correct(f"{identity}-1.1", "R 1/4", who="Ana", why="ring gauge", now=NOON)
    db = sqlite3.connect(tmp_path / "r.sqlite")
    statement = verb.format(table).replace("rowid", "key" if table == "settings" else "rowid")
    with pytest.raises(sqlite3.IntegrityError, match="never overwritten"):
        db.execute(statement)
    db.close()


def test_corrections_add_up_and_the_last_one_names_the_thread(tmp_path: Path) -> None:
    sha256, outcome = measured(tmp_path)
    with Store(tmp_path / "r.sqlite") as store:
        identity = add(store, sha256, outcome)
        for name, who in (("R 1/4", "Ana"), ("G 1/4", "Bo")):
            store.correct(f"{identity}-1.1", name, who=who, why="ring gauge", now=NOON)
        entry = store.entry(identity)
        made = store.corrections(identity)
    assert entry is not None
    (row,) = entry_rows(entry)
    assert (row.name, row.designation, row.corrected_by) == ("G 1/4", "M14x1.5", "Bo")
    assert [(m.designation, m.made_at) for m in made] == [
        ("R 1/4", "2030-01-02T12:00:00+00:00"),
        ("G 1/4", "2030-01-02T12:00:00+00:00"),
    ]


def test_a_refused_photo_can_be_named_by_hand(tmp_path: Path) -> None:
    with Store(tmp_path / "r.sqlite") as store:
        identity = add(store, "ab" * 32, Outcome(status="refused", code="blurred", message="blur."))
        store.correct(identity, "R 1/4", who="Ana", why="stamped on the hex", now=NOON)
        entry = store.entry(identity)
    assert entry is not None
    (row,) = entry_rows(entry)
    assert row.settled and row.status == "refused" and row.name == "R 1/4"


@pytest.mark.parametrize(
    ("suffix", "who", "why"),
    [("-9.9", "Ana", "gauge"), ("-1.1", " ", "gauge"), ("-1.1", "Ana", "")],
)
def test_a_correction_needs_a_thread_a_person_and_a_reason(
    tmp_path: Path, suffix: str, who: str, why: str
) -> None:
    sha256, outcome = measured(tmp_path)
    with Store(tmp_path / "r.sqlite") as store:
        identity = add(store, sha256, outcome)
        with pytest.raises(UsageError):
            store.correct(identity + suffix, "R 1/4", who=who, why=why, now=NOON)
        assert store.corrections(identity) == ()


def test_a_full_disk_is_one_line_and_loses_nothing(tmp_path: Path) -> None:
    """SQLite reports its own page limit and a full disk by the same code, SQLITE_FULL."""
    sha256, outcome = measured(tmp_path)
    with Store(tmp_path / "r.sqlite") as store:
        add(store, sha256, outcome)
        pages = store._db.execute("PRAGMA page_count").fetchone()[0]
        store._db.execute(f"PRAGMA max_page_count = {pages}")
        big = Outcome(status="measured", document=outcome.document, thumbnails={0: bytes(300_000)})
        with pytest.raises(FullError, match="is full; all that was finished is kept"):
            add(store, "cd" * 32, big, "second.jpg")
        assert len(store.ids()) == 1
        store._db.execute("PRAGMA max_page_count = 100000")
        add(store, "cd" * 32, big, "second.jpg")
        assert len(store.ids()) == 2


def test_writers_of_several_programs_do_not_lose_each_other(tmp_path: Path) -> None:
    sha256, outcome = measured(tmp_path)

    def many(first: int) -> None:
        with Store(tmp_path / "r.sqlite") as store:
            for i in range(first, first + 20):
                add(store, f"{i:064x}", outcome, f"{i}.jpg")

    with ThreadPoolExecutor(3) as pool:
        list(pool.map(many, (0, 10, 20)))
    with Store(tmp_path / "r.sqlite") as store:
        assert len(store.ids()) == 40


def being_made(path: Path) -> sqlite3.Connection:
    """Return another program's connection that holds a record without its log."""
    Store(path).close()
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA journal_mode = DELETE")
    other.execute("BEGIN IMMEDIATE")
    return other


def test_a_record_that_another_program_is_just_making_is_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = being_made(tmp_path / "r.sqlite")
    asked = []

    def let_go(seconds: float) -> None:
        asked.append(seconds)
        other.close()

    monkeypatch.setattr(database.time, "sleep", let_go)
    with Store(tmp_path / "r.sqlite") as store:
        assert store._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert len(asked) == 1


def test_a_record_that_is_never_let_go_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = being_made(tmp_path / "r.sqlite")
    monkeypatch.setattr(database, "_PATIENCE_S", 0.0)
    with pytest.raises(PitchcamError, match="held by another program"):
        Store(tmp_path / "r.sqlite")
    other.close()


@pytest.mark.parametrize("content", [b"not a database, a letter\n" * 99, b"SQLite format 3\0junk"])
def test_a_file_that_is_no_record_is_left_alone(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "letter.sqlite"
    path.write_bytes(content)
    with pytest.raises(InputError):
        Store(path)
    assert path.read_bytes() == content


def test_other_databases_and_newer_records_are_refused(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "other.sqlite")
    other.execute("CREATE TABLE invoices (n)")
    other.commit()
    other.close()
    with pytest.raises(InputError, match="something else"):
        Store(tmp_path / "other.sqlite")
    newer = sqlite3.connect(tmp_path / "newer.sqlite")
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    with pytest.raises(InputError, match="newer"):
        Store(tmp_path / "newer.sqlite")
    with pytest.raises(InputError, match="there is no record"):
        Store(tmp_path / "none.sqlite", must_exist=True)
    assert not (tmp_path / "none.sqlite").exists()


def test_a_folder_that_does_not_exist_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        Store(tmp_path / "nowhere" / "r.sqlite")


def test_writing_whole_replaces_or_leaves(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "t.csv"
    write_whole(path, b"old")
    write_whole(path, b"new")
    assert path.read_bytes() == b"new"

    def no_room(fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", no_room)
    with pytest.raises(FullError):
        write_whole(path, b"half")
    assert path.read_bytes() == b"new"
    assert list(tmp_path.iterdir()) == [path]
