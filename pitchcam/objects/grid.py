"""Light on an even grid that lies anyhow over a picture."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Place = NDArray[np.float64]


def grid_of(
    light: Floats, first: Place, steps: tuple[Place, Place], shape: tuple[int, int]
) -> Floats:
    """Return a picture's light on a grid, linear between pixels; beyond it that of the nearest.

    Parameters
    ----------
    light
        The picture, (h, w).
    first
        Where the grid's first point lies, (x, y).
    steps
        The ways (2,) to the point in the next row, and in the next column.
    shape
        Its rows and columns.

    Notes
    -----
    OpenCV 5 warps in single precision: places are good to 1e-4 pixels, as far as pictures reach.
    """
    down, right = steps
    matrix = np.stack([right, down, first], axis=1)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    out = cv2.warpAffine(light, matrix, shape[::-1], flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(out, np.float32)
