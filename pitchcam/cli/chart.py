"""``pitchcam chart``: the workshop's tapping chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pitchcam.cli._options import output_path
from pitchcam.errors import UsageError

if TYPE_CHECKING:
    from pitchcam.chart.rows import ChartRow


@click.command("chart", epilog="Example: pitchcam chart -o wall.pdf --paper a2")
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    default="chart.pdf",
    show_default=True,
    help="Where to write; .pdf, .html or .csv.",
)
@click.option(
    "-s",
    "--series",
    "families",
    multiple=True,
    metavar="FAMILY",
    help="Which families, in this order (M, UNF, BSW, G, R, NPT); repeat for several.",
)
@click.option(
    "--sizes",
    type=click.Choice(["bench", "usual", "all"]),
    default="bench",
    show_default=True,
    help="What engines carry, what is met at all, or every size.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter", "a3", "a2"]),
    default="a4",
    show_default=True,
    help="Pages of A4 or letter, or one poster of A3 or A2.",
)
def command(output: str, families: tuple[str, ...], sizes: str, paper: str) -> None:
    """Write the tapping chart: pages or a poster to hang on a wall, HTML or CSV.

    Each family stands with bore and tapping drills and the share of the full thread that they
    leave, each thread's profile at true scale, and the pairs that are easily confused with the
    measurement that tells them apart. Drills for metric threads are those of ISO 2306.
    """
    target = output_path(output, "--output", (".pdf", ".html", ".csv"))
    assert target is not None
    suffix = target.suffix.lower()
    if paper in ("a3", "a2") and suffix != ".pdf":
        raise UsageError(f"--paper {paper} is a poster:", "name a .pdf")
    from pitchcam.chart.rows import BENCH_FAMILIES, chart_rows
    from pitchcam.files import write_whole

    rows = chart_rows(families or BENCH_FAMILIES, sizes=sizes)
    data, pages = drawn(rows, suffix, paper)
    write_whole(target, data)
    click.echo(f"{target}: {len(rows)} sizes{pages}", err=True)


def drawn(rows: list[ChartRow], suffix: str, paper: str) -> tuple[bytes, str]:
    """Return the file, and on how many pages it is in words."""
    from pitchcam.chart.pages import TITLE_ROWS, paginate

    if suffix == ".csv":
        from pitchcam.chart.rows import to_csv

        return to_csv(rows).encode(), ""
    if suffix == ".html":
        from pitchcam.chart.html import render as render_html

        pages = paginate(rows, per_page=len(rows) + TITLE_ROWS, pairs_per_page=len(rows))
        return render_html(pages).encode(), ""
    if paper in ("a3", "a2"):
        from pitchcam.chart.poster import poster

        return poster(rows, paper), f" on one {paper.upper()} sheet"
    from pitchcam.chart.pdf import render, rows_that_fit

    pages = paginate(rows, per_page=rows_that_fit(paper))
    return render(pages, paper), f" on {len(pages)} pages"
