"""The tilt along a caliper's beam, by its two edges."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.camera.held import by_hand
from pitchcam.scale import beam as module
from pitchcam.scale.beam import told_by_beam
from pitchcam.scale.faces import openings
from pitchcam.scale.jaws import jaw_references
from tests.objects import drawing
from tests.objects.drawing import View
from tests.scale import looking
from tests.scale.test_jaws import jaws

ALONG = np.array([1.0, 0.0])


def seen(lean: float, *, gap=20.0, shine=0.0, beam=True):
    """Return the view, the jaws' shapes, and the camera as it was before: held by hand."""
    view = View(size=(1600, 1200), f_px=3000.0, turn=(0.0, lean, 0.0))
    shapes = looking.look(jaws(view, gap, 3.3, shine=shine, beam=beam), view, gain=0.0).shapes
    return view, shapes, looking.camera(view, tilt=False).held_as(by_hand())


@pytest.mark.parametrize("shine", [0.0, 0.6])
@pytest.mark.parametrize("lean", [0.0, 0.04, -0.09])
def test_the_beams_edges_tell_the_tilt_across_the_faces(lean, shine) -> None:
    view, shapes, by_eye = seen(lean, shine=shine)
    [found] = jaw_references(shapes, by_eye, 20.0, 3.3)
    u = found.camera.leans.u_along(ALONG)
    assert u < np.radians(0.45)
    assert abs(found.camera.normal[0] - view.normal[0]) < 2 * u
    assert abs(found.camera.distance_mm / view.plate_mm - 1) < 0.003


def test_what_it_tells_is_good_to_its_edges_and_their_parallelism() -> None:
    """Each edge turns by 0.07 px over 700, both by 0.02 mm over 150, and are 115 px apart."""
    _, shapes, by_eye = seen(0.0)
    u = told_by_beam(by_eye, openings(shapes)[0]).camera.leans.u_along(ALONG)
    turns = np.linalg.norm([0.07 / 700, 0.07 / 700, 0.02 / np.sqrt(3) / 150])
    assert u == pytest.approx(turns * 3000 / 115, rel=0.12)


def test_jaws_without_a_beam_tell_it_by_their_walls_alone() -> None:
    _, shapes, by_eye = seen(0.04, beam=False)
    [opening] = openings(shapes)
    assert told_by_beam(by_eye, opening) is None


def test_all_pieces_of_one_edge_are_one_line() -> None:
    """Between the jaws 8 mm are seen, and 6 beyond either of them."""
    _, shapes, by_eye = seen(0.04, gap=8.0)
    opening = openings(shapes)[0]
    whole = told_by_beam(by_eye, opening).camera.leans.u_along(ALONG)
    # By the piece between the jaws alone it would be 1.2 degrees.
    assert whole < np.radians(0.6)


def test_what_is_open_of_the_lens_is_open_of_the_tilt() -> None:
    view = View(size=(1600, 1200), f_px=3000.0)
    light = jaws(view, 20.0, 3.3, at=(22.0, 14.0), beam=True)
    shapes = looking.look(light, view, gain=0.0).shapes
    by_eye = looking.camera(view, tilt=False).held_as(by_hand())
    opening = openings(shapes)[0]
    known, open_ = (
        told_by_beam(replace(by_eye, u_corner=u), opening).camera.leans.u_along(ALONG)
        for u in (1e-6, 0.02)
    )
    assert open_ > 1.3 * known


def test_the_tilt_that_goes_with_the_lens_is_told_with_it() -> None:
    """The photo lies where it did; the camera believes in one displacement or in the other."""
    view = View(size=(1600, 1200), f_px=3000.0)
    light = jaws(view, 20.0, 3.3, at=(22.0, 14.0), beam=True)
    shapes = looking.look(light, view, gain=0.0).shapes
    by_eye = looking.camera(view, tilt=False).held_as(by_hand())
    corner = 0.004
    [free] = jaw_references(shapes, by_eye, 20.0, 3.3)
    leans = [
        np.array(jaw_references(shapes, by_eye.bent(k, u), 20.0, 3.3)[0].camera.normal[:2]) @ ALONG
        for k, u in ((corner, by_eye.u_corner), (-corner, by_eye.u_corner))
    ]
    told = (leans[0] - leans[1]) / (2 * corner)
    assert abs(told) > 0.5
    assert np.array(free.lean_per_corner) @ ALONG == pytest.approx(told, rel=0.25)


def test_a_tilt_that_something_else_tells_better_goes_with_the_lens_by_little() -> None:
    _, shapes, by_eye = seen(0.0)
    beam = told_by_beam(by_eye, openings(shapes)[0])
    known = beam.camera.held_as(beam.camera.leans.seen_along(beam.way, 0.0, beam.u_rad / 3))
    share = np.linalg.norm(beam.lean_per_corner(known)) / abs(beam.per_corner)
    assert share == pytest.approx(0.1, rel=0.1)


def opening_of(*blocks):
    """The opening between two jaws that join blocks behind them, and the camera held by hand."""
    view = View(size=(1600, 1200), f_px=3000.0)
    faces = [[[s * 10, -14], [s * 18, -14], [s * 18, 9.5], [s * 10, 9.5]] for s in (-1, 1)]
    solids = [looking.solid(view, drawing.prism(np.array(b), 0, 3.0)) for b in (*blocks, *faces)]
    shapes = looking.look(looking.picture(view, *solids), view, gain=0.0).shapes
    opening = openings(shapes)[0]
    assert opening.first.shape is opening.second.shape
    return opening, looking.camera(view, tilt=False).held_as(by_hand())


def test_what_leans_as_no_phone_is_held_is_no_beam() -> None:
    """A body that tapers by two degrees would lean by more than thirty."""
    opening, by_eye = opening_of([[-24, 9], [24, 9], [24, 17.0], [-24, 15.3]])
    assert told_by_beam(by_eye, opening) is None


@pytest.mark.parametrize("side", [-1, 1])
def test_an_edge_behind_one_jaw_is_not_the_beams(side: int) -> None:
    """A slider's, or a part's that touches: it need not be parallel to anything."""
    whole = [[-24, 9], [24, 9], [24, 16], [-24, 16]]
    opening, by_eye = opening_of(whole)
    assert told_by_beam(by_eye, opening) is not None
    behind = [[-24 * side, 15], [6 * side, 15], [6 * side, 17.5], [-24 * side, 17.65]]
    opening, by_eye = opening_of(whole, behind)
    assert told_by_beam(by_eye, opening) is None


def test_a_ragged_edge_is_not_the_beams() -> None:
    """It waves by 1.4 pixels, which leave it one straight piece of the outline."""
    x = np.arange(-24.0, 24.0, 0.5)
    back = 16 + 0.09 * np.sin(2 * np.pi * x / 12)
    opening, by_eye = opening_of(
        [[-24, 9], [24, 9], [24, 15.5], [-24, 15.5]],
        *([[a, 15], [a + 0.8, 15], [a + 0.8, b], [a, b]] for a, b in zip(x, back, strict=True)),
    )
    assert told_by_beam(by_eye, opening) is None


@pytest.mark.parametrize(("turned", "told"), [(0.02, True), (0.06, False), (-0.06, False)])
def test_edges_that_lean_either_way_as_no_phone_is_held_are_none(monkeypatch, turned, told) -> None:
    """Two edges 120 pixels apart, at 3000 to the radian: 0.06 of 120 are 1.5 degrees of 35."""
    x = np.arange(-300.0, 300.0, 10.0)
    middle = np.array([799.5, 599.5])
    edges = tuple(
        middle + np.stack([x, y + slope * x], axis=1)
        for y, slope in ((0.0, 0.0), (120.0, turned / 5))
    )
    monkeypatch.setattr(module, "_edges", lambda _: edges)
    camera = looking.camera(View(size=(1600, 1200), f_px=3000.0), tilt=False).held_as(by_hand())
    assert (told_by_beam(camera, None) is not None) == told
