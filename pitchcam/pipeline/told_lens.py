"""The focal length where no tag states it: told by the parts themselves.

An end face shows the angle at which it is seen, which is how far it lies off the optical axis over
its distance, and the axis's inclination; two faces show their distance from one another over
theirs, whatever the inclination. A thread's crests are even and its taper is one that threads
have, if it is seen from the right distance. All of that is weighed with the pose
(:mod:`pitchcam.thread.pose.rest`); here the camera follows it, and the reference is found again.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.errors import UnreadableError
from pitchcam.pipeline.scene import Scene
from pitchcam.thread.pose.records import Pose
from pitchcam.thread.pose.rest import lens_is_open

#: Rounds in which camera and pose settle, and the share of its u within which a focal length has.
ROUNDS, SETTLED = 3, 0.25
#: Faces that are none, or are chamfered unseen, tell a focal length of their own: in one of thirty
#: photos any lens may be the true one (judgement; of 84 photos of known parts without their tag,
#: two came out wrong by 3 and 5 of the u that faces and threads give). Added to that u by squares.
U_ODD = 0.06


def told(scene: Scene, lies: Callable[[Scene], Pose]) -> Scene:
    """Return the scene with the focal length that a part tells, where the photo states none.

    Parameters
    ----------
    scene
        The photo taken apart.
    lies
        How the part lies, measured in a scene.
    """
    if scene.reference is None or scene.bare is None or not lens_is_open(scene.camera):
        return scene
    guess = scene.camera.f_px
    for _ in range(ROUNDS):
        pose = lies(scene)
        u_lens = float(np.hypot(pose.u_lens, U_ODD))
        bare = replace(scene.bare, f_guess_px=guess, u_f_px=u_lens * scene.bare.f_px)
        with suppress(UnreadableError):
            scene = replace(scene, bare=bare).refocused(float(np.exp(pose.lens)))
        if abs(pose.lens) < SETTLED * pose.u_lens:
            break
    return scene


def recentred(scene: Scene, along: NDArray[np.float64]) -> tuple[tuple[Camera, Camera], ...]:
    """Return the cameras with the principal point moved by its u along a part and across.

    Parameters
    ----------
    scene
        The photo taken apart.
    along : ndarray (2,)
        The unit vector along the part's axis in the photo.

    Returns
    -------
    tuple
        A pair of cameras along the axis and one across; none where the principal point is known.
    """
    u = scene.camera.u_centre_px
    across = np.array([-along[1], along[0]])

    def moved(off_px: NDArray[np.float64]) -> Camera:
        with suppress(UnreadableError):
            return scene.recentred(off_px)
        return scene.camera.recentred(off_px)

    return tuple((moved(u * d), moved(-u * d)) for d in (along, across)) if u > 0 else ()


def scale_per_lens(scene: Scene) -> float:
    """Return how the scale in the reference's plane goes with the focal length, by logarithms.

    Where the focal length is known, a pin's width alone is worth finding again: it is seen aslant
    away from the picture's middle, and costs nothing.
    """
    r, u = scene.reference, scene.camera.u_lens
    if r is None or scene.bare is None or u == 0.0:
        return 0.0
    if r.source != "pin" and not lens_is_open(scene.camera):
        return 0.0
    try:
        other = scene.refocused(float(np.exp(u))).camera
    except UnreadableError:
        return 0.0
    away = [(c.distance_mm - r.height_mm) / c.f_px for c in (scene.camera, other)]
    return float(np.log(away[1] / away[0])) / u
