"""Photos of several threads before and after they tell each other's scale, in one measuring.

What is compared is what goes into the adjustment of a picture and what comes out of it, for every
thread that it moved: errors against the truth, in per cent, and errors over u.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from pitchcam.pipeline import answer
from tests.accuracy import scale_of, true_values
from tests.fresh.measure import pair
from tests.fresh.table import FAULT, common_scale

Row = dict[str, Any]
LENGTHS = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm")


def rows(folders: Sequence[Path]) -> Iterator[Row]:
    """Yield a row for each thread that others moved: errors and u before and after, relative."""
    for folder in folders:
        for file in sorted(folder.glob("*.json")):
            truth = json.loads(file.read_text(encoding="utf-8"))
            if isinstance(truth, dict) and len(truth.get("threads", ())) > 1:
                yield from of_photo(truth, file.with_name(truth["file"]))


def of_photo(truth: Row, photo: Path) -> list[Row]:
    """Return the rows of one photo; none where it is refused or nobody spoke."""
    from pitchcam.errors import PitchcamError

    told: list[tuple[Any, Any]] = []
    adjusts = answer.as_the_picture_tells

    def heard(parts: Any, *rest: Any) -> Any:
        after, axes = adjusts(parts, *rest)
        told.append((parts, after))
        return after, axes

    with patch.object(answer, "as_the_picture_tells", heard):
        try:
            answer.identify(photo, scale_of(truth), plots=False)
        except PitchcamError:
            return []
    if not told:
        return []
    both = [[t for p in parts for t in p.threads] for parts in told[-1]]
    out = []
    for i, j in pair(truth["threads"], both[0]).items():
        before, after = (threads[j] for threads in both)
        if before.reading != after.reading:
            true = truth["threads"][i]
            row = {"reference": truth["scale"]["source"], "truth": true["designation"]}
            out.append(row | {"before": _off(true, before), "after": _off(true, after)})
    return out


def _off(true: Row, thread: Any) -> Row:
    at_station = true_values(true, thread)
    lengths = {
        name: ((q.value - at_station[name]) / at_station[name], q.u / at_station[name])
        for name in LENGTHS
        if name in at_station and (q := getattr(thread.reading, name)) is not None
    }
    return {"name": thread.verdict.designation, "lengths": lengths}


def table(found: Sequence[Row]) -> str:
    """Return errors before and after by reference and quantity, and the scale that lengths share.

    Threads whose scale was not known to FAULT before, told by nothing in the picture, are left out.
    """
    known = [r for r in found if r["before"]["lengths"].get("pitch_mm", (0.0, 1.0))[1] < FAULT]
    lines = [f"{'reference':<10}{'':<18}{'threads':>8}{'median, %':>18}{'rms, %':>18}{'rms z':>14}"]
    for reference in ("all", *sorted({r["reference"] for r in known})):
        some = [r for r in known if reference in ("all", r["reference"])]
        for name in LENGTHS:
            two = [_figures(some, when, name) for when in ("before", "after")]
            if two[0] is not None and two[1] is not None:
                n, *before = two[0]
                after = two[1][1:]
                cells = [
                    f"{b:.{d}f} -> {a:.{d}f}"
                    for b, a, d in zip(before, after, (3, 3, 2), strict=True)
                ]
                lines.append(
                    f"{reference:<10}{name:<18}{n:>8}{cells[0]:>18}{cells[1]:>18}{cells[2]:>14}"
                )
    for when in ("before", "after"):
        named = [(r[when]["name"], r["truth"]) for r in known if r[when]["name"]]
        right = sum(name == truth for name, truth in named)
        lines.append(
            f"{when}: {right} named right, {len(named) - right} wrong; scale that pitch and major "
            f"diameter share {100 * common([r[when]['lengths'] for r in known]):.3f} % rms"
        )
    return "\n".join(lines)


def _figures(some: Sequence[Row], when: str, name: str) -> tuple[int, float, float, float] | None:
    pairs = [r[when]["lengths"][name] for r in some if name in r[when]["lengths"]]
    if not pairs:
        return None
    e, u = np.array(pairs).T
    clipped = np.clip(e, -FAULT, FAULT)
    return (
        len(e),
        100 * float(np.median(np.abs(e))),
        100 * float(np.sqrt(np.mean(clipped**2))),
        float(np.sqrt(np.mean((e / u) ** 2))),
    )


def common(lengths: Sequence[Row]) -> float:
    """Return the rms of what pitch and major diameter err by alike."""
    both = [x for x in lengths if "pitch_mm" in x and "major_mm" in x]
    return common_scale([x["pitch_mm"][0] for x in both], [x["major_mm"][0] for x in both])
