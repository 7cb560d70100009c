"""What goes wrong around the measurement, each case played many times and counted.

A loss is: a result that was finished and is gone, a photo that stands in no table, a table that
differs from an undisturbed run's, a count of stock that is wrong, a traceback, or a hang.
"""

from __future__ import annotations

import contextlib
import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pitchcam.batch import run as batch
from pitchcam.batch.follow import Patience
from pitchcam.errors import PitchcamError
from pitchcam.joining.stock.sheet import parse_stock
from pitchcam.joining.stock.store import StockStore
from pitchcam.store.rows import entry_rows
from pitchcam.store.store import Store
from tests.batch import double
from tests.batch.test_follow import PIN
from tests.batch.test_resume import TABLES, finish, start, write_box
from tests.fuzz.mutate import mutate
from tests.fuzz.targets import _stock_sheet
from tests.store.test_damage import filled, tamper

#: A batch of doubles that takes longer hangs.
_HANG_S = 120.0
_NOW = datetime(2030, 1, 2, tzinfo=UTC)


@dataclass
class Score:
    """Trials and losses of a case; ``note`` says what was seen beside, or why it was not played."""

    trials: int = 0
    losses: int = 0
    note: str = ""


Case = Callable[[Path, int, random.Random], Score]


def kills(folder: Path, trials: int, rng: random.Random) -> Score:
    """Kill the batch (signal 9) again and again at random moments, then let it end."""
    return _disturbed(folder, trials, rng, [signal.SIGKILL])


def signals(folder: Path, trials: int, rng: random.Random) -> Score:
    """Interrupt (Ctrl-C) or end it (terminate) at random moments, the start included."""
    return _disturbed(folder, trials, rng, [signal.SIGINT, signal.SIGTERM])


def _disturbed(
    folder: Path, trials: int, rng: random.Random, numbers: list[signal.Signals]
) -> Score:
    photos, score = folder / "photos", Score()
    photos.mkdir(parents=True)
    write_box(photos, 24)
    expected = finish(photos, folder / "calm")
    where, kept = folder / "rough", 0
    where.mkdir()
    while score.trials < trials:
        program = start(photos, where)
        time.sleep(rng.uniform(0.05, 2.5))
        program.send_signal(rng.choice(numbers))
        try:
            program.communicate(timeout=_HANG_S)
        except subprocess.TimeoutExpired:
            program.kill()
            score.losses += 1
        score.trials += 1
        now = _kept(where / "r.sqlite")
        score.losses += now < kept
        kept = now
        if kept >= 25:  # all there: begin with an empty record
            score.losses += finish(photos, where) != expected
            where, kept = folder / f"rough{score.trials}", 0
            where.mkdir()
    score.losses += finish(photos, where) != expected
    return score


def _kept(record: Path) -> int:
    if not record.exists():
        return 0
    try:
        with Store(record) as store:
            return len(store.ids())
    except PitchcamError:
        return -1


def full_disk(folder: Path, trials: int, rng: random.Random) -> Score:
    """Let the disk run full at different fills, make room, and go on."""
    score, disk = Score(), folder / "disk"
    photos = folder / "photos"
    disk.mkdir(parents=True)
    write_box(photos, 40)
    expected = finish(photos, folder / "calm")
    for _ in range(trials):
        mount = ["mount", "-t", "tmpfs", "-o", f"size={rng.randint(150, 420)}k", "tmpfs", str(disk)]
        if subprocess.run(mount, capture_output=True, check=False).returncode:
            score.note = "not played: this user may not mount a small disk"
            return score
        try:
            program = start(photos, disk)
            _, told = program.communicate(timeout=_HANG_S)
            clear = program.returncode == 0 or told.decode().count("\n") == 1
            subprocess.run(["mount", "-o", "remount,size=16m", str(disk)], check=True)
            score.losses += not clear or finish(photos, disk) != expected
        finally:
            subprocess.run(["umount", "-l", str(disk)], check=True)
        score.trials += 1
    return score


def damaged_bytes(folder: Path, trials: int, rng: random.Random) -> Score:
    """Change bytes of the record anywhere: each reading ends well, no row changes unnoticed."""
    folder.mkdir(parents=True)
    path, score = folder / "r.sqlite", Score()
    ids = filled(folder / "whole.sqlite", 8)
    with contextlib.closing(sqlite3.connect(folder / "whole.sqlite")) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with Store(folder / "whole.sqlite") as store:
        truth = {e.id: (e.outcome, e.sha256) for e in store.entries()}
    whole, all_there = (folder / "whole.sqlite").read_bytes(), 0
    for _ in range(trials):
        path.write_bytes(mutate(whole, rng))
        for log in ("-wal", "-shm"):
            path.with_name(path.name + log).unlink(missing_ok=True)
        score.trials += 1
        try:
            with Store(path, must_exist=True) as store:
                for entry in store.entries():
                    entry_rows(entry)
                    good = entry.outcome.code != "record-damaged"
                    score.losses += good and truth.get(entry.id) != (entry.outcome, entry.sha256)
                    all_there += good
        except PitchcamError as error:
            score.losses += not str(error).isprintable()
        except Exception:
            score.losses += 1
    score.note = f"{all_there} of {trials * len(ids)} rows still read, none of them wrong"
    return score


def damaged_rows(folder: Path, trials: int, rng: random.Random) -> Score:
    """Change one cell of one row: that row is said to be damaged, all others are read."""
    folder.mkdir(parents=True)
    score = Score()
    for k in range(trials):
        path = folder / f"{k}.sqlite"
        ids = filled(path)
        hurt = rng.choice(ids)
        column = rng.choice(("document", "code", "message", "advice", "settings_key", "digest"))
        tamper(path, f"UPDATE measurement SET {column} = ? WHERE id = ?", "?", hurt)
        with Store(path) as store:
            read = {e.id for e in store.entries() if e.outcome.status == "measured"}
            score.losses += read != set(ids) - {hurt} or store.damaged != {hurt}
        score.trials += 1
    return score


def two_batches(folder: Path, trials: int, rng: random.Random) -> Score:
    """Two batches on one record at once: both end with the tables of one alone."""
    photos, score = folder / "photos", Score()
    write_box(photos, 20)
    expected = finish(photos, folder / "calm")
    for k in range(trials):
        where = folder / f"both{k}"
        where.mkdir()
        first = start(photos, where)
        time.sleep(rng.uniform(0, 0.5))
        second = start(photos, where)
        for program in (first, second):
            _, told = program.communicate(timeout=_HANG_S)
            score.losses += program.returncode != 0 or b"Traceback" in told
        score.losses += any((where / "box" / n).read_bytes() != expected[n] for n in TABLES)
        score.trials += 1
    return score


def two_imports(folder: Path, trials: int, rng: random.Random) -> Score:
    """Two processes take in the same sheet at once: the counts are the sheet's."""
    folder.mkdir(parents=True)
    sheet, score = folder / "sheet.csv", Score()
    sheet.write_bytes(_stock_sheet())
    want = {r.id: r.count for r in parse_stock(_stock_sheet().decode(), "sheet.csv")}
    for k in range(trials):
        record = folder / f"{k}.sqlite"
        call = [
            sys.executable,
            "-m",
            "pitchcam",
            "stock",
            "import",
            str(sheet),
            "--record",
            str(record),
            "--who",
            "bench",
        ]
        both = [
            subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
            for _ in range(2)
        ]
        for program in both:
            _, told = program.communicate(timeout=_HANG_S)
            score.losses += program.returncode != 0 or b"Traceback" in told
        with StockStore(record) as store:
            score.losses += {r.id: r.count for r in store.rows()} != want
        score.trials += 1
    return score


def _watch(folder: Path, photos: Path, idle_s: float, disturb: Callable[[], None]) -> set[str]:
    call = batch.Setup(
        record=folder / "r.sqlite",
        out=folder / "box",
        processes=1,
        limit_s=60,
        sheets=False,
        measure=double.measure,
    )
    helper = threading.Thread(target=disturb)
    helper.start()
    answer = batch.follow_folders(
        call,
        [photos],
        PIN,
        lambda *_: None,
        idle_s=idle_s,
        patience=Patience(settle_s=0.3, stalled_s=60),
    )
    helper.join()
    return {line.row.photo for line in answer.lines}


def vanishing_folder(folder: Path, trials: int, rng: random.Random) -> Score:
    """Take the folder away under a watch and give it back, or keep it: no photo is left out."""
    score = Score()
    for k in range(trials):
        here = folder / str(k)
        photos, names = here / "photos", {f"{i}.jpg" for i in range(6)}
        for name in names:
            double.write_photo(photos / name, n=name, sleep_s=0.1)
        away, back = rng.uniform(0.5, 2.0), rng.random() < 0.5

        def disturb(photos: Path = photos, away: float = away, back: bool = back) -> None:
            time.sleep(away)
            photos.rename(photos.with_name("away"))
            time.sleep(1.0)
            if back:
                photos.with_name("away").rename(photos)

        score.losses += not names <= _watch(here, photos, 5.0, disturb)
        score.trials += 1
    return score


def half_uploads(folder: Path, trials: int, rng: random.Random) -> Score:
    """Uploads that stall, are empty, vanish or come whole while a watch runs out of patience."""
    score, vanished, told = Score(), 0, 0
    for k in range(trials):
        here = folder / str(k)
        photos = here / "photos"
        photos.mkdir(parents=True)
        double.write_photo(photos / "whole.jpg")
        data = (photos / "whole.jpg").read_bytes()
        fates = {f"{i}.jpg": rng.choice(("half", "empty", "vanish", "late")) for i in range(5)}

        def disturb(
            photos: Path = photos, fates: dict[str, str] = fates, data: bytes = data
        ) -> None:
            for name, fate in fates.items():
                time.sleep(0.2)
                (photos / name).write_bytes(b"" if fate == "empty" else data[:20])
            time.sleep(1.2)
            for name, fate in fates.items():
                if fate == "vanish":
                    (photos / name).unlink()
                elif fate == "late":
                    (photos / name).write_bytes(data)

        found = _watch(here, photos, 5.0, disturb)
        gone = {name for name, fate in fates.items() if fate == "vanish"}
        score.losses += not {"whole.jpg", *fates} - gone <= found
        score.trials += 1
        vanished, told = vanished + len(gone), told + len(gone & found)
    # On a busy machine one may come and go between two looks.
    score.note = f"{told} of {vanished} that vanished at once were met and are in a table"
    return score


CASES: dict[str, tuple[Case, float]] = {
    "killed at random moments": (kills, 1.0),
    "interrupted and ended": (signals, 1.0),
    "disk full": (full_disk, 0.3),
    "bytes of the record changed": (damaged_bytes, 40.0),
    "a row of the record changed": (damaged_rows, 2.0),
    "two batches on one record": (two_batches, 0.3),
    "two imports of stock at once": (two_imports, 0.5),
    "folder vanishes under a watch": (vanishing_folder, 0.2),
    "uploads stall under a watch": (half_uploads, 0.3),
}
