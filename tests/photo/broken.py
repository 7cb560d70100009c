"""Where a picture is broken: its luma first, then its colours, as a photo is looked at."""

import numpy as np
from numpy.typing import NDArray

from pitchcam.photo.record import luma_of
from pitchcam.photo.seams import Seam, seam_of_colours, seam_of_luma


def find_seam(
    pixels: NDArray[np.generic],
    quarter: NDArray[np.generic] | None = None,
    luma: NDArray[np.uint8] | None = None,
) -> Seam | None:
    """Return a sign of damage in a picture, None where there is none."""
    of_luma = seam_of_luma(luma_of(pixels) if luma is None else luma)
    return seam_of_colours(pixels, quarter) if of_luma is None else of_luma
