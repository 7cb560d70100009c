"""Measure drawn parts from one, two and three photos: ``python -m tests.several --parts 24``."""

from __future__ import annotations

import argparse
import json
import tempfile
from concurrent.futures import ProcessPoolExecutor
from itertools import starmap
from pathlib import Path
from typing import Any

import numpy as np

from pitchcam.records import NAMING_QUANTITIES

Rows = list[dict[str, Any]]


def measure(seed: int, another_pin: bool) -> Rows:
    """Return one row per number of photos: errors, u and the verdict."""
    from pitchcam.several import identify_several
    from tests.several.draw import case

    drawn = case(seed, another_pin=another_pin)
    rows: Rows = []
    from pitchcam.records import ScaleSpec

    with tempfile.TemporaryDirectory() as folder:
        paths = drawn.write(Path(folder), f"part-{seed}")
        specs = [ScaleSpec(source="pin", mm=mm) for mm in drawn.pins_mm]
        for n in range(1, len(paths) + 1):
            told = identify_several(paths[:n], specs[:n], plots=False)
            thread = told.parts[0].threads[0]
            read = {k: getattr(thread.reading, k) for k in NAMING_QUANTITIES}
            rows.append(
                {
                    "seed": seed,
                    "photos": n,
                    "designation": thread.verdict.designation,
                    "status": thread.verdict.status,
                    "left_out": sum(p.left_out is not None for p in told.photos),
                    "errors": {k: q.value - drawn.truth[k] for k, q in read.items() if q},
                    "u": {k: q.u for k, q in read.items() if q},
                }
            )
    return rows


def rendered(truths: list[Path]) -> Rows:
    """Return the rows of one rendered part's photos: from the first alone to all of them."""
    from pitchcam.errors import PitchcamError
    from pitchcam.several import identify_several
    from tests.accuracy import scale_of, true_values
    from tests.fresh.measure import pair

    known = [json.loads(f.read_text(encoding="utf-8")) for f in truths]
    photos = [f.with_name(t["file"]) for f, t in zip(truths, known, strict=True)]
    rows: Rows = []
    for n in range(1, len(photos) + 1):
        base = {"seed": truths[0].stem, "photos": n, "errors": {}, "u": {}, "left_out": 0}
        try:
            told = identify_several(photos[:n], [scale_of(t) for t in known[:n]], plots=False)
        except PitchcamError as error:
            rows.append(base | {"status": error.code})
            continue
        found = [t for part in told.parts for t in part.threads]
        left_out = sum(p.left_out is not None for p in told.photos)
        for i, j in pair(known[0]["threads"], found).items():
            true, thread = known[0]["threads"][i], found[j]
            at_station = true_values(true, thread)
            read = {k: getattr(thread.reading, k) for k in at_station}
            rows.append(
                base
                | {
                    "true": true["designation"],
                    "designation": thread.verdict.designation,
                    "status": thread.verdict.status,
                    "left_out": left_out,
                    "errors": {k: q.value - at_station[k] for k, q in read.items() if q},
                    "u": {k: q.u for k, q in read.items() if q},
                }
            )
    return rows


def rendered_parts(folder: Path) -> list[list[Path]]:
    """Return the truth files of each part whose photos are all there."""
    from tests.fresh.again import PHOTOS

    parts: dict[tuple[str, int], list[Path]] = {}
    for file in sorted(folder.glob("again*-*.json")):
        seed, _, index = file.stem.rpartition("-")
        parts.setdefault((seed, int(index) // PHOTOS), []).append(file)
    return [files for files in parts.values() if len(files) == PHOTOS]


def names(rows: Rows) -> str:
    """Return how many threads were named, rightly and wrongly, by the number of photos."""
    out = []
    for n in sorted({r["photos"] for r in rows}):
        some = [r for r in rows if r["photos"] == n]
        named = [r for r in some if r["status"] == "named"]
        right = sum(r["designation"] == r["true"] for r in named)
        out.append(
            f"{n} photos: {right} of {len(some)} named right, {len(named) - right} wrong, "
            f"{sum(r['status'] == 'ambiguous' for r in some)} open"
        )
    return "\n".join(out)


def table(rows: Rows) -> str:
    """Return median and 95 % of errors, median u and rms(error/u), by number of photos."""
    lines = [
        f"{'quantity':<18}{'photos':>7}{'n':>5}{'median':>9}{'95 %':>9}{'median u':>10}"
        f"{'rms(e/u)':>10}"
    ]
    units = {"angle_deg": (1.0, "deg"), "taper": (1.0, "")}
    for name in NAMING_QUANTITIES:
        factor, unit = units.get(name, (1000.0, "um"))
        for n in sorted({r["photos"] for r in rows}):
            some = [r for r in rows if r["photos"] == n and name in r["errors"]]
            error = np.array([abs(r["errors"][name]) for r in some])
            u = np.array([r["u"][name] for r in some])
            lines.append(
                f"{name.removesuffix('_mm').removesuffix('_deg') + ' ' + unit:<18}{n:>7}"
                f"{len(some):>5}{factor * np.median(error):>9.3g}"
                f"{factor * np.percentile(error, 95):>9.3g}{factor * np.median(u):>10.3g}"
                f"{np.sqrt(np.mean((error / u) ** 2)):>10.2f}"
            )
    left = sum(r["left_out"] for r in rows if r["photos"] == max(x["photos"] for x in rows))
    lines.append(
        f"photos left out: {left}; contradictions: "
        f"{sum(r['status'] == 'ambiguous' for r in rows)} open answers"
    )
    return "\n".join(lines)


def main() -> None:
    """Draw, measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.several", description=__doc__)
    parser.add_argument("--parts", type=int, default=24)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--another-pin",
        action="store_true",
        help="the second photo has another pin beside the part",
    )
    parser.add_argument("-j", "--jobs", type=int, default=2)
    parser.add_argument("-o", "--out", type=Path)
    parser.add_argument(
        "--rendered", type=Path, help="measure the photos of tests.fresh render again=COUNT instead"
    )
    parser.add_argument(
        "--shares", action="store_true", help="which share of each error comes again"
    )
    parser.add_argument(
        "--kinds", type=Path, nargs="+", help="rows of rendered photos: what references share"
    )
    parser.add_argument(
        "--caliper",
        type=Path,
        nargs="+",
        help="rendered photos by their object (1), the crests' caliper reading (2), both (3)",
    )
    given = parser.parse_args()
    from tests.several import shares

    if given.kinds:
        rows = [r for file in given.kinds for r in json.loads(file.read_text(encoding="utf-8"))]
        print(shares.kinds_table(shares.of_kinds(rows)))
        return
    if given.shares:
        print(shares.table(shares.measured(given.parts, given.seed)))
        return
    if given.caliper:
        from tests.several import two_references

        files = two_references.photos_of(given.caliper, given.parts)
        rows = [r for file in files for r in two_references.measure(file)]
        if given.out is not None:
            given.out.write_text(json.dumps(rows, indent=1))
        print(f"{table(rows)}\n{names(rows)}")
        return
    if given.rendered:
        with ProcessPoolExecutor(given.jobs) as pool:
            groups = pool.map(rendered, rendered_parts(given.rendered))
            rows = [r for found in groups for r in found]
        if given.out is not None:
            given.out.write_text(json.dumps(rows, indent=1))
        print(f"{table(rows)}\n{names(rows)}")
        return
    tasks = [(given.seed * 1000 + i, given.another_pin) for i in range(given.parts)]
    if given.jobs == 1:
        rows = [r for found in starmap(measure, tasks) for r in found]
    else:
        with ProcessPoolExecutor(given.jobs) as pool:
            rows = [r for found in pool.map(measure, *zip(*tasks, strict=True)) for r in found]
    if given.out is not None:
        given.out.write_text(json.dumps(rows, indent=1))
    print(table(rows))


if __name__ == "__main__":
    main()
