"""``pitchcam identify``: name the thread in one photo, or in several of the same part."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitchcam.cli._options import Progress, output_path, scale_options, scale_spec, usual_record
from pitchcam.errors import InputError, UnreadableError, UsageError
from pitchcam.records import json_text
from pitchcam.units import parse_length

if TYPE_CHECKING:
    from pitchcam.camera.lenses import Lenses
    from pitchcam.records import Measurement, ScaleSpec

#: References as options say them; without their dashes they would be taken for photos.
REFERENCES = ("pin", "disc", "card", "jaws", "major")


@click.command(no_args_is_help=True, epilog="Example: pitchcam identify sender.jpg --pin 8")
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True)
@scale_options
@click.option(
    "--also",
    nargs=2,
    multiple=True,
    metavar="PHOTO REFERENCE",
    help="Another photo of the part, or the same, with another reference: --also B.jpg card, or "
    "'pin 8'.",
)
@click.option("--cast", is_flag=True, help="The photo shows a cast of an internal thread.")
@click.option(
    "--shrinkage",
    type=click.FloatRange(0.0, 5.0),
    metavar="PERCENT",
    help="How much the cast's compound shrinks (with --cast).",
)
@click.option(
    "--no-lenses",
    is_flag=True,
    help="Neither use nor keep what photos with a card told of this phone's lens; photos of one "
    "answer still tell each other.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the measurement as JSON.")
@click.option("--annotated", metavar="PATH", help="Write the annotated picture (.png or .jpg).")
@click.option("--report", metavar="PATH", help="Write the report (.html).")
def command(
    photos: tuple[str, ...],
    also: tuple[tuple[str, str], ...],
    cast: bool,
    shrinkage: float | None,
    no_lenses: bool,
    as_json: bool,
    annotated: str | None,
    report: str | None,
    **scale: Any,
) -> None:
    """Name the thread in PHOTO, from the reference that lies beside it.

    Several photos are taken to show the same part: moved, turned end for end, rolled a quarter, or
    from nearer. They give one answer; a photo that contradicts the others is left out and named.
    A photo with two references in it is named twice, once for each.

    State the reference with one of --pin, --disc, --card, --jaws or --major; the marker sheet is
    found without being named. Lengths are mm; write 0.543in for inches.

    Exit code: 0 named, 3 ambiguous or off-series, 4 unreadable, 2 wrong usage, 1 other failure.
    """
    if shrinkage is not None and not cast:
        raise UsageError("--shrinkage is of a cast;", "add --cast, or leave it out")
    spec = scale_spec(**scale)
    picture_path = output_path(annotated, "--annotated", (".png", ".jpg", ".jpeg"))
    report_path = output_path(report, "--report", (".html", ".htm"))
    options: dict[str, Any] = {"cast": cast}
    if shrinkage is not None:
        from pitchcam.batch.settings import Settings

        options["shrinkage"] = Settings(scale=spec, shrinkage_percent=shrinkage).shrinkage
    _without_dashes(photos)
    _are_photos([*photos, *(path for path, _ in also)], spec)
    if not no_lenses:
        options["lenses"] = _lenses()
    with Progress() as progress:
        if len(photos) + len(also) > 1:
            paths = [*photos, *(path for path, _ in also)]
            specs = [*(spec for _ in photos), *(_reference(text) for _, text in also)]
            measurement, failure = _measure_several(paths, specs, progress, options)
        else:
            from pitchcam.pipeline.beside import cores

            paths = [photos[0]]
            options["processes"] = cores()
            measurement, failure = _measure(paths[0], spec, progress, options)
        if picture_path is not None or report_path is not None:
            _write(measurement, paths, picture_path, report_path, progress)
    if as_json:
        click.echo(json_text(measurement.to_json(), indent=1))
    if failure is not None:
        raise failure
    if not as_json:
        from pitchcam.report import text

        click.echo(text(measurement), nl=False)
    click.get_current_context().exit(measurement.exit_code)


def _without_dashes(photos: tuple[str, ...]) -> None:
    """Raise UsageError where a reference stands among the photos, its dashes forgotten."""
    for word, after in zip(photos, (*photos[1:], ""), strict=True):
        if word in REFERENCES and not Path(word).exists():
            size = "" if word == "card" else f" {after or 'MM'}"
            raise UsageError(f"'{word}' is no photo;", f"a reference is an option: --{word}{size}")


def _are_photos(paths: list[str], spec: ScaleSpec) -> None:
    """Raise for a name that is no file before any other photo is measured.

    A number among them is the size of a reference that has none to state.
    """
    for path in paths:
        try:
            if Path(path).exists():
                continue
        except OSError:  # a name that no file can have
            pass
        try:
            parse_length(path)
        except UsageError:
            raise InputError(f"there is no file {path};", "check the name") from None
        if spec.source == "card":
            raise UsageError(f"--card takes no size, and there is no file {path};", "leave it out")
        raise UsageError(
            f"there is no file {path};", f"the size of a reference follows its option: --pin {path}"
        )


def _lenses() -> Lenses:
    """Return what was learnt of phones' lenses, beside the record."""
    from pitchcam.camera.lenses import Lenses

    return Lenses.beside(usual_record())


def _measure(
    photo: str, spec: ScaleSpec, progress: Progress, options: dict[str, Any]
) -> tuple[Measurement, UnreadableError | None]:
    """Return the measurement, or an empty one with the failure that is to be told."""
    import pitchcam

    progress("opening the photo")
    try:
        return pitchcam.identify(photo, spec, progress=progress, **options), None
    except UnreadableError as failure:
        return _unreadable(photo, failure), failure


def _measure_several(
    photos: list[str], specs: list[ScaleSpec], progress: Progress, options: dict[str, Any]
) -> tuple[Measurement, UnreadableError | None]:
    """Return one answer of several photos, or an empty one with the failure to be told."""
    import pitchcam
    from pitchcam.several import NothingReadError

    progress("opening the photos")
    try:
        return pitchcam.identify_several(photos, specs, progress=progress, **options), None
    except NothingReadError as failure:
        return failure.document, failure


def _reference(text: str) -> ScaleSpec:
    """Read 'pin 8', 'disc 23.25', 'jaws 20', 'major 13.8', 'card' or 'sheet 99.6'."""
    kind, _, size = text.strip().partition(" ")
    if kind == "card" and not size:
        return scale_spec(card=True)
    if kind == "sheet":
        return scale_spec(sheet_bar=parse_length(size) if size else 100.0)
    if kind not in ("pin", "disc", "jaws", "major") or not size:
        raise UsageError(
            f"{text!r} is no reference;",
            "write 'pin 8', 'disc 23.25', 'jaws 20', 'major 13.8', 'card' or 'sheet'",
        )
    stated: dict[str, Any] = {kind: parse_length(size)}
    return scale_spec(**stated)


def _unreadable(photo: str, failure: UnreadableError) -> Measurement:
    """Return the contract's document of a photo that does not carry the measurement."""
    from pitchcam.photo import load_photo
    from pitchcam.records import Flag, Measurement, PhotoInfo

    opened = load_photo(photo)
    info = PhotoInfo(
        file=opened.path.name,
        sha256=opened.sha256,
        width_px=opened.width_px,
        height_px=opened.height_px,
    )
    flag = Flag(code=failure.code, message=failure.message, advice=failure.advice)
    return Measurement(photo=info, scale=None, warnings=(flag,))


def _write(
    measurement: Measurement,
    photos: list[str],
    picture_path: Path | None,
    report_path: Path | None,
    progress: Progress,
) -> None:
    from pitchcam.photo import load_photo
    from pitchcam.report import annotate, write_report
    from pitchcam.report.files import write_picture

    opened = [load_photo(photo) for photo in photos]
    if picture_path is not None:
        progress("drawing the annotated picture")
        write_picture(picture_path, annotate(measurement, *opened))
    if report_path is not None:
        progress("writing the report")
        write_report(measurement, opened, report_path)
