"""Axes of outlines that were turned by known angles."""

import numpy as np
import pytest

from pitchcam.objects.axis import ImageAxis, between_sides, envelope, find_axis


def outline(angle_deg, bump=0.0):
    """A stepped part with a toothed shank; ``bump`` sits on one side only."""
    s = np.arange(-400.0, 400.5, 0.7)
    half = np.where(s < -150, 160.0, 90.0) + np.where(s > 0, 8 * np.cos(s / 5), 0.0)
    one_side = half + np.where(np.abs(s - 100) < 12, bump, 0.0)
    cap = np.linspace(-1, 1, 300)[1:-1]
    st = np.concatenate(
        [
            np.stack([s, one_side], 1),
            np.stack([np.full(298, 400.0), -cap * half[-1]], 1),
            np.stack([s[::-1], -half[::-1]], 1),
            np.stack([np.full(298, -400.0), cap * half[0]], 1),
        ]
    )
    a = np.radians(angle_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return st @ turn + np.array([900.0, 700.0])


def off(axis, angle_deg):
    got = np.degrees(np.arctan2(axis.direction[1], axis.direction[0]))
    return (got - angle_deg + 90) % 180 - 90


@pytest.mark.parametrize("angle_deg", [0.0, 7.3, 45.0, 89.0, 123.4, -31.0])
def test_a_symmetric_part_turned(angle_deg):
    axis = find_axis(outline(angle_deg))
    assert off(axis, angle_deg) == pytest.approx(0.0, abs=0.01)
    assert axis.to_axis(np.array([900.0, 700.0]))[1] == pytest.approx(0.0, abs=0.1)


def test_a_lump_on_one_side_does_not_turn_it():
    axis = find_axis(outline(20.0, bump=25.0))
    assert off(axis, 20.0) == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize("angle_deg", [0.0, 31.0, 88.0])
def test_the_line_between_the_sides_of_a_short_part_seen_aslant(angle_deg):
    """Sides of 120 px 900 apart, that narrow by 4 degrees; the ends bulge, and lie aslant."""
    t = np.linspace(-1, 1, 721)
    bulge = 150 * np.sqrt(1 - t**2)
    near, far = 450 + 60 * np.tan(np.radians(2)), 450 - 60 * np.tan(np.radians(2))
    ring = np.concatenate(
        [
            np.stack([60 + bulge + 15 * t, far * t], axis=1),
            np.stack([-60 - bulge[::-1] + 15 * t[::-1], near * t[::-1]], axis=1),
        ]
    )
    a = np.radians(angle_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    axes = between_sides(ring @ turn + np.array([900.0, 700.0]))
    best = min(axes, key=lambda axis: abs(off(axis, angle_deg)))
    assert off(best, angle_deg) == pytest.approx(0.0, abs=0.5)
    assert best.to_axis(np.array([900.0, 700.0]))[1] == pytest.approx(0.0, abs=1.0)


def test_there_and_back():
    axis = ImageAxis(point_px=(10.0, 20.0), direction=(0.6, 0.8))
    points = np.random.default_rng(0).normal(0, 100, (50, 2))
    np.testing.assert_allclose(axis.to_photo(axis.to_axis(points)), points, atol=1e-9)
    # To the right of the direction as seen in a picture whose y points down.
    assert axis.to_axis(np.array([10.0, 20.0]) + np.array([-0.8, 0.6]))[1] == pytest.approx(1.0)


def test_the_envelope_takes_the_outermost():
    st = np.array([[0, 5], [0.2, 7], [1, 6], [2, 8], [0, -4], [1, -9], [2, -3.0]])
    s, upper, lower = envelope(st)
    assert s.tolist() == [0, 1, 2]
    assert upper.tolist() == [7, 6, 8]
    assert lower.tolist() == [-4, -9, -3]
