"""Distance from the opening of a caliper's jaws."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, replace

import cv2
import numpy as np
import pytest
from scipy import optimize

from pitchcam.camera.held import by_hand
from pitchcam.edges.walls import MOST_LIGHT
from pitchcam.normal import normal_cdf
from pitchcam.scale import jaws as module
from pitchcam.scale.faces import openings
from pitchcam.scale.jaws import THICKNESS_MM, jaw_references
from tests.objects import drawing
from tests.objects.drawing import View
from tests.scale import looking


def jaws(
    view: View,
    gap: float,
    thickness: float,
    *,
    at=(0.0, 0.0),
    angle=0.0,
    shine=0.0,
    beam=False,
    turned_mm=0.0,
):
    """Light of two blocks whose faces look at each other over a gap; walls may mirror.

    A beam joins their ends on one side. The right one may be turned, so much farther out at one
    end of its face than at the other.
    """
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, s], [-s, c]])
    light = looking.LIGHT * drawing.window(view.size, 20)
    blocks = [
        [[x, -14], [x + sign * 8, -14], [x + sign * 8, 9], [x, 9]]
        for sign in (-1, 1)
        for x in [sign * gap / 2]
    ]
    blocks[1][0][0] -= turned_mm / 2
    blocks[1][3][0] += turned_mm / 2
    if beam:
        end = gap / 2 + 14
        blocks.append([[-end, 8.8], [end, 8.8], [end, 16], [-end, 16]])
    for block in blocks:
        corners = np.array(block) @ turn + at
        whole = drawing.cover(view.size, looking.solid(view, drawing.prism(corners, 0, thickness)))
        top = drawing.cover(
            view.size, looking.solid(view, drawing.prism(corners, thickness - 1e-3, thickness))
        )
        light = light * (1 - (1 - looking.DARK) * ((1 - shine) * whole + shine * top))
    return light


@pytest.mark.parametrize("turn", [(0, 0, 0), (0.04, -0.03, 0)])
@pytest.mark.parametrize(("at", "angle"), [((0, 0), 0.0), ((3, 2), 0.4), ((25, -4), 0.05)])
def test_distance_from_the_gap(turn, at, angle) -> None:
    view = View(turn=turn)
    seen = looking.look(jaws(view, 24.0, 3.0, at=at, angle=angle), view, gain=0.0)
    assert len(seen.shapes) == 2
    [found] = jaw_references(seen.shapes, looking.camera(view), 24.0, 3.0)
    # Heights of 0, 1.5 or 3 mm are up to 1.5 % of the distance.
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.002)
    assert abs(found.camera.distance_mm / view.plate_mm - 1) < 2.5 * found.u_scale
    assert sorted(found.labels) == sorted(s.blob.label for s in seen.shapes)
    c, s = np.cos(angle), np.sin(angle)
    middle = np.array([0.0, -2.5]) @ np.array([[c, s], [-s, c]]) + at
    assert found.where_px == pytest.approx(view.project(np.array([[*middle, 1.0]]))[0], abs=12)


@pytest.mark.parametrize("at", [(0, -4), (16, 3)])
def test_both_jaws_on_one_beam(at) -> None:
    view = View()
    seen = looking.look(jaws(view, 14.0, 3.6, at=at, beam=True, shine=0.5), view, gain=0.0)
    assert len(seen.shapes) == 1
    found = jaw_references(seen.shapes, looking.camera(view), 14.0)
    assert found[0].camera.distance_mm == pytest.approx(view.plate_mm, rel=0.005)
    assert abs(found[0].camera.distance_mm / view.plate_mm - 1) < 2.5 * found[0].u_scale


@pytest.mark.parametrize("lean", [0.0, 0.05, -0.12])
def test_the_faces_convergence_tells_the_tilt_along_them(lean) -> None:
    view = View(size=(1600, 1200), f_px=3000.0, turn=(lean, 0.0, 0.0))
    seen = looking.look(jaws(view, 20.0, 3.3), view, gain=0.0)
    by_eye = looking.camera(view, tilt=False).held_as(by_hand())
    found = jaw_references(seen.shapes, by_eye, 20.0, 3.3)[0].camera
    along = found.leans.u_along(np.array([0.0, 1.0]))
    # 0.17 px and the play of a jaw, over 300 px of gap and 20 mm of the faces 200 mm away.
    assert along < np.radians(0.6)
    assert abs(found.normal[1] - view.normal[1]) < 2 * along


def test_thickness_from_the_mirrored_wall() -> None:
    view = View(size=(1600, 1200), f_px=3000.0)
    at, camera = (18, 0), looking.camera(view)
    shining, dull = (
        jaw_references(
            looking.look(jaws(view, 10.0, 4.2, at=at, shine=shine), view, gain=0.0).shapes,
            camera,
            10.0,
        )[0]
        for shine in (0.6, 0.0)
    )
    # A dull face does not show how thick it is, and 0.9 mm more than usual are two u here.
    assert shining.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.003)
    assert shining.u_scale < 0.65 * dull.u_scale
    assert abs(dull.camera.distance_mm / view.plate_mm - 1) < 2.5 * dull.u_scale
    assert THICKNESS_MM < 4.0


def test_narrow_jaws_in_a_corner_of_a_wide_picture() -> None:
    """Of 8 mm between them 2 are hidden behind an upper edge, and the lit wall is as wide.

    Begun from 8 mm the fit ended at its bound; the wall's end lay beyond its profile.
    """
    view = View(size=(2400, 1600), f_px=1600.0)
    at = (0.6 * view.plate_mm, 10)
    seen = looking.look(jaws(view, 8.0, 3.6, at=at, shine=0.5), view, gain=0.0)
    [found] = jaw_references(seen.shapes, looking.camera(view), 8.0)
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.01)
    assert abs(found.camera.distance_mm / view.plate_mm - 1) < 2.5 * found.u_scale
    assert found.u_scale < 0.01


def test_a_wall_seen_through_a_longer_lens_than_thought_looks_thin() -> None:
    """The slant is taken for twice what it is: the fit stayed where the lit wall is one dark edge.

    The scale was 8 % off then, at an uncertainty of 0.7 %.
    """
    view = View(size=(1600, 1200), f_px=2250.0, distance_mm=330.0, turn=(0.0, 0.05, 0.0))
    seen = looking.look(jaws(view, 16.0, 3.3, at=(60, 0), shine=0.58), view, gain=0.0)
    by_eye = looking.camera(view, tilt=False).held_as(by_hand())
    taken = replace(by_eye, f_px=1200.0, u_f_px=310.0)
    [found] = jaw_references(seen.shapes, taken, 16.0)
    scale = found.camera.distance_mm / found.camera.f_px
    # The tilt that is not known, 3 degrees aslant, moves it by 2 %.
    assert scale == pytest.approx(view.plate_mm / view.f_px, rel=0.025)
    # The wall tells what is hidden, whatever the lens is: the depth follows the focal length.
    assert abs(found.height_mm) < 3.0


def test_depth_follows_the_focal_length_as_at_the_stated_height() -> None:
    view = View(size=(1600, 1200), f_px=3000.0)
    shapes = looking.look(jaws(view, 12.0, 3.3, at=(15, 2)), view, gain=0.0).shapes
    camera = looking.camera(view)
    [near] = jaw_references(shapes, camera, 12.0)
    [far] = jaw_references(shapes, replace(camera, f_px=1.02 * camera.f_px), 12.0)
    height = near.height_mm
    assert (far.camera.distance_mm - height) / (near.camera.distance_mm - height) == pytest.approx(
        1.02, abs=0.0005
    )


def test_what_does_not_face_is_no_jaw() -> None:
    view = View()
    a = looking.solid(view, drawing.prism([[-20, -10], [-8, -10], [-8, 10], [-20, 10]], 0, 3))
    corners = np.array([[8, -10], [20, -10], [20, 10], [8, 10]]) @ [[0.97, 0.24], [-0.24, 0.97]]
    b = looking.solid(view, drawing.prism(corners, 0, 3))
    shapes = looking.look(looking.picture(view, a, b), view, gain=0.0).shapes
    assert openings(shapes) == []
    assert jaw_references(shapes, looking.camera(view), 16.0) == []
    assert jaw_references(shapes[:1], looking.camera(view), 16.0) == []


def test_the_height_is_told_by_the_explanation_of_the_walls_that_gives_the_depth(
    monkeypatch,
) -> None:
    """A fit with another focal length that finds another edge tells a height of metres."""
    view = View()
    begun = []
    plain = module._solve

    def recorded(*given):
        found = plain(*given)
        begun.append((given[-1], found))
        return found

    monkeypatch.setattr(module, "_solve", recorded)
    seen = looking.look(jaws(view, 24.0, 3.0), view, gain=0.0)
    [found] = jaw_references(seen.shapes, looking.camera(view), 24.0, 3.0)
    (_, first), (begin, second) = begun
    assert begin is first
    assert second.q[2:] == pytest.approx(first.q[2:], abs=0.02)
    assert -0.5 < found.height_mm < 3.5


@pytest.mark.parametrize(("turn", "x", "gap"), [(0.0, 20, 22.6), (-0.01, -25, 16.0)])
def test_a_wall_that_is_hidden_keeps_its_light_in_the_explanation_that_is_followed(
    monkeypatch, turn, x, gap
) -> None:
    """From dark to bright its edge moves by the wall's width: a photo's jaws lay 9 mm down."""
    view = View(size=(1600, 1200), f_px=2400.0, turn=(0.0, turn, 0.0))
    found = []
    plain = module._solve
    monkeypatch.setattr(module, "_solve", lambda *given: found.append(plain(*given)) or found[-1])
    seen = looking.look(jaws(view, gap, 3.3, at=(x, 0), shine=0.6), view, gain=0.0)
    camera = replace(looking.camera(view, tilt=False), u_tilt_rad=0.02)
    assert jaw_references(seen.shapes, camera, gap)
    first, followed = found
    assert np.abs(followed.q[4:6] - first.q[4:6]).max() < module.FOLLOWED_LIGHT + 1e-9


def test_an_edge_counts_once_however_finely_its_light_is_sampled() -> None:
    """Moved by what it is good to, it is off by one u; the light alone would make that many."""
    for step in (0.25, 0.5):
        across = np.arange(-12.0, 12.0, step)
        light, moved = (normal_cdf(across - at) for at in (0.0, module.U_EDGE_PX))
        noise = module._noise(module._Side(rays=np.zeros((2, 3)), across_px=across, light=light))
        assert 0.5 < np.linalg.norm((moved - light) / noise) < 1.3


def test_one_face_tells_the_blur_of_the_other() -> None:
    """A halo would pass for another blur, and that for a bright wall a pixel wide."""
    view = View(size=(1600, 1200), f_px=3000.0, turn=(0.0, 0.02, 0.0))
    light = jaws(view, 20.0, 3.3, at=(8, 0), shine=0.6)
    light = 0.88 * light + 0.12 * cv2.GaussianBlur(light, (0, 0), 3.0)
    seen = looking.look(light, view, gain=0.0)
    camera = replace(looking.camera(view, tilt=False), u_tilt_rad=0.03)
    [found] = jaw_references(seen.shapes, camera, 20.0)
    assert abs(found.camera.distance_mm / view.plate_mm - 1) < found.u_scale < 0.0035


def test_the_light_of_a_wall_that_nothing_shows_leaves_the_depth_alone() -> None:
    """By construction: its derivatives are what differences round to, and its prior is flat."""
    rng = np.random.default_rng(5)
    jac = rng.normal(0, 1, (60, 8)) * [400.0, 60.0, 3.0, 200.0, 5.0, 5.0, 10.0, 10.0]
    known = np.linalg.inv(np.delete(jac, 5, axis=1).T @ np.delete(jac, 5, axis=1))
    jac[:, 5] = 3e-5 * rng.normal(0, 1, 60)
    found = module._covariance(jac)
    assert found[0, 0] == pytest.approx(known[0, 0], rel=1e-3)
    assert found[0, 3] == pytest.approx(known[0, 3], rel=1e-2, abs=1e-2 * known[0, 0])
    assert found[5, 5] == pytest.approx(1.0, rel=1e-3)
    # Where the picture shows it, that is what is known of it.
    seen = np.append(jac, 100.0 * np.eye(8), axis=0)
    assert module._covariance(seen)[5, 5] == pytest.approx(1e-4, rel=1e-2)


def test_a_wall_of_the_light_that_is_expected_leaves_the_scale_as_sure() -> None:
    """Over the camera's foot little of a wall shows: depth had been traded for light beyond 1."""
    view = View(size=(1600, 1200), f_px=3000.0, turn=(0.0, -0.042, 0.0))
    seen = looking.look(jaws(view, 14.5, 3.3, at=(-0.7, 0), shine=MOST_LIGHT), view, gain=0.0)
    camera = replace(looking.camera(view, tilt=False), u_tilt_rad=0.02)
    [found] = jaw_references(seen.shapes, camera, 14.5)
    assert abs(found.camera.distance_mm / view.plate_mm - 1) < found.u_scale < 0.004


def test_a_sliding_jaw_that_turns_in_its_play_tilts_the_camera_by_no_more_than_is_stated() -> None:
    """The faces are parallel to 0.02 mm over their length (see the module)."""
    view = View(size=(1600, 1200), f_px=3000.0)
    seen = looking.look(jaws(view, 20.0, 3.3, turned_mm=0.02), view, gain=0.0)
    by_eye = looking.camera(view, tilt=False).held_as(by_hand())
    found = jaw_references(seen.shapes, by_eye, 20.0, 3.3)[0].camera
    along = found.leans.u_along(np.array([0.0, 1.0]))
    assert 0.3 * along < abs(found.normal[1] - view.normal[1]) < 2 * along


def test_which_way_round_an_outline_is_told_does_not_matter() -> None:
    view = View(size=(1600, 1200), f_px=3000.0)
    shapes = looking.look(jaws(view, 20.0, 3.3, at=(8, 0), shine=0.3), view, gain=0.0).shapes
    turned = [replace(s, outline_px=s.outline_px[::-1]) for s in shapes]
    one, other = (
        jaw_references(of, looking.camera(view), 20.0, 3.3)[0].camera.distance_mm
        for of in (shapes, turned)
    )
    assert one == pytest.approx(view.plate_mm, rel=0.001)
    assert other == pytest.approx(one, rel=0.0005)


def test_a_stated_thickness_is_worth_more_than_the_usual_one() -> None:
    """Dull jaws 0.8 mm thicker than usual, aside: what is stated is what the far face hides."""
    view = View(size=(1600, 1200), f_px=3000.0)
    shapes = looking.look(jaws(view, 10.0, 4.2, at=(18, 0)), view, gain=0.0).shapes
    usual, stated = (jaw_references(shapes, looking.camera(view), 10.0, t)[0] for t in (None, 4.2))
    assert stated.u_scale < 0.8 * usual.u_scale
    off = abs(stated.camera.distance_mm / view.plate_mm - 1)
    assert off < stated.u_scale and off < 0.3 * abs(usual.camera.distance_mm / view.plate_mm - 1)


def test_a_caliper_and_a_misfit_count_in_the_scale(monkeypatch) -> None:
    """The one as a share of the reading; of the other what fits by chance makes nothing surer."""
    view = View(size=(1600, 1200), f_px=3000.0)
    shapes = looking.look(jaws(view, 10.0, 3.4, at=(18, 0)), view, gain=0.0).shapes
    fits, solve = [], module._solve
    monkeypatch.setattr(module, "_solve", lambda *of: fits.append(solve(*of)) or fits[-1])

    def u_scale(u_caliper: float) -> float:
        monkeypatch.setattr(module, "U_CALIPER_MM", u_caliper)
        return jaw_references(shapes, looking.camera(view), 10.0)[0].u_scale

    by_itself, known = u_scale(0.0), fits[:2]

    def with_misfit(misfit: float, u_caliper: float) -> float:
        again = iter([replace(f, misfit=misfit) for f in known])
        monkeypatch.setattr(module, "_solve", lambda *_: next(again))
        return u_scale(u_caliper)

    assert with_misfit(0.3, 0.0) == with_misfit(1.0, 0.0) == pytest.approx(by_itself, rel=1e-6)
    assert with_misfit(3.0, 0.0) == pytest.approx(3 * by_itself)
    assert with_misfit(1.0, 0.1) == pytest.approx(np.hypot(by_itself, 0.01))


def test_other_faces_nearly_as_long_may_be_the_jaws(monkeypatch) -> None:
    @dataclass
    class Faces:
        length_px: float

    known = [Faces(300.0), Faces(240.0), Faces(150.0)]
    monkeypatch.setattr(module, "openings", lambda shapes: known)
    monkeypatch.setattr(module, "_reference", lambda opening, *_: opening.length_px)
    assert jaw_references([], looking.camera(View()), 20.0) == [300.0, 240.0]


def test_explanations_that_fit_as_well_leave_the_depth_open_by_what_they_are_apart(
    monkeypatch,
) -> None:
    """Of three that are as likely one lies apart: the mean square about the first is a third."""
    view = View(size=(1600, 1200), f_px=3000.0)
    shapes = looking.look(jaws(view, 20.0, 3.3, at=(8, 0), shine=0.3), view, gain=0.0).shapes
    fitted, first = optimize.least_squares, []

    def alike(*of, **how):
        first.append(first[0] if first else fitted(*of, **how))
        again = copy(first[0])
        again.x = first[0].x + (0.01 * np.eye(8)[0] if len(first) == 2 else 0.0)
        return again

    plain, found = module._solve, []
    monkeypatch.setattr(module, "_solve", lambda *of: found.append(plain(*of)) or found[-1])
    monkeypatch.setattr(optimize, "least_squares", alike)
    jaw_references(shapes, looking.camera(view), 20.0)
    # The fit with another lens follows the first alone.
    more = found[0].u_depth ** 2 - found[1].u_depth ** 2
    assert more == pytest.approx(0.01**2 / 3, rel=1e-3)
