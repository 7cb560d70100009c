"""The fuzz: ``python -m tests.fuzz --minutes N`` prints a table and keeps each finding as a file.

Targets share the time; each input comes from a seed, so that a run can be had again. A finding is
written to ``tests/findings/TARGET/``, where ``tests/test_fuzz.py`` runs it ever after. Coverage
guides the inputs where the fuzzer is installed (the ``fuzz`` extra) and ``--guided`` is given.
"""

from __future__ import annotations

import argparse
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
from pathlib import Path
from types import FrameType

from tests.fuzz.targets import TARGETS, Tally, Target

FINDINGS = Path(__file__).parents[1] / "findings"
#: A run that takes longer hangs: seconds of computing, and by the clock, which a busy machine
#: draws out.
HANG_S, HANG_CLOCK_S = 20.0, 300.0
#: Findings of the same place are kept once.
_seen: set[str] = set()


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
    folder = FINDINGS / target.name.replace(" ", "-")
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / hashlib.sha256(data).hexdigest()[:12]
    path.write_bytes(data)
    print(f"  {target.name}: {why}\n    kept as {path}", flush=True)


def spend(target: Target, seconds: float, rng: random.Random, tally: Tally, most: int) -> int:
    """Run a target for so long; return the number of findings."""
    found, until = 0, time.monotonic() + seconds
    while time.monotonic() < until and tally.runs < most:
        data = target.make(rng)
        why = run(target, data, tally)
        if why is None:
            continue
        found += 1
        place = f"{target.name} {why.split(' ')[0]} {why.split(':')[-1][:40]}"
        if place not in _seen:
            _seen.add(place)
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


def table(tallies: dict[str, Tally], found: dict[str, int]) -> str:
    """Return the figures of a run as text."""
    lines = [f"{'target':<12}{'runs':>10}{'per s':>9}{'slowest s':>11}{'findings':>10}  outcomes"]
    for name, t in tallies.items():
        rate = t.runs / t.seconds if t.seconds else 0.0
        shown = ", ".join(f"{k} {v}" for k, v in sorted(t.outcomes.items()))
        lines.append(
            f"{name:<12}{t.runs:>10}{rate:>9.1f}{t.slowest_s:>11.2f}{found[name]:>10}  {shown}"
        )
        if t.quantities:
            lines.append(
                f"{'':<12}intervals: {t.inside} of {t.quantities} within 2u "
                f"({100 * t.inside / t.quantities:.1f} %)"
            )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    total = sum(t.runs for t in tallies.values())
    lines.append(f"{total} runs, {sum(found.values())} findings, peak memory {peak:.0f} MiB")
    return "\n".join(lines)


def main() -> int:
    """Run the fuzz and print the table."""
    parser = argparse.ArgumentParser(prog="tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--only", action="append", choices=[t.name for t in TARGETS])
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--most", type=int, default=10**9, help="Runs per target at most.")
    parser.add_argument("--guided", action="store_true", help="Guided by coverage; one --only.")
    options = parser.parse_args()
    os.environ.pop("PITCHCAM_TRACE", None)
    warnings.simplefilter("ignore")
    chosen = [t for t in TARGETS if not options.only or t.name in options.only]
    seed = options.seed if options.seed is not None else time.time_ns() % 2**32
    print(f"seed {seed}", flush=True)
    tallies, found = {t.name: Tally() for t in chosen}, {t.name: 0 for t in chosen}
    if options.guided:
        guided(chosen[0], options.minutes * 60, tallies[chosen[0].name])
        return 0
    rng, shares = random.Random(seed), sum(t.share for t in chosen)
    try:
        for target in chosen:
            seconds = options.minutes * 60 * target.share / shares
            found[target.name] = spend(target, seconds, rng, tallies[target.name], options.most)
    except KeyboardInterrupt:
        pass
    print(table(tallies, found))
    return 1 if any(found.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
