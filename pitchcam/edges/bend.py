"""How far a straight edge bends in the picture: the lens's distortion, from what is straight.

A radial displacement ``corner`` times the third power of the distance from the picture's middle (1
at its corner) bends every straight edge that does not run through the middle.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.lines import Segment, crossings, line_profiles
from pitchcam.frozen import dataclass
from pitchcam.objects.contour import Crop
from pitchcam.small import line_through, median

Points = NDArray[np.float64]

#: Pieces of an edge, each placed by the median of its crossings; the fewest that tell a bend.
PIECES, FEWEST = 16, 6
#: Reach across an edge: a distorted side of a card bows by a few pixels.
REACH_PX = 12.0
#: What one piece's place is good to: grain of the denoising, JPEG's blocks, dust (judgement, by
#: renders: neighbouring pieces of a card's side scatter by 0.03-0.06 px).
U_PIECE_PX = 0.06
#: What a straight edge itself may bow, or its light, over its length, pixels (judgement).
U_BOW_PX = 0.08
#: An edge whose pieces scatter by more is no straight one.
MOST_SCATTER_PX = 0.6


@dataclass(frozen=True, kw_only=True)
class Bent:
    """Places (n, 2) along one straight edge in the photo, and what each is good to, pixels.

    ``u_bow_px`` is how far the edge itself, or its light, may bow over its length.
    """

    places_px: Points
    u_px: float
    u_bow_px: float = U_BOW_PX


def places(crop: Crop, side: Segment, *, level: float = 0.5, pieces: int = PIECES) -> Points:
    """Return where an edge near a segment lies, (n, 2): the medians of its pieces' crossings."""
    p = line_profiles(crop, side, reach_px=REACH_PX)
    at = crossings(p.light, p.across_px, level)
    start, along, normal, seen = side.start, side.along, side.normal, np.isfinite(at)
    found = []
    for rows in np.array_split(np.arange(len(p.along_px)), pieces):
        good = rows[seen[rows]]
        if len(good) >= max(3, len(rows) // 2):
            middle = float(np.add.reduce(p.along_px[good])) / len(good)
            found.append(start + middle * along + median(at[good]) * normal)
    return np.array(found).reshape(-1, 2)


def corner_share(camera: Camera, edges: Sequence[Bent]) -> tuple[float, float]:
    """Return the displacement at the corner as a share, and its standard uncertainty.

    What is known beforehand (the camera's own, ``u_corner``) is weighed in; it stands where no edge
    tells.
    """
    weight, total = 1 / camera.u_corner**2, camera.corner / camera.u_corner**2
    for edge in edges:
        told = _told(camera, edge)
        if told is not None:
            value, u = told
            weight, total = weight + 1 / u**2, total + value / u**2
    return total / weight, float(1 / np.sqrt(weight))


def _told(camera: Camera, edge: Bent) -> tuple[float, float] | None:
    """Return the corner's displacement that makes one edge straight, and its u."""
    xy = edge.places_px
    if len(xy) < FEWEST:
        return None
    middle, axes = line_through(xy)
    s, y = (xy - middle) @ axes[0], (xy - middle) @ axes[1]
    centre = np.array(camera.centre_px)
    off = xy - centre
    # To first order the displacement is that of the place as it is seen.
    shift = (np.sum(off**2, axis=1) / float(centre @ centre)) * (off @ axes[1])
    line = np.stack([np.ones_like(s), s], axis=1)
    remove = np.eye(len(s)) - line @ np.linalg.pinv(line)
    bow, by = remove @ y, remove @ shift
    power = float(by @ by)
    if power < 1e-6:
        return None
    value = float(bow @ by) / power
    scatter = float(np.std(bow - value * by))
    if scatter > MOST_SCATTER_PX:
        return None
    noise = max(edge.u_px, scatter) / np.sqrt(power)
    # A bow of the edge itself, a parabola of that height, is taken for the lens's.
    own = s**2 / max(float(np.max(s**2)), 1e-9)
    own = remove @ own
    return value, float(np.hypot(noise, edge.u_bow_px * abs(float(own @ by)) / power))
