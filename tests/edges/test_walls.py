"""A wall's light against a sharp picture of it that SciPy blurs."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from pitchcam.edges.walls import wall_light

ACROSS = np.arange(-20.0, 20.0, 0.02)


@pytest.mark.parametrize(
    ("lower", "upper"),
    [(3.0, -2.0), (0.5, -0.5), (-1.0, 2.0)],
    ids=["the wall is seen", "narrower than the blur", "the upper edge hides it"],
)
@pytest.mark.parametrize("wall", [0.0, 0.4, 0.85])
def test_light_across_a_wall_is_its_sharp_picture_blurred(lower, upper, wall):
    dark, blur = 0.05, 1.3
    sharp = np.where(upper > ACROSS, dark, np.where(lower > ACROSS, wall, 1.0))
    blurred = gaussian_filter1d(sharp, blur / 0.02, mode="nearest")
    drawn = wall_light(ACROSS, (np.array(lower), np.array(upper)), wall, dark, blur)
    assert np.abs(drawn - blurred).max() < 0.005  # half a step of the sharp picture
