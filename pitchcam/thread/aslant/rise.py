"""What the light does to a thread's outline: how far inside it is seen, and how that rises.

What a part mirrors beside its edge brings the crossing of a level inside of where a black part's
lies; the top of a flank mirrors more of the panel than its foot, and is seen by so much more
inside.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.flank_points import contour_normals
from pitchcam.edges.flanks import FlankEdge, moved_px
from pitchcam.edges.sight import Sight
from pitchcam.frozen import dataclass
from pitchcam.objects.contour import LIT_LEVEL
from pitchcam.small import sound_mean
from pitchcam.thread.aslant.fit import BELOW, DEVIATIONS, PITCH, RADIUS, TAPER, Outline

Values = NDArray[np.float64]

#: Depth of a thread in pitches, over which the light rises.
DEPTH = 0.58
#: Levels of the light whose distance apart along the normal tells how much a flank mirrors; samples
#: across it, pixels, and what of a flank's height is asked: not corners.
BESIDE_LEVEL, ACROSS_PX, OF_FLANK = 0.7, np.arange(-4.0, 2.01, 0.5), 0.35
#: How far inside of a black edge's crossing an outline lies: in blurs, black parts' too, and the
#: share of what mirrored light makes by two levels, which take it for even; it falls inward. And
#: the standard uncertainty, pixels (126 known threads in renders, crests and angle held: 0.09 and
#: 0.55, 0.09 pixels off; likelier than one number of blurs for all by 21 units of the logarithm).
BLACK_BLURS, OUT_SHARE, U_OUT_PX = 0.09, 0.55, 0.1
#: The same where the light beside flanks was traced, and their edges placed by it (43 known threads
#: that are asked so: 0.05 and 0.9, and 0.07 pixels and a tenth off; by 14 units).
TRACED_BLURS, TRACED_SHARE, U_TRACED_PX, U_TRACED_SHARE = 0.05, 0.9, 0.07, 0.1
#: The top of a flank is seen farther inside by this share of how far inside mirrored light lets the
#: whole flank be seen, and so many pixels besides, which dead black ones show too; and their
#: standard uncertainties (85 known threads in renders that tell it to half a pixel, form and angle
#: held, their own noise taken off: 0.30 +- 0.31, and of 48 black to bright ones 0.03 +- 0.05 px).
RISE_SHARE, RISE_PX, U_RISE_SHARE, U_RISE_PX = 0.3, 0.03, 0.33, 0.05
#: Light inside an edge, of the background's, for which it is tabled where the levels are crossed.
INSIDE: Values = np.linspace(0.0, 0.69, 70)


@dataclass(frozen=True, kw_only=True)
class MovedByLight:
    """How the light moves an outline, each with its standard uncertainty, pixels.

    ``inside`` is how far inside of where a black part's would it lies, ``rise`` how much farther a
    flank's top does than its foot.
    """

    inside: tuple[float, float]
    rise: tuple[float, float]


def flank_height(seen: Outline, usual: Values) -> Values:
    """Return how far up a flank points lie, -1/2 to 1/2, by the usual parameters (n,)."""
    crest = usual[RADIUS] + usual[TAPER] * seen.zy[:, 0]
    below = (crest - np.abs(seen.zy[:, 1])) / (DEPTH * usual[PITCH])
    return np.asarray(np.clip(1 - below, 0.0, 1.0) - 0.5)


def moved_by_light(sight: Sight, seen: Outline, height: Values) -> MovedByLight:
    """Return what is expected of the light, by how flanks mirror it.

    Raises
    ------
    numpy.linalg.LinAlgError
        If none of the points lies on a flank.
    """
    flank = np.abs(height) < OF_FLANK
    if not flank.any():
        raise np.linalg.LinAlgError("the outline shows no flanks")
    inside = mirrored_px(sight, seen.index[flank])
    return MovedByLight(
        inside=(BLACK_BLURS * sight.blur_px + OUT_SHARE * inside, U_OUT_PX),
        rise=(RISE_PX + RISE_SHARE * inside, float(np.hypot(U_RISE_PX, U_RISE_SHARE * inside))),
    )


def moved_by_traced(edges: Sequence[FlankEdge], blur_px: float) -> MovedByLight:
    """Return what is expected of the light where it was traced: four flanks, each with its own."""
    moved = moved_px(edges, blur_px)
    rises = np.array([[e.by_height_px, e.u_by_height_px] for e in edges])
    return MovedByLight(
        inside=(
            TRACED_BLURS * blur_px + TRACED_SHARE * moved,
            float(np.hypot(U_TRACED_PX, U_TRACED_SHARE * moved)),
        ),
        rise=(float(rises[:, 0].mean()), float(np.sqrt(np.mean(rises[:, 1] ** 2))) / 2),
    )


def mirrored_px(sight: Sight, index: NDArray[np.intp]) -> float:
    """Return how far inside flanks' edges mirrored light lets LIT_LEVEL be crossed, pixels.

    ``index`` are the flanks' points in the outline. What is mirrored evenly inside an edge brings
    the darker of two levels farther inside than the lighter one.
    """
    normal = contour_normals(sight.outline_px)[index]
    xy = sight.outline_px[index][:, None] + ACROSS_PX[:, None] * normal[:, None]
    light = sound_mean(sight.crop.sample(xy))
    lit, beside = (float(np.interp(level, light, ACROSS_PX)) for level in (LIT_LEVEL, BESIDE_LEVEL))
    at_lit, at_beside = (
        np.interp((level - INSIDE) / (1 - INSIDE), BELOW, DEVIATIONS)
        for level in (LIT_LEVEL, BESIDE_LEVEL)
    )
    blurs = np.interp((lit - beside) / sight.blur_px, at_lit - at_beside, at_lit[0] - at_lit)
    return float(blurs) * sight.blur_px
