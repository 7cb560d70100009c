"""The widest blur that the sharpest edges of a photo leave possible."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcam.edges import falls

WAYS = np.linspace(0, np.pi, 360, endpoint=False)


def blur_of(monkeypatch, *outlines):
    """Return the blur of outlines: the blur at each point, and the directions of its edge."""
    queue = [np.array([fall, ways]) for fall, ways in outlines]
    monkeypatch.setattr(falls, "edge_falls", lambda shape: queue[shape])
    return falls.most_blur(list(range(len(queue))))


def test_what_mirrors_on_one_side_is_not_blurred(monkeypatch):
    """A disc's far side shows its wall; the near side has the same directions, and is sharp."""
    one_side = np.r_[np.full(360, 0.8), np.full(360, 9.0)]
    assert blur_of(monkeypatch, (one_side, np.r_[WAYS, WAYS])) == pytest.approx(0.8)


def test_where_a_seventh_of_every_direction_is_sharp_the_rest_is_mirrored_light(monkeypatch):
    """Brass on a panel: its outline is sharp at corners and ends alone."""
    corners = np.where(np.arange(360) % 7 == 0, 0.8, 9.0)
    assert blur_of(monkeypatch, (corners, WAYS)) == pytest.approx(0.8)


def test_one_sharp_object_tells_that_the_photo_is_sharp(monkeypatch):
    found = blur_of(monkeypatch, (np.full(360, 9.0), WAYS), (np.full(360, 0.8), WAYS))
    assert found == pytest.approx(0.8)


def test_defocus_and_shake_are_seen(monkeypatch):
    assert blur_of(monkeypatch, (np.full(360, 6.0), WAYS)) == pytest.approx(6.0)
    shaken = np.hypot(0.8, 6.0 * np.sin(WAYS))  # edges along the shake stay sharp
    found = blur_of(monkeypatch, (shaken, WAYS), (shaken, WAYS))
    # Of edges up to 30 degrees off the square to the shake, the sharpest tenth.
    assert found == pytest.approx(6.0, abs=0.7)


def test_of_a_direction_that_is_hardly_there_nothing_is_said(monkeypatch):
    few = np.pi / 12 > WAYS
    fall, ways = np.full(360, 0.8), np.where(few, 0.1, 1.5)
    fall[few] = 9.0
    assert blur_of(monkeypatch, (fall[20:], ways[20:])) == pytest.approx(0.8)


def test_metal_that_mirrors_on_both_sides_is_no_shake(monkeypatch):
    """A shake that widens one direction so much widens those beside it too: these are sharp."""
    sides = np.abs(WAYS - np.pi / 2) < np.pi / 6
    both = np.where(sides, 20.0, 0.8)
    found = blur_of(monkeypatch, (both, WAYS))
    # The next edges lie 30 degrees off the sides: a shake along them is told by all others.
    assert 0.8 < found < 0.8 / np.sin(np.radians(30)) + 0.1


@pytest.mark.parametrize("way_deg", [0.0, 40.0, 97.0])
def test_a_shake_is_told_whole_in_any_direction(monkeypatch, way_deg):
    shaken = np.hypot(0.8, 6.0 * np.sin(WAYS - np.radians(way_deg)))
    assert blur_of(monkeypatch, (shaken, WAYS)) == pytest.approx(6.0, abs=0.7)
