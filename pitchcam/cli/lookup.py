"""``pitchcam lookup``: name a thread from caliper and gauge readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pitchcam.cli._options import LENGTH
from pitchcam.errors import ReadingError, UsageError
from pitchcam.records import EXIT_OF, json_text

if TYPE_CHECKING:
    from pitchcam.match.hand import Form


@click.command(no_args_is_help=True)
@click.option(
    "--diameter",
    "-d",
    multiple=True,
    metavar="MM|IN",
    help="Over the crests, by caliper; twice, a few turns apart, for the taper.",
)
@click.option("--apart", type=LENGTH, metavar="MM", help="Distance of the two diameters.")
@click.option(
    "--bore",
    "-b",
    multiple=True,
    metavar="MM|IN",
    help="Internal thread: over its crests, by the inside jaws; twice for the taper.",
)
@click.option("--gauge", "-g", metavar="LEAF", help="The leaf that fits: 1.5mm, 18tpi or 2ba.")
@click.option(
    "--form",
    type=click.Choice(["parallel", "taper", "unsure"]),
    help="What the eye says; the caliper's jaws rock on a taper.",
)
@click.option("--angle", type=float, metavar="DEG", help="By form gauge: 47.5, 55, 60 or 80.")
@click.option(
    "--cast", is_flag=True, help="The diameter is that of a cast or plug of an internal thread."
)
@click.option(
    "--station",
    type=LENGTH,
    metavar="MM",
    help="Where the (first) diameter was read, from the small end; else anywhere on the thread.",
)
@click.option(
    "--u-diameter",
    type=LENGTH,
    metavar="MM",
    help="Standard uncertainty of a diameter (0.03, of a bore 0.05).",
)
@click.option(
    "--u-gauge",
    type=click.FloatRange(0.01, 20),
    metavar="PERCENT",
    help="Standard uncertainty of the gauge's pitch (0.5).",
)
@click.option(
    "--u-angle",
    type=click.FloatRange(0.05, 20),
    metavar="DEG",
    help="Standard uncertainty of the angle (0.85).",
)
@click.option(
    "--prior",
    multiple=True,
    metavar="NAME=WEIGHT",
    help="How common a designation, family or class is (common 60, usual 12, rare 1).",
)
@click.option("--no-prior", is_flag=True, help="Take all threads as equally common.")
@click.option("--json", "as_json", is_flag=True, help="Print the measurement as JSON.")
def command(
    diameter: tuple[str, ...],
    apart: float | None,
    bore: tuple[str, ...],
    gauge: str | None,
    form: Form | None,
    angle: float | None,
    cast: bool,
    station: float | None,
    u_diameter: float | None,
    u_gauge: float | None,
    u_angle: float | None,
    prior: tuple[str, ...],
    no_prior: bool,
    as_json: bool,
) -> None:
    """Name a thread from caliper and gauge readings, with no photo.

    Lengths are mm; write 0.543in for inches. Uncertainties are standard ones (k = 1).

    Slips are counted: a leaf one step off, an inch leaf on a metric thread, inches for mm, worn
    crests. Of two diameters either may be the one at the small end.

    Example: pitchcam lookup -d 13.8 -g 1.5mm --form parallel

    Exit code: 0 named, 3 ambiguous or off-series, 2 readings that no thread can have.
    """
    from pitchcam.cli._typed import as_document, as_text
    from pitchcam.match.by_hand import name_readings
    from pitchcam.match.readings import Typed, to_reading
    from pitchcam.series.gauges import parse_leaf

    outside, inside = _lengths(diameter, "--diameter"), _lengths(bore, "--bore")
    read = outside or inside
    typed = Typed(
        diameter_mm=outside[0] if outside else None,
        bore_mm=inside[0] if inside else None,
        second_mm=read[1] if len(read) > 1 else None,
        apart_mm=apart,
        leaf=None if gauge is None else parse_leaf(gauge),
        angle_deg=angle,
        form=form,
        cast=cast,
        station_mm=station,
        u_diameter_mm=u_diameter,
        u_gauge=None if u_gauge is None else u_gauge / 100,
        u_angle_deg=u_angle,
    )
    reading, verdict = to_reading(typed), name_readings(typed, priors=_priors(prior, no_prior))
    if as_json:
        click.echo(json_text(as_document(reading, verdict), indent=1))
    else:
        click.echo(as_text(reading, verdict))
    click.get_current_context().exit(EXIT_OF[verdict.status])


def _lengths(values: tuple[str, ...], option: str) -> tuple[float, ...]:
    from pitchcam.units import parse_length

    if len(values) > 2:
        raise UsageError(f"{option} was given {len(values)} times.", "Give it once or twice.")
    try:
        return tuple(parse_length(v) for v in values)
    except UsageError as error:
        raise ReadingError(f"{option}: {error.message}", error.advice) from None


def _priors(prior: tuple[str, ...], none: bool) -> dict[str, float] | None:
    if none and prior:
        raise UsageError("--prior and --no-prior contradict each other.", "Use one.")
    if none:
        return {}
    if not prior:
        return None
    weights = {}
    for text in prior:
        name, sep, weight = text.rpartition("=")
        try:
            weights[name.strip()] = float(weight)
        except ValueError:
            sep = ""
        if not sep:
            raise UsageError(f"--prior {text} is not understood.", "Write --prior UNF=3.")
    return weights
