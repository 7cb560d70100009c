"""Faults around the measurement: ``python -m tests.faults`` plays them and prints a table.

Each case is played with the tests' measuring function, so that hundreds of trials take minutes;
``--trials`` scales them all. Losses are counted as :mod:`tests.faults.cases` says; the exit code is
1 where there is any.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
import time
from pathlib import Path

from tests.faults.cases import CASES


def main() -> int:
    """Play the cases and print the table."""
    parser = argparse.ArgumentParser(prog="tests.faults", description=__doc__)
    parser.add_argument("--trials", type=int, default=20)
    parser.add_argument("--only", action="append", choices=list(CASES))
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    print(f"{'case':<32}{'trials':>8}{'losses':>8}{'seconds':>9}  remarks", flush=True)
    lost = 0
    for number, (name, (case, share)) in enumerate(CASES.items()):
        if options.only and name not in options.only:
            continue
        folder = Path(tempfile.mkdtemp(prefix="pitchcam-faults-"))
        began = time.monotonic()
        try:
            trials = max(1, round(options.trials * share))
            score = case(folder / "case", trials, random.Random(f"{options.seed} {number}"))
        finally:
            shutil.rmtree(folder, ignore_errors=True)
        lost += score.losses
        passed = time.monotonic() - began
        print(
            f"{name:<32}{score.trials:>8}{score.losses:>8}{passed:>9.0f}  {score.note}", flush=True
        )
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main())
