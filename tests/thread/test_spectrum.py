"""The crests' spacing against SciPy's curve_fit, a periodogram and the bound for a tone."""

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.signal import periodogram

from pitchcam.thread.spectrum import spectrum, tone_period

STEP = 0.02


def side(z, period, phase, noise, seed):
    rng = np.random.default_rng(seed)
    w = 2 * np.pi * z / period
    return (
        6.0
        + 0.01 * z
        + 0.4 * np.cos(w + phase)
        + 0.08 * np.cos(2 * w + 0.3)
        + 0.03 * np.sin(3 * w)
        + rng.normal(0, noise, len(z))
    )


def model(z, period, c, d, *a):
    w = 2 * np.pi * z / period
    waves = [a[2 * k] * np.cos((k + 1) * w) + a[2 * k + 1] * np.sin((k + 1) * w) for k in range(4)]
    return c + d * z + sum(waves)


@pytest.mark.parametrize("period, turns", [(1.5, 4.3), (1.27, 8.0), (0.9407, 10.6)])
def test_as_a_fit_by_scipy(period, turns):
    z = np.arange(-turns * period / 2, turns * period / 2, STEP)
    radius = side(z, period, 0.7, 0.01, 1)
    start = [period * 1.01, 6, 0, 0.3, -0.2, *[0.01] * 6]
    reference = curve_fit(model, z, radius, p0=start)[0][0]
    assert tone_period(z, (radius,), period * 0.97) == pytest.approx(reference, rel=2e-5)


def test_as_the_peak_of_a_long_periodogram():
    period = 1.27
    z = np.arange(0, 60 * period, STEP)
    radius = side(z, period, 0.2, 0.005, 2)
    frequency, power = periodogram(radius, 1 / STEP, window="hann", detrend="linear", nfft=2**21)
    near = (frequency > 0.9 / period) & (frequency < 1.1 / period)
    peak = 1 / frequency[near][np.argmax(power[near])]
    assert tone_period(z, (radius,), period * 1.03) == pytest.approx(peak, rel=1e-4)


def test_two_sides_reach_the_bound_for_a_tone():
    """var(w) >= 24 s^2 / (N (N^2 - 1) sum l^2 A_l^2), per side (Cramer-Rao)."""
    period, noise, found = 1.5, 0.05, []
    z = np.arange(0, 8 * period, STEP)
    for seed in range(40):
        both = tuple(side(z, period, p, noise, 2 * seed + i) for i, p in enumerate((0, np.pi)))
        found.append(tone_period(z, both, 1.48))
    power = 2 * (0.4**2 + 4 * 0.08**2 + 9 * 0.03**2)
    u_w = np.sqrt(24 * noise**2 / (len(z) * (len(z) ** 2 - 1) * power))
    bound = u_w * period**2 / (2 * np.pi * STEP)
    assert np.mean(found) == pytest.approx(period, abs=4 * bound / np.sqrt(40))
    assert 0.7 * bound < np.std(found) < 1.4 * bound


def test_the_spectrum_shows_the_tone_with_its_amplitude():
    z = np.arange(0, 15.0, STEP)
    radius = side(z, 1.5, 0.0, 0.0, 0)
    frequency, amplitude = spectrum(z, radius, radius, 1.5)
    top = int(np.argmax(amplitude))
    assert frequency[top] == pytest.approx(1 / 1.5, rel=0.01)
    # Both sides' mean power: the amplitude of either.
    assert amplitude[top] == pytest.approx(0.4, rel=0.05)
