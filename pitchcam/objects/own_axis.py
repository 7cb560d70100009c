"""A thread's own axis in the photo, which the line through the middle of its part may miss."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pitchcam.objects.axis import ImageAxis, Points, envelope
from pitchcam.objects.regions import Region
from pitchcam.objects.turned import FEW, believed_turn
from pitchcam.robust import robust_line


def local_axis(outline: Points, axis: ImageAxis, region: Region) -> ImageAxis:
    """Turn the part's axis onto the thread's own: midway between the crests of both sides."""
    s, upper, lower = envelope(axis.to_axis(outline))
    lines = []
    for crests, side in zip(region.crests, (upper, lower), strict=True):
        inner = crests[1:-1] if len(crests) > FEW else crests
        height = np.interp(inner, s, side)
        line = robust_line(inner, height, least=0.5, rounds=2)
        lines.append(np.array([line.slope, line.offset]))
    slope, offset = (lines[0] + lines[1]) / 2
    middle, share = (
        (region.start_px + region.end_px) / 2,
        believed_turn(region.turn_rad, region.u_turn_rad)[0],
    )
    # About the crests' own middle, which they tell well.
    offset, slope = offset + (1 - share) * slope * middle, share * slope
    d = np.array(axis.direction)
    n = np.array([-d[1], d[0]])
    point = np.array(axis.point_px) + offset * n
    d = (d + slope * n) / np.hypot(1.0, slope)
    return ImageAxis(
        point_px=(float(point[0]), float(point[1])), direction=(float(d[0]), float(d[1]))
    )


def region_along(outline: Points, part: ImageAxis, axis: ImageAxis, region: Region) -> Region:
    """Return a region along a part's axis as one along the thread's own.

    The crests of both sides stand a radius off the axis: half a degree between both axes moves
    those of a fine thread on a thick part by a tenth of a pitch, against each other.
    """
    s, *sides = envelope(part.to_axis(outline))
    crests = [
        axis.to_axis(part.to_photo(np.stack([own, np.interp(own, s, side)], axis=1)))[:, 0]
        for own, side in zip(region.crests, sides, strict=True)
    ]
    ends = np.array([[region.start_px, 0.0], [region.end_px, 0.0]])
    start, end = axis.to_axis(part.to_photo(ends))[:, 0]
    return replace(region, start_px=float(start), end_px=float(end), crests=(crests[0], crests[1]))
