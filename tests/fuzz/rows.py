"""Rows of a study: one for each seed, measured by many processes and kept as they come."""

from __future__ import annotations

import argparse
import json
import os
import signal
import traceback
import warnings
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path
from typing import Any

Row = dict[str, Any]
#: A row that takes longer hangs: seconds by the clock, which a busy machine draws out.
HANG_S = 300


class LateError(BaseException):
    """A row took longer than HANG_S; not an Exception, so that no boundary catches it."""


def _late(*_: Any) -> None:
    raise LateError


def guarded(row: Row, judge: Callable[[], Row]) -> Row:
    """Return the row with what ``judge`` finds; what is foreign and what hangs are its fault."""
    signal.signal(signal.SIGALRM, _late)
    signal.alarm(HANG_S)
    try:
        return row | judge()
    except LateError:
        return row | {"fault": f"longer than {HANG_S} s"}
    except Exception as error:
        cause = error.__cause__ or error
        place = traceback.extract_tb(cause.__traceback__)[-1]
        at = f"{Path(place.filename).name}:{place.lineno}"
        return row | {"fault": f"{at} {type(cause).__name__}: {cause}"}
    finally:
        signal.alarm(0)


def measure(row_of: Callable[[str], Row], options: argparse.Namespace) -> list[Row]:
    """Measure what the file does not hold yet; rows are written as they come."""
    seeds = [f"{options.seed}-{k}" for k in range(options.count)]
    output = Path(options.output)
    rows = read(output)
    there = {row["seed"] for row in rows}
    os.environ["OMP_NUM_THREADS"] = "1"  # one process, one core
    pool = ProcessPoolExecutor(options.processes, get_context("spawn"), initializer=_quiet)
    with output.open("a", encoding="utf-8") as file, pool:
        file.write("\n" if file.tell() else "")  # after a row that a kill cut short
        left = {pool.submit(row_of, seed): seed for seed in seeds if seed not in there}
        for done in as_completed(left):
            try:
                row = done.result()
            except BrokenProcessPool:  # all that is not measured yet: one of them killed it
                row = {"seed": left[done], "name": "", "done": (), "fault": "the process died"}
            rows.append(row)
            file.write(json.dumps(row) + "\n")
            file.flush()
    return rows


def _quiet() -> None:
    import cv2

    cv2.setNumThreads(1)
    warnings.simplefilter("ignore")


def read(output: Path) -> list[Row]:
    """Return the rows that a file holds; one that a kill cut short is left out."""
    rows = []
    for line in output.read_text("utf-8").splitlines() if output.exists() else ():
        try:
            rows.append(json.loads(line))
        except ValueError:
            continue
    return rows


def parser(prog: str, text: str | None) -> argparse.ArgumentParser:
    """Return the options that every study of rows has."""
    made = argparse.ArgumentParser(prog=f"tests.fuzz {prog}", description=text)
    made.add_argument("--seed", type=int, default=1)
    made.add_argument("--count", type=int, default=100)
    made.add_argument("-j", "--processes", type=int, default=os.cpu_count() or 1)
    made.add_argument("-o", "--output", type=Path, required=True)
    made.add_argument("--again", metavar="S-K", help="Write this row's photo to the output.")
    return made
