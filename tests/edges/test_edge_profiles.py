"""Drawn edges against seen ones: the derivatives are those of SciPy's differences."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import approx_fprime
from scipy.special import ndtr

from pitchcam.edges.bands import band_slopes
from pitchcam.edges.edge_profiles import (
    INSIDE,
    Drawn,
    EdgeProfile,
    coded_noise,
    deviations,
    stacked,
)

ACROSS = np.arange(-9.0, 9.01, 0.5)


def profile(shift: float, dark: float) -> EdgeProfile:
    light = dark + (1 - dark) * ndtr((ACROSS - shift) / 0.9)
    return EdgeProfile(
        across_px=ACROSS, light=light, dark=dark, background=0.7, radius_px=40.0, reach_px=300.0
    )


def test_changes_of_the_deviations() -> None:
    stack = stacked([profile(0.1, 0.06), profile(-0.3, 0.08)], 0.004)
    # Blur, gain and radius; place, light, width and softness of two bands.
    at = np.array([0.95, 0.3, 1.5, -0.2, 0.4, 1.5, 0.5, -0.4, 0.3, 2.0, 0.7])

    def both(q: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        light, slopes = band_slopes(ACROSS, q[0], q[3:].reshape(2, 4).T[:, :, None])
        drawn = Drawn(light=light, shared=slopes[:, :, :1], own=slopes[:, :, 1:])
        return deviations(stack, drawn, q)

    expected = approx_fprime(at, lambda q: both(q)[0])
    np.testing.assert_allclose(both(at)[1], expected, atol=2e-3 * np.abs(expected).max())


def test_an_edge_drawn_as_seen_deviates_by_nothing() -> None:
    stack = stacked([profile(0.0, 0.05)], 0.004)
    light = ndtr(ACROSS / 0.9)[None]
    none = np.zeros((1, len(ACROSS), 1))
    drawn = Drawn(light=light, shared=none, own=none)
    rest, slopes = deviations(stack, drawn, np.array([0.9, 0.0, 1.5, 0.0]))
    assert np.abs(rest).max() < 1e-9
    assert slopes.shape == (len(ACROSS[INSIDE]), 4)


def test_codes_near_black_agree_to_less() -> None:
    # IEC 61966-2-1 spreads the light 12.92-fold at black: 0.002 of it are 0.026 of the codes.
    noise = coded_noise(np.array([0.0, 0.5]), 0.004)
    assert noise[0] == pytest.approx(np.hypot(0.004, 0.002 * 12.92))
    assert noise[1] < 0.0045
