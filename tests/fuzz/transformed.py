"""Samples transformed with known truth, a row each: ``python -m tests.fuzz transformed``.

Row K of seed S comes from the text ``S-K`` alone, however many processes share the work, so that
each can be had again: ``--again S-K -o photo.jpg``. Rows that the file holds already are kept and
not measured anew; ``--count 0`` prints the table of what is there.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import traceback
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from tests.fuzz import transform
from tests.fuzz.promises import kept

Row = dict[str, Any]
#: Width at which samples are measured; what the cameras of 2012 gave.
SAMPLE_WIDTH_PX = 1800
#: A row that takes longer hangs: seconds by the clock, which a busy machine draws out.
HANG_S = 300
#: 95 % of a normal distribution lies within so many standard deviations.
COVER = 1.96
#: tests.accuracy's words for a thread's outcome -> those of the table.
_WORDS = {"named": "right", "candidate": "open", "missed": "open, truth not listed"}
_QUANTITIES = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm", "angle_deg", "taper")


class LateError(BaseException):
    """A row took longer than HANG_S; not an Exception, so that no boundary catches it."""


def photo_of(seed: str) -> tuple[transform.Sample, bytes, tuple[str, ...]]:
    """Return the sample, the transformed picture as JPEG, and what was done to it."""
    return transform.transformed(random.Random(seed), SAMPLE_WIDTH_PX)


def row_of(seed: str) -> Row:
    """Measure the transformed photo of a seed."""
    chosen, data, done = photo_of(seed)
    row: Row = {"seed": seed, "name": chosen.name, "done": done}
    signal.signal(signal.SIGALRM, _late)
    signal.alarm(HANG_S)
    try:
        return row | judged(chosen.truth, kept(data, ".jpg"))
    except LateError:
        return row | {"fault": f"longer than {HANG_S} s"}
    except Exception as error:
        cause = error.__cause__ or error
        place = traceback.extract_tb(cause.__traceback__)[-1]
        at = f"{Path(place.filename).name}:{place.lineno}"
        return row | {"fault": f"{at} {type(cause).__name__}: {cause}"}
    finally:
        signal.alarm(0)


def _late(*_: Any) -> None:
    raise LateError


def judged(truth: Row, path: Path) -> Row:
    """Measure a photo; return its refusal, or each true thread's outcome and what is too much.

    Raises
    ------
    Exception
        What is foreign, and inner faults; none may be.

    """
    from pitchcam import identify
    from pitchcam.errors import InnerFaultError, PitchcamError
    from pitchcam.records import json_text
    from tests.accuracy import assign, scale_of

    try:
        result = identify(path, scale_of(truth))
    except InnerFaultError:
        raise
    except PitchcamError as error:
        return {"refused": error.code, "why": str(error)}
    json_text(result.to_json())
    faults = [w.message for w in result.warnings if w.code == "fault"]
    if faults:
        return {"fault": faults[0]}
    found = [t for part in result.parts for t in part.threads]
    pairs = assign(truth["threads"], found)
    threads = [
        _thread(true, found[pairs[i]] if i in pairs else None)
        for i, true in enumerate(truth["threads"])
    ]
    # Without a diameter it cannot be told which of the photo's threads it is.
    there = {t["designation"] for t in truth["threads"]}
    rest = [found[j].verdict for j in range(len(found)) if j not in pairs.values()]
    extra = [v.designation for v in rest if v.status == "named" and v.designation not in there]
    return {"flags": [w.code for w in result.warnings], "threads": threads, "extra": extra}


def _thread(true: Row, thread: Any) -> Row:
    from tests.accuracy import judge, true_values

    out: Row = {"true": true["designation"], "outcome": "not found", "read": {}}
    if thread is None:
        return out
    verdict = judge(true["designation"], thread)
    out["outcome"] = _WORDS.get(verdict, verdict)
    out["named"], out["probability"] = thread.verdict.designation, thread.verdict.probability
    for key, value in true_values(true, thread).items():
        quantity = getattr(thread.reading, key)
        if quantity is not None:
            out["read"][key] = [quantity.value, quantity.u, value]
    return out


def measure(seeds: list[str], processes: int, output: Path) -> list[Row]:
    """Measure what the file does not hold yet; rows are written as they come."""
    rows = read(output)
    there = {row["seed"] for row in rows}
    os.environ["OMP_NUM_THREADS"] = "1"  # one process, one core
    pool = ProcessPoolExecutor(processes, get_context("spawn"), initializer=_quiet)
    with output.open("a", encoding="utf-8") as file, pool:
        file.write("\n" if file.tell() else "")  # after a row that a kill cut short
        left = {pool.submit(row_of, seed): seed for seed in seeds if seed not in there}
        for done in as_completed(left):
            try:
                row = done.result()
            except BrokenProcessPool:  # all that is not measured yet: one of them killed it
                row = {"seed": left[done], "name": "", "done": [], "fault": "the process died"}
            rows.append(row)
            file.write(json.dumps(row) + "\n")
            file.flush()
    return rows


def _quiet() -> None:
    import warnings

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


def wrong(row: Row) -> list[str]:
    """Return the wrong names of a row as text."""
    return [
        f"{t['named']} for {t['true']} ({t['probability']:.4f})"
        for t in row.get("threads", ())
        if t["outcome"] == "WRONG"
    ] + [f"{name} for nothing" for name in row.get("extra", ())]


def table(rows: list[Row]) -> str:
    """Return the figures of rows as text."""
    refused = Counter(row["refused"] for row in rows if "refused" in row)
    faults = [row for row in rows if "fault" in row]
    threads = [t for row in rows for t in row.get("threads", ())]
    outcomes = Counter(t["outcome"] for t in threads)
    bad = [(row, text) for row in rows for text in wrong(row)]
    order = ", ".join(f"{code} {n}" for code, n in refused.most_common())
    lines = [
        f"{len(rows)} photos: {len(rows) - refused.total() - len(faults)} measured, "
        f"{refused.total()} refused ({order}), {len(faults)} foreign exceptions or inner faults",
        f"{len(threads)} threads judged: "
        + ", ".join(f"{name} {n}" for name, n in outcomes.most_common()),
        f"wrong names: {len(bad)}",
        *(f"  WRONG {r['seed']} {r['name']} ({', '.join(r['done'])}): {text}" for r, text in bad),
        *(
            f"  FAULT {r['seed']} {r['name']} ({', '.join(r['done'])}): {r['fault']}"
            for r in faults
        ),
        "",
        *_intervals(rows),
    ]
    return "\n".join(lines)


def _intervals(rows: list[Row]) -> list[str]:
    """Return how often the truth lies within COVER u, by quantity and kind of change."""
    sizes: dict[tuple[str, str], list[float]] = defaultdict(list)
    for row in rows:
        for thread in row.get("threads", ()):
            for key, (value, u, true) in thread["read"].items():
                z = (value - true) / u if u > 0 else float("inf")
                for kind in ("all", *sorted(set(row["done"]))):
                    sizes[kind, key].append(z)
                    sizes[kind, "together"].append(z)
    columns = ("together", *_QUANTITIES)
    kinds = ["all", *sorted({kind for kind, _ in sizes} - {"all"})]
    head = f"{f'in {COVER} u, rms':<14}" + "".join(f"{c:>19}" for c in columns)
    return [head, *(f"{k:<14}" + "".join(_cell(sizes[k, c]) for c in columns) for k in kinds)]


def _cell(z: list[float]) -> str:
    if not z:
        return f"{'-':>19}"
    share = sum(abs(v) <= COVER for v in z) / len(z)
    rms = (sum(min(v * v, 100.0) for v in z) / len(z)) ** 0.5  # one of 10 u counts as 10
    return f"{100 * share:.1f} % {rms:.2f} ({len(z)})".rjust(19)


def main(words: list[str]) -> int:
    """Measure transformed samples and print the table; 1 where a promise broke."""
    parser = argparse.ArgumentParser(prog="tests.fuzz transformed", description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("-j", "--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("-o", "--output", type=Path, required=True)
    parser.add_argument("--again", metavar="S-K", help="Write this row's photo to the output.")
    options = parser.parse_args(words)
    if options.again:
        chosen, data, done = photo_of(options.again)
        options.output.write_bytes(data)
        print(f"{chosen.name}: {', '.join(done)}; reference {json.dumps(chosen.truth['scale'])}")
        return 0
    seeds = [f"{options.seed}-{k}" for k in range(options.count)]
    rows = measure(seeds, options.processes, options.output)
    print(table(rows))
    return 1 if any("fault" in row or wrong(row) for row in rows) else 0
