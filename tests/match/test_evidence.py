"""How likely a reading is at all."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp

from pitchcam.match.evidence import log_evidence
from pitchcam.match.likelihood import log_likelihoods, log_off_series
from pitchcam.match.population import geometries
from pitchcam.match.priors import PHOTO_TEMPER, prior_weights
from pitchcam.records import Quantity, ThreadReading


def reading(pitch_mm, major_mm):
    return ThreadReading(
        pitch_mm=Quantity(value=pitch_mm, u=0.003 * pitch_mm),
        major_mm=Quantity(value=major_mm, u=0.004 * major_mm),
        angle_deg=Quantity(value=60.0, u=1.5),
        taper=Quantity(value=0.0, u=0.004),
    )


def test_a_thread_that_exists_is_likelier_than_one_that_does_not():
    assert log_evidence(reading(1.5, 13.85)) > log_evidence(reading(1.5 * 1.08, 13.85 * 1.08)) + 3


def test_a_scale_moves_all_lengths():
    """M14x1.5 read a tenth too large is the same thread under another scale."""
    large = log_evidence(reading(1.65, 15.235), 1 / 1.1)
    assert large == pytest.approx(log_evidence(reading(1.5, 13.85)), abs=0.5)
    assert math.isfinite(large)


@pytest.mark.parametrize("off", [0.0, 4.0, 8.0])
def test_what_is_left_out_as_too_far_adds_nothing(off):
    """By SciPy over every size, of a poor photo's reading: half of it lay beyond 2 u of each."""
    held = reading(1.5 * (1 + 0.03 * off), 13.85)
    wide = {
        name: Quantity(value=q.value, u=10 * q.u)
        for name in ("pitch_mm", "major_mm", "angle_deg", "taper")
        if (q := getattr(held, name)) is not None
    }
    held, parts = replace(held, **wide), geometries("external", None)
    share = prior_weights(parts.sizes, None, temper=PHOTO_TEMPER)
    every = log_likelihoods(held, np.ones(1), parts, far=500.0)[0] + np.log(share / share.sum())
    off_series = float(log_off_series(held)[0]) + math.log(0.01)
    assert log_evidence(held) == pytest.approx(logsumexp([*every, off_series]), abs=2e-3)
