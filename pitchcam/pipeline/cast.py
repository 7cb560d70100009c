"""A cast's reading, as that of the internal thread it was taken of."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pitchcam.records import Quantity, ThreadReading


def as_cast(reading: ThreadReading, shrinkage: Quantity | None) -> ThreadReading:
    """Turn a cast's reading into the internal thread's: larger by the compound's shrinkage.

    A length q of the cast is q / (1 - s) of the thread, whose variance is by both derivatives,
    1 / (1 - s) and q / (1 - s)^2.
    """
    s = shrinkage or Quantity(value=0.0, u=0.002)

    def grown(q: Quantity | None) -> Quantity | None:
        if q is None:
            return None
        factor = 1 / (1 - s.value)
        u = factor * float(np.hypot(q.u, q.value * factor * s.u))
        return Quantity(value=q.value * factor, u=u)

    return replace(
        reading,
        gender="internal",
        pitch_mm=grown(reading.pitch_mm),
        major_mm=grown(reading.major_mm),
        pitch_diameter_mm=grown(reading.pitch_diameter_mm),
        minor_mm=grown(reading.minor_mm),
    )
