"""``python -m tests.fresh draw|render|pack|measure|table|oracle|focal``: fresh photos."""

from __future__ import annotations

import json
import os
from pathlib import Path

import click

from tests.fresh.draw import SETS, fresh
from tests.fresh.truth import truth


def _jobs(sets: tuple[str, ...], seed: int) -> list[tuple[str, int, int]]:
    """Return the photos of SET=COUNT or SET=FIRST:LAST, one of each set in turn."""
    groups = []
    for text in sets:
        name, _, count = text.partition("=")
        if name not in SETS or not count:
            raise click.UsageError(
                f"{text}: say SET=COUNT or SET=FIRST:LAST, SET one of {', '.join(SETS)}"
            )
        first, _, last = count.rpartition(":")
        span = range(int(first or 0), int(last))
        groups.append([((i - span.start + 0.5) / len(span), name, seed, i) for i in span])
    # Spread evenly, so that a run that is cut short still has some of every set.
    return [job[1:] for job in sorted(j for g in groups for j in g)]


FOLDERS = click.argument(
    "folders",
    nargs=-1,
    required=True,
    type=click.Path(file_okay=False, exists=True, path_type=Path),
)


@click.group()
def main() -> None:
    """Draw, render and measure fresh photos."""


@main.command()
@click.argument("sets", nargs=-1, required=True)
@click.option("--seed", type=int, required=True)
def draw(sets: tuple[str, ...], seed: int) -> None:
    """Print the truth of photos, one JSON document a line, without rendering them."""
    for job in _jobs(sets, seed):
        click.echo(json.dumps(truth(fresh(*job))))


@main.command()
@click.argument("sets", nargs=-1, required=True)
@click.option("--seed", type=int, required=True)
@click.option("-o", "--output", type=click.Path(file_okay=False, path_type=Path), required=True)
@click.option("-j", "--processes", type=int, default=os.cpu_count() or 1)
@click.option("--seconds", type=float, default=1e9, help="Trace no further photo after these.")
@click.option("--paths", type=int, default=49, help="Paths a pixel, a square number.")
@click.option("--tracers", type=int, default=1, help="Tracing processes; 3 keep a GPU busy.")
def render(
    sets: tuple[str, ...],
    seed: int,
    output: Path,
    processes: int,
    seconds: float,
    paths: int,
    tracers: int,
) -> None:
    """Render the photos of SET=COUNT ... into a folder, each with its truth."""
    from tests.fresh.render import spread

    output.mkdir(parents=True, exist_ok=True)
    done = spread(
        _jobs(sets, seed),
        output,
        tracers=tracers,
        processes=processes,
        seconds=seconds,
        paths=paths,
    )
    click.echo(f"{done} photos")


@main.command()
@click.argument("folder", type=click.Path(file_okay=False, exists=True, path_type=Path))
@click.option("-o", "--output", type=click.Path(file_okay=False, path_type=Path), required=True)
def pack(folder: Path, output: Path) -> None:
    """Pack photos into archives of less than 16 MB; packed photos move to FOLDER/packed."""
    from tests.fresh.render import pack as work

    photos = sorted(folder.glob("*.jpg"))
    left = set(work(photos, output))
    (folder / "packed").mkdir(exist_ok=True)
    for photo in photos:
        if photo not in left:
            for file in (photo, photo.with_suffix(".json")):
                file.rename(folder / "packed" / file.name)
    click.echo(f"{len(photos) - len(left)} packed, {len(left)} left")


@main.command()
@FOLDERS
@click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Keep the rows in this JSON file.",
)
@click.option("-j", "--processes", type=int, default=os.cpu_count() or 1)
@click.option("--only", default="", help="Part of the photos' names.")
@click.option("--short", is_flag=True, help="Print no splits.")
def measure(
    folders: tuple[Path, ...], output: Path | None, processes: int, only: str, short: bool
) -> None:
    """Measure the photos of folders and print the tables."""
    from tests.fresh.measure import photos, run
    from tests.fresh.table import report

    files = photos(folders, only)
    if not files:
        raise click.UsageError("no truth files (NAME.json with file, scale and threads) there")
    rows = run(files, processes)
    if output is not None:
        output.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    click.echo(report(rows, not short))


@main.command()
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(dir_okay=False, exists=True, path_type=Path)
)
@click.option("--short", is_flag=True, help="Print no splits.")
@click.option("--only", default="", help="Part of the photos' names.")
def table(files: tuple[Path, ...], short: bool, only: str) -> None:
    """Print the tables of rows that ``measure -o`` kept."""
    from tests.fresh.table import report

    rows = [r for f in files for r in json.loads(f.read_text(encoding="utf-8"))]
    click.echo(report([r for r in rows if only in r["photo"]], not short))


@main.command()
@FOLDERS
@click.option("-j", "--processes", type=int, default=os.cpu_count() or 1)
@click.option("--only", default="", help="Part of the photos' names.")
@click.option("--by", default="reference", help="Split by this field of the rows.")
@click.option(
    "-o", "--output", type=click.Path(dir_okay=False, path_type=Path), help="Keep the rows here."
)
def oracle(
    folders: tuple[Path, ...], processes: int, only: str, by: str, output: Path | None
) -> None:
    """Measure photos with each unknown put in as it is: how much errors fall by it."""
    from tests.fresh.measure import photos
    from tests.fresh.oracle import every, names, table

    rows = every(photos(folders, only), processes)
    if output is not None:
        output.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    click.echo(table(rows, by) + "\n\n" + names(rows))


@main.command()
@FOLDERS
@click.option("-j", "--processes", type=int, default=os.cpu_count() or 1)
@click.option("--only", default="", help="Part of the photos' names.")
def focal(folders: tuple[Path, ...], processes: int, only: str) -> None:
    """Measure photos whose tags tell a wrong focal length, none, or that of another frame."""
    import tempfile

    from tests.fresh.focal import table as lines
    from tests.fresh.focal import write
    from tests.fresh.measure import photos, run

    with tempfile.TemporaryDirectory() as room:
        made = write(photos(folders, only), Path(room))
        rows = {name: run(files, processes) for name, files in made.items()}
    click.echo(lines(rows))


if __name__ == "__main__":
    main()
