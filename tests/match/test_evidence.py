"""How likely a reading is at all."""

import math

import pytest

from pitchcam.match.evidence import log_evidence
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
