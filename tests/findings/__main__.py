"""Pictures that once broke a promise, each with its answer today: ``python -m tests.findings``.

Each is given to the command line as a person would. ``--beside FOLDER`` names what is byte for byte
the same there, and tells which of that folder's pictures are not among the findings. The exit code
is 1 where an answer is not as it was kept.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import json
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
#: A program that thinks longer hangs, seconds by the clock.
_HANG_S = 120.0


@dataclass(frozen=True)
class Answer:
    """What a picture was answered with: exit code, the one line or the names, and faults of both.

    ``faults`` says what is not as promised, nothing where all is.
    """

    exit: int
    says: str
    seconds: float
    faults: tuple[str, ...]


def answered(path: Path, row: dict[str, str]) -> Answer:
    """Ask the command line for a picture, and hold the answer against its row."""
    command = [sys.executable, "-m", "pitchcam", "identify", str(path), *row["options"].split()]
    start = time.monotonic()
    try:
        told = subprocess.run(
            [*command, "--json"], capture_output=True, text=True, timeout=_HANG_S, check=False
        )
    except subprocess.TimeoutExpired:
        return Answer(-1, "", _HANG_S, ("hangs",))
    passed, code = time.monotonic() - start, told.returncode
    # What runs longer than a second says so, one step a line.
    lines = [s for s in told.stderr.splitlines() if s.startswith("pitchcam: ")]
    says = lines[-1].removeprefix("pitchcam: ") if lines else ""
    kept = [int(n) for n in row["exit"].split()]
    faults = [] if code in kept else [f"exit {code} where {row['exit']} was kept"]
    if "Traceback" in told.stderr or "inner fault" in told.stderr:
        faults.append("an inner fault")
    if code == 4 and (len(lines) != 1 or row["says"] not in says):
        faults.append(f"says nothing of '{row['says']}'")
    if code in (0, 3):
        says, wrong = _names(told.stdout, row["says"])
        faults += wrong
    return Answer(code, says, passed, tuple(faults))


def _names(text: str, true: str) -> tuple[str, list[str]]:
    """Return the verdicts of a document, and what is wrong: a name, or no strict JSON."""

    def refuse(word: str) -> None:
        raise ValueError(f"{word} in JSON")

    try:
        document = json.loads(text, parse_constant=refuse)
    except ValueError as error:
        return "", [str(error)]
    verdicts = [t["verdict"] for part in document["parts"] for t in part["threads"]]
    names = {v["designation"] for v in verdicts} - {None, true}
    wrong = [f"wrong name {name}" for name in sorted(names)]
    return ", ".join(v["designation"] or v["status"] for v in verdicts), wrong


def same_bytes(folder: Path) -> dict[str, str]:
    """Return the names of a folder's pictures by their digest."""
    files = [f for f in sorted(folder.iterdir()) if f.suffix in (".jpg", ".png")]
    return {hashlib.sha256(f.read_bytes()).hexdigest(): f.name for f in files}


def table(rows: list[dict[str, str]], beside: dict[str, str]) -> Iterator[tuple[str, bool]]:
    """Yield the lines of the table, each with whether it is as it must be."""
    left = dict(beside)
    for row in rows:
        path = HERE / "photos" / row["file"]
        own = left.pop(hashlib.sha256(path.read_bytes()).hexdigest(), None)
        if beside and own is None:
            continue
        found = answered(path, row)
        text = f"{own or row['file']:<46}{row['options']:<18}{found.exit:>5}{found.seconds:>7.1f}  "
        yield text + found.says + "".join(f"  *** {f}" for f in found.faults), not found.faults
    for name in left.values():
        yield f"{name:<46}  *** is not among the findings", False


def main() -> int:
    """Ask for each picture and print the table."""
    parser = argparse.ArgumentParser(prog="tests.findings", description=__doc__)
    parser.add_argument("--beside", type=Path, help="Only what is the same in this folder.")
    options = parser.parse_args()
    with (HERE / "photos.csv").open(newline="") as handle:
        rows = list(csv.DictReader(handle))
    print(f"{'picture':<46}{'call':<18}{'exit':>5}{'s':>7}  answer", flush=True)
    held, count = 0, 0
    for text, good in table(rows, same_bytes(options.beside) if options.beside else {}):
        print(text, flush=True)
        held, count = held + good, count + 1
    print(f"{held} of {count} as promised")
    return 0 if held == count else 1


if __name__ == "__main__":
    sys.exit(main())
