"""Whether both sides of what repeats are in step, as those of rings and of two starts are.

A single start has its sides half a pitch apart. What tells it is a length along the axis between
points a whole diameter apart across it: on a fine thread of a thick part, half a degree between its
axis and the line that is taken for it, or the lens's distortion in a corner of the picture, are
half a pitch.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.frame import cross_shift
from pitchcam.objects.regions import Region
from pitchcam.objects.turned import believed_turn

#: Share of what repeats so evenly that has its sides in step (judgement: threads of two starts are
#: rare on fittings, and rings are seldom taken for a thread).
PRIOR = 0.05
#: What the crests' own places leave open of the lag, in spacings (renders: rings whose geometry is
#: known 0.00 to 0.07 off, threads 0.02).
U_PLACES = 0.05


class Seen(Protocol):
    """A thread as it is seen: its own axis, the camera, and the part's outline, (n, 2) pixels."""

    @property
    def axis(self) -> ImageAxis:
        """The thread's own axis in the photo."""

    @property
    def camera(self) -> Camera:
        """The camera over the plate."""

    @property
    def outline_px(self) -> NDArray[np.float64]:
        """The part's outline, (n, 2)."""


def in_step(lag: float, region: Region, seen: Seen) -> float:
    """Return the probability that both sides are in step.

    ``lag`` is how far the crests of both sides are apart, 0 to 0.5 spacings.
    """
    u = u_lag(region, seen)
    places = lag + np.arange(-1, 2)  # it is known but for whole spacings
    together = PRIOR * float(np.exp(-0.5 * (places / u) ** 2).sum())
    apart = (1 - PRIOR) * float(np.exp(-0.5 * ((places - 0.5) / u) ** 2).sum())
    return together / (together + apart)


def u_lag(region: Region, seen: Seen) -> float:
    """Return the standard uncertainty of the lag, in spacings: axis, lens and middle."""
    axis, camera = seen.axis, seen.camera
    middle = (region.start_px + region.end_px) / 2
    st = axis.to_axis(seen.outline_px)
    own = st[np.abs(st[:, 0] - middle) < region.spacing_px, 1]
    width = float(np.ptp(own)) if len(own) else 0.0

    def moved(other: Camera) -> float:
        return cross_shift(other, axis, middle) - shift

    shift = cross_shift(camera, axis, middle)
    longer = replace(camera, f_px=camera.f_px * (1 + camera.u_lens))
    terms = [
        believed_turn(region.turn_rad, region.u_turn_rad)[1],
        moved(camera.bent(camera.corner + camera.u_corner, camera.u_corner)),
        moved(longer.bent(camera.corner, camera.u_corner)),
        *(moved(camera.recentred(off)) for off in camera.u_centre_px * np.eye(2)),
    ]
    across = width / region.spacing_px * float(np.linalg.norm(terms))
    return float(np.hypot(across, U_PLACES))
