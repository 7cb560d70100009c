"""Edges laid through their pieces, and pieces that look like no mirrored panel left out."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.edges.lines import StraightEdge
from pitchcam.edges.straight import _through, _without_strangers


def edge(*pieces: str) -> StraightEdge:
    at = np.linspace(-1, 1, len(pieces) + 2)[1:-1] if len(pieces) != 2 else (-0.5, 0.5)
    return StraightEdge(
        start=np.array([0.0, 0.0]), end=np.array([100.0, 0.0]), normal=np.array([0.0, -1.0]),
        profiles=pieces, at=tuple(at),  # type: ignore[arg-type]
    )  # fmt: skip


def test_true_edge_goes_through_its_pieces() -> None:
    true = _through(edge("a", "b"), np.array([1.0, 2.0]), np.array([0.2, 0.2]))
    # Outward is up here: 1 a quarter along, 2 at three quarters, on at both ends.
    assert true.start_px == pytest.approx([0, -0.5])
    assert true.end_px == pytest.approx([100, -2.5])
    assert true.u_px == pytest.approx(0.2)


def test_a_piece_that_mirrors_a_neighbour_is_left_out() -> None:
    edges = [edge("a", "b", "c"), edge("d")]

    def rest(*codes: float) -> list[tuple[str, ...]]:
        rims = SimpleNamespace(misfit=np.array(codes) / 255)
        return [e.profiles for e in _without_strangers(edges, rims)]  # type: ignore[arg-type]

    assert rest(0.5, 0.6, 8.0, 0.5) == [("a", "b"), ("d",)]
    # An edge never loses its last piece, and even misfits are the model's, not a neighbour's.
    assert rest(0.5, 0.6, 0.5, 8.0) == [("a", "b", "c"), ("d",)]
    assert rest(6.0, 7.0, 8.0, 6.0) == [("a", "b", "c"), ("d",)]
