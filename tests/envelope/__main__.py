"""``python -m tests.envelope measure|keep``: the photos of the study, and what the docs show."""

from __future__ import annotations

import json
import os
from pathlib import Path

import click

from tests.envelope.study import RANDOM, ROOT, jobs, kept, read, run

PARTS = ("dials", "samples", *RANDOM)
KEPT = ROOT / "docs" / "data" / "envelope.json"


@click.group()
def main() -> None:
    """Turn one dial at a time until the name is lost."""


@main.command()
@click.argument("parts", nargs=-1, type=click.Choice(PARTS), required=True)
@click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="One row a line; a run that was stopped goes on where it was.",
)
@click.option(
    "--count", type=int, default=300, help="Photos of each part whose dials are drawn at random."
)
@click.option("-j", "--processes", type=int, default=os.cpu_count() or 1)
def measure(parts: tuple[str, ...], output: Path, count: int, processes: int) -> None:
    """Make and measure the photos of parts of the study."""
    done = {row["key"] for row in read(output)}
    with output.open("a", encoding="utf-8") as out:
        for part in parts:
            for row in run(jobs(part, count), done, processes):
                out.write(json.dumps(row) + "\n")
                out.flush()


@main.command()
@click.argument("rows", type=click.Path(dir_okay=False, exists=True, path_type=Path))
def keep(rows: Path) -> None:
    """Keep the rows for the docs, which then need not measure again."""
    lines = ",\n".join(json.dumps(r) for r in kept(read(rows)))
    KEPT.parent.mkdir(exist_ok=True)
    KEPT.write_text(f'{{"rows": [\n{lines}\n]}}\n', encoding="utf-8")


if __name__ == "__main__":
    main()
