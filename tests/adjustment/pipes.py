"""Pipe threads that have a twin: how many are named, of photos drawn by exact means."""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from tests.envelope.dials import WITHIN, Setting, drawn
from tests.envelope.photo import PIN_MM, draw
from tests.fresh.measure import guarded

NAMES = ("1/2-14 NPT", "R 1/2", "G 1/2", "3/4-14 NPT", "R 3/4", "G 3/4")
#: Pixels per mm and turns that are drawn; more would not fit into the frame.
PX_PER_MM, TURNS = (20.0, 22.0), (8.0, 9.0)
PITCH_MM = 25.4 / 14


def setting(number: int, seed: int) -> Setting:
    """Return how a photo is taken: any way within the limits, at these pixels and turns."""
    rng = np.random.default_rng([seed, 14, number])
    at = drawn(rng, WITHIN)
    return replace(
        at,
        px_per_pitch=float(rng.uniform(*PX_PER_MM)) * PITCH_MM,
        turns=float(rng.uniform(*TURNS)),
        off_middle_mm=0.0,
        zoom=1.0,
    )


def rows(count: int, seed: int) -> Iterator[dict[str, Any]]:
    """Draw and measure photos, each of the next thread."""
    for number in range(count):
        with tempfile.TemporaryDirectory() as room:
            photo = Path(room) / "photo.jpg"
            draw(NAMES[number % len(NAMES)], setting(number, seed), (seed, 14, number), photo)
            for row in guarded(photo.with_suffix(".json")):
                yield row | {"number": number}


def table(found: list[dict[str, Any]]) -> str:
    """Return what became of each thread."""
    outcomes = ("right", "open", "none", "broken", "wrong")
    out = [f"{'thread':<12}{'photos':>8}" + "".join(f"{o:>8}" for o in outcomes)]
    for name in (*NAMES, "all"):
        some = [r for r in found if name in (r["truth"], "all")]
        counts = Counter(r["outcome"] for r in some)
        out.append(f"{name:<12}{len(some):>8}" + "".join(f"{counts[o]:>8}" for o in outcomes))
    named = [r for r in found if r["outcome"] in ("right", "wrong")]
    right = sum(r["outcome"] == "right" for r in found)
    out.append(
        f"named right: {right} of {len(found)} = {100 * right / max(len(found), 1):.1f} %, "
        f"wrong: {len(named) - right}; pin of {PIN_MM:g} mm"
    )
    out += [
        f"  {r['outcome']}: {r['truth']} read as {r.get('answer')} ({r.get('why', '')})"
        for r in found
        if r["outcome"] not in ("right",)
    ]
    return "\n".join(out)
