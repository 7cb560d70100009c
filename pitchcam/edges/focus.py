"""Which straight edges of a photo lie out of the focus that the others are in.

A phone near a thick part has its thread in focus, and a thin pin on the plate out of it: by 3 px
where a part of 40 mm lies under a phone 170 mm off. Taken as drawn alike, the pin's blur passes for
a mirrored band, and its edge lies pixels too far out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcam.edges.lines import StraightEdge
from pitchcam.light.defocus import Focus
from pitchcam.objects.shapes import Shape
from pitchcam.small import median

#: Fall beyond which a profile does not hold a disc's: its inner end, from which the part's own dark
#: is read, lies within. Drawn pins (facets) are off by 0.12 px up to a disc of 3.5 px, by 0.2 at 4
#: and 0.4 at 5, where they are taken as a smaller picture by 0.16. A mirrored band widens a usual
#: blur's fall to 1.4.
MOST_HELD_PX = 2.1
#: How much blur changes over a pixel of height, standard uncertainty: a quarter of the pupil over
#: the distance, which are 2 to 4 mm and 150 to 350 mm (common practice, no source).
U_BLUR_BY_HEIGHT = 0.003


def far_from_focus(edges: Sequence[StraightEdge], owner: Sequence[int | None]) -> set[int]:
    """Return the pins blurred beyond what a profile holds in a photo whose parts are not.

    A phone that is near a thick part has it in focus, and a thin pin on the plate far out of it.
    """
    falls: dict[int | None, list[float]] = {}
    for edge, label in zip(edges, owner, strict=True):
        falls.setdefault(label, []).append(edge.fall_px)
    if None not in falls or median(np.array(falls[None])) > MOST_HELD_PX:
        return set()
    return {
        label
        for label, seen in falls.items()
        if label is not None and median(np.array(seen)) > MOST_HELD_PX
    }


def focus_of(
    shapes: Sequence[Shape], edges: Sequence[StraightEdge], owner: Sequence[int | None]
) -> Focus | None:
    """Return how far the pins' edges may be out of the focus that the parts' are in."""
    apart = [label is not None for e, label in zip(edges, owner, strict=True) for _ in e.profiles]
    if all(apart) or not any(apart):
        return None
    heights = [s.width_px / 2 for s in shapes if s.threads]
    pins = [s.width_px / 2 for s in shapes if s.blob.label in owner]
    off = max(abs(a - b) for a in heights for b in pins)
    return Focus(apart=np.array(apart), u_px=max(U_BLUR_BY_HEIGHT * off, 0.01))
