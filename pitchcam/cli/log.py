"""``pitchcam log``: show, correct and export the record."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from pitchcam.cli._options import record_option
from pitchcam.errors import printable
from pitchcam.records import EXIT_OF

_RECORD = record_option("The record to read.")

_FILTERS = (
    click.option("--name", help="Only threads of this name, as measured or as corrected."),
    click.option("--status", type=click.Choice(list(EXIT_OF))),
    click.option("--photo", help="Only photos whose name has this in it."),
    click.option("--doubtful", is_flag=True, help="Only what no bin can be named for."),
    click.option("--corrected", is_flag=True, help="Only what a person corrected."),
)


def _filters(function: Any) -> Any:
    for option in reversed(_FILTERS):
        function = option(function)
    return function


@click.group(no_args_is_help=True, epilog="Example: pitchcam log list")
def command() -> None:
    """Show, correct and export the record of all measurements."""


@command.command("list", epilog="Example: pitchcam log list")
@_RECORD
@_filters
def list_(record: Path, **filters: Any) -> None:
    """List the threads in the record: id, name, pitch and diameter, photo."""
    from pitchcam.store.store import Store

    with Store(record, must_exist=True, only_read=True) as store:
        for row in rows_of(store, filters):
            click.echo(_line(row))
        _tell_damage(store)


@command.command(epilog="Example: pitchcam log show 1f3a90c2")
@_RECORD
@click.argument("identity", metavar="ID")
@click.option("--json", "as_json", is_flag=True, help="The measurement as it was kept.")
def show(record: Path, identity: str, as_json: bool) -> None:
    """Show one record with everything known of it; ID is a record's or a thread's."""
    from pitchcam.errors import UsageError
    from pitchcam.records import json_text
    from pitchcam.store.rows import entry_rows
    from pitchcam.store.store import Store

    with Store(record, must_exist=True, only_read=True) as store:
        entry = store.entry(identity.split("-")[0])
        if entry is None:
            raise UsageError(f"the record has no {identity}.", "See: pitchcam log list")
        if as_json:
            click.echo(json_text(entry.contract()))
            return
        rows = entry_rows(entry)
        chosen = [r for r in rows if r.id == identity] or rows
        for row in chosen:
            for column, value in row.flat().items():
                if value not in (None, ""):
                    click.echo(printable(f"{column:22} {value}"))
            click.echo("")
        for made in store.corrections(entry.id):
            click.echo(
                printable(
                    f"{made.made_at}  {made.thread_id} is {made.designation}, "
                    f"says {made.who}: {made.why}"
                )
            )


@command.command(
    epilog="Example: pitchcam log correct 1f3a90c2-1 'R 1/4' --who bench-2 --why gauge"
)
@_RECORD
@click.argument("identity", metavar="ID")
@click.argument("designation")
@click.option("--who", required=True, help="Who says so.")
@click.option("--why", required=True, help="How it is known: gauge, drawing, marking.")
@click.option("--unlisted", is_flag=True, help="Allow a designation that no series here has.")
def correct(
    record: Path, identity: str, designation: str, who: str, why: str, unlisted: bool
) -> None:
    """Add what a thread is in fact; the measurement and earlier corrections stay."""
    from datetime import UTC, datetime

    from pitchcam.store.store import Store

    if not unlisted:
        check_listed(designation)
    with Store(record, must_exist=True) as store:
        made = store.correct(identity, designation, who=who, why=why, now=datetime.now(UTC))
    click.echo(f"{made.thread_id} is {made.designation}, says {made.who}: {made.why}")


@command.command(epilog="Example: pitchcam log export threads.csv")
@_RECORD
@_filters
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE.csv|.json|.parquet")
def export(record: Path, file: Path, **filters: Any) -> None:
    """Write the record as a table; the ending says the format."""
    from pitchcam.store.export import export_rows
    from pitchcam.store.store import Store

    with Store(record, must_exist=True, only_read=True) as store:
        rows = list(rows_of(store, filters))
        export_rows(rows, file)
        click.echo(f"{len(rows)} rows in {file}", err=True)
        _tell_damage(store)


def _tell_damage(store: Any) -> None:
    """Say which records are damaged; all others have been given by then.

    Raises
    ------
    InputError
        If there are any, so that the exit code tells as well.
    """
    from pitchcam.errors import InputError

    if store.damaged:
        ids = sorted(store.damaged)
        more = f" and {len(ids) - 5} more" if len(ids) > 5 else ""
        raise InputError(
            f"{store.path}: {len(ids)} damaged, the rest is whole: {', '.join(ids[:5])}{more}.",
            "Measure those photos again with: pitchcam batch.",
        )


def rows_of(store: Any, filters: dict[str, Any]) -> Iterable[Any]:
    """Return the rows that pass the filters, sorted by photo name, part and thread."""
    from pitchcam.store.rows import entry_rows

    rows = [row for entry in store.entries() for row in entry_rows(entry) if _passes(row, filters)]
    return sorted(rows, key=lambda r: (r.photo, r.part or 0, r.thread or 0, r.id))


def _passes(row: Any, filters: dict[str, Any]) -> bool:
    name, status, photo = filters["name"], filters["status"], filters["photo"]
    return (
        (name is None or name in (row.name, row.designation))
        and (status is None or status == row.status)
        and (photo is None or photo in row.photo)
        and not (filters["doubtful"] and row.settled)
        and not (filters["corrected"] and not row.corrected_by)
    )


def _line(row: Any) -> str:
    name = row.name or f"({row.status})"
    if row.corrected_by:
        name += f" [{row.corrected_by}]"
    pitch = row.quantities.get("pitch_mm")
    major = row.quantities.get("major_mm")
    shown = "  ".join(
        f"{label} {q[0]:.{n}f} ± {2 * q[1]:.{n}f}"
        for label, q, n in (("pitch", pitch, 4), ("major", major, 3))
        if q is not None
    )
    return printable(f"{row.id:17} {name:20} {shown:46} {row.photo}".rstrip())


def check_listed(designation: str) -> None:
    """Refuse a designation that no series has, with the nearest spelling."""
    import difflib

    from pitchcam.errors import UsageError
    from pitchcam.series import load_series

    known = {size.designation for size in load_series()}
    if designation in known:
        return
    near = difflib.get_close_matches(designation, known, n=1)
    hint = f"Did you mean {near[0]}? " if near else ""
    raise UsageError(f"no series has {designation!r}.", f"{hint}Otherwise add --unlisted.")
