"""The sRGB curve, against scikit-image's and against published points of IEC 61966-2-1."""

import numpy as np
import pytest
from skimage.color import rgb2xyz

from pitchcam.photo import light_planes, linear_table


@pytest.mark.parametrize(("dtype", "levels"), [(np.uint8, 256), (np.uint16, 65536)])
def test_against_scikit_image(dtype, levels):
    table = linear_table(dtype)
    assert table.shape == (levels,)
    assert table.dtype == np.float32
    grey = np.linspace(0, 1, levels)[:, None, None].repeat(3, axis=2)
    white = rgb2xyz(np.ones((1, 1, 3)))[0, 0, 1]
    luminance = rgb2xyz(grey)[:, 0, 1] / white
    assert np.abs(table - luminance).max() < 1e-6


def test_half_of_the_code_is_a_fifth_of_the_light():
    # 0.214 at half the coded range: IEC 61966-2-1, by its formula.
    assert linear_table(np.uint16)[32768] == pytest.approx(0.2140, abs=1e-4)
    assert linear_table(np.uint8)[[0, 255]].tolist() == [0.0, 1.0]


def test_table_is_monotonic_shared_and_safe_from_change():
    table = linear_table("uint8")
    assert (np.diff(table) > 0).all()
    assert linear_table(np.uint8) is table
    with pytest.raises(ValueError, match="read-only"):
        table[0] = 1.0


def test_other_types_are_refused():
    with pytest.raises(TypeError, match="float32"):
        linear_table(np.float32)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("shape", [(5, 7), (5, 7, 3)])
def test_planes_are_the_table_of_each_channel(dtype, shape):
    pixels = np.random.default_rng(3).integers(0, np.iinfo(dtype).max, shape).astype(dtype)
    planes = light_planes(pixels)
    assert planes.shape == ((1, 5, 7) if len(shape) == 2 else (3, 5, 7))
    expected = linear_table(dtype)[pixels.reshape(5, 7, -1)]
    assert np.array_equal(np.moveaxis(planes, 0, 2), expected)
