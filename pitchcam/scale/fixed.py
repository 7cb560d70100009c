"""The point of a reference whose place in space does not depend on the camera's tilt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.scale.reference import Reference

Points = NDArray[np.float64]


def fixed_point(reference: Reference) -> Points:
    """Return a point in the camera frame, mm, about which a wrong tilt turns the plate.

    Notes
    -----
    A flat reference is measured across its own middle. The planes through the edges of a pin's
    shadow tell how far its axis passes from the pinhole, whichever way it runs: what they fix is
    the foot of the perpendicular on it.
    """
    camera = reference.camera
    middle: Points = camera.on_plane(reference.where_px, reference.height_mm)
    if reference.source != "pin":
        return middle
    # The long axis of its outline, laid on the plate.
    around = reference.outline_px - reference.outline_px.mean(axis=0)
    way = np.linalg.svd(around, full_matrices=False)[2][0]
    ahead = camera.on_plane(reference.where_px + 50.0 * way, reference.height_mm)
    along = (ahead - middle) / np.linalg.norm(ahead - middle)
    foot: Points = middle - (middle @ along) * along
    return foot
