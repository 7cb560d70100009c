"""A picture that is not as a camera gave it: refused where it is damaged, else a warning."""

from __future__ import annotations

from collections.abc import Sequence

from pitchcam.camera.focal import SAME_SIZE, was_cropped
from pitchcam.edges.wave import find_wave, is_shown
from pitchcam.errors import UnreadableError
from pitchcam.flags import FLAGS, flag
from pitchcam.objects.field import Field
from pitchcam.objects.shapes import Shape
from pitchcam.photo import Photo
from pitchcam.photo.seams import few_shades, seam_of_colours, seam_of_luma
from pitchcam.records import Flag
from pitchcam.scale.faces import traced_lengths, traced_sides
from pitchcam.scale.tilt import traced_window


def refuse_damaged(photo: Photo) -> None:
    """Raise where rows or columns of the picture are lost or repeated, or its shades are few.

    Raises
    ------
    UnreadableError
        With the code ``damaged``.
    """
    luma = photo.luma()
    shades, seam = few_shades(luma), seam_of_luma(luma)
    del luma
    seam = seam or seam_of_colours(photo.pixels, photo.quarter)
    if shades is not None:
        _refuse(f"its light has only {shades} shades, where a camera gives hundreds")
    if seam is not None:
        _refuse(seam.text)


def refuse_waving(field: Field, shapes: Sequence[Shape]) -> bool:
    """Raise where straight edges of the light and of what lies on it wave together.

    Where no such edge is in view, as in a frame filled by light, the plain lengths of threaded
    parts stand in.

    Returns
    -------
    rows_shown
        Whether enough of what is straight is in view that rows out of place would be seen.

    Raises
    ------
    UnreadableError
        With the code ``damaged``.
    """
    edges = [*traced_window(field), *(e for s in shapes for e in traced_sides(s))]
    if not is_shown(edges):
        edges += [e for s in shapes for e in traced_lengths(s)]
    wave = find_wave(edges)
    if wave is not None:
        _refuse(wave.text)
    return is_shown(edges)


def told_copy(photo: Photo) -> list[Flag]:
    """Return the warnings of a picture that is not the whole one as its camera gave it.

    A focal length that the caller states, or a camera profile, speaks of the picture as it is.
    """
    size = f"{photo.width_px} x {photo.height_px} pixels"
    recorded = photo.origin.recorded_px
    was = "" if recorded is None else f"{recorded[0]:.0f} x {recorded[1]:.0f}"
    found = []
    if was_cropped(photo):
        told = f"its camera recorded {was}"
        if photo.f35_source != "cropped":
            told = "a shape that no camera gives"
        found.append(
            flag(
                "cropped",
                f"the picture of {size} was cropped ({told}), so the camera's height and the "
                "picture's middle are guesses",
            )
        )
    elif photo.origin.shrunk is not None and abs(photo.origin.shrunk - 1) > SAME_SIZE:
        found.append(
            flag("resized", f"the picture has {size}, its camera recorded {was}: it was resized")
        )
    if photo.f35_mm is None and photo.f35_source != "cropped":
        found.append(flag("no-exif"))
    return found


def _refuse(why: str) -> None:
    raise UnreadableError(f"The photo is damaged: {why}.", FLAGS["damaged"][1], code="damaged")
