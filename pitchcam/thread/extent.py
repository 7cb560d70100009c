"""Where a thread begins and ends along its axis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.objects.regions import Region
from pitchcam.objects.shapes import Shape
from pitchcam.thread.measure import ThreadShape

Values = NDArray[np.float64]


def thread_extent(shape: ThreadShape, part: Shape, region: Region) -> tuple[float, float]:
    """Return the stations z (mm, ascending) where the thread begins and ends.

    From the first and the last crest outward the outline is followed until it leaves the band
    between root and crest for good: down to an undercut or over the end face, or up to a shoulder.

    Parameters
    ----------
    shape
        The measured thread.
    part
        Its part.
    region
        Where it lies along the part's axis.
    """
    z, upper, lower = _radii(shape, part)
    slope = shape.section.seen.taper / 2
    line = shape.section.seen.pitch_radius_mm + slope * z
    depth = 0.62 * shape.pitch_mm
    first, last = shape.span_mm
    ends = []
    for start, step in ((first, -1), (last, 1)):
        reach = []
        for side in (upper, lower):
            level = (side - line) / depth
            i = int(np.argmin(np.abs(z - start)))
            # A ridge's own root lies at -0.5 for half a pitch; the end is where it stays lower
            # or rises over the crests.
            limit = i
            while 0 < limit < len(z) - 1 and abs(z[limit] - start) < 1.25 * shape.pitch_mm:
                ahead = (
                    level[limit + step : limit + step * 4 : step]
                    if step > 0
                    else (level[max(limit - 4, 0) : limit][::-1])
                )
                if len(ahead) and (np.all(ahead < -0.8) or np.all(ahead > 0.75)):
                    break
                limit += step
            reach.append(z[limit])
        ends.append(float(np.mean(reach)))
    return min(ends), max(ends)


def _radii(shape: ThreadShape, part: Shape) -> tuple[Values, Values, Values]:
    from pitchcam.thread.spectrum import side_profiles

    margin = 3 * shape.pitch_mm
    span = (shape.span_mm[0] - margin, shape.span_mm[1] + margin)
    return side_profiles(part.outline_px, shape.frame, span, step_mm=shape.mm_per_px)
