"""How a part lies, by all that tells of it together: outline, hull, and a measured thread."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.objects.frame import axis_frame
from pitchcam.objects.one_sided import two_sided
from pitchcam.objects.shapes import Shape
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.pose.drift import Kind, again, thread_sight
from pitchcam.thread.pose.height import Rest, hexagon_roll, outer_corners, rest_as, turned
from pitchcam.thread.pose.hexagon import head_stretches
from pitchcam.thread.pose.hull import SeenPart, part_radii
from pitchcam.thread.pose.records import Pose
from pitchcam.thread.pose.rest import posterior, sight

Values = NDArray[np.float64]

#: How far outside the edge the thread's outline runs, in blurs: 1.04 by the normal distribution
#: for a dark edge; a mirrored rim takes from it.
OUTLINE_OUT = 0.7
#: Standard uncertainty of an axis's height that a user states (judgement: half a width by caliper).
U_STATED_MM = 0.1
#: Rounds in which height, inclination and the hexagon's turn settle. They have where a round moves
#: height and inclination by less than this share of their u: another moves them by a hundredth of
#: that.
ROUNDS, SETTLED = 3, 0.01


@dataclass(frozen=True, kw_only=True)
class Known:
    """What is known of how a part lies besides the picture.

    ``height_mm`` is the axis's height at the thread where somebody measured it; ``fixed_mm`` the
    point in the camera frame that the reference fixes whatever the tilt, None where the thread
    itself gives the scale.
    """

    height_mm: float | None = None
    fixed_mm: Values | None = None


NOTHING = Known()

#: Beyond this probability of what a part rests on, the other is not tried: with a difference of a
#: seventh of the height it would add a fiftieth of it to the uncertainty.
SURE = 0.98
#: Most that the picture tells of two rests, as a logarithm of odds: faces, drift and hull are
#: models, and one in fifty is of neither.
MOST_AHEAD = 4.0


def lay(
    shape: Kind, part: Shape, level: Rest, blur_px: float, known: Known = NOTHING
) -> tuple[Rest, Kind]:
    """Return how a part rests by what one of its threads and its outline show.

    Parameters
    ----------
    shape
        The thread, measured as if its part were level.
    part
        Its part.
    level
        The feature the part rests on if it is level.
    blur_px
        Standard deviation of the photo's blur.
    known
        What is known besides.

    Returns
    -------
    rest
        The resting feature with the hexagon's turn taken into account, its pose, and the axis's
        height at the thread.
    shape
        The thread fitted :func:`again` in that pose.
    """
    camera = shape.camera
    drawn = thread_sight(shape, camera, level.height_mm)
    middle = float(part.axis.to_axis(shape.camera.project(shape.frame.origin))[0])
    heads = [] if level.hexagon else head_stretches(part, level.stretch)
    # Half a ridge beyond the last whole crest belongs to the thread.
    threads = [(r.start_px - r.spacing_px / 2, r.end_px + r.spacing_px / 2) for r in part.threads]
    seen_part = SeenPart(
        stations=two_sided(part.lit_stations),
        axis=part.axis,
        out_px=OUTLINE_OUT * blur_px,
        heads=heads,
        threads=threads,
    )
    turns = level.hexagon and not isinstance(shape, CrestShape)
    corners = outer_corners(part, level) if turns else []
    rest, height, slope, laid = level, level.height_mm, 0.0, shape
    for _ in range(ROUNDS):
        frame = axis_frame(camera, part.axis, middle, height, slope)
        radii = part_radii(seen_part, frame, rest)
        seen = sight(part.end_faces, drawn, part.axis, camera, height)
        lever = 0.0
        if known.fixed_mm is not None:
            lever = float((frame.origin - known.fixed_mm) @ frame.along)
        found = posterior(radii, seen, camera, rest.u_height_mm, lever)
        if known.height_mm is not None:
            found = _stated(found, known.height_mm)
        still = (
            abs(found.height_mm - height) < SETTLED * found.u_height_mm
            and abs(found.slope_rad - slope) < SETTLED * found.u_slope_rad
        )
        height, slope = found.height_mm, found.slope_rad
        if level.hexagon and not isinstance(shape, CrestShape):
            # Only in its own pose do the corners tell the turn.
            laid = again(shape, camera, height, slope)
            roll = hexagon_roll(corners, laid.section, laid.frame)
            rest = turned(level, roll)
            found = replace(found, turn_rad=roll.turn_rad, u_turn_rad=roll.u_turn_rad)
        if still:
            break
    if laid is shape:
        laid = again(shape, camera, height, slope)
    return replace(rest, height_mm=height, u_height_mm=found.u_height_mm, pose=found), laid


def lay_either(
    shape: Kind, part: Shape, level: Rest, blur_px: float, known: Known = NOTHING
) -> tuple[Rest, Kind]:
    """Return how a part rests where its widest stretch may be a hexagon or round.

    Parameters and returned values as of :func:`lay`. Each is laid, and weighed by its probability.
    """
    rest, laid = lay(shape, part, level, blur_px, known)
    if level.share >= SURE or known.height_mm is not None:
        return rest, laid
    as_other = rest_as(part, shape.camera, blur_px, hexagon=not level.hexagon)
    other, _ = lay(shape, part, as_other, blur_px, known)
    told = _told(level.share, rest.pose, other.pose)
    # What is not mixed is that of the likelier.
    mixed = _weighed(rest, other, told) if told >= 0.5 else _weighed(other, rest, 1 - told)
    return mixed, again(shape, shape.camera, mixed.height_mm, mixed.pose.slope_rad)


def _told(share: float, one: Pose, other: Pose) -> float:
    """Return the probability of one of two rests that had a share, by the angles that are seen.

    What lies on another feature lies at another angle, and the picture shows the angle.
    """
    ahead = float(np.clip(one.log_evidence - other.log_evidence, -MOST_AHEAD, MOST_AHEAD))
    odds = share * np.exp(ahead)
    return float(odds / (odds + 1 - share))


def _weighed(one: Rest, other: Rest, share: float) -> Rest:
    """Return a rest with the first two moments of two, of which one has a share."""

    def moments(a: float, u_a: float, b: float, u_b: float) -> tuple[float, float]:
        inside = share * u_a**2 + (1 - share) * u_b**2
        mean = share * a + (1 - share) * b
        return mean, float(np.sqrt(inside + share * (1 - share) * (a - b) ** 2))

    p, q = one.pose, other.pose
    height, u_height = moments(one.height_mm, one.u_height_mm, other.height_mm, other.u_height_mm)
    axis, u_axis = moments(
        p.axis_height_mm, p.u_axis_height_mm, q.axis_height_mm, q.u_axis_height_mm
    )
    incline, u_incline = moments(p.incline_rad, p.u_incline_rad, q.incline_rad, q.u_incline_rad)
    slope, u_slope = moments(p.slope_rad, p.u_slope_rad, q.slope_rad, q.u_slope_rad)
    pose = replace(
        p,
        incline_rad=incline,
        u_incline_rad=u_incline,
        slope_rad=slope,
        u_slope_rad=u_slope,
        height_mm=height,
        u_height_mm=u_height,
        axis_height_mm=axis,
        u_axis_height_mm=u_axis,
    )
    return replace(one, height_mm=height, u_height_mm=u_height, pose=pose)


def _stated(pose: Pose, height_mm: float) -> Pose:
    """Return a pose with the axis's height over the plate as somebody measured it."""
    lifted = pose.height_mm - pose.axis_height_mm
    return replace(
        pose,
        height_mm=height_mm + lifted,
        u_height_mm=U_STATED_MM,
        height_per_rad=0.0,
        axis_height_mm=height_mm,
        u_axis_height_mm=U_STATED_MM,
    )
