"""How far a hand's motion carried a thread, by the blurs of its flanks and of straight sides."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pitchcam.edges.sight import Sight

LENS_PX = 1.1
#: Angles of the normals of both ways' flanks from the axis; straight sides along it have 90.
WAYS_DEG = (30.0, -30.0)


def seen(along_px: float, across_px: float) -> Sight:
    """A thread carried that far to either side, along its axis and across it, at an even pace."""
    passed = np.linspace(-1.0, 1.0, 20001)[:, None] * [along_px, across_px]

    def blur(deg: float) -> float:
        normal = np.array([np.cos(np.radians(deg)), np.sin(np.radians(deg))])
        return float(np.hypot(LENS_PX, np.std(passed @ normal)))

    rims: Any = SimpleNamespace(spread=SimpleNamespace(blur_px=blur(90.0)))
    none: Any = None
    return Sight(
        crop=none,
        field=none,
        rims=rims,
        region=none,
        outline_px=none,
        axis=none,
        frame=none,
        own_blur_px=(blur(WAYS_DEG[0]), blur(WAYS_DEG[1])),
    )


@pytest.mark.parametrize("across", [0.0, 1.5, -1.5, 6.0])
@pytest.mark.parametrize("along", [0.0, 1.0, 4.0])
def test_a_motion_is_known_where_it_also_crosses_the_axis(along: float, across: float) -> None:
    sight = seen(along, across)
    assert sight.swept_px == pytest.approx(along, abs=1e-3)
    assert sight.along_px == pytest.approx(np.hypot(LENS_PX, along / 3**0.5), abs=1e-3)


def test_crests_are_drawn_with_what_widens_the_photos_blur() -> None:
    """What crosses the axis is in that blur: all of the motion would widen it too much."""
    sight = seen(4.0, 1.5)
    drawn = np.hypot(sight.blur_px, sight.widened_px / 3**0.5)
    assert drawn == pytest.approx(np.hypot(LENS_PX, 4.0 / 3**0.5), abs=1e-3)
    assert sight.widened_px < sight.swept_px
    assert seen(1.0, 4.0).widened_px == 0.0
