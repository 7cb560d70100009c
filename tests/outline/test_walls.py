"""Upright walls beside an edge: one step, two steps, and what is too faint to count."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from pitchcam.outline.walls import fit_wall

ACROSS = np.arange(-12.0, 12.01, 0.25)


def seen(edge: float, width: float, shine: float, blur: float = 1.0, seed: int = 4) -> np.ndarray:
    """Light over a wall of a width that mirrors a share of it, with noise of 0.2 %."""
    outer, inner = ndtr((edge - ACROSS) / blur), ndtr((edge - width - ACROSS) / blur)
    light = 0.05 + 0.95 * (1 - (1 - shine) * outer - shine * inner)
    return light + np.random.default_rng(seed).normal(0, 0.002, len(ACROSS))


@pytest.mark.parametrize("edge", [-1.3, 0.0, 0.7])
def test_plain_edge_has_no_wall(edge: float) -> None:
    wall = fit_wall(ACROSS, 1.1 * seen(edge, 0.0, 0.0))
    assert wall.edge_px == pytest.approx(edge, abs=0.03)
    assert wall.width_px == 0
    assert wall.misfit < 0.005


@pytest.mark.parametrize(("edge", "width", "shine"), [(0.3, 5.0, 0.6), (-0.5, 8.0, 0.4),
                                                      (0.0, 3.0, 0.7)])  # fmt: skip
def test_wall_is_measured(edge: float, width: float, shine: float) -> None:
    wall = fit_wall(ACROSS, seen(edge, width, shine))
    # Outward is positive: the outermost step is the edge, the wall lies inside it.
    assert wall.edge_px == pytest.approx(edge, abs=0.05)
    assert wall.width_px == pytest.approx(width, abs=0.1)
    assert wall.misfit < 0.005


def test_what_is_neither_says_so() -> None:
    stairs = sum(seen(e, 0, 0, seed=int(e + 20)) for e in (0.0, -3.5, -7.0)) / 3
    assert fit_wall(ACROSS, stairs).misfit > 0.01
