"""``pitchcam batch``: many photos, safely stopped and resumed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from pitchcam.cli._options import SCALE_NAMES, record_option, scale_options, scale_spec
from pitchcam.errors import printable
from pitchcam.records import json_text

#: A photo that takes longer than this is given up: hundreds of times what a photo needs.
_LIMIT_S = 600.0


@click.command(no_args_is_help=True, epilog="Example: pitchcam batch photos --pin 8")
@click.argument("places", nargs=-1, type=click.Path(path_type=Path), metavar="FOLDER|FILE...")
@scale_options
@click.option("--cast", is_flag=True, help="The photos show casts of internal threads.")
@click.option(
    "--shrinkage",
    type=click.FloatRange(0.0, 5.0),
    metavar="PERCENT",
    help="How much the casts' compound shrinks (with --cast).",
)
@click.option(
    "--list",
    "list_file",
    type=click.Path(path_type=Path),
    metavar="CSV",
    help="Photos with their own scale: columns file, source, mm, height_mm, "
    "axis_height_mm, part, camera.",
)
@record_option("The record that keeps every result.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("box"),
    show_default=True,
    help="Folder for tables, contact sheet and labels.",
)
@click.option("--jobs", type=click.IntRange(1, 256), help="Processes; by default one per core.")
@click.option(
    "--limit",
    type=click.FloatRange(1),
    default=_LIMIT_S,
    show_default=True,
    metavar="SECONDS",
    help="Give a photo up after so long.",
)
@click.option(
    "--follow",
    is_flag=True,
    help="Keep watching the folder and answer photo by photo; end with Ctrl-C.",
)
@click.option(
    "--idle",
    type=click.FloatRange(1),
    metavar="SECONDS",
    help="With --follow: end when nothing came for so long.",
)
@click.option("--cluster", metavar="ADDRESS", help="Measure on a Dask cluster (tcp://host:port).")
@click.option(
    "--study",
    is_flag=True,
    help="Repeatability study: each part photographed several times, in folders "
    "PART/ or PART/CAMERA/, or by the columns part and camera of --list.",
)
@click.option(
    "--together",
    type=click.Choice(["part", "name"]),
    help="Photos of one part give one answer: by the column part of --list or the folder PART/, "
    "or by their names up to a number (sender-1.jpg, sender-2.jpg).",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document per photo on stdout.")
@click.option("--tables-only", is_flag=True, help="No contact sheet and no labels.")
def command(places: tuple[Path, ...], **options: Any) -> None:
    """Measure many photos; stop and start again at will, nothing is measured twice.

    Photos that are in the record already, by their content and with the same settings, are only
    read from it. The answer goes to the folder given by --out: box.csv and box.json (the doubtful
    first, then bin by bin), counts.csv, contact-sheet.pdf and labels.pdf.
    """
    from pitchcam.batch import run as batch
    from pitchcam.batch.answer import summary
    from pitchcam.pipeline.beside import cores

    settings = _settings(options)
    setup = batch.Setup(
        record=options["record"],
        out=options["out"],
        processes=options["jobs"] or cores(),
        limit_s=options["limit"],
        cluster=options["cluster"],
        sheets=not options["tables_only"],
    )
    in_words = _tell_whole if options["follow"] else _tell_line
    tell = _tell_json if options["as_json"] else in_words
    if options["follow"]:
        answer = batch.follow_folders(setup, list(places), settings, tell, idle_s=options["idle"])
    else:
        photos = _photos(places, options["list_file"], settings)
        try:
            answer = batch.run_batch(setup, photos, tell)
        except KeyboardInterrupt:
            click.echo(
                "All finished photos are kept; the same command goes on from here.", err=True
            )
            raise
        if options["study"]:
            _study(setup, photos)
        if options["together"]:
            _together(setup, photos, options["together"])
    click.echo(summary(answer), err=options["as_json"])
    click.echo(f"Tables and sheets are in {setup.out}", err=True)
    sys.exit(answer.exit_code)


def _settings(options: dict[str, Any]) -> Any:
    from pitchcam.batch.settings import Settings
    from pitchcam.errors import UsageError

    for flag, other in (("follow", "list_file"), ("follow", "study"), ("follow", "together")):
        if options[flag] and options[other]:
            raise UsageError(
                f"--{flag} and --{other.removesuffix('_file')} exclude each other;", "leave one out"
            )
    if options["idle"] is not None and not options["follow"]:
        raise UsageError("--idle has a meaning only with --follow;", "add it, or leave --idle out")
    if options["shrinkage"] is not None and not options["cast"]:
        raise UsageError("--shrinkage is of a cast;", "add --cast, or leave it out")
    spec = scale_spec(**{name: options[name] for name in SCALE_NAMES})
    return Settings(scale=spec, cast=options["cast"], shrinkage_percent=options["shrinkage"])


def _photos(places: tuple[Path, ...], list_file: Path | None, settings: Any) -> list[Any]:
    from pitchcam.batch.source import list_photos, read_list
    from pitchcam.errors import UsageError

    if bool(places) == (list_file is not None):
        raise UsageError("no photos are named, or twice;", "name folders or photos, or a --list")
    photos = read_list(list_file, settings) if list_file else list_photos(places, settings)
    if not photos:
        raise UsageError(
            "there are no photos in " + ", ".join(str(p) for p in places) + ".",
            "Name a folder that holds photos (JPEG, PNG, TIFF, HEIC).",
        )
    return photos


def _together(setup: Any, photos: list[Any], by: Any) -> None:
    """Adjust the photos of each part together, from the record; say and write what comes out."""
    from pitchcam.batch.together import answer_groups, groups_of, summary, write_together
    from pitchcam.store.store import Store

    with Store(setup.record) as store:
        entries = answer_groups(store, groups_of(photos, by))
    write_together(entries, setup.out)
    click.echo(f"Photos of one part together:\n{summary(entries)}\n", err=True)


def _study(setup: Any, photos: list[Any]) -> None:
    from pitchcam.batch.study import run_study

    click.echo(run_study(setup.record, photos, setup.out))


def _tell_whole(job: Any, outcome: Any, kept_before: bool) -> None:
    """Print one photo's answer with what to do: a watch's summary comes hours later, if at all."""
    if outcome.measurement is None and not kept_before:
        print(printable(f"{job.name}: {outcome.status}: {outcome.reason}"), flush=True)
        return
    _tell_line(job, outcome, kept_before)


def _tell_line(job: Any, outcome: Any, kept_before: bool) -> None:
    """Print one photo's answer; what the record knew before is not repeated.

    What to do about a refusal stands in the summary at the end. Printed rather than echoed: the
    progress bar steps aside for what goes through ``sys.stdout``.
    """
    from pitchcam.report.verdicts import headline

    if kept_before:
        return
    measured = outcome.measurement
    if measured is None:
        # Where its advice goes on in the same sentence a message ends in a semicolon or a colon.
        wrong = outcome.message.rstrip(";:")
        print(printable(f"{job.name}: {outcome.status}: {wrong}"), flush=True)
        return
    threads = [
        f"part {part.id}.{number}: {headline(thread.verdict)}"
        for part in measured.parts
        for number, thread in enumerate(part.threads, 1)
    ]
    reasons = "; ".join(w.message for w in measured.warnings)
    for told in threads or [f"no thread named: {reasons}"]:
        print(printable(f"{job.name}: {told}"), flush=True)


def _tell_json(job: Any, outcome: Any, kept_before: bool) -> None:
    """Print the contract's document; a photo without one gets its reason as a warning."""
    print(json_text(outcome.contract(job.name, job.sha256)), flush=True)
