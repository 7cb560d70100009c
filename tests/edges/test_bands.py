"""Bands of their own for edges: the light drawn, and edges placed in it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import approx_fprime

from pitchcam.edges import bands
from pitchcam.edges.bands import Kernel, band_slopes, metal_of, place, solve_apart
from pitchcam.edges.edge_profiles import EdgeProfile
from pitchcam.edges.rims import POLISH, U_ROUND_PX
from pitchcam.light.esf import DEFAULT_SPREAD, decode
from tests.edges import facets
from tests.objects import drawing

ACROSS = np.arange(-9.0, 9.01, 0.5)
FINE = 0.02
AT_MOST_PX = 0.12


def test_the_bands_light_and_its_changes() -> None:
    # Drawn finely and blurred by SciPy; a softness of next to nothing is a step. Within the band
    # the light falls by 0.17 of itself at 0.0265 of the width, by 0.10 at 0.39.
    x = np.arange(-30.0, 30.0, FINE)
    inside = np.where(x > 0.3 - 0.053, 0.6, np.where(x > 0.3 - 0.78, 0.6 * 0.83, 0.6 * 0.73))
    light = np.where(x > 0.3, 1.0, np.where(x > 0.3 - 2.0, inside, 0.0))
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
    at, u, _ = place(profile, Kernel(blur_px=0.9, gain=0.3, radius_px=1.5), (0.4, 0.1), 2.0)
    assert abs(at - 0.2) < min(0.15, 3 * u)


@pytest.mark.parametrize("slopes", [0.05, 0.08, 0.11])
def test_a_bright_edge_of_rough_metal_is_where_it_lies(slopes: float) -> None:
    """Drawn by another model: light off facets. A band taken as even lies 0.1 to 0.2 px deeper."""
    x = np.arange(-30.0, 30.0, FINE)
    metal = facets.across(x, 100.0, slopes, reach=0.55)
    code = drawing.encode(0.6 * gaussian_filter1d(metal, 0.9 / FINE))
    code = code + 0.44 * (code - gaussian_filter1d(code, 1.2 / FINE))
    across = np.arange(-9.0, 9.01, 0.25)
    seen = decode(np.interp(across, x, code)) / 0.6
    profile = EdgeProfile(
        across_px=across,
        light=seen,
        dark=float(seen[:8].mean()),
        background=0.6,
        radius_px=100.0,
        reach_px=1500.0,
    )
    bands = solve_apart([profile] * 2, DEFAULT_SPREAD).bands
    kernel = Kernel(blur_px=0.9, gain=0.44, radius_px=1.2)
    at, u, _ = place(profile, kernel, metal_of(bands), 2.5)
    assert abs(at) < AT_MOST_PX
    assert abs(at) < 2 * np.hypot(u, U_ROUND_PX)


def test_what_a_metal_mirrors_at_its_edge_is_what_facets_do() -> None:
    grazing = np.array([0.003])
    for slopes in (0.05, 0.11, 0.15):
        [share] = facets.mirrored(grazing, slopes, reach=50.0)
        assert abs(share - POLISH[0]) < 1.2 * POLISH[1], slopes


def test_the_photos_bands_tell_how_softly_they_end() -> None:
    bands_of = np.array([[0.0, 0.5, 2.0, 0.8], [0.1, 0.6, 4.0, 2.4], [0.0, 0.7, 3.0, 1.5]])
    assert metal_of(bands_of) == pytest.approx((0.6, 0.5))
    # A band of no width has no softness to tell, and none is sharper or softer than metals are.
    assert metal_of(np.array([[0.0, 0.6, 0.0, 5.0]]))[1] == 0.9
    assert metal_of(np.array([[0.0, 0.6, 5.0, 0.02]]))[1] == 0.1


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
        return place(profile, Kernel(blur_px=0.9, gain=0.3, radius_px=1.5), (0.4, 0.1), 2.0)[0]

    assert weight(20.0) == pytest.approx(1 / (1 + np.e))
    assert weight(19.0) == pytest.approx(0.5)
    assert weight(10.0) > 0.99
