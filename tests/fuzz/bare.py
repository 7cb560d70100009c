"""Scenes without a thread, a row each: ``python -m tests.fuzz no-thread``.

Row K of seed S comes from the text ``S-K`` alone; ``--again S-K -o photo.png`` writes its picture.
Rows that the file holds already are kept; ``--count 0`` prints the table of what is there.
"""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import cv2
import numpy as np

from tests.fuzz import scenes
from tests.fuzz.measuring import SPECS
from tests.fuzz.promises import kept
from tests.fuzz.rows import Row, guarded, measure, parser

#: Least and most width and height: up to where a thread of a dozen turns would be seen well, while
#: hundreds go by in a minute.
SIDES_PX = (300, 1600)
#: A thread that is shown with more than this is looked at, though it is not named.
LIKELY = 0.5
#: A reference that is not in the scene refuses all alike; crests of a stated diameter always may.
_OFTEN = tuple(5 if source == "major" else 1 for source, _ in SPECS)


def scene_of(seed: str) -> tuple[bytes, int, tuple[str, ...]]:
    """Return the picture as PNG, which of SPECS is stated, and what was drawn."""
    rng = random.Random(f"no thread {seed}")
    image, shown = scenes.laid_scene(np.random.default_rng(rng.getrandbits(64)), SIDES_PX)
    which = rng.choices(range(len(SPECS)), _OFTEN)[0]
    return cv2.imencode(".png", image)[1].tobytes(), which, shown


def row_of(seed: str) -> Row:
    """Measure the scene of a seed."""
    data, which, shown = scene_of(seed)
    source, mm = SPECS[which]
    row: Row = {"seed": seed, "stated": f"{source} {mm or ''}".strip(), "shown": shown}
    return guarded(row, lambda: judged(kept(data, ".png"), which))


def judged(path: Path, which: int) -> Row:
    """Measure a scene; return its refusal, or what it shows as threads.

    Raises
    ------
    Exception
        What is foreign, inner faults, and errors that speak of anything but the photo; none may be.

    """
    from pitchcam import identify
    from pitchcam.errors import InnerFaultError, UnreadableError
    from pitchcam.records import ScaleSpec, json_text

    source, mm = SPECS[which]
    try:
        result = identify(path, ScaleSpec(source=source, mm=mm))  # type: ignore[arg-type]
    except InnerFaultError:
        raise
    except UnreadableError as error:
        return {"refused": error.code, "why": str(error)}
    json_text(result.to_json())
    faults = [w.message for w in result.warnings if w.code == "fault"]
    if faults:
        return {"fault": faults[0]}
    verdicts = [t.verdict for part in result.parts for t in part.threads]
    return {
        "threads": [
            {
                "status": v.status,
                "named": v.designation,
                "likely": max([v.probability or 0.0, *(c.probability for c in v.candidates)]),
            }
            for v in verdicts
        ]
    }


def named(row: Row) -> list[Row]:
    """Return what of a row is named."""
    return [t for t in row.get("threads", ()) if t["status"] == "named"]


def table(rows: list[Row]) -> str:
    """Return the figures of rows as text."""
    refused = Counter(row["refused"] for row in rows if "refused" in row)
    faults = [row for row in rows if "fault" in row]
    measured = [row for row in rows if "threads" in row]
    statuses = Counter(t["status"] for row in measured for t in row["threads"])
    order = ", ".join(f"{code} {n}" for code, n in refused.most_common())
    likely = [r for r in measured if any(t["likely"] > LIKELY for t in r["threads"])]
    return "\n".join(
        [
            f"{len(rows)} scenes without a thread: {sum(bool(named(row)) for row in rows)} named, "
            f"{len(faults)} foreign exceptions or inner faults",
            f"{refused.total()} refused: {order}",
            f"{len(measured)} measured, their threads: "
            + (", ".join(f"{name} {n}" for name, n in statuses.most_common()) or "none"),
            f"shown as open with a candidate over {LIKELY:g}: "
            f"{sum(not named(row) for row in likely)}",
            *(_line("NAMED", row) for row in rows if named(row)),
            *(_line("LIKELY", row) for row in likely if not named(row)),
            *(f"  FAULT {row['seed']}: {row['fault']}" for row in faults),
            "",
            *_by_object(rows),
        ]
    )


def _line(word: str, row: Row) -> str:
    best = max(row["threads"], key=lambda t: float(t["likely"]))
    return (
        f"  {word} {row['seed']} ({', '.join(row['shown'])}; {row['stated']}): "
        f"{best['named'] or best['status']} {best['likely']:.4f}"
    )


def _by_object(rows: list[Row]) -> list[str]:
    """Return how the scenes that show each kind of object ended."""
    lines = [f"{'scenes that show':<18}{'scenes':>8}{'refused':>9}{'open':>6}{'named':>7}"]
    for kind in sorted({kind for row in rows for kind in row.get("shown", ())}):
        own = [row for row in rows if kind in row.get("shown", ())]
        count = sum(bool(named(row)) for row in own)
        seen = sum("threads" in row for row in own)
        refused = sum("refused" in row for row in own)
        lines.append(f"{kind:<18}{len(own):>8}{refused:>9}{seen - count:>6}{count:>7}")
    return lines


def main(words: list[str]) -> int:
    """Measure scenes without a thread and print the table; 1 where a promise broke."""
    options = parser("no-thread", __doc__).parse_args(words)
    if options.again:
        data, which, shown = scene_of(options.again)
        options.output.write_bytes(data)
        source, mm = SPECS[which]
        print(f"{', '.join(shown) or 'nothing'}; reference {source} {mm or ''}".strip())
        return 0
    rows = measure(row_of, options)
    print(table(rows))
    return 1 if any("fault" in row or named(row) for row in rows) else 0
