"""``pitchcam calibrate``: a camera profile from photos of the marker sheet."""

from __future__ import annotations

import click

from pitchcam.cli._options import LENGTH, Progress, output_path


@click.command("calibrate", epilog="Example: pitchcam calibrate views/*.jpg -o camera.json")
@click.argument("photos", nargs=-1, required=True, metavar="PHOTO...")
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    default="camera.json",
    show_default=True,
    help="Where to write the profile.",
)
@click.option("--name", default="camera", help="Phone and lens, for people.")
@click.option(
    "--sheet-bar", type=LENGTH, metavar="MM", help="The marker sheet's bar as the caliper reads it."
)
def command(photos: tuple[str, ...], output: str, name: str, sheet_bar: float | None) -> None:
    """Make a camera profile (focal length, centre, distortion) from photos of the sheet.

    Take six to ten photos with the lens that you will use, no zoom, no crop: the sheet flat and
    filling the picture, some from straight above, the others tilted by 20 to 35 degrees to all four
    sides, the phone also turned on its side.
    """
    from pitchcam.scale.views import profile_from_photos

    path = output_path(output, "--output", (".json",))
    assert path is not None
    with Progress() as progress:
        result = profile_from_photos(photos, name=name, bar_mm=sheet_bar, progress=progress)
    from pitchcam.camera.profile import save_profile

    save_profile(result.profile, path)
    for view in result.views:
        seen = f"{view.markers} markers" if view.markers else "no sheet, left out"
        click.echo(f"{view.photo}: {seen}", err=True)
    p = result.profile
    corner = result.corner_shift_px
    click.echo(
        f"{path}: focal length {p.f_px:.0f} +/- {2 * p.u_f_px:.0f} px, "
        f"distortion {corner:+.1f} px at the corner, misfit {p.residual_px:.2f} px, "
        f"{p.views} views"
    )
