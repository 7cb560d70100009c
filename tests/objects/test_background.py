"""The background's light."""

from __future__ import annotations

import numpy as np

from pitchcam.objects.background import Backdrop


def test_light_is_divided_by_the_background_at_its_place() -> None:
    backdrop = Backdrop(
        coefficients=np.array(
            [
                [-0.5, 0.1, -0.2, -0.3, 0.05, -0.2, *9 * [0.01]],
                [-0.6, 0.2, 0.1, -0.1, 0, 0, *9 * [0.0]],
            ]
        ),
        centre_px=(2000.0, 1500.0),
        half_px=2000.0,
    )
    for step, (x, y) in ((1.0, (400.0, 2100.0)), (4.0, (1.5, 1.5))):
        columns, rows = x + step * np.arange(301.0), y + step * np.arange(203.0)
        light = backdrop.level(columns, rows[:, None])
        # The first and last half stretch of eight points lies outside the computed ones.
        assert np.abs(backdrop.divide(light, (x, y), step) - 1)[:, 4:-4, 4:-4].max() < 1e-4
