"""Rendered photos by their reference, by the crests' caliper reading, and by both in one answer."""

from __future__ import annotations

import json
import zlib
from pathlib import Path
from typing import Any

import numpy as np

#: Standard deviation of a caliper's reading, and its step, mm.
U_READING_MM, STEP_MM = 0.012, 0.01
#: What stands in a row's ``photos``: by the object, by the reading, by both.
OBJECT, READING, BOTH = 1, 2, 3


def photos_of(folders: list[Path], most: int) -> list[Path]:
    """Return truth files of well taken photos with one thread and an object as reference."""
    found = []
    for folder in folders:
        for file in sorted(folder.glob("good*.json")):
            truth = json.loads(file.read_text(encoding="utf-8"))
            if truth["scale"]["source"] not in ("major", "none") and len(truth["threads"]) == 1:
                found.append(file)
    order = np.random.default_rng(5).permutation(len(found))
    return [found[i] for i in order[:most]]


def measure(file: Path) -> list[dict[str, Any]]:
    """Return the rows of one photo; none where a thread is missing."""
    from pitchcam import ScaleSpec, identify
    from pitchcam.errors import PitchcamError
    from pitchcam.several import together
    from tests.accuracy import scale_of, true_values

    truth = json.loads(file.read_text(encoding="utf-8"))
    photo, [true] = file.with_name(truth["file"]), truth["threads"]
    rng = np.random.default_rng(zlib.crc32(file.name.encode()))
    read = true["major_mm"] + rng.normal(0, U_READING_MM)
    reading = ScaleSpec(source="major", mm=float(STEP_MM * np.round(read / STEP_MM)))
    specs = [scale_of(truth), reading]
    try:
        alone = [identify(photo, spec, plots=False) for spec in specs]
        infos = [m.photo for m in alone if m.photo is not None]
        told = [*alone, together(alone, infos, specs)]
    except PitchcamError:
        return []
    rows = []
    for what, m in zip((OBJECT, READING, BOTH), told, strict=True):
        threads = [t for p in m.parts for t in p.threads if t.reading.pitch_mm is not None]
        if len(threads) != 1:
            return []
        at = true_values(true, threads[0])
        found = {k: q for k in at if (q := getattr(threads[0].reading, k)) is not None}
        rows.append(
            {
                "seed": file.stem,
                "photos": what,
                "true": true["designation"],
                "designation": threads[0].verdict.designation,
                "status": threads[0].verdict.status,
                "left_out": 0,
                "errors": {k: q.value - at[k] for k, q in found.items()},
                "u": {k: q.u for k, q in found.items()},
            }
        )
    return rows
