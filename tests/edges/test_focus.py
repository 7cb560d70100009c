"""Which edges lie out of the focus that others are in."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from pitchcam.edges.focus import U_BLUR_BY_HEIGHT, far_from_focus, focus_of


def edges(*falls: float) -> list[Any]:
    return [SimpleNamespace(fall_px=fall, profiles=(0, 0)) for fall in falls]


def test_a_pin_blurred_beyond_its_profile_beside_sharp_parts_is_far_from_focus() -> None:
    owner = [1, 1, None, None]
    assert far_from_focus(edges(3.5, 3.9, 0.8, 0.9), owner) == {1}
    assert far_from_focus(edges(2.3, 2.5, 0.8, 0.9), owner) == {1}
    assert far_from_focus(edges(1.5, 1.9, 0.8, 0.9), owner) == set()
    # A photo that is blurred all over, or shows nothing else.
    assert far_from_focus(edges(3.5, 3.9, 2.2, 3.9), owner) == set()
    assert far_from_focus(edges(3.5, 3.9), [1, 1]) == set()


def test_blur_differs_by_the_difference_of_heights() -> None:
    pin: Any = SimpleNamespace(width_px=100.0, threads=(), blob=SimpleNamespace(label=1))
    part: Any = SimpleNamespace(width_px=700.0, threads=(0,), blob=SimpleNamespace(label=2))
    found = focus_of([pin, part], edges(1.5, 1.5, 0.8), [1, 1, None])
    assert found is not None
    assert found.apart.tolist() == [True] * 4 + [False] * 2
    assert found.u_px == pytest.approx(300 * U_BLUR_BY_HEIGHT)
    assert focus_of([pin, part], edges(1.5, 1.5), [1, 1]) is None
    assert focus_of([pin, part], edges(1.5, 1.5), [None, None]) is None
