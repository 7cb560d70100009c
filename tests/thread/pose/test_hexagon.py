"""Hexagon or round: by the light across a stretch, its length and its face."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pitchcam.objects.axis import ImageAxis
from pitchcam.thread.pose.height import rest_as, rest_height
from pitchcam.thread.pose.hexagon import hexagon_share
from pitchcam.thread.pose.laid import SURE, _weighed
from tests.thread.pose.drawn_part import Lying, cylinder, hexagon, plug
from tests.thread.pose.test_rest import camera_of, shape_of

HALF, LENGTH, MIDDLE = 150.0, 45.0, 500.0
STRETCH = (MIDDLE - LENGTH / 2, MIDDLE + LENGTH / 2)


def hexagon_light(t: np.ndarray) -> np.ndarray:
    """Three faces that mirror evenly, turned a little; light outside."""
    faces = np.where(t < -0.45, 0.02, np.where(t < 0.55, 0.05, 0.03))
    return np.where(np.abs(t) < 1, faces, 1.0)


def round_light(t: np.ndarray) -> np.ndarray:
    """A band that mirrors the panel toward either edge."""
    inside = 0.03 + 0.6 * np.clip((np.abs(t) - 0.8) / 0.2, 0, 1) ** 0.7
    return np.where(np.abs(t) < 1, inside, 1.0)


def dark(t: np.ndarray) -> np.ndarray:
    return np.where(np.abs(t) < 1, 0.01, 1.0)


def part(light: Any, noise: float = 0.001) -> Any:
    """A bar with one wide stretch in its middle, of a light across it."""
    s = np.arange(0.0, 1000.0)
    half = np.where((s > STRETCH[0]) & (s < STRETCH[1]), HALF, 70.0)
    rng = np.random.default_rng(3)

    def sample(xy: np.ndarray) -> np.ndarray:
        return light(xy[..., 1] / HALF) + rng.normal(0, noise, xy.shape[:-1])

    ends = [[0, 70], [1000, 70], [1000, -70], [0, -70]]
    return SimpleNamespace(
        stations=(s, half, -half),
        threads=(),
        axis=ImageAxis(point_px=(0.0, 0.0), direction=(1.0, 0.0)),
        outline_px=np.array(ends, float),
        crop=SimpleNamespace(sample=sample),
    )


def share(light: Any) -> float:
    return hexagon_share(part(light), STRETCH, 2 * HALF, 0.8)


def test_flat_faces_make_a_hexagon_and_a_band_a_collar() -> None:
    assert share(hexagon_light) > 0.98
    assert share(round_light) < 0.25


def test_what_mirrors_nothing_is_told_by_its_form_alone() -> None:
    assert 0.5 < share(dark) < 0.98
    assert share(lambda t: dark(t) + 0.0) == pytest.approx(share(dark), abs=0.02)


def test_a_hexagon_beside_a_wider_stretch_makes_it_a_flange() -> None:
    shape = shape_of(Lying(plug(), 0.0, heading_deg=40.0))
    rest = rest_height(shape, camera_of(Lying(plug(), 0.0, heading_deg=40.0)))
    assert not rest.hexagon
    assert rest.share > 0.8


def test_the_face_of_a_stub_before_a_hexagon_is_not_its_own() -> None:
    """Taken for the hexagon's it is far too small, as no hexagon's face is."""
    part_of = Lying(
        [*cylinder(0, 16, 5.5), *hexagon(16, 6, 17), *cylinder(22, 3, 5.0)], 0.0, heading_deg=40.0
    )
    rest = rest_height(shape_of(part_of), camera_of(part_of))
    assert rest.hexagon
    assert rest.share > 0.7


def test_doubt_is_an_uncertainty_of_the_height() -> None:
    held = Lying(plug(), 0.0, heading_deg=40.0)
    shape, camera = shape_of(held), camera_of(held)
    one, other = (rest_as(shape, camera, 0.5, hexagon=h) for h in (False, True))
    gap = one.height_mm - other.height_mm
    assert gap == pytest.approx(11.5 * (1 - np.sqrt(3) / 2), rel=0.07)
    mixed = _weighed(one, other, 0.8)
    assert mixed.height_mm == pytest.approx(one.height_mm - 0.2 * gap)
    # Two places a gap apart with 0.8 and 0.2: a variance of 0.16 gap squared.
    assert mixed.u_height_mm == pytest.approx(np.hypot(0.4 * gap, one.u_height_mm), rel=0.05)
    assert SURE < 1


def test_a_thread_beyond_what_is_seen_tells_nothing() -> None:
    seen = part(hexagon_light)
    seen.threads = (SimpleNamespace(start_px=1e4, end_px=1.1e4),)
    assert hexagon_share(seen, STRETCH, 2 * HALF, 0.8) == share(hexagon_light)
