"""Distance from the opening of a caliper's jaws."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcam.scale.jaws import THICKNESS_MM, facing_edges, jaw_reference
from tests.outline import drawing
from tests.outline.drawing import View
from tests.scale import looking


def jaws(view: View, gap: float, thickness: float, *, at=(0.0, 0.0), angle=0.0, shine=0.0):
    """Light of two blocks whose faces look at each other over a gap; walls may mirror."""
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, s], [-s, c]])
    light = looking.LIGHT * drawing.window(view.size, 20)
    for sign in (-1, 1):
        x = sign * np.array([gap / 2, gap / 2 + 8])
        corners = np.array([[x[0], -14], [x[1], -14], [x[1], 9], [x[0], 9]]) @ turn + at
        whole = drawing.cover(view.size, looking.solid(view, drawing.prism(corners, 0, thickness)))
        top = drawing.cover(view.size, looking.solid(
            view, drawing.prism(corners, thickness - 1e-3, thickness)
        ))  # fmt: skip
        light = light * (1 - (1 - looking.DARK) * ((1 - shine) * whole + shine * top))
    return light


@pytest.mark.parametrize("turn", [(0, 0, 0), (0.04, -0.03, 0)])
@pytest.mark.parametrize(("at", "angle"), [((0, 0), 0.0), ((3, 2), 0.4), ((25, -4), 0.05)])
def test_distance_from_the_gap(turn, at, angle) -> None:
    view = View(turn=turn)
    seen = looking.look(jaws(view, 24.0, 3.0, at=at, angle=angle), view, gain=0.0)
    assert len(seen.shapes) == 2
    found = jaw_reference(seen.shapes, looking.camera(view), 24.0, 3.0)
    assert found is not None
    # Heights of 0, 1.5 or 3 mm are up to 1.5 % of the distance.
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.002)
    assert sorted(found.labels) == sorted(s.blob.label for s in seen.shapes)
    # Both faces look away from the middle of the picture, or only one of them.
    beside = abs(at[0]) > 12
    assert found.height_mm == pytest.approx(1.5 if beside else 0.0)
    c, s = np.cos(angle), np.sin(angle)
    middle = np.array([0.0, -2.5]) @ np.array([[c, s], [-s, c]]) + at
    assert found.where_px == pytest.approx(view.project(np.array([[*middle, 1.0]]))[0], abs=12)


def test_thickness_from_the_mirrored_wall() -> None:
    view = View(size=(1600, 1200), f_px=3000.0)
    seen = looking.look(jaws(view, 30.0, 3.4, shine=0.6), view, gain=0.0)
    found = jaw_reference(seen.shapes, looking.camera(view), 30.0)
    assert found is not None
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.003)
    assert found.u_height_mm < 0.5
    usual = jaw_reference(
        looking.look(jaws(view, 30.0, 3.4), view, gain=0.0).shapes, looking.camera(view), 30.0
    )
    assert usual is not None
    assert usual.u_height_mm > found.u_height_mm
    assert THICKNESS_MM < 3.4


def test_what_does_not_face_is_no_jaw() -> None:
    view = View()
    a = looking.solid(view, drawing.prism([[-20, -10], [-8, -10], [-8, 10], [-20, 10]], 0, 3))
    corners = np.array([[8, -10], [20, -10], [20, 10], [8, 10]]) @ [[0.97, 0.24], [-0.24, 0.97]]
    b = looking.solid(view, drawing.prism(corners, 0, 3))
    shapes = looking.look(looking.picture(view, a, b), view, gain=0.0).shapes
    assert facing_edges(*shapes) is None
    assert jaw_reference(shapes, looking.camera(view), 16.0) is None
    assert jaw_reference(shapes[:1], looking.camera(view), 16.0) is None
