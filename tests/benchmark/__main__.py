"""What the program costs.

``python -m tests.benchmark PHOTO``: one photo, stage by stage (:mod:`tests.benchmark.one_photo`).
``python -m tests.benchmark --all``: every row that is watched, as ratios, beside the stored ones
(:mod:`tests.benchmark.rows`); ``--store`` keeps them as those to compare with.
"""

from __future__ import annotations

import argparse
import json
import os
from pathlib import Path

from tests.benchmark import one_photo
from tests.benchmark.compared import Row, slower, table
from tests.benchmark.rows import ROWS, measured

STORED = Path(__file__).parents[1] / "data" / "benchmark.json"


def main() -> None:
    """Print the figures asked for."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmark",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("photo", type=Path, nargs="?")
    parser.add_argument("--all", action="store_true", help="every row, beside the stored ones")
    parser.add_argument("--store", action="store_true", help="keep them (with --all)")
    parser.add_argument("--only", metavar="TEXT", default="", help="rows whose name has this")
    parser.add_argument("--runs", type=int, default=5)
    options = parser.parse_args()
    if options.all:
        _all(options.runs, options.only, store=options.store)
    elif options.photo is not None:
        one_photo.show(options.photo, options.runs, parser)
    else:
        parser.error("name a photo, or ask for --all")


def _all(runs: int, only: str, *, store: bool) -> None:
    load = os.getloadavg()[0]
    found = {name: measured(name, runs) for name in ROWS if only in name}
    stored = json.loads(STORED.read_text()) if STORED.is_file() else {}
    before = {name: Row(**row) for name, row in stored.items()}
    print(table(found, before, {name: kind.aim for name, kind in ROWS.items()}))
    print(
        f"{runs} runs each; load of the machine {load:.1f} when it began, on {os.cpu_count()} cores"
    )
    worse = slower(found, before)
    print("\n".join(worse) if worse else "nothing became slower than the noise")
    if store:
        kept = stored | {name: row.as_json() for name, row in found.items()}
        STORED.write_text(json.dumps(kept, indent=1) + "\n")


if __name__ == "__main__":
    main()
