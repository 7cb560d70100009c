"""The fuzz: ``python -m tests.fuzz --minutes N`` counts executions and keeps each finding.

Targets share the time; each input comes from a seed, so that a run can be had again. With ``-j``
so many processes run, each with inputs of its own, and the table is of all. A finding is written
to ``tests/findings/TARGET/``, where ``tests/test_fuzz.py`` runs it ever after, and can be drawn
again from what is said of it: ``--only TARGET --again SEED/PROCESSES/NUMBER/COUNT -o FILE``.
Coverage guides the inputs where the fuzzer is installed (the ``fuzz`` extra) and ``--guided`` is
given.
``python -m tests.fuzz transformed --help``: samples transformed with known truth, a row each;
``python -m tests.fuzz no-thread --help``: scenes without a thread, a row each.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
import time
from pathlib import Path

from tests.fuzz import bare, transformed
from tests.fuzz.promises import Tally, Target
from tests.fuzz.running import keep, run
from tests.fuzz.targets import TARGETS
from tests.fuzz.together import Plan, drawn_again, work, work_together

#: Studies of a row for each seed.
STUDIES = {"transformed": transformed.main, "no-thread": bare.main}


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


def main() -> int:
    """Run the fuzz and print the table; 1 where a promise broke."""
    if sys.argv[1:2] and sys.argv[1] in STUDIES:
        return STUDIES[sys.argv[1]](sys.argv[2:])
    parser = argparse.ArgumentParser(prog="tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--only", action="append", choices=[t.name for t in TARGETS])
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--most", type=int, default=10**9, help="Runs per target at most, in all.")
    parser.add_argument("-j", "--processes", type=int, default=1)
    parser.add_argument("--guided", action="store_true", help="Guided by coverage; one --only.")
    parser.add_argument("--again", metavar="S/P/N/C", help="Write an input again; one --only.")
    parser.add_argument("-o", "--output", type=Path, default=Path("input"))
    options = parser.parse_args()
    names = tuple(t.name for t in TARGETS if not options.only or t.name in options.only)
    if options.again:
        again, processes, number, count = map(int, options.again.split("/"))
        plan = Plan(names, again, 0.0, 0, processes, Path())
        target = next(t for t in TARGETS if t.name in names)
        options.output.write_bytes(drawn_again(plan, number, target, count))
        return 0
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
    return 0 if report.held else 1


if __name__ == "__main__":
    from tests.fuzz.__main__ import main as run_fuzz  # processes know the module by its name

    sys.exit(run_fuzz())
