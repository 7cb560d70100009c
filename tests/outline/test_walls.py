"""Upright walls beside an edge: their height, and what is too faint to count."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from pitchcam.outline.walls import Slant, wall_height

ACROSS = np.arange(-12.0, 12.01, 0.25)


def seen(edge: float, width: float, shine: float, blur: float = 1.0, seed: int = 4) -> np.ndarray:
    """Light over a wall of a width that mirrors a share of it, with noise of 0.2 %."""
    outer, inner = ndtr((edge - ACROSS) / blur), ndtr((edge - width - ACROSS) / blur)
    light = 0.05 + 0.95 * (1 - (1 - shine) * outer - shine * inner)
    return light + np.random.default_rng(seed).normal(0, 0.002, len(ACROSS))


def sides(width: float, shine: float, place: float = 0.0) -> list[np.ndarray]:
    """Both sides of a disc, 0 to 1: the wall on the near one reaches outward of the upper edge."""
    near, far = seen(place + width, width, shine), seen(0.0, 0.0, 0.0, seed=9)
    return [(light - 0.05) / 0.95 for light in (near, far)]


def known(px_per_mm: float, u_px_per_mm: float = 0.0001) -> Slant:
    return Slant(height_mm=1.85, u_height_mm=0.3, px_per_mm=px_per_mm, u_px_per_mm=u_px_per_mm,
                 u_place_px=0.15)


# A dull wall moves the edge, a bright one widens it; both together are narrower than the blur.
@pytest.mark.parametrize("shine", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("height", [1.3, 1.85, 2.4])
@pytest.mark.parametrize("place", [-0.1, 0.1])
def test_height_of_a_wall_that_runs_together_with_its_edge(shine, height, place) -> None:
    near, far = sides(0.8 * height, shine, place)
    found, u = wall_height(ACROSS, near, far, known(0.8))
    assert found == pytest.approx(height, abs=2 * u)
    assert u < 0.28
    assert abs(found - height) < 0.25


def test_a_slant_not_known_leaves_the_height_as_it_was() -> None:
    near, far = sides(0.8 * 2.4, 0.5)
    sure, u_sure = wall_height(ACROSS, near, far, known(0.8))
    unsure, u_unsure = wall_height(ACROSS, near, far, known(0.8, 0.4))
    assert abs(unsure - 1.85) < 0.6 * abs(sure - 1.85)
    assert u_sure < 0.6 * u_unsure <= 0.6 * 0.3


def test_what_is_no_wall_tells_little_of_its_height() -> None:
    near, far = sides(2.0, 0.5)
    strange = np.where(np.abs(ACROSS + 3) < 1, near + 0.5, near)
    assert wall_height(ACROSS, strange, far, known(1.0))[1] > 0.25
