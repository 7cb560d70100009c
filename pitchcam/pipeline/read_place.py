"""Where on the parts a caliper may have been held, besides over the crests that are measured.

A reading stated for the crests may be that of a thread too short to be measured; with less
probability, of something that is no thread: a collar, a shank, a hexagon over its flats.
"""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import replace

import numpy as np

from pitchcam.camera.pinhole import Camera
from pitchcam.errors import OutlineError
from pitchcam.frozen import dataclass
from pitchcam.match.slips import slip_shares
from pitchcam.objects.axis import envelope
from pitchcam.objects.faint import sheared
from pitchcam.objects.frame import AxisFrame, axis_frame, cross_shift
from pitchcam.objects.level import Level, level_stretches
from pitchcam.objects.regions import Region
from pitchcam.objects.shapes import Shape, widest_stretch
from pitchcam.pipeline.scene import Scene
from pitchcam.thread.crest_lines import LEVEL_BLURS
from pitchcam.thread.pose.height import U_CORNERS, rest_height
from pitchcam.thread.pose.hexagon import hexagon_share

#: What an outline leaves open of a diameter, pixels: what the metal mirrors at its edges is not
#: undone. 78 threads whose diameters are measured better differ by so much, rms, one by 9.
U_OUTLINE_PX = 1.4
#: Width of a hexagon over its flats, which jaws take, by that over its corners, which it shows
#: where it lies on one of them.
FLATS = math.sqrt(3) / 2
#: How often a wide stretch is mistaken for a hexagon or for round
#: (:data:`pitchcam.thread.pose.hexagon.ODDS`: 14 of 393).
MISTAKEN = 0.04


@dataclass(frozen=True, kw_only=True)
class ReadPlace:
    """A level stretch of a part, and how probable a reading there is, as a logarithm.

    To that, a thread that is measured has 0, and so have crests; what else is read by a slip.
    ``flats`` says that it is a hexagon's corners, and the reading that of its flats.
    """

    part: Shape
    level: Level
    log_share: float
    flats: bool = False


def read_places(scene: Scene, parts: list[Shape], measured: list[Region]) -> list[ReadPlace]:
    """Return the places besides the ``measured`` threads where a caliper may have been held."""
    found: list[ReadPlace] = []
    for part in parts:
        # What has no outline there is measured by nothing.
        with suppress(OutlineError):
            found += _of_part(scene, part, measured)
    return found


def _of_part(scene: Scene, part: Shape, measured: list[Region]) -> list[ReadPlace]:
    slipped = math.log(slip_shares()["reference-major"])
    known = [r for r in part.threads if any(r is m for m in measured)]
    st = part.axis.to_axis(part.lit_outline_px)
    ends = [float(st[:, 0].min()), float(st[:, 0].max())]
    first, last = (cross_shift(scene.camera, part.axis, s) for s in ends)
    found = []
    for level in level_stretches(envelope(sheared(st, (first, last)))):
        if any(_on(level, r) for r in known):
            continue
        crests = level.ridged and not any(_on(level, r) for r in part.others)
        hexagon = 0.0 if crests else _hexagon(scene, part, level)
        place = ReadPlace(
            part=part, level=level, log_share=0.0 if crests else slipped + math.log(1 - hexagon)
        )
        found.append(place)
        if hexagon:
            found.append(replace(place, log_share=slipped + math.log(hexagon), flats=True))
    return found


def _hexagon(scene: Scene, part: Shape, level: Level) -> float:
    """Return the probability that a level stretch is a hexagon: even, but for a part's widest."""
    start, end, width_px = widest_stretch(part)
    if not start <= level.middle_px <= end:
        return 0.5
    share = hexagon_share(part, (start, end), width_px, scene.rims.spread.blur_px)
    return float(np.clip(share, MISTAKEN, 1 - MISTAKEN))


def _on(level: Level, region: Region) -> bool:
    """Whether a level stretch is one of the crests of a region, or of what runs out beside them."""
    reach = region.spacing_px
    return region.start_px - reach < level.middle_px < region.end_px + reach


def diameter_mm(scene: Scene, camera: Camera, place: ReadPlace) -> tuple[float, AxisFrame]:
    """Return what jaws read at a place, in a camera's scale, and the frame on the axis there."""
    part, level = place.part, place.level
    height = rest_height(part, camera, scene.rims.spread.blur_px).height_mm
    frame = axis_frame(camera, part.axis, level.middle_px, height)
    outside = LEVEL_BLURS * scene.rims.spread.blur_px
    across = np.array([1.0, -1.0]) * (np.array(level.radii_px) - outside)
    along = np.full(2, level.middle_px)
    y = frame.from_photo(part.axis.to_photo(np.stack([along, across], axis=1)))[:, 1]
    if place.flats:  # its corners lie in the plane of the axis
        return FLATS * float(np.sum(np.abs(y))), frame
    reach = frame.pinhole[2]
    # A ray touches the round part before it meets the plane of the axis.
    return float(np.sum(np.abs(y) * reach / np.hypot(reach, y))), frame


def u_diameter(place: ReadPlace) -> float:
    """Return the relative standard uncertainty of a diameter as the outline shows it."""
    u = U_OUTLINE_PX / sum(place.level.radii_px)
    return math.hypot(u, U_CORNERS) if place.flats else u
