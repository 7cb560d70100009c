"""The fuzz: ``python -m tests.fuzz --minutes N`` prints a table and keeps each finding as a file.

Targets share the time; each input comes from a seed, so that a run can be had again. With ``-j``
so many processes run, each with inputs of its own, and the table is of all. A finding is written
to ``tests/findings/TARGET/``, where ``tests/test_fuzz.py`` runs it ever after. Coverage guides the
inputs where the fuzzer is installed (the ``fuzz`` extra) and ``--guided`` is given.
``python -m tests.fuzz transformed --help``: samples transformed with known truth, a row each.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import os
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
import warnings
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from types import FrameType

import cv2

from tests.fuzz import transformed
from tests.fuzz.promises import folder, memory
from tests.fuzz.targets import TARGETS, Tally, Target

FINDINGS = Path(__file__).parents[1] / "findings"
#: A run that takes longer hangs: seconds of computing, and by the clock, which a busy machine
#: draws out.
HANG_S, HANG_CLOCK_S = 20.0, 300.0
#: So much longer than its time a process may take until it is taken to hang, seconds.
GRACE_S = 900.0


class HangError(BaseException):
    """A run took longer than HANG_S; not an Exception, so that no boundary catches it."""


def _alarm(signum: int, frame: FrameType | None) -> None:
    raise HangError


def run(target: Target, data: bytes, tally: Tally) -> str | None:
    """Run one input; return where and how it broke a promise, None where it held."""
    for number in (signal.SIGALRM, signal.SIGPROF):
        signal.signal(number, _alarm)
    signal.setitimer(signal.ITIMER_PROF, HANG_S)
    signal.setitimer(signal.ITIMER_REAL, HANG_CLOCK_S)
    (folder() / f"last-{os.getpid()}").write_bytes(target.name.encode() + b"\0" + data)
    start = time.process_time()
    try:
        target.check(data, tally)
    except HangError:
        return "hang"
    except Exception as error:
        place = traceback.extract_tb(error.__traceback__)[-1]
        cause = error.__cause__
        if cause is not None:
            place = traceback.extract_tb(cause.__traceback__)[-1]
        return f"{Path(place.filename).name}:{place.lineno} {type(error).__name__}: {error}"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        passed = time.process_time() - start
        tally.runs += 1
        tally.seconds += passed
        tally.slowest_s = max(tally.slowest_s, passed)
    return None


def keep(target: Target, data: bytes, why: str) -> None:
    """Write a finding to a file of its own."""
    kind = FINDINGS / target.name.replace(" ", "-")
    kind.mkdir(parents=True, exist_ok=True)
    path = kind / hashlib.sha256(data).hexdigest()[:12]
    path.write_bytes(data)
    print(f"  {target.name}: {why}\n    kept as {path}", flush=True)


def spend(target: Target, plan: Plan, rng: random.Random, tally: Tally) -> int:
    """Run a target for its share of the time; return the number of findings."""
    shares = sum(t.share for t in TARGETS if t.name in plan.names)
    most = -(-plan.most // plan.processes)
    found, until = 0, time.monotonic() + plan.seconds * target.share / shares
    while time.monotonic() < until and tally.runs < most:
        data = target.make(rng)
        why = run(target, data, tally)
        if why is None:
            continue
        found += 1
        place = f"{target.name} {why.split(' ')[0]} {why.split(':')[-1][:40]}"
        with contextlib.suppress(FileExistsError):  # each place is kept once, by one process
            (plan.claims / hashlib.sha256(place.encode()).hexdigest()).touch(exist_ok=False)
            keep(target, data, why)
    return found


def guided(target: Target, seconds: float, tally: Tally) -> None:
    """Let the coverage-guided fuzzer choose the inputs; it ends the process when it is done."""
    import atheris

    def once(data: bytes) -> None:
        why = run(target, data, tally)
        if why is not None:
            keep(target, data, why)

    rng = random.Random(1)
    corpus = Path(tempfile.mkdtemp(prefix="pitchcam-corpus-"))
    for k in range(20):
        (corpus / f"seed{k}").write_bytes(target.make(rng))
    with atheris.instrument_imports(include=["pitchcam"]):
        target.check(target.make(rng), Tally())  # what it needs is imported inside
    limits = [f"-max_total_time={seconds:.0f}", "-rss_limit_mb=2048", "-timeout=20"]
    atheris.Setup([sys.argv[0], str(corpus), *limits], once)
    atheris.Fuzz()


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
    found: dict[str, int]
    peak_mib: float = 0.0
    died: int = 0

    def add(self, other: Report) -> None:
        """Take in what another process did; the peak is that of the largest."""
        for name, tally in other.tallies.items():
            self.tallies[name].add(tally)
            self.found[name] += other.found[name]
        self.peak_mib = max(self.peak_mib, other.peak_mib)

    def table(self) -> str:
        """Return the figures as text."""
        lines = [
            f"{'target':<12}{'runs':>10}{'per s':>9}{'slowest s':>11}{'findings':>10}  outcomes"
        ]
        for name, t in self.tallies.items():
            rate = t.runs / t.seconds if t.seconds else 0.0
            shown = ", ".join(f"{k} {v}" for k, v in sorted(t.outcomes.items()))
            lines.append(
                f"{name:<12}{t.runs:>10}{rate:>9.1f}{t.slowest_s:>11.2f}"
                f"{self.found[name]:>10}  {shown}"
            )
            if t.quantities:
                lines.append(
                    f"{'':<12}intervals: {t.inside} of {t.quantities} within "
                    f"{transformed.COVER} u ({100 * t.inside / t.quantities:.1f} %)"
                )
        total = sum(t.runs for t in self.tallies.values())
        lines.append(
            f"{total} runs, {sum(self.found.values())} findings, {self.died} processes died, "
            f"peak memory of a process {self.peak_mib:.0f} MiB"
        )
        return "\n".join(lines)


def work(plan: Plan, number: int, told: Connection | None = None) -> Report:
    """Run one process's share of a plan: inputs of its own, from the seed and its number."""
    os.environ.pop("PITCHCAM_TRACE", None)
    warnings.simplefilter("ignore")
    cv2.setNumThreads(1)
    rng = random.Random(plan.seed if plan.processes == 1 else f"{plan.seed} {number}")
    chosen = [t for t in TARGETS if t.name in plan.names]
    report = Report({t.name: Tally() for t in chosen}, {t.name: 0 for t in chosen})
    try:
        for target in chosen:
            report.found[target.name] = spend(target, plan, rng, report.tallies[target.name])
    except KeyboardInterrupt:
        pass
    report.peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if told is not None:
        told.send(report)
    return report


def work_together(plan: Plan) -> Report:
    """Run the processes of a plan and add up what they tell; one that dies is a finding."""
    context = get_context("spawn")
    total = Report({n: Tally() for n in plan.names}, {n: 0 for n in plan.names})
    running, start = [], time.monotonic()
    for number in range(plan.processes):
        here, there = context.Pipe(duplex=False)
        process = context.Process(target=work, args=(plan, number, there))
        process.start()
        there.close()
        running.append((process, here))
    for number, (process, here) in enumerate(running):
        try:
            until = start + plan.seconds + GRACE_S
            if not here.poll(max(1.0, until - time.monotonic())):
                process.kill()  # hangs where no signal gets through
            total.add(here.recv())
        except EOFError:
            total.died += 1
            last = next(memory().glob(f"pitchcam-fuzz-*/last-{process.pid}"), None)
            print(f"  process {number} died or hung; its last input: {last}", flush=True)
        process.join()
    return total


def main() -> int:
    """Run the fuzz and print the table."""
    if sys.argv[1:2] == ["transformed"]:
        return transformed.main(sys.argv[2:])
    parser = argparse.ArgumentParser(prog="tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--only", action="append", choices=[t.name for t in TARGETS])
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--most", type=int, default=10**9, help="Runs per target at most, in all.")
    parser.add_argument("-j", "--processes", type=int, default=1)
    parser.add_argument("--guided", action="store_true", help="Guided by coverage; one --only.")
    options = parser.parse_args()
    names = tuple(t.name for t in TARGETS if not options.only or t.name in options.only)
    seed = options.seed if options.seed is not None else time.time_ns() % 2**32
    print(f"seed {seed}", flush=True)
    os.environ["OMP_NUM_THREADS"] = "1"  # one process, one core
    if options.guided:
        guided(next(t for t in TARGETS if t.name in names), options.minutes * 60, Tally())
        return 0
    seconds, claims = options.minutes * 60, Path(tempfile.mkdtemp(prefix="pitchcam-claims-"))
    plan = Plan(names, seed, seconds, options.most, options.processes, claims)
    report = work(plan, 0) if plan.processes == 1 else work_together(plan)
    print(report.table())
    return 1 if any(report.found.values()) or report.died else 0


if __name__ == "__main__":
    from tests.fuzz.__main__ import main as run_fuzz  # processes know the module by its name

    sys.exit(run_fuzz())
