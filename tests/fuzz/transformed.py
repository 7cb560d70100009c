"""Samples transformed with known truth, a row each: ``python -m tests.fuzz transformed``.

Row K of seed S comes from the text ``S-K`` alone, however many processes share the work, so that
each can be had again: ``--again S-K -o photo.jpg``. Rows that the file holds already are kept and
not measured anew; ``--count 0`` prints the table of what is there.
"""

from __future__ import annotations

import json
import random
from collections import Counter, defaultdict
from pathlib import Path
from statistics import median
from typing import Any

from tests.fuzz import transform
from tests.fuzz.promises import kept
from tests.fuzz.rows import Row, guarded, measure, parser

#: Width at which samples are measured; what the cameras of 2012 gave.
SAMPLE_WIDTH_PX = 1800
#: 95 % of a normal distribution lies within so many standard deviations.
COVER = 1.96
#: tests.accuracy's words for a thread's outcome -> those of the table.
_WORDS = {"named": "right", "candidate": "open", "missed": "open, truth not listed"}
#: The last rows of the table of intervals: each thread's own error, and what the changes add.
OF_THREADS, OF_CHANGES = "threads' own", "by changes"
_QUANTITIES = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm", "angle_deg", "taper")


def photo_of(seed: str) -> tuple[transform.Sample, bytes, tuple[str, ...]]:
    """Return the sample, the transformed picture as JPEG, and what was done to it."""
    return transform.transformed(random.Random(seed), SAMPLE_WIDTH_PX)


def row_of(seed: str) -> Row:
    """Measure the transformed photo of a seed."""
    chosen, data, done = photo_of(seed)
    row: Row = {"seed": seed, "name": chosen.name, "done": done}
    return guarded(row, lambda: judged(chosen.truth, kept(data, ".jpg")))


def judged(truth: Row, path: Path) -> Row:
    """Measure a photo; return its refusal, or each true thread's outcome and what is too much.

    Raises
    ------
    Exception
        What is foreign, and inner faults; none may be.

    """
    from pitchcam import identify
    from pitchcam.errors import InnerFaultError, InputError, UnreadableError
    from pitchcam.records import json_text
    from tests.accuracy import assign, scale_of

    try:
        result = identify(path, scale_of(truth))
    except InnerFaultError:
        raise
    except (InputError, UnreadableError) as error:
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
    sizes |= _told_apart(rows)
    columns = ("together", *_QUANTITIES)
    last = [OF_THREADS, OF_CHANGES]
    kinds = ["all", *sorted({kind for kind, _ in sizes} - {"all", *last}), *last]
    head = f"{f'in {COVER} u, rms':<14}" + "".join(f"{c:>19}" for c in columns)
    return [head, *(f"{k:<14}" + "".join(_cell(sizes[k, c]) for c in columns) for k in kinds)]


def _told_apart(rows: list[Row]) -> dict[tuple[str, str], list[float]]:
    """Return what each thread's error is in the middle, and what the changes do to it, in u.

    The samples are few: what is read of one is wrong by as much in a hundred changes of it, and
    counts as one error.
    """
    seen: dict[tuple[str, str, str], list[tuple[float, float]]] = defaultdict(list)
    for row in rows:
        for thread in row.get("threads", ()):
            for key, (value, u, true) in thread["read"].items():
                if u > 0:
                    seen[row["name"], thread["true"], key].append((value - true, u))
    sizes: dict[tuple[str, str], list[float]] = defaultdict(list)
    for (_, _, key), found in seen.items():
        middle = median(error for error, _ in found)
        for column in (key, "together"):
            sizes[OF_THREADS, column].append(middle / median(u for _, u in found))
            sizes[OF_CHANGES, column] += [(error - middle) / u for error, u in found]
    return sizes


def _cell(z: list[float]) -> str:
    if not z:
        return f"{'-':>19}"
    share = sum(abs(v) <= COVER for v in z) / len(z)
    rms = (sum(min(v * v, 100.0) for v in z) / len(z)) ** 0.5  # one of 10 u counts as 10
    return f"{100 * share:.1f} % {rms:.2f} ({len(z)})".rjust(19)


def main(words: list[str]) -> int:
    """Measure transformed samples and print the table; 1 where a promise broke."""
    options = parser("transformed", __doc__).parse_args(words)
    if options.again:
        chosen, data, done = photo_of(options.again)
        options.output.write_bytes(data)
        print(f"{chosen.name}: {', '.join(done)}; reference {json.dumps(chosen.truth['scale'])}")
        return 0
    rows = measure(row_of, options)
    print(table(rows))
    return 1 if any("fault" in row or wrong(row) for row in rows) else 0
