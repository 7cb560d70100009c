"""Light between the coils of a spring, and light that only looks so."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.gaps import is_seen_through
from pitchcam.objects.regions import Region

SPACING, RADIUS, TURNS = 24.0, 60.0, 8
CRESTS = SPACING * np.arange(TURNS + 1)
COILS = Region(
    start_px=0.0,
    end_px=TURNS * SPACING,
    spacing_px=SPACING,
    depth_px=8.0,
    lag=0.5,
    crests=(CRESTS, CRESTS),
    skew=0.0,
)


def seen(light_at, angle_deg: float = 20.0) -> bool:
    """Ask of a part that lies turned, whose light is given along and across its axis."""
    a = np.radians(angle_deg)
    axis = ImageAxis(point_px=(150.0, 140.0), direction=(np.cos(a), np.sin(a)))
    y, x = np.mgrid[0:300, 0:400]
    s, t = np.moveaxis(axis.to_axis(np.stack([x, y], axis=-1).astype(float)), -1, 0)
    body = (np.abs(t) < RADIUS) & (s > -20) & (s < TURNS * SPACING + 20)
    light = np.where(body, light_at(s, t), 1.0)
    stations = np.arange(-20.0, TURNS * SPACING + 20)
    sides = (stations, np.full(len(stations), RADIUS), np.full(len(stations), -RADIUS))
    crop = SimpleNamespace(light=light, origin_px=(0, 0))
    return is_seen_through(SimpleNamespace(crop=crop, axis=axis, stations=sides), COILS)


def gaps(share: float, turns: int = TURNS, lit: float = 1.0):
    """Gaps of a share of each turn, between the first so many turns."""

    def light(s, t):
        return np.where((s % SPACING < share * SPACING) & (s < turns * SPACING), lit, 0.03)

    return light


@pytest.mark.parametrize("share", [0.08, 0.3, 0.6])
def test_a_spring_is_seen_through(share: float) -> None:
    assert seen(gaps(share))


def test_metal_is_not() -> None:
    assert not seen(lambda s, t: np.full(np.shape(s), 0.03))
    # Rims that mirror the panel, as bright as it, and a face that mirrors half of it.
    assert not seen(lambda s, t: np.where(np.abs(t) > 0.65 * RADIUS, 1.0, 0.03))
    assert not seen(lambda s, t: np.full(np.shape(s), 0.6))
    # A lamp's glint on every crest, brighter than the panel; or as bright by chance, and narrow.
    assert not seen(lambda s, t: np.where(np.abs(t) < 5, 1.6, 0.03))
    assert not seen(lambda s, t: np.where((np.abs(t) < 2) & (s % SPACING < 4), 1.0, 0.03))


def test_one_hole_across_a_thread_is_no_spring() -> None:
    assert not seen(gaps(0.5, turns=2))
