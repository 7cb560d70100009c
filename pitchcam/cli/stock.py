"""``pitchcam stock``: keep the shop's stock of fittings."""

from __future__ import annotations

import getpass
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from pitchcam.cli._stock import load_stock, stock_option, stock_record_option
from pitchcam.errors import PitchcamError, printable
from pitchcam.records import json_text
from pitchcam.records.formats import format_of


@click.group("stock", epilog="Example: pitchcam stock check bench.csv")
def command() -> None:
    """Keep the shop's stock of fittings, from a CSV that a spreadsheet keeps."""


@command.command("columns", epilog="Example: pitchcam stock columns")
def columns_() -> None:
    """Show the columns of a stock sheet, with examples."""
    from pitchcam.joining.tables import read_table

    for row in read_table("stock_columns"):
        needed = "needed" if row["needed"] == "yes" else "      "
        click.echo(f"{row['column']:<12} {needed}  {row['meaning']} (such as: {row['example']})")
    click.echo(
        "Lengths are mm, or inches with their unit: 0.5in, 1 1/4in. Comma, semicolon or tab "
        "between cells."
    )


@command.command("check", epilog="Example: pitchcam stock check bench.csv")
@click.argument("sheet", type=click.Path(path_type=Path))
def check(sheet: Path) -> None:
    """Read a stock sheet and name every fault by line and column; nothing is kept.

    Platings are gone through too: a word that is not known to be harmless counts as possibly
    cadmium, and such a fitting is never heated.
    """
    from pitchcam.joining.brazing.refuse import doubtful_platings, known_platings
    from pitchcam.joining.stock.sheet import read_stock

    rows = _read(sheet, read_stock)
    click.echo(f"{sheet.name}: {len(rows)} rows, {sum(r.count for r in rows)} pieces, no fault")
    for text in doubtful_platings(rows):
        click.echo(f"Never to be heated: {text}")
    click.echo(f"Plating words known are {known_platings()}. Any other counts as possibly cadmium.")


@command.command("import", epilog="Example: pitchcam stock import bench.csv --who bench-2")
@click.argument("sheet", type=click.Path(path_type=Path))
@stock_record_option
@click.option("--who", default=None, help="Who counted; the login name if not given.")
def import_(sheet: Path, record: Path, who: str | None) -> None:
    """Take a stock sheet into the record, whole or not at all.

    Rows that the sheet does not name stay as they are; a count that differs is booked as a move.
    """
    from pitchcam.joining.stock.sheet import read_stock
    from pitchcam.joining.stock.store import StockStore

    rows = _read(sheet, read_stock)
    with StockStore(record) as store:
        changed = store.take_in(rows, who=who or _login(), now=_now())
        total = len(store.rows())
    click.echo(f"{len(rows)} rows read, {changed} new or changed; stock has {total} rows")


@command.command("list", epilog="Example: pitchcam stock list --end M14x1.5 --gender male")
@stock_option
@stock_record_option
@click.option("--end", "thread", metavar="THREAD", help="Only fittings with this end.")
@click.option("--gender", type=click.Choice(["male", "female"]), help="Gender of that end.")
@click.option("--csv", "as_csv", is_flag=True, help="Write the sheet that import reads.")
@click.option("--json", "as_json", is_flag=True, help="Write JSON.")
def list_(
    sheet: Path | None,
    record: Path,
    thread: str | None,
    gender: str | None,
    as_csv: bool,
    as_json: bool,
) -> None:
    """List the stock, all or by one end."""
    from pitchcam.joining.stock.store import stock_csv

    rows = [r for r in load_stock(sheet, record) if _has_end(r, thread, gender)]
    if as_csv:
        click.echo(stock_csv(rows), nl=False)
    elif as_json:
        listed = [{"id": r.id, "text": r.text, "count": r.count} for r in rows]
        click.echo(json_text({"format": format_of("stock"), "rows": listed}))
    else:
        for r in rows:
            rating = "" if r.pressure_bar is None else f", {r.pressure_bar:g} bar"
            click.echo(
                printable(
                    f"{r.count:>4}  {r.text}; bore {r.bore_mm:g}, length {r.length_mm:g} mm, "
                    f"{r.material}{rating}"
                )
            )
        click.echo(f"{len(rows)} rows, {sum(r.count for r in rows)} pieces")


@command.command("take", epilog="Example: pitchcam stock take A-02 -n 1 --why pump")
@click.argument("identity", metavar="ID")
@click.option("-n", "pieces", type=click.IntRange(1, 9999), default=1, show_default=True)
@click.option("--back", is_flag=True, help="Put back instead of taking out.")
@click.option("--who", default=None, help="Who takes it; the login name if not given.")
@click.option("--why", default="", help="What for.")
@stock_record_option
def take(identity: str, pieces: int, back: bool, who: str | None, why: str, record: Path) -> None:
    """Take pieces of row ID out of stock, or put them back; the move is kept."""
    from pitchcam.joining.stock.store import StockStore

    load_stock(None, record)
    with StockStore(record) as store:
        change = -pieces if back else pieces
        left = store.take_out(identity, change, who=who or _login(), why=why, now=_now())
    click.echo(f"{identity}: {left} left")


@command.command("moves", epilog="Example: pitchcam stock moves A-02")
@click.argument("identity", metavar="[ID]", required=False)
@stock_record_option
def moves(identity: str | None, record: Path) -> None:
    """Show every change of counts, of one row or of all."""
    from pitchcam.joining.stock.store import StockStore

    load_stock(None, record)
    with StockStore(record, only_read=True) as store:
        for m in store.moves(identity):
            why = f", {m.why}" if m.why else ""
            click.echo(printable(f"{m.made_at}  {m.id}  {m.pieces:+d}  {m.who}{why}"))
        store.refuse_damage()


def _read(sheet: Path, reader: Any) -> Any:
    """Read a sheet; a faulty one prints each fault on a line of its own before it fails."""
    from pitchcam.joining.stock.sheet import StockError

    try:
        return reader(sheet)
    except StockError as error:
        if len(error.lines) > 1:
            for line in error.lines:
                click.echo(f"{sheet.name} {line}", err=True)
            raise PitchcamError(
                f"{sheet.name} has {len(error.lines)} faults.", error.advice
            ) from None
        raise


def _has_end(row: Any, thread: str | None, gender: str | None) -> bool:
    from pitchcam.joining.chains.question import parse_side
    from pitchcam.joining.mating.ends import parse_end
    from pitchcam.joining.mating.mate import size_key

    if thread is None:
        return True
    hose = thread.lower().startswith(("hose", "tail"))
    wanted = parse_end(thread, "external") if hose else parse_side(thread, _any_gender(thread))
    return any(
        end is not None
        and size_key(end.designation) == size_key(wanted.designation)
        and (gender is None or (end.gender == "external") == (gender == "male"))
        for end in (row.end_a, row.end_b)
    )


def _any_gender(thread: str) -> Any:
    return "internal" if thread.strip().upper().startswith(("RP", "RC")) else "external"


def _login() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def _now() -> datetime:
    return datetime.now().astimezone()
