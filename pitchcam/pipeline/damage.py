"""A picture that is not as a camera gave it carries no measurement."""

from __future__ import annotations

from collections.abc import Sequence

from pitchcam.edges.wave import find_wave
from pitchcam.errors import UnreadableError
from pitchcam.flags import FLAGS
from pitchcam.objects.field import Field
from pitchcam.objects.shapes import Shape
from pitchcam.photo import Photo
from pitchcam.photo.seams import few_shades, find_seam
from pitchcam.scale.faces import traced_sides
from pitchcam.scale.tilt import traced_window


def refuse_damaged(photo: Photo) -> None:
    """Raise where rows or columns of the picture are lost or repeated, or its shades are few.

    Raises
    ------
    UnreadableError
        With the code ``damaged``.
    """
    shades, seam = few_shades(photo.pixels), find_seam(photo.pixels, photo.quarter)
    if shades is not None:
        _refuse(f"its light has only {shades} shades, where a camera gives hundreds")
    if seam is not None:
        _refuse(seam.text)


def refuse_waving(field: Field, shapes: Sequence[Shape]) -> None:
    """Raise where straight edges of the light and of what lies on it wave together.

    Raises
    ------
    UnreadableError
        With the code ``damaged``.
    """
    edges = [*traced_window(field), *(e for s in shapes for e in traced_sides(s))]
    wave = find_wave(edges)
    if wave is not None:
        _refuse(wave.text)


def _refuse(why: str) -> None:
    raise UnreadableError(f"The photo is damaged: {why}.", FLAGS["damaged"][1], code="damaged")
