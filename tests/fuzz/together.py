"""The fuzz in many processes: each tells what it did so far, and all of it is added up."""

from __future__ import annotations

import contextlib
import hashlib
import os
import random
import resource
import shutil
import signal
import time
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from pathlib import Path

import cv2

from pitchcam.photo import MAX_MEGAPIXELS
from tests.fuzz import transformed
from tests.fuzz.promises import Tally, Target, memory
from tests.fuzz.running import HANG_S, PROMISES, keep, run
from tests.fuzz.targets import TARGETS

#: A process tells what it did as often, seconds: so much is lost at most where one is killed.
TELL_S = 5.0
#: So much longer than its time a process may take until it is taken to hang, seconds: its last
#: input may take HANG_S of computing, drawn out by a busy machine.
GRACE_S = 3 * HANG_S
#: Memory that a process may take: twice the largest picture that is opened, in colour, MiB.
MOST_MIB = 2 * 3 * MAX_MEGAPIXELS * 1e6 / 2**20


@dataclass(frozen=True)
class Plan:
    """What is run: which targets, from which seed, how long, how often, in how many processes."""

    names: tuple[str, ...]
    seed: int
    seconds: float
    most: int
    processes: int
    claims: Path


@dataclass
class Report:
    """What runs came to, of one process or of all."""

    tallies: dict[str, Tally]
    peak_mib: float = 0.0
    died: int = 0

    @classmethod
    def of(cls, plan: Plan) -> Report:
        """Return the report of a plan of which nothing is done."""
        return cls({name: Tally() for name in plan.names})

    @property
    def held(self) -> bool:
        """Whether every promise held."""
        kept = not any(t.broken for t in self.tallies.values())
        return kept and not self.died and self.peak_mib <= MOST_MIB

    def add(self, other: Report) -> None:
        """Take in what another process did; the peak is that of the largest."""
        for name, tally in other.tallies.items():
            self.tallies[name].add(tally)
        self.peak_mib = max(self.peak_mib, other.peak_mib)

    def table(self) -> str:
        """Return the figures as text."""
        head = f"{'target':<12}{'runs':>10}{'per s':>9}{'slowest s':>11}{'broken':>8}  outcomes"
        lines = [head, *(line for name, t in self.tallies.items() for line in _lines(name, t))]
        whole = Tally()
        for tally in self.tallies.values():
            whole.add(tally)
        told = ", ".join(f"{whole.broken.get(k, 0)} {k}" for k in dict.fromkeys(PROMISES.values()))
        lines += [
            f"{'in all':<12}{whole.runs:>10}{'':>9}{whole.slowest_s:>11.2f}"
            f"{sum(whole.broken.values()):>8}",
            f"{whole.runs:,} executions in {whole.seconds:,.0f} s of computing: {told}",
            f"a hang is over {HANG_S:g} s, the slowest took {whole.slowest_s:.1f} s; "
            f"{self.died} processes died",
            f"peak memory of a process {self.peak_mib:.0f} MiB; may be {MOST_MIB:.0f}, twice a "
            f"picture of {MAX_MEGAPIXELS:g} megapixels in colour",
        ]
        return "\n".join(lines)


def _lines(name: str, t: Tally) -> Iterator[str]:
    rate = t.runs / t.seconds if t.seconds else 0.0
    shown = ", ".join(f"{k} {v}" for k, v in sorted(t.outcomes.items()))
    broken = sum(t.broken.values())
    yield f"{name:<12}{t.runs:>10}{rate:>9.1f}{t.slowest_s:>11.2f}{broken:>8}  {shown}"
    if t.broken:
        yield f"{'':<12}" + ", ".join(f"{v} {k}" for k, v in t.broken.items())
    if t.quantities:
        yield (
            f"{'':<12}intervals: {t.inside} of {t.quantities} within "
            f"{transformed.COVER} u ({100 * t.inside / t.quantities:.1f} %)"
        )


def stream(plan: Plan, number: int, target: str) -> random.Random:
    """Return what a process draws a target's inputs from.

    However the clock shares out the time, the n-th input of a target is the same.
    """
    return random.Random(f"{plan.seed} {number if plan.processes > 1 else 0} {target}")


def drawn_again(plan: Plan, number: int, target: Target, count: int) -> bytes:
    """Return the input that a process made as its ``count``-th of a target, from 1 on."""
    rng = stream(plan, number, target.name)
    data = b""
    for _ in range(count):
        data = target.make(rng)
    return data


def spend(plan: Plan, number: int, report: Report) -> Iterator[None]:
    """Run the targets for a plan's time, each for its share of it; yield after each run."""
    most = -(-plan.most // plan.processes)
    spent = {t: 0.0 for t in TARGETS if t.name in plan.names}
    streams = {t: stream(plan, number, t.name) for t in spent}
    start = time.monotonic()
    while time.monotonic() < start + plan.seconds:
        left = [t for t in spent if report.tallies[t.name].runs < most]
        if not left:
            return
        # The one that had least of its share; all have had theirs whenever the run is ended.
        target = min(left, key=lambda t: spent[t] / t.share)
        before = time.monotonic()
        data = target.make(streams[target])
        _try(target, data, report.tallies[target.name], (plan, number))
        spent[target] += time.monotonic() - before
        yield


def _try(target: Target, data: bytes, tally: Tally, of: tuple[Plan, int]) -> None:
    why = run(target, data, tally)
    if why is None:
        return
    plan, number = of
    place = f"{target.name} {why.split(' ')[0]} {why.split(':')[-1][:40]}"
    with contextlib.suppress(FileExistsError):  # each place is kept once, by one process
        (plan.claims / hashlib.sha256(place.encode()).hexdigest()).touch(exist_ok=False)
        keep(target, data, f"{why}\n    again: {plan.seed}/{plan.processes}/{number}/{tally.runs}")


def work(plan: Plan, number: int, told: Connection | None = None) -> Report:
    """Run one process's share of a plan: inputs of its own, from the seed and its number."""
    os.environ.pop("PITCHCAM_TRACE", None)
    warnings.simplefilter("ignore")
    cv2.setNumThreads(1)
    report, due = Report.of(plan), time.monotonic() + TELL_S
    with contextlib.suppress(KeyboardInterrupt):
        for _ in spend(plan, number, report):
            if told is not None and time.monotonic() > due:
                due = time.monotonic() + TELL_S
                _measured(report)
                told.send(report)
    _measured(report)
    if told is not None:
        told.send(report)
        told.send(None)
    return report


def _measured(report: Report) -> None:
    report.peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def work_together(plan: Plan) -> Report:
    """Run the processes of a plan and add up what they told; one that dies is a finding.

    Ctrl-C, or a polite end, ends the run with what was told so far.
    """
    context = get_context("spawn")
    running: dict[Connection, BaseProcess] = {}
    for number in range(plan.processes):
        here, there = context.Pipe(duplex=False)
        process = context.Process(target=work, args=(plan, number, there), daemon=True)
        process.start()
        there.close()
        running[here] = process
    latest, total = {}, Report.of(plan)
    until = time.monotonic() + plan.seconds + GRACE_S
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        while running and time.monotonic() < until:
            for here in wait(list(running), 1.0):
                assert isinstance(here, Connection)
                total.died += _listen(here, running, latest)
        total.died += len(running)
    except KeyboardInterrupt:
        print("ended before its time; the table is of what was told so far", flush=True)
    for process in running.values():
        process.kill()  # it may hang where no signal gets through
        if total.died:
            _say_last(process)
        else:
            process.join()
            for left in memory().glob(f"pitchcam-fuzz-*/last-{process.pid}"):
                shutil.rmtree(left.parent, ignore_errors=True)
    for report in latest.values():
        total.add(report)
    return total


def _listen(
    here: Connection, running: dict[Connection, BaseProcess], latest: dict[Connection, Report]
) -> int:
    """Take in what a process tells, its end too; return 1 where it died."""
    try:
        told = here.recv()
    except EOFError:
        _say_last(running.pop(here))
        return 1
    if told is None:
        running.pop(here).join()
    else:
        latest[here] = told
    return 0


def _say_last(process: BaseProcess) -> None:
    process.join()
    last = next(memory().glob(f"pitchcam-fuzz-*/last-{process.pid}"), None)
    print(f"  process {process.pid} died or hung; its last input: {last}", flush=True)
