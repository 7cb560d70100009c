"""Many drawings at once, against each drawn by itself, point by point."""

import numpy as np
import pytest

from pitchcam.thread.aslant.contour import Side, edges
from pitchcam.thread.aslant.skyline import INSIDE, REACH, ridges_of, roots_of, skylines
from tests.thread.aslant.test_contour import PITCH, wound

STATIONS = np.linspace(-4.01, 3.99, 161)[:, None] + np.linspace(-0.1, 0.1, 5)


def outermost(z, pieces):
    """The largest of straight lines from point to point; of pieces that are passed in order."""
    out = np.full(z.shape, INSIDE)
    for x, y in pieces:
        for a, b, low, high in zip(x[:-1], x[1:], y[:-1], y[1:], strict=True):
            on = (z >= a) & (z <= b)
            share = (z - a) / max(b - a, 1e-300)
            out = np.where(on, np.maximum(out, low + share * (high - low)), out)
    return out


def many(half_width, height, at=0.0):
    """Pieces that rise to their ends, so that all of each counts: middles, z and y."""
    middles = PITCH * np.arange(-5.0, 6.0)
    across = np.linspace(-1.0, 1.0, 21) * half_width * PITCH
    z = middles[:, None] + across + at * PITCH
    return middles, z, height + 0.05 * middles[:, None] + 0.3 * across**2


def pieces(ridges, roots):
    return [kind(*(x[None] for x in own)) for kind, own in ((ridges_of, ridges), (roots_of, roots))]


@pytest.mark.parametrize("half_width", [0.45, 0.8, 1.4, 1.8])
def test_ridges_that_overlap_are_each_followed_to_their_ends(half_width):
    """The more aslant, the more of them cover each other."""
    middles, *ridges = many(half_width, 7.0)
    _, *roots = many(0.3, 4.0, at=0.5)
    (seen,) = skylines([STATIONS.T], middles[None], *pieces(ridges, roots))
    every = [*zip(*ridges, strict=True), *zip(*roots, strict=True)]
    assert np.abs(seen.height.T - outermost(STATIONS, every)).max() < 1e-12


@pytest.mark.parametrize(("ridge", "root"), [(2.4, 0.3), (0.1, 0.9)])
def test_what_overlaps_more_is_followed_piece_by_piece_and_not_far(ridge, root):
    middles, *ridges = many(ridge, 7.0)
    _, *roots = many(root, 4.0, at=0.5)
    (seen,) = skylines([STATIONS.T], middles[None], *pieces(ridges, roots))
    expected = np.full(STATIONS.shape, INSIDE)
    for i, middle in enumerate(middles):
        near = np.abs(STATIONS[:, [2]] - middle) < REACH * PITCH
        own = outermost(STATIONS, [(x[i], y[i]) for x, y in (ridges, roots)])
        expected = np.where(near, np.maximum(expected, own), expected)
    assert np.abs(seen.height.T - expected).max() < 1e-12


def test_of_a_root_is_seen_what_is_passed_in_order_about_its_middle():
    z = np.array([0.0, 0.3, 0.2, 0.4, 0.6, 0.8, 0.7])
    turned = np.array([0.0, 0.1, 0.2, 0.5, 0.4, 0.8, 0.9])
    roots = roots_of(np.array([[z, turned]]), np.ones((1, 2, 7)))
    assert (roots.start[0, 0], roots.end[0, 0]) == (2, 5)
    assert roots.shown.tolist() == [[True, False]]


@pytest.mark.parametrize(("ridge", "root"), [(0.45, 0.3), (1.8, 0.3), (2.4, 0.3)])
def test_each_station_lies_between_the_two_points_that_are_said(ridge, root):
    middles, *ridges = many(ridge, 7.0)
    _, *roots = many(root, 4.0, at=0.5)
    (seen,) = skylines([STATIONS.T], middles[None], *pieces(ridges, roots))
    z, y = (np.concatenate([x.ravel() for x in both]) for both in zip(ridges, roots, strict=True))
    shown = seen.height > INSIDE
    left, right = seen.left[shown], seen.right[shown]
    rise = (y[right] - y[left]) / (z[right] - z[left])
    assert np.abs(rise - seen.rise[shown]).max() < 1e-9
    at = z[left] + seen.share[shown] * (z[right] - z[left])
    assert np.abs(at - STATIONS.T[shown]).max() < 1e-9
    assert np.abs(y[left] + rise * (at - z[left]) - seen.height[shown]).max() < 1e-9


@pytest.mark.parametrize("slant", [0.0, 0.12, 0.35])
def test_both_sides_at_once_are_those_that_are_drawn_one_by_one(slant):
    thread = wound("round55", 0.137, 0.03, np.array([slant * 190.0, 3.0, 190.0]))
    sides = [Side(first=0.0, side=1.0), Side(first=0.4, side=-1.0)]
    stations = [STATIONS.T, STATIONS.T[:, ::2] + 0.1]
    together = edges(stations, thread, sides)
    for at, own, (seen, _) in zip(stations, sides, together, strict=True):
        ((alone, _),) = edges([at], thread, [own])
        assert np.array_equal(alone.height, seen.height)
