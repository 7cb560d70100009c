"""``pitchcam serve``: the page at the bench, for the phone in the hand."""

from __future__ import annotations

from pathlib import Path

import click

from pitchcam.cli._options import record_option


@click.command("serve", epilog="Example: pitchcam serve --lan --reference 'pin 8'")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=8017,
    show_default=True,
    help="Port; 0 takes a free one.",
)
@click.option("--lan", is_flag=True, help="Let paired phones in the local network in, over TLS.")
@record_option("The record that keeps every answer.")
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    default=Path("pitchcam-page"),
    show_default=True,
    help="Folder for photos, pictures and boxes.",
)
@click.option(
    "--reference",
    metavar="'WHAT MM'",
    help="The bench's own reference: 'pin 8', 'disc 23.25', 'card', 'sheet 99.6'.",
)
@click.option(
    "--no-lenses",
    is_flag=True,
    help="Neither use nor keep what photos with a card told of phones' lenses.",
)
@click.option("--jobs", type=click.IntRange(1, 64), help="Processes; by default one per core.")
def command(
    port: int,
    lan: bool,
    record: Path,
    folder: Path,
    reference: str | None,
    no_lenses: bool,
    jobs: int | None,
) -> None:
    """Serve the page: photograph, read the answer, go on to what joins it.

    Only this computer reaches it. With --lan, phones in the local network do, after pairing by
    the code that is shown.
    """
    from pitchcam.page.serve import serve
    from pitchcam.page.setup import Setup
    from pitchcam.page.typed import reference_text
    from pitchcam.pipeline.beside import cores

    if reference is not None:
        reference_text(reference)
    setup = Setup(
        record=record,
        folder=folder,
        processes=jobs or cores(),
        lan=lan,
        reference=reference,
        learn_lenses=not no_lenses,
    )
    serve(setup, port, click.echo)
