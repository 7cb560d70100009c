"""``pitchcam job``: the whole way on one page, from names or photos to the join."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitchcam.cli._options import Progress, output_path
from pitchcam.cli._stock import (
    limit_options,
    load_stock,
    paper_option,
    question_limits,
    stock_option,
    stock_record_option,
)
from pitchcam.errors import Exit, InputError, UnreadableError, UsageError
from pitchcam.records import json_text

if TYPE_CHECKING:
    from pitchcam.joining.job import Side
    from pitchcam.records import Gender, Measurement

_PICTURES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")


@click.command(
    "job",
    epilog='Example: pitchcam job --port "-b 16.6 -g 1.5mm" --part "1/8-27 NPT" --service oil',
)
@click.option(
    "--port",
    required=True,
    metavar="THREAD|READINGS|PHOTO",
    help="The engine's end: its name, readings as lookup takes them, or a photo of its cast or of "
    "the old part.",
)
@click.option(
    "--part",
    required=True,
    metavar="THREAD|READINGS|PHOTO",
    help="The part's end: its name, readings as lookup takes them, or its photo.",
)
@click.option(
    "--port-scale", metavar="REFERENCE", help="Reference in the port's photo, in quotes: 'pin 8'."
)
@click.option(
    "--part-scale",
    metavar="REFERENCE",
    help="Reference in the part's photo, in quotes: 'pin 8', 'jaws 20', 'card', 'major 13.8'.",
)
@click.option("--port-cast", is_flag=True, help="The port's photo shows a cast of it.")
@click.option(
    "--port-thread",
    type=click.IntRange(1),
    metavar="N",
    help="Which thread of the port's photo, where it shows several.",
)
@click.option(
    "--part-thread",
    type=click.IntRange(1),
    metavar="N",
    help="Which thread of the part's photo, where it shows several.",
)
@stock_option
@stock_record_option
@limit_options
@click.option(
    "-o", "--output", metavar="FILE", help="Write the page, with the work sheet behind; .pdf."
)
@paper_option
@click.option("--json", "as_json", is_flag=True, help="Write JSON.")
@click.pass_context
def command(
    ctx: click.Context,
    /,
    port: str,
    part: str,
    port_scale: str | None,
    part_scale: str | None,
    port_cast: bool,
    port_thread: int | None,
    part_thread: int | None,
    sheet: Path | None,
    record: Path,
    output: str | None,
    paper: str,
    as_json: bool,
    **limits: Any,
) -> None:
    """Plan the whole job: names, readings or photos in, the join out, on one page.

    Readings are written as lookup takes them, in quotes. A photo or readings of a male part for
    the port are taken as the old part that came out of it. The exit code is 0 where the work is
    clear, 3 where a name must be settled or something bought.
    """
    from pitchcam.joining.brazing.plan import Duty
    from pitchcam.joining.brazing.refuse import service_row
    from pitchcam.joining.chains.question import Question
    from pitchcam.joining.job import plan_job
    from pitchcam.joining.job_text import job_json, job_text
    from pitchcam.joining.papers.job_sheet import write_job

    target = output_path(output, "--output", (".pdf",))
    service = limits["service"]
    if service is not None:
        service_row(service)
    with Progress() as progress:
        sides = (
            _side("port", port, port_scale, port_cast, port_thread, progress),
            _side("part", part, part_scale, False, part_thread, progress),
        )
    stock = load_stock(sheet, record)
    first = (sides[0].names[0].end, sides[1].names[0].end)
    asked = Question(port=first[0], part=first[1], **question_limits(limits))
    duty = (
        None
        if service is None
        else Duty(
            service=service,
            pressure_bar=limits["pressure"],
            temperature_c=limits["temperature"],
            bore_mm=limits["bore"],
        )
    )
    job = plan_job(sides[0], sides[1], asked, stock, duty)
    if target is not None:
        write_job(job, target, date.today(), paper)
    click.echo(json_text(job_json(job)) if as_json else job_text(job))
    if target is not None:
        click.echo(f"The page: {target}", err=True)
    best = job.ways[0]
    joined = best.chain is not None or best.made is not None
    ctx.exit(Exit.NAMED if job.settled and joined else Exit.OPEN)


def _side(
    role: str, text: str, scale: str | None, cast: bool, number: int | None, progress: Progress
) -> Side:
    """Return a side from a typed name, or from a photo that is measured now."""
    from pitchcam.joining.job import measured_side, named_side

    wanted: Gender = "internal" if role == "port" else "external"
    if text.strip() == "THREAD":  # copied from the line 'then:' of an answer
        raise UsageError(f"THREAD stands for the {role}'s;", "put its name there, as M14x1.5")
    if text.lstrip().startswith("-"):
        if scale is not None or number is not None:
            raise UsageError(f"the {role} is readings, not a photo;", "leave out its photo options")
        from pitchcam.cli._readings import read_side

        return read_side(role, text, cast=cast, wanted=wanted)
    path, dash, rest = text.partition(" -")
    options = dash and Path(path.strip()).suffix.lower() in _PICTURES
    if options and not Path(text).exists():
        raise UsageError(
            f"'{text}' is a photo with options;",
            f"state its reference so: --{role} {path.strip()} --{role}-scale "
            f"'{rest.lstrip('-').strip()}'",
        )
    if Path(text).suffix.lower() not in _PICTURES:
        if scale is not None or cast or number is not None:
            raise UsageError(f"the {role} is a name, not a photo;", "leave out its photo options")
        return named_side(role, text, wanted)
    import pitchcam

    progress(f"measuring the {role}'s photo")
    try:
        measurement = pitchcam.identify(text, _scale(role, scale), cast=cast, progress=progress)
    except UnreadableError as refused:
        if refused.code != "no-reference" or scale is not None:
            raise
        raise UnreadableError(
            f"The {role}'s photo shows no marker sheet, and no other reference was stated.",
            f"State what lies in it: --{role}-scale 'pin 8' (or card, disc, jaws, major)",
            code=refused.code,
        ) from None
    thread = _thread(role, measurement, number)
    origin = f"photo {Path(text).name}" + (", cast" if cast else "")
    if not cast and role == "port":
        origin += ", the old part out of it"
    return measured_side(role, origin, thread.verdict, thread.reading.gender, wanted)


def _thread(role: str, measurement: Measurement, number: int | None) -> Any:
    threads = [t for p in measurement.parts for t in p.threads]
    if not threads:
        raise InputError(f"the {role}'s photo shows no thread.", "See: pitchcam identify PHOTO")
    if number is None and len(threads) > 1:
        names = ", ".join(
            f"{i} {t.verdict.designation or t.verdict.status}"
            for i, t in enumerate(threads, start=1)
        )
        raise UsageError(
            f"the {role}'s photo shows {len(threads)} threads ({names}).",
            f"Say which with --{role}-thread.",
        )
    if number is not None and number > len(threads):
        raise UsageError(f"the {role}'s photo shows {len(threads)} threads only.", "Count again.")
    return threads[(number or 1) - 1]


def _scale(role: str, text: str | None) -> Any:
    """Read 'pin 8', 'disc 23.25', 'card', 'jaws 20', 'major 13.8'; None looks for the sheet."""
    from pitchcam.cli._options import scale_spec
    from pitchcam.reference_kinds import SIZED
    from pitchcam.units import parse_length

    if text is None:
        return scale_spec()
    what, _, size = text.strip().partition(" ")
    if what == "card" and not size:
        return scale_spec(card=True)
    if what not in SIZED or not size:
        raise UsageError(
            f"--{role}-scale '{text}' is no reference;",
            "write pin 8, disc 23.25, card, jaws 20 or major 13.8",
        )
    options: dict[str, Any] = {what: parse_length(size)}
    return scale_spec(**options)
