"""Bands of their own for edges: the light drawn, and edges placed in it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import approx_fprime

from pitchcam.edges import bands
from pitchcam.edges.bands import band_slopes, place
from pitchcam.edges.edge_profiles import EdgeProfile
from pitchcam.light.esf import decode
from tests.objects import drawing

ACROSS = np.arange(-9.0, 9.01, 0.5)
FINE = 0.02


def test_the_bands_light_and_its_changes() -> None:
    # Drawn finely and blurred by SciPy; a softness of next to nothing is a step.
    x = np.arange(-30.0, 30.0, FINE)
    light = np.where(x > 0.3, 1.0, np.where(x > 0.3 - 2.0, 0.6, 0.0))
    expected = np.interp(ACROSS, x, gaussian_filter1d(light, 0.9 / FINE))
    found, slopes = band_slopes(ACROSS, 0.9, np.array([0.3, 0.6, 2.0, 1e-6]))
    assert found == pytest.approx(expected, abs=0.01)

    def drawn(q: NDArray[np.float64]) -> NDArray[np.float64]:
        return band_slopes(ACROSS, q[0], q[1:])[0]

    at = np.array([0.9, 0.3, 0.6, 2.0, 0.5])
    _, slopes = band_slopes(ACROSS, at[0], at[1:])
    np.testing.assert_allclose(slopes, approx_fprime(at, drawn), atol=1e-6)


@pytest.mark.parametrize("shine", [0.0, 0.4])
def test_an_edge_is_placed_with_its_band_or_without_one(shine: float) -> None:
    x = np.arange(-30.0, 30.0, FINE)
    light = np.where(x > 0.2, 1.0, np.where(x > 0.2 - 2.0, shine, 0.0))
    code = drawing.encode(0.7 * gaussian_filter1d(0.05 + 0.95 * light, 0.9 / FINE))
    code = code + 0.3 * (code - gaussian_filter1d(code, 1.5 / FINE))
    seen = decode(np.interp(ACROSS, x, code)) / 0.7
    profile = EdgeProfile(
        across_px=ACROSS, light=seen, dark=0.05, background=0.7, radius_px=60.0, reach_px=400.0
    )
    at, u, _ = place(profile, (0.9, 0.3, 1.5), 0.4, 2.0)
    assert abs(at - 0.2) < min(0.15, 3 * u)


def test_a_band_must_earn_its_two_parameters(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it describes the light no better than a plain edge, the plain edge counts for more."""
    monkeypatch.setattr(bands, "_fit_plain", lambda *_: (0.0, 0.1, 20.0))

    def weight(misfit: float) -> float:
        monkeypatch.setattr(bands, "_fit_band", lambda *_: (1.0, 0.1, 2.0, misfit))
        profile = EdgeProfile(
            across_px=ACROSS,
            light=ACROSS,
            dark=0.05,
            background=0.7,
            radius_px=60.0,
            reach_px=400.0,
        )
        return place(profile, (0.9, 0.3, 1.5), 0.4, 2.0)[0]

    assert weight(20.0) == pytest.approx(1 / (1 + np.e))
    assert weight(19.0) == pytest.approx(0.5)
    assert weight(10.0) > 0.99
