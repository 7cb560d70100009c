"""Why a threaded region of a part is not measured: each reason names what the photo lacks."""

from __future__ import annotations

import numpy as np

from pitchcam.flags import flag
from pitchcam.frozen import dataclass
from pitchcam.objects.field import STEP
from pitchcam.objects.gaps import is_seen_through
from pitchcam.objects.regions import Region
from pitchcam.objects.shapes import Shape
from pitchcam.pipeline.scene import Scene
from pitchcam.pipeline.unfit_photo import too_blurred
from pitchcam.records import Flag
from pitchcam.small import line

#: A thread needs at least this many pixels a pitch: below, its flanks are shorter than the blur.
FEWEST_PX = 7.0
#: Full turns that a photo must show: three crests on either side, which a thread of three turns
#: shows beside a run-out and a chamfer.
FEWEST_TURNS = 2.4
#: Spacings beyond its last crests within which a border cuts a thread: where more of the part is
#: seen beyond them, the thread has ended before it.
BORDER_REACH = 1.5
#: Spacings beside a thread that are looked at with it, and mean share of the width by which the
#: middle of both sides, over one spacing, may leave a line there: 214 of 224 threads of renders
#: keep to 0.016, the others, none of them cut, to 0.034; two outlines run into one come to 0.031,
#: what their crests add included. An elbow or a hose may bend farther off.
BESIDE, UNLIKE = 2.0, 0.025
#: Least value, in shares of white, of a pixel that is clipped, and the share of the background
#: around a part that may be so.
CLIPPED, MOST_CLIPPED = 0.992, 0.25


@dataclass(frozen=True, kw_only=True)
class Found:
    """One threaded region of a part, and the part's number."""

    part: Shape
    region: Region
    number: int


def refusal(scene: Scene, found: Found) -> Flag | None:
    """Return why a region cannot be measured; None where it can."""
    part, region, number = found.part, found.region, found.number
    if _cut_through(part, region):
        return flag(
            "cut",
            f"part {number} is cut through its thread by the edge of the picture or of the light",
        )
    if len(part.cut_stations) and _overlaid(part, region):
        return flag(
            "touching",
            f"part {number} runs out of the picture or the light, and beside its thread its two "
            "sides are unlike: something lies over it",
        )
    if region.turns < FEWEST_TURNS:
        return flag("few-turns", f"part {number} shows only {region.turns:.1f} turns of thread")
    if region.spacing_px < FEWEST_PX:
        return flag(
            "too-small",
            f"the thread of part {number} has only {region.spacing_px:.0f} pixels a pitch",
        )
    if too_blurred(scene.rims.spread.blur_px, region.spacing_px):
        blur_px, pitch_px = scene.rims.spread.blur_px, region.spacing_px
        return flag(
            "blurred",
            f"the blur reaches over {blur_px:.1f} pixels, "
            f"the pitch of part {number} over {pitch_px:.0f}",
        )
    if _clipped(scene, part):
        return flag("over-exposed", f"the background beside part {number} is clipped to white")
    if is_seen_through(part, region):
        return flag("no-thread", f"light shows between the turns of part {number}: it is a spring")
    return None


def _overlaid(part: Shape, region: Region) -> bool:
    """Whether the two sides of a thread, and of what is beside it, do not go about one axis."""
    s, upper, lower = part.stations
    reach = BESIDE * region.spacing_px
    on = (s >= region.start_px - reach) & (s <= region.end_px + reach)
    # A crest stands opposite a groove: over one spacing their middles leave no trace.
    turn = np.full(max(1, round(region.spacing_px)), 1 / max(1, round(region.spacing_px)))
    along, middle = (np.convolve(v[on], turn, "valid") for v in (s, (upper + lower) / 2))
    slope, offset = line(along, middle)
    bent = float(np.abs(middle - slope * along - offset).mean())
    return bent > UNLIKE * float((upper[on] - lower[on]).mean())


def _cut_through(part: Shape, region: Region) -> bool:
    """Whether a border hides something of a thread: of its crests, or of a side beside them.

    What it hides of an end face between the sides is none of the thread.
    """
    reach = BORDER_REACH * region.spacing_px
    at, across = part.cut_places.T
    near = (at > region.start_px - reach) & (at < region.end_px + reach)
    s, upper, lower = part.stations
    on = (s >= region.start_px) & (s <= region.end_px)
    if not near.any() or not on.any():
        return bool(near.any())
    beside = (at > region.start_px) & (at < region.end_px)
    # The places are those of the shrunk picture.
    between = (across < upper[on].min() - STEP) & (across > lower[on].max() + STEP)
    return bool((near & (beside | ~between)).any())


def _clipped(scene: Scene, part: Shape) -> bool:
    """Whether the background around a part is clipped in every channel."""
    import cv2

    x0, y0 = part.crop.origin_px
    h, w = part.crop.mask.shape
    pixels = scene.photo.pixels[y0 : y0 + h, x0 : x0 + w]
    around = cv2.dilate(part.crop.mask, np.ones((15, 15), np.uint8)) - part.crop.mask
    full = np.iinfo(pixels.dtype).max
    values = pixels[around > 0]
    if values.ndim == 2:
        # Not min over the axis, which goes pixel by pixel.
        values = np.minimum.reduce([values[:, i] for i in range(values.shape[1])])
    return float(np.mean(values >= CLIPPED * full)) > MOST_CLIPPED


def too_small(found: Found) -> Flag:
    """Return that a thread has too few pixels a pitch."""
    return flag(
        "too-small",
        f"the thread of part {found.number} has only {found.region.spacing_px:.0f} pixels a pitch",
    )


def hardly_turns(number: int) -> Flag:
    """Return that a part shows too few turns for a thread."""
    return flag("few-turns", f"part {number} shows hardly three turns of thread")
