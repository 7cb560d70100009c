"""``pitchcam sheet``: draw the marker sheet at true size."""

from __future__ import annotations

import click

from pitchcam.cli._options import output_path


@click.command("sheet", epilog="Example: pitchcam sheet -o sheet.pdf --size box")
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    default="marker-sheet.pdf",
    show_default=True,
    help="Where to write; .pdf, .png or .svg.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Paper size.",
)
@click.option(
    "--size",
    type=click.Choice(["part", "box"]),
    default="part",
    show_default=True,
    help="Window for one part (90 x 60 mm) or for several (120 x 90 mm).",
)
def command(output: str, paper: str, size: str) -> None:
    """Draw the marker sheet that gives scale and camera pose.

    Print it at 100 % (actual size), measure both bars with a caliper, cut out the window, and lay
    it on clear glass over the light panel with the part in the window. A bar that does not read
    100.0 mm is stated when a photo is measured: --sheet-bar 99.6
    """
    from pitchcam.sheet import sheet, write_sheet

    path = output_path(output, "--output", (".pdf", ".png", ".svg"))
    assert path is not None
    plan = sheet(size)
    write_sheet(plan, path, paper)
    width, height = plan.window_mm
    click.echo(
        f"{path}: {size} sheet on {paper}, window {width:.0f} x {height:.0f} mm, "
        f"{len(plan.markers)} markers. Print at 100 %, then check the 100.0 mm bars."
    )
