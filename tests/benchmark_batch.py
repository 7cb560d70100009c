"""Throughput and memory of a batch: ``python -m tests.benchmark_batch LIST.csv [--processes 2]``.

Prints photos a second with one process and with several, both against plain decoding of the same
files by OpenCV on one core in the same run, and the memory of the processes along the way. A
command, not a test: its figures depend on the machine.
"""

from __future__ import annotations

import argparse
import multiprocessing
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import cv2

from pitchcam.batch import run
from pitchcam.batch.settings import Job, Settings
from pitchcam.batch.source import Listed, read_list
from pitchcam.records import ScaleSpec
from pitchcam.store.entries import Outcome


@dataclass
class Memory:
    """Resident memory in MB of this process and of the largest worker, by photos done."""

    every: int
    done: int = 0
    rows: list[tuple[int, float, float]] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)

    def tell(self, job: Job, outcome: Outcome, kept_before: bool) -> None:
        self.done += 1
        self.counts[outcome.status] = self.counts.get(outcome.status, 0) + 1
        if self.done % self.every == 0:
            workers = [resident_mb(p.pid) for p in multiprocessing.active_children() if p.pid]
            self.rows.append((self.done, resident_mb("self"), max(workers, default=0.0)))


def resident_mb(pid: int | str) -> float:
    """Return a process's resident memory from /proc (Linux), or nan elsewhere."""
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except OSError:
        return float("nan")
    return next((int(x.split()[1]) / 1024 for x in lines if x.startswith("VmRSS")), float("nan"))


def batch(photos: list[Listed], processes: int, folder: Path, memory: Memory) -> float:
    """Measure all photos into a new record; return photos a second, start-up included."""
    call = run.Setup(
        record=folder / f"{processes}.sqlite",
        out=folder / str(processes),
        processes=processes,
        limit_s=600.0,
        sheets=False,
    )
    start = time.perf_counter()
    run.run_batch(call, photos, memory.tell)
    return len(photos) / (time.perf_counter() - start)


def decode(photos: list[Listed]) -> float:
    """Decode all photos one after the other; return photos a second."""
    cv2.setNumThreads(1)
    start = time.perf_counter()
    for photo in photos:
        cv2.imread(str(photo.path), cv2.IMREAD_COLOR)
    return len(photos) / (time.perf_counter() - start)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("list", type=Path)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--skip-one", action="store_true", help="only the run with all processes")
    args = parser.parse_args()
    photos = read_list(args.list, Settings(scale=ScaleSpec()))
    memory = Memory(every=max(1, len(photos) // 10))
    with tempfile.TemporaryDirectory() as name:
        plain = decode(photos)
        many = batch(photos, args.processes, Path(name), memory)
        print(f"{len(photos)} photos: {memory.counts}")
        print(f"decoding alone, one core       {plain:8.2f} photos/s")
        if not args.skip_one:
            one = batch(photos, 1, Path(name), Memory(every=len(photos)))
            print(f"batch, 1 process               {one:8.2f} photos/s   1/{plain / one:.1f} of it")
            print(f"ratio of {args.processes} processes to one    {many / one:8.2f}")
        print(
            f"batch, {args.processes} processes             {many:8.2f} photos/s   "
            f"1/{plain / many:.1f} of it"
        )
    print("photos done   this process MB   largest worker MB")
    for done, own, worker in memory.rows:
        print(f"{done:11d} {own:17.0f} {worker:19.0f}")


if __name__ == "__main__":
    main()
