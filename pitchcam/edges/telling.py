"""Which straight edges tell how the photo's lens draws, and which show mirrored light alone."""

from __future__ import annotations

import numpy as np

from pitchcam.edges.lines import StraightEdge
from pitchcam.edges.rims import BELIEVED, MOST_DRAWN_PX, Rims

#: Beyond the blur of a corner (px, inside is negative) its face must be as even as this, in shares
#: of the background's light: half of what would shift the fitted blur by a tenth.
FACE_PX = -3.5
STEADY = 0.06


def sharp_edges(
    edges: list[StraightEdge], owner: list[int | None]
) -> tuple[list[StraightEdge], list[int | None]]:
    """Leave out edges of parts whose light falls over a width that no blur of the photo has.

    Metal over a near panel mirrors it all along its rim, and has no edge that tells of the lens.
    """
    kept = [i for i, e in enumerate(edges) if owner[i] is not None or e.fall_px <= MOST_DRAWN_PX]
    return [edges[i] for i in kept], [owner[i] for i in kept]


def even_corners(
    edges: list[StraightEdge], owner: list[int | None]
) -> tuple[list[StraightEdge], list[int | None]]:
    """Leave out corners whose face mirrors a changing light: it would read as blur."""
    kept = []
    for i, edge in enumerate(edges):
        face = edge.profiles[0].light[edge.profiles[0].across_px < FACE_PX]
        if owner[i] is not None or np.ptp(face) < STEADY:
            kept.append(i)
    if not kept:
        return edges, owner
    return [edges[i] for i in kept], [owner[i] for i in kept]


def contradicted(wide: Rims, owner: list[int | None]) -> bool:
    """Whether edges of parts alone, fitted as blurred, are not what they were taken for.

    The fit misses them, and its blur is wider than their outer fall, which no blur leaves narrower.
    """
    if any(label is not None for label in owner):
        return False
    return bool(wide.misfit.max() > BELIEVED and wide.spread.blur_px > wide.fall_px)
