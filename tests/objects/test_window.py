"""The sides of the lit window: straight ones stay straight under light that falls off."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcam.objects.field import find_field
from tests.objects import drawing

SIZE = (1200, 900)


def fallen(share: float) -> np.ndarray:
    """Light that loses a share of itself at the corners of the picture."""
    x, y = np.meshgrid(*(np.linspace(-1, 1, n) for n in SIZE))
    return 1 - share * (x**2 + y**2) / 2


def bow_px(points: np.ndarray) -> float:
    """How far the middle of a side lies out of the line through its ends."""
    middle = points - points.mean(axis=0)
    _, _, axes = np.linalg.svd(middle)
    s, y = middle @ axes[0], middle @ axes[1]
    bend = np.polyfit(s, y, 2)[0]
    return float(abs(bend) * (np.ptp(s) / 2) ** 2)


def test_light_that_falls_toward_the_corners_bows_no_side() -> None:
    # A blur of 8 px: a border out of focus. By one level of light its sides bow by 3 to 5 px.
    light = 0.6 * fallen(0.5) * drawing.window(SIZE, 60.0, 8.0) + 0.005
    found = find_field(drawing.develop(light, noise=0.002)).sides
    assert [s is not None for s in found] == [True] * 4
    assert max(bow_px(s) for s in found if s is not None) < 0.5


def test_a_part_before_the_border_moves_nothing() -> None:
    light = 0.6 * fallen(0.3) * drawing.window(SIZE, 60.0, 4.0) + 0.005
    part = np.array([[20, 380], [260, 380], [260, 470], [20, 470]], float)
    dark = 1 - drawing.cover(SIZE, part)
    plain, crossed = (
        find_field(drawing.develop(seen, noise=0.002)).sides for seen in (light, light * dark)
    )
    for a, b in zip(plain, crossed, strict=True):
        assert a is not None and b is not None
        assert abs(bow_px(a) - bow_px(b)) < 0.3


@pytest.mark.parametrize("top", [68.0, 95.0])
@pytest.mark.parametrize("long", [300.0, 640.0])
def test_a_card_along_the_border_moves_no_side(long: float, top: float) -> None:
    """It lies beside the last third to three fifths of it, nearer than the light is read."""
    light = 0.6 * fallen(0.3) * drawing.window(SIZE, 60.0, 3.0) + 0.005
    card = np.array([[1120 - long, top], [1120, top], [1120, 300], [1120 - long, 300]], float)
    pixels = drawing.develop(light * (1 - 0.95 * drawing.cover(SIZE, card)), noise=0.002)
    sides = [s for s in find_field(pixels).sides if s is not None]
    assert len(sides) == 4
    upper = min(sides, key=lambda s: s[:, 1].mean())
    assert np.abs(upper[:, 1] - 60.0).max() < 1.0
    assert abs(np.polyfit(*upper.T, 1)[0]) < 1e-3


def test_a_border_that_the_picture_cuts_is_read_where_it_is_seen() -> None:
    # Turned by a degree the lower side leaves the picture on its way.
    a = np.radians(1.0)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    corners = np.array([[-540, -390], [540, -390], [540, 441], [-540, 441]], float)
    lit = drawing.cover(SIZE, corners @ turn.T + (600, 450), 4.0)
    found = find_field(drawing.develop(0.6 * fallen(0.4) * lit + 0.005, noise=0.002)).sides
    seen = [s for s in found if s is not None]
    assert len(seen) >= 3
    assert max(bow_px(s) for s in seen) < 0.6


@pytest.mark.parametrize(("beyond", "ends"), [(0.3, True), (0.7, False)])
def test_light_that_runs_on_has_no_end_there(beyond: float, ends: bool) -> None:
    """Beyond one side something is lit to a share of the window's light: a wall, another lamp."""
    lit = drawing.window(SIZE, 60.0, 3.0)
    beside = drawing.cover(SIZE, np.array([[600, 60], [1200, 60], [1200, 840], [600, 840]], float))
    light = 0.6 * np.maximum(lit, beyond * beside) + 0.005
    sides = [s for s in find_field(drawing.develop(light, noise=0.002)).sides if s is not None]
    right = [s for s in sides if np.ptp(s[:, 0]) < 100 and s[:, 0].mean() > 1000]
    assert len(right) == ends and len(sides) == 3 + ends
