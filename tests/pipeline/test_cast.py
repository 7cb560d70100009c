"""What a cast's shrinkage makes of its reading and of what is known of it."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcam.pipeline.cast import as_cast
from pitchcam.records import Quantity, ThreadReading


def test_a_cast_s_lengths_are_open_by_its_shrinkage_too() -> None:
    """Drawn at random: JCGM 101. A compound that shrinks by a tenth tells the factor's place."""
    q, s = Quantity(value=13.5, u=0.05), Quantity(value=0.10, u=0.008)
    reading = ThreadReading(major_mm=q, angle_deg=Quantity(value=60.0, u=0.5))
    inside = as_cast(reading, s)
    rng = np.random.default_rng(5)
    drawn = rng.normal(q.value, q.u, 200_000) / (1 - rng.normal(s.value, s.u, 200_000))
    assert inside.major_mm.value == pytest.approx(13.5 / 0.9)
    assert inside.major_mm.u == pytest.approx(drawn.std(), rel=0.01)
    assert inside.gender == "internal" and inside.pitch_mm is None
    # An angle does not shrink.
    assert inside.angle_deg == reading.angle_deg
