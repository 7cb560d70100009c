"""A measured thread put into its place: the part's pose, and the thread fitted again in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pitchcam.scale.camera import Camera
from pitchcam.scale.shapes import Shape
from pitchcam.thread.drift import thread_sight
from pitchcam.thread.ellipse import end_face
from pitchcam.thread.height import Rest, hexagon_roll, turned
from pitchcam.thread.hull import part_profile
from pitchcam.thread.measure import ThreadShape, remeasure
from pitchcam.thread.rest import Pose, pose, sight
from pitchcam.thread.section import axis_frame

#: How far outside the edge the thread's outline runs, in blurs: 1.04 by the normal distribution
#: for a dark edge; a mirrored rim takes from it.
OUTLINE_OUT = 0.7
#: Rounds in which height, inclination and the hexagon's turn settle.
ROUNDS = 3


def lay(
    shape: ThreadShape, part: Shape, camera: Camera, level: Rest, blur_px: float
) -> tuple[ThreadShape, Rest, Pose]:
    """Return a thread in the pose of its part.

    Parameters
    ----------
    shape
        The thread, measured as if its part were level.
    part
        Its part.
    camera
        The camera over the plate.
    level
        The feature the part rests on if it is level.
    blur_px
        Standard deviation of the photo's blur.

    Returns
    -------
    shape, rest, pose
        The thread fitted again; the resting feature with the hexagon's turn taken into account,
        its height that of the axis at the thread; the pose.
    """
    drawn = thread_sight(shape, camera, level.height_mm)
    faces = [f for end in (-1.0, 1.0) if (f := end_face(shape.outline_px, part.axis, end))]
    middle = float(part.axis.to_axis(shape.camera.project(shape.frame.origin))[0])
    rest, height, slope = level, level.height_mm, 0.0
    for _ in range(ROUNDS):
        frame = axis_frame(camera, part.axis, middle, height, slope)
        profile = part_profile(
            shape.outline_px, part.axis, frame, camera, rest, OUTLINE_OUT * blur_px
        )
        seen = sight(faces, drawn, part.axis, camera, height)
        found = pose(profile, seen, camera, rest.u_height_mm)
        height, slope = found.height_mm, found.slope_rad
        if level.hexagon:
            # Only in its own pose do the corners tell the turn.
            now = remeasure(shape, camera, height, slope)
            rest = turned(level, hexagon_roll(part, now.section, now.frame, camera, level))
    laid = remeasure(shape, camera, height, slope)
    u = float(np.hypot(found.u_height_mm, found.height_per_rad * found.u_slope_rad))
    return laid, replace(rest, height_mm=height, u_height_mm=u), found
