"""Tone curve, mirrored light and sharpening against formulas and libraries that know them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, gaussian_filter1d
from scipy.optimize import approx_fprime, minimize_scalar
from scipy.special import ndtr
from skimage.color import rgb2xyz

from pitchcam.light.esf import (
    Spread,
    decode,
    edge_light,
    encode,
    encode_slope,
    reflected,
    smoothing,
    unsharpen,
)
from tests.objects import drawing


def test_tone_curve_is_that_of_the_standard() -> None:
    # IEC 61966-2-1: the straight piece's end, and coded 0.5 (from memory: 0.21404).
    assert encode(np.array([0.0031308])) == pytest.approx(0.04045, abs=1e-5)
    assert decode(np.array([0.5])) == pytest.approx(0.21404, abs=1e-5)
    code = np.linspace(0, 1, 101)
    # Outside check: scikit-image's luminance of a grey, whose weights add up to 1.
    luminance = rgb2xyz(np.repeat(code[:, None], 3, axis=1))[:, 1]
    assert decode(code) == pytest.approx(luminance, abs=1e-6)
    assert encode(decode(code)) == pytest.approx(code, abs=1e-6)
    assert encode(np.array([1.7])) == pytest.approx(1.0)


def fresnel(angle: np.ndarray, n: float, k: float) -> np.ndarray:
    """Unpolarised reflectance of a metal at a grazing angle, by Fresnel's formulas."""
    index = n + 1j * k
    cos_in = np.sin(angle).astype(complex)
    cos_out = np.sqrt(1 - (np.cos(angle) / index) ** 2)
    s = (cos_in - index * cos_out) / (cos_in + index * cos_out)
    p = (index * cos_in - cos_out) / (index * cos_in + cos_out)
    return (np.abs(s) ** 2 + np.abs(p) ** 2) / 2


@pytest.mark.parametrize(
    ("metal", "n", "k", "loss"),
    [
        # Optical constants near 580 nm, from memory of the common tables.
        ("iron", 2.9, 3.1, 0.80),
        ("chromium", 3.2, 3.3, 0.81),
        ("nickel", 1.9, 3.6, 0.58),
        ("zinc", 1.0, 5.0, 0.30),
    ],
)
def test_mirrored_light_follows_fresnel(metal: str, n: float, k: float, loss: float) -> None:
    # Up to 9 degrees: what a panel well behind the part is mirrored at.
    angle = np.linspace(0, 0.16, 200)
    exact = fresnel(angle, n, k)
    fit = minimize_scalar(
        lambda q: float(np.abs(reflected(angle, q) - exact).max()), bounds=(0, 1), method="bounded"
    )
    assert fit.fun < 0.02, metal
    assert fit.x == pytest.approx(loss, abs=0.03)


def test_plain_edge_is_the_normal_distribution() -> None:
    x = np.linspace(-5, 5, 101)
    assert edge_light(x, 1.1, 0.4, 0.0, 0.2, 0.5, 0.3)[0] == pytest.approx(
        ndtr((x - 0.4) / 1.1), abs=2e-7
    )
    assert np.all(np.diff(edge_light(x, 1.1, 0.4, 200.0, 0.1, 0.5, 0.3)[0]) > 0)


@pytest.mark.parametrize(("behind", "half", "at"), [(250, 60, 0.0), (150, 80, 0.0), (250, 140, 15)])
def test_mirrored_rim_is_what_rays_show(behind: float, half: float, at: float) -> None:
    # A ground pin of 8 mm at 200 mm, its edge on the side of growing x.
    f, reach, r, loss, blur = 4000.0, 200.0, 4.0, 0.5, 0.9
    edge = f * np.tan(np.arctan2(at, reach) + np.arcsin(r / np.hypot(at, reach)))
    fine = np.arange(edge - 60, edge + 40, 0.02)
    light = drawing.traced_rim(
        fine,
        r,
        f_px=f,
        distance_mm=reach,
        behind_mm=behind,
        half_mm=half,
        at_mm=at,
        share=lambda a: 1 - loss * a / (a + 0.12),
    )
    blurred = gaussian_filter1d(light, blur / 0.02)
    across = fine - edge
    border = half / (reach + behind) * f - edge
    angle = 0.5 * np.arctan(border / (f * behind / (reach + behind)))
    near = np.abs(across) < 30

    def off(*args) -> float:
        return float(np.abs(edge_light(across, blur, *args, loss, 0.0)[0] - blurred)[near].max())

    radius = r * f / reach
    assert off(0.0, radius, angle) < 0.035
    # No rim, a rim twice as steep, and one that lies outside the edge are each told apart.
    assert off(0.0, 0.0, angle) > 0.09
    assert off(0.0, radius, 2 * angle) > 0.045
    assert off(radius * (1 - np.cos(angle)), radius, angle) > 0.045


def test_smoothing_is_a_gaussian() -> None:
    rng = np.random.default_rng(3)
    values = rng.normal(size=120)
    ours = smoothing(0.5, 1.5, 120) @ values
    # Outside check: SciPy's filter with the same 3 samples.
    theirs = gaussian_filter1d(values, 3.0, truncate=10)
    assert ours[25:-25] == pytest.approx(theirs[25:-25], abs=1e-6)


def test_sharpening_is_undone() -> None:
    spread = Spread(blur_px=1.0, gain=0.6, radius_px=1.5, u_blur_px=0.1)
    x = np.tile(np.arange(80.0), (60, 1))
    light = 0.08 + 0.92 * ndtr((x - 40.3) / 1.0)
    code = drawing.encode(light * 0.6)
    code = code + 0.6 * (code - gaussian_filter(code, 1.5, truncate=8))
    sharpened = (decode(code) / 0.6).astype(np.float32)
    plain = unsharpen(sharpened, 0.6, spread)
    assert np.abs(sharpened - light).max() > 0.05
    assert np.abs(plain - light)[:, 12:-12].max() < 0.002
    none = Spread(blur_px=1.0, gain=0.0, radius_px=1.5, u_blur_px=0.1)
    assert unsharpen(sharpened, 0.6, none) is sharpened


def test_changes_of_the_edges_light_are_those_of_differences() -> None:
    # Checked by SciPy's differences.
    x = np.arange(-9, 9.1, 0.5)
    radius, angle = np.array([[80.0], [0.0], [40.0]]), np.array([[0.15], [0.2], [0.3]])
    at = np.array([0.95, 0.0, 0.5, 0.35, 0.8, 0.1])

    def light(q: NDArray[np.float64]) -> NDArray[np.float64]:
        blur, wider, loss, soft, polish, place = q
        places = np.full((3, 1), place)
        return edge_light(x, blur, places, radius, angle + wider, loss, soft, polish)[0].ravel()

    slopes = edge_light(x, at[0], np.full((3, 1), at[5]), radius, angle, *at[2:5])[1]
    np.testing.assert_allclose(slopes.reshape(6, -1).T, approx_fprime(at, light), atol=2e-5)


def test_the_codes_slope_is_that_of_differences() -> None:
    light = np.array([0.001, 0.01, 0.2, 0.9, 1.2, -0.1])
    expected = (encode(light + 1e-7) - encode(light - 1e-7)) / 2e-7
    assert encode_slope(light) == pytest.approx(expected, rel=1e-5)
