"""Kills a batch again and again: ``python -m tests.kill_batch LIST.csv --kills 20``.

Measures the list once without interruption, then into a second record with the program killed
(signal 9) at random moments and started again, and compares the final files byte by byte. A
command, not a test: with real photos it takes minutes.
"""

from __future__ import annotations

import argparse
import hashlib
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

from pitchcam.store.store import Store

_RUN = "from pitchcam.cli import main; main()"


def start(photos: Path, folder: Path) -> subprocess.Popen[bytes]:
    """Start ``pitchcam batch`` on the list, with record and answer in a folder."""
    return subprocess.Popen(
        [
            sys.executable,
            "-c",
            _RUN,
            "batch",
            "--list",
            str(photos),
            "--record",
            str(folder / "record.sqlite"),
            "--out",
            str(folder / "box"),
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def kept(folder: Path) -> int:
    """Return the number of results in the record."""
    record = folder / "record.sqlite"
    if not record.exists():
        return 0
    with Store(record) as store:
        return len(store.ids())


def digests(folder: Path) -> dict[str, str]:
    """Return the SHA-256 of every final file."""
    files = sorted((folder / "box").iterdir())
    return {file.name: hashlib.sha256(file.read_bytes()).hexdigest() for file in files}


def interrupted(photos: Path, folder: Path, kills: int, results: int, seed: int) -> None:
    """Start and kill so many times, spread over the results of a whole run; then finish.

    A kill comes a moment after a few more results are kept, so that a slow start on a busy machine
    is not all that it hits.
    """
    chance = random.Random(seed)
    done = 0
    while done < kills:
        batch = start(photos, folder)
        wanted = kept(folder) + chance.randint(1, max(1, results // kills))
        while batch.poll() is None and kept(folder) < wanted:
            time.sleep(0.05)
        time.sleep(chance.uniform(0.0, 0.3))
        if batch.poll() is not None:
            print(f"finished before kill {done + 1}; the rest of the kills would hit no work")
            return
        batch.send_signal(signal.SIGKILL)
        batch.wait()
        done += 1
        print(f"kill {done:2d}: {kept(folder)} results kept", flush=True)
    start(photos, folder).wait()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("list", type=Path)
    parser.add_argument("--folder", type=Path, required=True, help="for records and answers")
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    whole, killed = args.folder / "whole", args.folder / "killed"
    for folder in (whole, killed):
        folder.mkdir(parents=True)
    begin = time.monotonic()
    start(args.list, whole).wait()
    seconds = time.monotonic() - begin
    print(f"uninterrupted: {kept(whole)} results in {seconds:.0f} s")
    interrupted(args.list, killed, args.kills, kept(whole), args.seed)
    expected, got = digests(whole), digests(killed)
    for name in sorted(expected.keys() | got.keys()):
        same = "same bytes" if expected.get(name) == got.get(name) else "DIFFERENT"
        print(f"{name:20} {same}  {expected.get(name, 'missing')[:16]}")
    return int(expected != got)


if __name__ == "__main__":
    sys.exit(main())
