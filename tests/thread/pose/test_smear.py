"""A hexagon's faces seen aslant stand before what lies beside it."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcam.thread.pose.hull import CHAMFERED, _unsmeared

FLAT, MM_PER_PX = 9.0, 0.05
CORNER = FLAT * 2 / np.sqrt(3)
FIRST, LAST, OUT = 300, 500, 60.0


def radii(beside: np.ndarray) -> np.ndarray:
    """A hexagon with one outline beside it, out of its ends; a shank of 6 mm farther off."""
    seen = np.full(800, 6.0)
    seen[FIRST : LAST + 1] = CORNER
    seen[LAST + 1 : LAST + 1 + len(beside)] = beside
    seen[FIRST - len(beside) : FIRST] = beside[::-1]
    return seen


def ellipse(d: np.ndarray) -> np.ndarray:
    return CORNER * np.sqrt(1 - (d / OUT) ** 2)


def unsmeared(seen: np.ndarray, out: float = OUT) -> np.ndarray:
    return _unsmeared(seen, (FIRST, LAST), FLAT, np.full(len(seen), out), MM_PER_PX)


@pytest.mark.parametrize("side", [slice(FIRST - 40, FIRST), slice(LAST + 1, LAST + 41)])
def test_the_ends_of_corners_seen_aslant_touch_nothing(side) -> None:
    """Taken as round, they would lift the axis by up to a seventh of its height."""
    seen = radii(ellipse(np.arange(1.0, 50.0)))
    assert seen[side].max() > 1.1 * FLAT
    assert unsmeared(seen)[side].max() <= FLAT + 1e-9


def test_a_chamfer_seen_square_is_no_collar() -> None:
    deep = int(CHAMFERED * 2 * FLAT / MM_PER_PX) - 1
    seen = radii(np.linspace(CORNER, FLAT, deep))
    assert unsmeared(seen, 0.0)[LAST + 1 : LAST + deep].max() <= FLAT


def test_a_collar_that_stands_out_keeps_its_radius() -> None:
    collar = np.full(55, 9.6)
    seen = radii(np.maximum(collar, ellipse(np.arange(1.0, 56.0))))
    left = unsmeared(seen)
    assert left[LAST + 50] == left[FIRST - 50] == 9.6
    # What is far off is another part's.
    assert left[LAST + 70] == 6.0
