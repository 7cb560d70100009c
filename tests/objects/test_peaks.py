"""Peaks, against SciPy's search for them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from pitchcam.objects.peaks import find_peaks


@pytest.mark.parametrize("seed", range(40))
def test_peaks_are_those_that_scipy_finds(seed: int) -> None:
    random = np.random.default_rng(seed)
    profile = np.cumsum(random.normal(0, 1, random.integers(3, 900)))
    if seed % 3 == 0:
        profile = np.round(profile)  # flat tops and peaks of one height
    if seed % 4 == 0:
        profile += 20 * np.sin(np.arange(len(profile)) / 9)
    for prominence, apart in ((1.2, 3), (0.0, 1), (4.0, 12)):
        peaks, heights = find_peaks(profile, prominence, apart)
        # With flat tops of one height which of two near ones stays is a matter of sorting.
        asked = {"prominence": prominence, "distance": apart}
        expected, found = signal.find_peaks(profile, **asked)
        assert peaks.tolist() == expected.tolist()
        assert heights == pytest.approx(found["prominences"], abs=1e-9)


def test_profiles_without_a_peak() -> None:
    for values in ([], [1.0], [1.0, 2.0], [1.0, 1.0, 1.0, 1.0], [1.0, 2.0, 3.0], [3.0, 1.0, 3.0]):
        peaks, heights = find_peaks(np.array(values), 0.5, 3)
        assert len(peaks) == len(heights) == 0
