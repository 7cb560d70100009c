"""Stopped anywhere and started again: same tables, nothing measured twice, nothing left half."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from pitchcam.batch import settings
from pitchcam.records import ScaleSpec
from tests.batch import double

ROOT = Path(__file__).parents[2]
TABLES = ("box.csv", "box.json", "counts.csv")
JOBS = 2


def start(folder: Path, where: Path, jobs: int = 2) -> subprocess.Popen[bytes]:
    return started(folder, where, "--jobs", str(jobs))


def started(folder: Path, where: Path, *by: str) -> subprocess.Popen[bytes]:
    """Start a batch in a process of its own; ``by`` says who measures."""
    kept = ("--record", str(where / "r.sqlite"), "--out", str(where / "box"))
    return subprocess.Popen(
        [sys.executable, "-m", "tests.batch.command", str(folder), *by, *kept],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stderr=subprocess.PIPE,
    )


def finish(folder: Path, where: Path, jobs: int = 2) -> dict[str, bytes]:
    where.mkdir(exist_ok=True)
    batch = start(folder, where, jobs)
    _, told = batch.communicate(timeout=120)
    assert batch.returncode == 0, told
    return {name: (where / "box" / name).read_bytes() for name in TABLES}


def write_box(folder: Path, count: int, log: Path | None = None) -> None:
    """Write photos of every kind, one of them twice under two names."""
    note = {} if log is None else {"log": str(log)}
    for i in range(count):
        what: dict[str, object] = {"n": i, "sleep_s": 0.04, **note}
        if i % 9 == 4:
            what["wrong"] = "unreadable"
        if i % 13 == 5:
            what["wrong"] = "input"
        parts = [["M14x1.5"], ["?"]] if i % 5 == 0 else [["G 1/4"]]
        double.write_photo(folder / f"{i:03}.jpg", parts, **what)
    (folder / "copy").mkdir()
    (folder / "copy" / "000.jpg").write_bytes((folder / "000.jpg").read_bytes())


def begun(log: Path) -> int:
    """Return how many photos have been begun so far."""
    return len(log.read_text().splitlines()) if log.exists() else 0


def kept(record: Path) -> int:
    """Return how many photos the record has an answer of."""
    if not record.exists():
        return 0
    with closing(sqlite3.connect(f"file:{record}?mode=ro", uri=True, timeout=10)) as db:
        try:
            tables = ("measurement", "attempt")
            return sum(db.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in tables)
        except sqlite3.OperationalError:  # its tables are being made
            return 0


def in_hand(log: Path, where: Path) -> int:
    """Return how many photos were begun that the record has no answer of."""
    return len(set(log.read_text().splitlines())) - kept(where / "r.sqlite")


def test_killed_at_random_moments_the_tables_are_the_same_bytes(tmp_path: Path) -> None:
    folder, log = tmp_path / "photos", tmp_path / "log"
    write_box(folder, 40, log)
    whole = finish(folder, tmp_path / "whole", jobs=1)
    log.unlink()
    chance = random.Random(20)
    killed = tmp_path / "killed"
    killed.mkdir()
    kills = lost = 0
    while kills < 6:
        batch = start(folder, killed, JOBS)
        # A moment is told by progress, not by a clock: after a few photos more.
        wanted = begun(log) + chance.randint(1, 5)
        while batch.poll() is None and begun(log) < wanted:
            time.sleep(0.003)
        # Each process may lose the photo in hand, and struck at once the answer on its way too.
        lose, waited = 2 * JOBS, time.monotonic()
        if kills % 2:
            while in_hand(log, killed) > JOBS and time.monotonic() - waited < 5:
                time.sleep(0.003)
            lose = JOBS
        if batch.poll() is None:
            batch.send_signal(signal.SIGKILL)
            kills += 1
            lost += lose
        batch.communicate()
        if batch.returncode == 0:
            break
    assert kills >= 2
    assert finish(folder, killed) == whole
    measured = log.read_text().splitlines()
    assert len(measured) - len(set(measured)) <= lost
    assert not list((killed / "box").glob(".*.part"))


def test_a_second_run_measures_nothing(tmp_path: Path) -> None:
    folder, log = tmp_path / "photos", tmp_path / "log"
    write_box(folder, 12, log)
    first = finish(folder, tmp_path / "w")
    assert len(log.read_text().splitlines()) == 12  # the copy of the first is not measured
    log.unlink()
    assert finish(folder, tmp_path / "w") == first
    assert not log.exists()


def test_one_process_or_three_give_the_same_bytes(tmp_path: Path) -> None:
    write_box(tmp_path / "photos", 15)
    one = finish(tmp_path / "photos", tmp_path / "one", jobs=1)
    assert finish(tmp_path / "photos", tmp_path / "three", jobs=3) == one


def test_a_photo_added_later_is_all_that_is_measured(tmp_path: Path) -> None:
    folder, log = tmp_path / "photos", tmp_path / "log"
    write_box(folder, 6, log)
    finish(folder, tmp_path / "w")
    double.write_photo(folder / "new.jpg", [["R 1/4"]], log=str(log))
    log.unlink()
    tables = finish(folder, tmp_path / "w")
    assert len(log.read_text().splitlines()) == 1
    assert b"R 1/4" in tables["counts.csv"]


def test_answers_of_an_older_core_are_not_given_again(monkeypatch: pytest.MonkeyPatch) -> None:
    # The record keeps answers under this key.
    pin = ScaleSpec(source="pin", mm=10.0)
    before = settings.Settings(scale=pin).key
    assert settings.Settings(scale=pin).key == before
    monkeypatch.setattr(settings, "CORE_REVISION", settings.CORE_REVISION + 1)
    assert settings.Settings(scale=pin).key != before
