"""Distance from a disc: off the picture's centre, tilted, cut, of unknown thickness."""

from __future__ import annotations

from copy import copy
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import optimize

from pitchcam.normal import normal_cdf
from pitchcam.records import ScaleSpec
from pitchcam.scale import disc as disc_module
from pitchcam.scale.disc import disc_reference, rounded_rim
from pitchcam.scale.find import find_reference
from tests.objects import drawing
from tests.objects.drawing import View
from tests.scale import looking

RADIUS = 11.0


ROUNDED = 0.15


def disc(
    view: View, at, thickness: float, *, shine: float = 0.0, rounded: float = ROUNDED
) -> np.ndarray:
    """Light of a disc whose top is dull and whose upright wall mirrors a share of the light.

    Its rims are rounded; the upper one mirrors the light where it is turned up by less than 0.3.
    """
    turns = np.linspace(0.0, np.pi / 2, 8)
    dull = np.linspace(0.3, np.pi / 2, 6)

    def rings(turns: np.ndarray, height, sign: float) -> np.ndarray:
        return np.concatenate(
            [
                drawing.ring(
                    at,
                    RADIUS - rounded * (1 - np.cos(b)),
                    height - sign * rounded * (1 - np.sin(b)),
                )
                for b in turns
            ]
        )

    corners = np.concatenate([rings(turns, 0.0, -1.0), rings(turns, thickness, 1.0)])
    whole = drawing.cover(view.size, looking.solid(view, corners))
    top = drawing.cover(view.size, looking.solid(view, rings(dull, thickness, 1.0)))
    kept = whole * (1 - shine) + top * shine
    lit = looking.LIGHT * drawing.window(view.size, 40)
    return lit * (1 - (1 - looking.DARK) * kept)


def test_beside_a_piece_that_something_touches_the_next_ones_do_not_count() -> None:
    """There the outline bends: of a whole rim three pieces are left out, and no other."""
    camera, radius = looking.camera(View(), tilt=False), 80.0
    centre = np.array(camera.centre_px) + [30.0, -20.0]

    def sample(at: np.ndarray) -> np.ndarray:
        off = at - centre
        out = np.hypot(off[..., 0], off[..., 1]) - radius
        piece = np.arctan2(off[..., 1], off[..., 0]) / (2 * np.pi) * disc_module.PIECES
        beside = (out > disc_module.REACH_PX - 3.5) & (piece > 2.99) & (piece < 3.99)
        return np.where(beside, 0.0, normal_cdf(out))

    shape = SimpleNamespace(crop=SimpleNamespace(sample=sample))
    rim = disc_module._around(shape, camera, centre, radius, 0.0)
    assert len(rim.light) == disc_module.PIECES - 3


@pytest.mark.parametrize("turn", [(0, 0, 0), (0.05, -0.03, 0)])
@pytest.mark.parametrize("at", [(0.0, 0.0), (28.0, 14.0), (-30.0, 12.0)])
@pytest.mark.parametrize("thickness", [1.2, 3.0])
def test_distance_from_the_upper_rim(turn, at, thickness) -> None:
    view = View(turn=turn)
    seen = looking.look(disc(view, at, thickness), view)
    assert [s.kind for s in seen.shapes] == ["disc"]
    found = find_reference(
        ScaleSpec(source="disc", mm=2 * RADIUS, height_mm=thickness),
        seen.shapes,
        looking.camera(view),
        {},
    )
    # The rim's height is 0.6 to 1.5 % of the distance; a tenth of a pixel is 0.1 %.
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.003)
    assert abs(found.camera.distance_mm / view.plate_mm - 1) < 2.5 * found.u_scale
    assert found.u_scale < 0.004


@pytest.mark.parametrize("shine", [0.0, 0.6])
@pytest.mark.parametrize("thickness", [1.4, 2.6])
def test_thickness_from_the_wall(thickness: float, shine: float) -> None:
    view = View(size=(1600, 1200), f_px=3000.0)
    at = (36.0, -20.0)
    seen = looking.look(disc(view, at, thickness, shine=shine), view, gain=0.0)
    camera = looking.camera(view)
    found = disc_reference(seen.shapes[0], camera, 2 * RADIUS)
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.002)
    # A disc far from the middle is worth nearly as much as one of stated thickness; a little less
    # with a wall that shows nothing.
    stated = disc_reference(seen.shapes[0], camera, 2 * RADIUS, thickness)
    assert found.u_scale < (1.2 if shine else 1.6) * stated.u_scale


@pytest.mark.parametrize("shine", [0.0, 0.5])
@pytest.mark.parametrize(
    ("turn", "at"),
    [
        ((0, 0, 0), (22.0, -12.0)),
        ((0.04, -0.05, 0), (24.0, -12.0)),
        ((0.04, -0.05, 0), (-12, 24.0)),
    ],
)
def test_thickness_where_both_rims_run_together(shine, turn, at) -> None:
    view = View(size=(1600, 1200), f_px=3000.0, turn=turn)
    seen = looking.look(disc(view, at, 1.3, shine=shine), view, gain=0.0)
    found = disc_reference(seen.shapes[0], looking.camera(view), 2 * RADIUS)
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.0025)


def test_thickness_is_assumed_where_no_wall_shows() -> None:
    view = View()
    seen = looking.look(disc(view, (0.0, 0.0), 2.0), view)
    found = disc_reference(seen.shapes[0], looking.camera(view), 2 * RADIUS)
    stated = disc_reference(seen.shapes[0], looking.camera(view), 2 * RADIUS, 2.0)
    # The camera hangs 200 mm above, and a disc is 1.85 mm thick within 0.3; it is widest below its
    # rounding.
    assert found.height_mm == pytest.approx(1.85 - ROUNDED, abs=0.1)
    assert np.sqrt(found.u_scale**2 - stated.u_scale**2) == pytest.approx(0.3 / 200, rel=0.15)
    assert found.camera.distance_mm == pytest.approx(view.plate_mm - 0.15, abs=0.4)


@pytest.mark.parametrize("lean", [(0.03, 0.0), (0.0, 0.035), (-0.02, 0.03)])
def test_a_disc_tells_the_tilt(lean) -> None:
    view = View(size=(1600, 1200), f_px=3000.0, turn=(*lean, 0.0))
    seen = looking.look(disc(view, (30.0, 10.0), 1.9, shine=0.3), view, gain=0.0)
    flat = replace(looking.camera(view, tilt=False), u_tilt_rad=0.035)
    found = disc_reference(seen.shapes[0], flat, 2 * RADIUS)
    off = np.degrees(np.array(found.camera.normal[:2]) - view.normal[:2])
    assert np.hypot(*off) < 0.6 < np.degrees(np.hypot(*lean))
    assert found.camera.u_tilt_rad < 0.5 * flat.u_tilt_rad


def test_an_oval_picture_of_a_disc_is_within_what_it_tells_of_the_tilt() -> None:
    """Edges that lie a fifth of a pixel out along the rows, and in along the columns: two u."""
    view = View(size=(1600, 1200), f_px=3000.0)
    at, oval_mm = np.array([30.0, 10.0]), 0.2 * 200 / 3000
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    rim = (RADIUS + oval_mm * np.cos(2 * turn)) * np.stack([np.cos(turn), np.sin(turn)]) + at[
        :, None
    ]
    corners = drawing.prism(rim.T, 0, 1.85)
    light = looking.LIGHT * drawing.window(view.size, 20)
    light = light * (1 - 0.95 * drawing.cover(view.size, looking.solid(view, corners)))
    flat = replace(looking.camera(view, tilt=False), u_tilt_rad=0.035).bent(0.0, 1e-5)
    found = disc_reference(looking.look(light, view, gain=0.0).shapes[0], flat, 2 * RADIUS)
    off = np.array(found.camera.normal[:2])
    u = [found.camera.leans.u_along(way) for way in np.eye(2)]
    assert np.hypot(*off) > np.radians(0.2)
    # Taken for round, it leans by 1.3 u and more.
    assert np.all(np.abs(off) < np.array(u))


def test_disc_cut_by_the_border_of_the_light() -> None:
    view = View()
    # Its outer sixth lies beyond the light's border at x = 40.
    at = ((40 - view.centre[0]) / view.f_px * 200 + 0.6 * RADIUS, 5.0)
    seen = looking.look(disc(view, at, 1.5), view)
    assert seen.field.blobs[0].cut
    assert [s.kind for s in seen.shapes] == ["disc"]
    found = disc_reference(seen.shapes[0], looking.camera(view), 2 * RADIUS, 1.5)
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.004)


def test_tilt_left_out_shows() -> None:
    view = View(turn=(0.0, 0.12, 0.0))
    shape = looking.look(disc(view, (25.0, 0.0), 1.5), view).shapes[0]
    right = disc_reference(shape, looking.camera(view), 2 * RADIUS, 1.5)
    level = replace(looking.camera(view, tilt=False), u_tilt_rad=0.001)
    flat = disc_reference(shape, level, 2 * RADIUS, 1.5)
    assert right.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.002)
    assert abs(flat.camera.distance_mm / view.plate_mm - 1) > 0.005


@pytest.mark.parametrize("slope", [-0.3, -0.1, 0.0, 0.15, 0.3])
def test_a_rounded_rim_by_its_points(slope: float) -> None:
    """Held against the rounding's points, each with the way its mirrored ray takes."""
    rounding, lit_rad = 0.2, 0.7
    turned = np.linspace(0.0, np.pi / 2, 200_001)
    inside, below = rounding * (1 - np.cos(turned)), rounding * (1 - np.sin(turned))
    outline, light = rounded_rim(np.array([[slope]]), rounding, lit_rad)
    # A ray that goes outward by its slope on its way down lies farther out the higher it is met.
    # Toward the foot the lower rim makes the outline: the upper one turned upside down.
    assert outline[0, 0] == pytest.approx((inside + abs(slope) * below).min(), abs=1e-9)
    ray = np.array([slope, -1.0])
    normal = np.stack([np.cos(turned), np.sin(turned)], axis=-1)
    sent = ray - 2 * (normal @ ray)[:, None] * normal
    off_plumb = np.arctan2(sent[:, 0], -sent[:, 1])
    last = int(np.argmax(off_plumb > lit_rad)) - 1
    # The mirror's angle is that of a small slope: its arc tangent is the slope.
    assert light[0, 0] == pytest.approx(inside[last] + slope * below[last], abs=6e-4)


@pytest.mark.parametrize("rounded", [0.05, 0.28])
def test_a_rounding_is_seen(rounded: float) -> None:
    """A rounding is two of its radii less thickness: a sharp rim is none of 2.2 mm."""
    view = View(size=(1600, 1200), f_px=4200.0)
    light = disc(view, (24.0, -14.0), 2.2, shine=0.6, rounded=rounded)
    seen = looking.look(light, view, gain=0.0)
    found = disc_reference(seen.shapes[0], looking.camera(view), 2 * RADIUS, 2.2)
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=8e-4)


def test_what_no_disc_looks_like_counts_in_its_scale() -> None:
    """Bent by a pixel it is explained by an oval of ten standard uncertainties: not believed."""
    view = View(size=(1600, 1200), f_px=3000.0)
    at = np.array([30.0, 10.0])
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)

    def u_scale(bent_px: float) -> float:
        radius = RADIUS + bent_px * 200 / 3000 * (np.cos(2 * turn) + np.sin(2 * turn))
        rim = radius * np.stack([np.cos(turn), np.sin(turn)]) + at[:, None]
        body = drawing.cover(view.size, looking.solid(view, drawing.prism(rim.T, 0, 1.85)))
        light = looking.LIGHT * drawing.window(view.size, 20) * (1 - (1 - looking.DARK) * body)
        seen = looking.look(light, view, gain=0.0)
        camera = replace(looking.camera(view), u_tilt_rad=0.002)
        return disc_reference(seen.shapes[0], camera, 2 * RADIUS).u_scale

    assert u_scale(1.5) > 1.5 * u_scale(0.0)


def test_the_height_is_told_by_one_explanation(monkeypatch) -> None:
    """How the depth goes with the focal length is not the way from one explanation to another."""
    view = View(turn=(0.05, -0.03, 0))
    shape = looking.look(disc(view, (28.0, 14.0), 1.6, shine=0.3), view).shapes[0]

    def height() -> float:
        return disc_reference(shape, looking.camera(view), 2 * RADIUS).height_mm

    plain, solve, begun = height(), disc_module._solve, []
    assert -2 < plain < 4

    def leaping(rim, middle, camera, known, begin):
        fit = solve(rim, middle, camera, known, begin)
        begun.append(np.ndim(begin))
        off = 0.1 if begun[1:] and begun[-1] == 0 else 0.0  # another one, found from afar
        return replace(fit, q=fit.q + off * np.eye(len(fit.q))[0])

    monkeypatch.setattr(disc_module, "_solve", leaping)
    assert height() == pytest.approx(plain, abs=0.01)


def test_near_the_foot_either_sign_of_a_tilt_makes_the_same_oval() -> None:
    """Beside it the wall and the far rim tell which; over it the other sign is as likely."""
    view = View(size=(1000, 640), f_px=3000.0, turn=(0.0, -0.08, 0.0))
    flat = replace(looking.camera(view, tilt=False), u_tilt_rad=0.1).bent(0.0, 1e-5)
    u = []
    for x in (0.0, 8.0):
        shape = looking.look(disc(view, (x, 0.0), 1.9, shine=0.3), view, gain=0.0).shapes[0]
        found = disc_reference(shape, flat, 2 * RADIUS).camera
        u.append(found.leans.u_along(np.array([1.0, 0.0])))
        assert abs(found.normal[0] - view.normal[0]) < 2 * u[-1]
    assert u[0] > 2 * u[1]


def test_two_explanations_as_good_leave_open_what_lies_between(monkeypatch) -> None:
    """Half of all lies where the other is: the mean square about the one is half its square."""
    view = View(size=(1600, 1200), f_px=3000.0)
    shape = looking.look(disc(view, (30.0, 10.0), 1.9), view, gain=0.0).shapes[0]
    fitted, first, found, apart = optimize.least_squares, [], [], 0.02
    solve = disc_module._solve

    def alike(*of, **how):
        first.append(first[0] if first else fitted(*of, **how))
        again = copy(first[0])
        again.x = first[0].x + (apart * np.eye(13)[4] if len(first) == 2 else 0.0)
        return again

    monkeypatch.setattr(disc_module, "_solve", lambda *of: found.append(solve(*of)) or found[-1])
    monkeypatch.setattr(optimize, "least_squares", alike)
    disc_reference(shape, looking.camera(view), 2 * RADIUS)
    # The second fit of all follows the first alone.
    more = found[0].covariance - found[1].covariance
    assert more[4, 4] == pytest.approx(apart**2 / 2, rel=1e-3)


def test_a_wall_wider_than_the_usual_reach_is_seen_to_its_end() -> None:
    """3.2 mm seen 95 mm aside under 200 are 15 pixels of wall."""
    view = View(size=(2400, 1600), f_px=2000.0)
    shape = looking.look(disc(view, (95.0, 0.0), 3.2, shine=0.4), view, gain=0.0).shapes[0]
    found = disc_reference(shape, looking.camera(view), 2 * RADIUS)
    assert abs(found.camera.distance_mm / view.plate_mm - 1) < found.u_scale < 0.001


def test_a_disc_s_scale_by_itself_is_that_beside_a_known_tilt_and_lens(monkeypatch) -> None:
    """What they leave open of it counts with theirs; and the depth goes with the tilt in use."""
    view = View(size=(1600, 1200), f_px=3000.0, turn=(0.03, 0.0, 0.0))
    shape = looking.look(disc(view, (30.0, 10.0), 1.9, shine=0.3), view, gain=0.0).shapes[0]
    true = looking.camera(view)
    known = disc_reference(shape, replace(true, u_tilt_rad=1e-4).bent(0.0, 1e-6), 2 * RADIUS)
    left = disc_reference(shape, replace(true, u_tilt_rad=0.035), 2 * RADIUS)
    assert left.u_scale == pytest.approx(known.u_scale, rel=0.15)
    # However the camera is taken to lean, the depth goes with it as is stated.
    depth, leans = [], ((0.0, 0.0), (0.02, -0.03))
    for lean in leans:
        held = true.tilted(np.array([*lean, 1.0]), 0.002)
        monkeypatch.setattr(disc_module, "_leaning", lambda *_, kept=held: kept)
        kept = disc_reference(shape, replace(true, u_tilt_rad=0.035), 2 * RADIUS)
        assert kept.camera.normal == held.normal
        height = np.array(held.normal) @ true.rays(kept.where_px[None])[0]
        depth.append(kept.camera.distance_mm / height)
    # A unit vector's part along a lean is its sine.
    leant = np.array(held.normal)[:2]
    by_lean = np.array(kept.depth_per_lean) @ leant
    assert abs(by_lean) > 1e-4
    assert np.log(depth[1] / depth[0]) == pytest.approx(by_lean, rel=1e-3)


def test_what_fits_badly_tells_as_much_less_of_tilt_and_lens() -> None:
    """Three times the misfit is three times the u; what was known of the lens stays known."""
    camera = replace(looking.camera(View(), tilt=False), u_tilt_rad=0.035).bent(0.0, 0.003)
    u = np.full(13, 0.004)
    u[disc_module.BENT] = 0.002
    fit = disc_module._Fit(q=np.zeros(13), covariance=np.diag(u**2), misfit=1.0, strain=1.0)
    for poor, u_lens in ((1.0, 0.002), (1.4, 0.0028), (3.0, 0.003)):
        leaning = disc_module._leaning(camera, fit, poor)
        assert leaning.leans.u_along(np.array([1.0, 0.0])) == pytest.approx(0.004 * poor, rel=0.01)
        assert disc_module._bent(camera, fit, poor).u_corner == pytest.approx(u_lens)
