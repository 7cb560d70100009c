"""An edge's fall through pixels, against the same worked out exactly and against a picture."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr
from scipy.stats import norm

from pitchcam.light.pixels import STILL_PX, USUAL_PX, bell_curve, fall

X = np.linspace(-4, 4, 161)


def exact(x: NDArray[np.float64], blur: float) -> NDArray[np.float64]:
    """Return the fall of an edge that a bell and a quadratic B-spline of one pixel blur.

    By construction: the third difference of the bell's third integral (by SciPy's ndtr).
    """
    s = np.sqrt(blur**2 - STILL_PX**2)
    total = np.zeros_like(x)
    for at, share in zip((1.5, 0.5, -0.5, -1.5), (1, -3, 3, -1), strict=True):
        v = (x + at) / s
        total += share * s**3 * ((v**3 + 3 * v) * ndtr(v) + (v * v + 2) * norm.pdf(v)) / 6
    return total


def test_the_bell_is_scipys() -> None:
    assert bell_curve(X) == pytest.approx(norm.pdf(X), abs=1e-15)


@pytest.mark.parametrize("blur", [0.53, 0.57, 0.62])
def test_an_edge_falls_as_pixels_and_lens_blur_it(blur: float) -> None:
    found = fall(X / blur, blur)[0]
    assert found == pytest.approx(exact(X, blur), abs=1e-3)
    assert np.abs(ndtr(X / blur) - exact(X, blur)).max() > 4e-3, "a bell alone is further off"


@pytest.mark.parametrize("blur", [USUAL_PX, 3.0])
def test_under_the_blur_of_a_photo_as_taken_it_is_the_bell(blur: float) -> None:
    assert fall(X / blur, blur)[0] == pytest.approx(ndtr(X / blur), abs=1e-12)


def test_a_picture_made_smaller_falls_so() -> None:
    # An edge drawn at 64 points a pixel, gathered by pixels, and looked up on a line between them.
    fine, places = 64, np.arange(-6, 6, 1 / 8)
    x = np.arange(-16 * fine, 16 * fine) / fine + 0.5 / fine
    light = gaussian_filter1d((x > 0).astype(float), 0.33 * fine, truncate=8)
    seen = []
    for shift in range(fine):
        pixels = np.roll(light, shift).reshape(-1, fine).mean(axis=1)
        middles = x.reshape(-1, fine).mean(axis=1) - shift / fine
        seen.append(np.interp(places, middles, pixels))
    blur = float(np.hypot(0.33, STILL_PX))
    assert fall(places / blur, blur)[0] == pytest.approx(np.mean(seen, axis=0), abs=7e-4)


@pytest.mark.parametrize("blur", [0.45, 0.6, 0.8, 1.1])
def test_its_slopes_are_those_of_differences(blur: float) -> None:
    step = 1e-6
    below, density, narrower = fall(X / blur, blur)
    assert density == pytest.approx((fall(X / blur + step, blur)[0] - below) / step, abs=1e-5)
    wider = blur * np.exp(step)
    assert narrower == pytest.approx((below - fall(X / wider, wider)[0]) / step, abs=1e-5)
