"""Render photos: ``python -m samples.make [NAME ...] [-o FOLDER]``; needs the ``samples`` extra."""

from __future__ import annotations

import json
import time
from pathlib import Path

import click

from samples.catalogue import all_shots
from samples.develop import develop, write
from samples.shots import Shot


def make(shot: Shot, folder: Path) -> float:
    """Render one shot and write NAME.jpg and NAME.json; return the seconds it took."""
    from samples import trace

    start = time.monotonic()
    light = trace.photo(shot.scene(), samples=shot.samples, seed=shot.seed)
    write(folder / f"{shot.name}.jpg", develop(light, shot.development, shot.seed))
    text = json.dumps(shot.truth(), indent=1) + "\n"
    write(folder / f"{shot.name}.json", text.encode())
    return time.monotonic() - start


@click.command()
@click.argument("names", nargs=-1)
@click.option(
    "-o",
    "--output",
    type=click.Path(file_okay=False, exists=True, path_type=Path),
    default=Path(__file__).parent,
    help="Folder to write to.",
)
def main(names: tuple[str, ...], output: Path) -> None:
    """Render the named photos of the catalogue, or all of them."""
    shots = all_shots()
    unknown = set(names) - set(shots)
    if unknown:
        raise click.UsageError(
            f"no photo {', '.join(sorted(unknown))}; there are {', '.join(shots)}"
        )
    for name in names or shots:
        click.echo(f"{name}: {make(shots[name], output):.0f} s")


if __name__ == "__main__":
    main()
