"""``pitchcam adapt``: what joins a part to a port, from stock."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitchcam.cli._stock import limit_options, load_stock, stock_option, stock_record_option
from pitchcam.errors import Exit
from pitchcam.records import json_text
from pitchcam.records.formats import format_of


@click.command(
    "adapt",
    epilog='Example: pitchcam adapt --port M18x1.5 --part "1/8-27 NPT" --service oil --one-wire',
)
@click.option("--port", required=True, metavar="THREAD", help="The engine's end; female if unsaid.")
@click.option("--part", required=True, metavar="THREAD", help="The part's end; male if unsaid.")
@stock_option
@stock_record_option
@limit_options
@click.option(
    "--best",
    type=click.IntRange(1, 20),
    default=3,
    show_default=True,
    help="How many ways to show.",
)
@click.option("--json", "as_json", is_flag=True, help="Write JSON.")
@click.pass_context
def command(
    ctx: click.Context,
    /,
    port: str,
    part: str,
    sheet: Path | None,
    record: Path,
    best: int,
    as_json: bool,
    **limits: Any,
) -> None:
    """Find what joins a part to a port, from stock; the best way first.

    A thread is a designation, with its seat where it has one and male or female where that is not
    usual: "M14x1.5", "7/16-20 UNF oring", "R 1/4 male"; "hose 10" is a hose of 10 mm bore. The
    exit code is 0 if stock joins them, 3 if something must be bought or made.
    """
    from pitchcam.cli._stock import question
    from pitchcam.joining.chains.adapt import adapt, what_stands_in_the_way
    from pitchcam.joining.chains.orders import missing
    from pitchcam.joining.chains.text import answer_text, chain_json
    from pitchcam.joining.tapped import tapped_plugs

    asked = question(port, part, limits)
    stock = load_stock(sheet, record)
    chains = adapt(asked, stock, best=best)
    lacking = missing(asked, stock, chains)
    if as_json:
        answer = {
            "format": format_of("chains"),
            "port": asked.port.text,
            "part": asked.part.text,
            "chains": [chain_json(c, asked) for c in chains],
            "buy": None if lacking is None else lacking.buy,
            "reorder": [] if lacking is None else list(lacking.reorder),
        }
        click.echo(json_text(answer))
    else:
        hindrances = () if chains else what_stands_in_the_way(asked, stock)
        tapped = () if chains else [t.text for t in tapped_plugs(asked, stock)]
        click.echo(answer_text(asked, chains, lacking, hindrances, tapped))
    ctx.exit(Exit.NAMED if chains else Exit.OPEN)
