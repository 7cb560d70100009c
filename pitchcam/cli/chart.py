"""``pitchcam chart``: the workshop's tapping chart."""

from __future__ import annotations

import click

from pitchcam.cli._options import output_path
from pitchcam.errors import UsageError


@click.command(no_args_is_help=True)
@click.argument("path", metavar="PATH")
@click.option(
    "--series",
    "-s",
    "families",
    multiple=True,
    metavar="FAMILY",
    help="Which families, in this order (M, UNF, UNC, G, R, NPT); repeat for several.",
)
@click.option("--rare", is_flag=True, help="Also sizes seldom met on engines and fittings.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True)
def command(path: str, families: tuple[str, ...], rare: bool, paper: str) -> None:
    """Write the tapping chart to PATH: .pdf to hang on a wall, .html or .csv.

    Each page has the sizes of one family with bore and tapping drills, each thread's profile at
    true scale, and the pairs that are easily confused with the measurement that tells them apart.
    """
    target = output_path(path, "chart", (".pdf", ".html", ".csv"))
    if target is None:
        raise UsageError("chart needs a file to write.", "Write: pitchcam chart chart.pdf")
    from pitchcam.chart.pages import TITLE_ROWS, paginate
    from pitchcam.chart.rows import USUAL_FAMILIES, chart_rows, to_csv
    from pitchcam.files import write_whole

    rows = chart_rows(families or USUAL_FAMILIES, rare=rare)
    suffix = target.suffix.lower()
    if suffix == ".csv":
        write_whole(target, to_csv(rows).encode())
        click.echo(f"{target}: {len(rows)} sizes", err=True)
        return
    if suffix == ".html":
        from pitchcam.chart.html import render as render_html

        pages = paginate(rows, per_page=len(rows) + TITLE_ROWS, pairs_per_page=len(rows))
        write_whole(target, render_html(pages).encode())
    else:
        from pitchcam.chart.pdf import render, rows_that_fit

        pages = paginate(rows, per_page=rows_that_fit(paper))
        write_whole(target, render(pages, paper))
    click.echo(f"{target}: {len(rows)} sizes on {len(pages)} pages", err=True)
