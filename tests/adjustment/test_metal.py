"""The drawn pin's mirrored light, against closed forms."""

import numpy as np
import pytest

from tests.adjustment import bound, metal
from tests.drawn_photo import SIZE, Shot, project

SHOT = Shot(f35_mm=bound.F35_MM, distance_mm=bound.DISTANCE_MM, heading_rad=0.0)


def test_iron_mirrors_half_the_light_straight_on_and_all_of_it_edge_on():
    n, k = metal.IRON.real, metal.IRON.imag
    straight = ((n - 1) ** 2 + k**2) / ((n + 1) ** 2 + k**2)  # Fresnel at normal incidence
    assert metal.reflectance(np.array([np.pi / 2, 1e-9])) == pytest.approx([straight, 1.0])


def test_facets_hide_half_of_a_ray_along_the_surface_and_nothing_of_a_steep_one():
    """Smith's function is 1 / (1 + L): L = 0.0251 at v = 1, v L -> 1 / (2 sqrt pi) near 0."""
    v = np.array([1e-3, 1.0, 5.0])
    found = metal.unhidden(np.arctan(v * np.sqrt(2) * metal.SLOPE))
    thin = 1 / (1 + 1 / (2 * np.sqrt(np.pi) * v[0]) - 0.5)
    assert found == pytest.approx([thin, 1 / (1 + 0.0251), 1.0], rel=2e-3)


def test_a_smooth_pin_mirrors_the_window_as_deep_as_the_law_of_reflection_says(monkeypatch):
    """r (1 - cos a) with tan 2 a = what lies between edge and border, over the panel's way."""
    monkeypatch.setattr(metal, "SLOPE", 1e-4)
    monkeypatch.setattr(metal, "PANEL_MM", 40.0)
    middle = (np.array(SIZE) - 1) / 2
    box = np.array([[100.0, middle[1] - 480], [SIZE[0] - 100.0, middle[1] + 480]])
    light = metal.mirrored(np.zeros(2), 30.0, 8.0, SHOT, box)
    column = light[:, int(middle[0])]
    away, r = SHOT.distance_mm - 4.0, 4.0
    edge_px = SHOT.f_px * r / np.sqrt(away**2 - r**2)
    # The ray of the deepest light, met by trial: it leaves for the window's border.
    border = 480 / SHOT.f_px * (SHOT.distance_mm + 40.0)
    x = np.linspace(0.85, 1, 200001) * edge_px / SHOT.f_px
    d = np.stack([x, np.ones_like(x)]) / np.hypot(x, 1)
    along = d[1] * away
    way = along - np.sqrt(np.maximum(along**2 - away**2 + r**2, 0))
    at = way * d - np.array([[0.0], [away]])
    out = d - 2 * np.sum(at * d, axis=0) / r**2 * at
    lands = at[0] + out[0] / out[1] * (44.0 - at[1])
    deep = edge_px - SHOT.f_px * x[np.argmin(np.abs(lands - border))]
    for side in (column[: int(middle[1])], column[int(middle[1]) :]):
        assert (side / max(side.max(), 1e-9)).sum() == pytest.approx(deep, rel=0.25)
    assert deep > 1.5


def test_the_window_leaves_room_around_stud_and_pin():
    stud = bound.stud_of(30.0, 8)
    shot = bound.drawn_inputs(stud, 1)
    stands = (np.zeros(2), np.array([0.0, -10.0]))
    (x0, y0), (x1, y1) = bound.window_around(stud, shot, stands)
    half = stud.ends_mm[1]
    along = np.array([np.cos(shot.heading_rad), np.sin(shot.heading_rad)])
    ends = project(np.array([[*(s * half * along), stud.shank_mm / 2] for s in (-1, 1)]), shot)
    room = bound.ROOM_MM * shot.f_px / shot.distance_mm
    assert (ends - [x0, y0] >= 0.9 * room).all() and ([x1, y1] - ends >= 0.9 * room).all()
    assert min(x0, y0) >= bound.MARGIN_PX
