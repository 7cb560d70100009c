"""Which inputs a thread's scale hangs on, as shares that threads of one picture have in common."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcam.pipeline.scene import Scene
from pitchcam.records import BudgetLine
from pitchcam.thread.budget import Geometry
from pitchcam.thread.budget.geometry import reach_mm
from pitchcam.thread.budget.read import READ
from pitchcam.thread.budget.read import SOURCE as CRESTS
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.measure import ThreadShape


def scale_shares(
    scene: Scene,
    shape: ThreadShape | CrestShape,
    place: Geometry,
    lines: Sequence[BudgetLine],
    number: int,
) -> dict[str, float]:
    """Return the relative error of a thread's lengths for one u of each input of its scale.

    Parameters
    ----------
    scene, shape, place, lines
        The picture, the thread, its place and its budget.
    number
        Its part's.

    Notes
    -----
    The squares add up to those of the budget's terms of the scale. A tilt has a sign here,
    which a single thread's budget has no use for: to one side of the reference it makes longer, to
    the other shorter.
    """
    pitch = shape.pitch_mm
    own = {line.source: line.contributions["pitch_mm"] / pitch for line in lines if line.of_scale}
    shares = {"reference": own.pop("scale of the reference", 0.0)}
    r = scene.reference
    if r is None:
        if scene.own is not None:
            # Crests that are seen too far out make all threads of the picture too small alike.
            crests = own.pop(CRESTS, -scene.own.u_crests)
            shares = {READ: scene.own.u_reading, CRESTS: crests}
        return shares | {f"{source} of part {number}": a for source, a in own.items()}
    shares["focal length"] = own.pop("focal length", 0.0)
    shares[f"height of part {number}"] = own.pop("height of the axis", 0.0)
    across = shape.frame.across
    lever = float((shape.frame.origin - r.pivot_mm) @ across) * place.u_tilt_rad
    lean = lever / reach_mm(shape) * across / np.hypot(across[0], across[1])
    shares |= {"tilt x": float(lean[0]), "tilt y": float(lean[1])}
    shares["distortion"] = own.pop("lens distortion", 0.0)
    # Of what is left nobody knows how it goes from thread to thread: each has its own.
    x, y = shape.camera.project(shape.frame.origin)
    for source in own.keys() - {"tilt of the camera"}:
        shares[f"{source} at {x:.0f}, {y:.0f}"] = own[source]
    return shares
