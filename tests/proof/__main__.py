"""``python -m tests.proof DIR... -o page/``: see the package."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from tests.proof.compare import worse
from tests.proof.figures import document
from tests.proof.page import page


@click.command()
@click.argument("folders", nargs=-1, type=click.Path(exists=True, path_type=Path), required=True)
@click.option(
    "-o",
    "--output",
    type=click.Path(file_okay=False, path_type=Path),
    required=True,
    help="Folder of the page.",
)
@click.option("-j", "--processes", type=int, default=1)
@click.option("--only", default="", help="Part of the photos' names.")
@click.option(
    "--against",
    type=click.Path(dir_okay=False, exists=True, path_type=Path),
    help="The proof.json of an earlier run.",
)
@click.option("--title", default="How true are the answers")
def main(
    folders: tuple[Path, ...],
    output: Path,
    processes: int,
    only: str,
    against: Path | None,
    title: str,
) -> None:
    """Measure folders of photos with truth (or read rows that were kept) and write the page.

    Exits with 1 where a comparison finds something worse.
    """
    rows = _rows(folders, processes, only)
    if not rows:
        raise click.UsageError("no truth files (NAME.json with file, scale and threads) there")
    new = document(rows)
    old = json.loads(against.read_text(encoding="utf-8")) if against else None
    told = worse(old, new) if old is not None else None
    output.mkdir(parents=True, exist_ok=True)
    (output / "proof.json").write_text(
        json.dumps(new, indent=1, allow_nan=False) + "\n", encoding="utf-8"
    )
    (output / "index.html").write_text(page(title, rows, new, told), encoding="utf-8")
    click.echo(
        f"{output / 'index.html'}: {new['photos']} photos, {new['threads']} threads, "
        f"{len(new['wrong'])} named wrongly"
    )
    if told is not None:
        click.echo("worse than before:\n  " + "\n  ".join(told) if told else "nothing is worse")
        raise SystemExit(1 if told else 0)


def _rows(folders: tuple[Path, ...], processes: int, only: str) -> list[dict[str, Any]]:
    from tests.fresh.measure import photos, run

    files = [f for f in folders if f.is_file()]
    kept = [r for f in files for r in json.loads(f.read_text(encoding="utf-8"))]
    todo = photos([f for f in folders if f.is_dir()], only)
    rows = [r for r in kept if only in r["photo"]]
    return rows + (run(todo, processes) if todo else [])


if __name__ == "__main__":
    main()
