"""A thread that is blurred by itself, moved or out of focus, and how far is too far."""

from __future__ import annotations

from dataclasses import replace

from pitchcam.edges.sight import Sight
from pitchcam.errors import UnreadableError
from pitchcam.flags import FLAGS

#: Blur wider than the pixels make it, by a lens or a motion, along the axis or across flanks of
#: either way, beyond which a thread is not measured, in pitches. With so many pixels the scatter is
#: small, and what the blur does to the angle is more than all that u knows of. Drawn threads out of
#: focus: two to three u at 0.12, one at 0.08; that were moved: all within 2 u at 0.09, of four at
#: 0.12 to 0.13 one 3 u off.
MOST_WIDE = 0.10


def moved_sight(sight: Sight, own_blur_px: tuple[float, float]) -> Sight:
    """Return how a thread is seen whose flanks were found blurred by themselves.

    Raises
    ------
    UnreadableError
        If it is blurred over so much of its pitch that its flanks are no edges by themselves.
    """
    moved = replace(sight, own_blur_px=own_blur_px)
    pitch_px = sight.region.spacing_px
    blur_px = max(moved.blur_px, moved.along_px, *own_blur_px)
    if blur_px > MOST_WIDE * pitch_px:
        raise UnreadableError(
            "The thread is out of focus, or it or the phone moved while the photo was taken: its "
            f"flanks are blurred over {2.5 * blur_px:.0f} pixels, its pitch is {pitch_px:.0f}.",
            FLAGS["blurred"][1],
            code="blurred",
        )
    return moved
