"""Makes the breaks one at a time in a copy, and tells which test catches each.

``python -m tests.breaks [--only PATTERN] [--jobs N]``. First the tests must pass on the unbroken
copy. A break that no test catches, or whose old text is no longer in the source (stale), fails.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.breaks import ROOT, Break, load_breaks, stale

COPIED = ("pitchcam", "tests", "calibration", "pyproject.toml", "README.md", "DEVELOPERS.md")
LINKED = ("samples", "docs", ".ci")
#: A broken program may run for ever.
LIMIT_S = 180.0


def copy_to(folder: Path) -> Path:
    """Copy what the tests need; what no break touches is linked."""
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(source, folder / name)
    for name in LINKED:
        (folder / name).symlink_to(ROOT / name)
    return folder


def run_tests(folder: Path, tests: Sequence[str]) -> str | None:
    """Run tests in a copy until one fails; return its name, None where all pass."""
    alone = {name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")}
    command = [
        sys.executable,
        "-B",
        "-m",
        "pytest",
        "-x",
        "-q",
        "-p",
        "no:cacheprovider",
        "--tb=no",
        "-rfE",
        *tests,
    ]
    try:
        done = subprocess.run(
            command,
            cwd=folder,
            capture_output=True,
            text=True,
            timeout=LIMIT_S,
            check=False,
            env=os.environ | alone | {"PYTHONPATH": str(folder)},
        )
    except subprocess.TimeoutExpired:
        return f"(no end within {LIMIT_S:.0f} s)"
    if done.returncode == 0:
        return None
    found = re.search(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", done.stdout, re.MULTILINE)
    return found[1] if found else f"(pytest ends with {done.returncode}: {done.stdout[-300:]})"


class Bench:
    """Copies of the source, one per worker, each broken and mended again."""

    def __init__(self, place: Path) -> None:
        self._place, self._own, self._lock, self._count = (
            place,
            threading.local(),
            threading.Lock(),
            0,
        )

    def folder(self) -> Path:
        """Return this worker's copy."""
        if not hasattr(self._own, "folder"):
            with self._lock:
                self._count += 1
                number = self._count
            fresh = self._place / f"copy{number}"
            fresh.mkdir()
            self._own.folder = copy_to(fresh)
        folder: Path = self._own.folder
        return folder

    def caught_by(self, one: Break) -> str | None:
        """Return the test that catches a break."""
        folder = self.folder()
        path = folder / one.file
        whole = path.read_text(encoding="utf-8")
        broken = one.applied(whole)
        assert broken is not None
        path.write_text(broken, encoding="utf-8")
        try:
            return run_tests(folder, one.tests)
        finally:
            path.write_text(whole, encoding="utf-8")


def main() -> int:
    """Make the breaks and print what catches each."""
    parser = argparse.ArgumentParser(prog="python -m tests.breaks", description=__doc__)
    parser.add_argument("--only", default="", help="regular expression for file or words")
    parser.add_argument("--jobs", type=int, default=2, help="breaks at a time")
    options = parser.parse_args()
    breaks = [b for b in load_breaks() if re.search(options.only, b.title)]
    gone = stale(breaks)
    for one in gone:
        print(f"STALE       {one.title}: its old text is not there exactly once")
    breaks = [b for b in breaks if b not in gone]
    uncaught = 0
    with tempfile.TemporaryDirectory() as place, ThreadPoolExecutor(options.jobs) as workers:
        bench = Bench(Path(place))
        failing = run_tests(bench.folder(), sorted({t for b in breaks for t in b.tests}))
        if failing is not None:
            print(f"the unbroken source fails {failing}: mend that first", file=sys.stderr)
            return 2
        for one, test in zip(breaks, workers.map(bench.caught_by, breaks), strict=True):
            uncaught += test is None
            print(
                f"{'NOT CAUGHT' if test is None else 'caught':<10}  {one.title}"
                + (f"\n            by {test}" if test else ""),
                flush=True,
            )
    print(
        f"\n{len(breaks) - uncaught} of {len(breaks)} breaks caught"
        + (f", {len(gone)} stale" if gone else "")
    )
    return 1 if uncaught or gone else 0


if __name__ == "__main__":
    sys.exit(main())
