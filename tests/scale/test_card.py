"""Distance and tilt from a card of the ISO/IEC 7810 ID-1 size."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.camera.pinhole import U_CORNER
from pitchcam.edges.bend import PIECES, places
from pitchcam.edges.lines import Segment
from pitchcam.errors import OutlineError, UnreadableError
from pitchcam.normal import normal_cdf
from pitchcam.objects.contour import Crop
from pitchcam.records import ScaleSpec
from pitchcam.scale import card as module
from pitchcam.scale.card import (
    HEIGHT_MM,
    THICKNESS_MM,
    U_EDGES_PX,
    U_HEIGHT_MM,
    U_WIDTH_MM,
    WIDTH_MM,
    _seen,
    card_reference,
)
from pitchcam.scale.find import find_reference
from tests.objects import drawing
from tests.objects.drawing import View
from tests.scale import looking


def card(view: View, at=(0.0, 0.0), angle: float = 0.0) -> np.ndarray:
    """Outline of a card with its rounded corners of 3.18 mm, both faces."""
    w, h, r = WIDTH_MM / 2 - 3.18, HEIGHT_MM / 2 - 3.18, 3.18
    turns = np.radians(np.arange(0, 91, 10))
    flat = np.concatenate(
        [
            np.stack([sx * w + r * np.cos(turns + q), sy * h + r * np.sin(turns + q)], axis=1)
            for sx, sy, q in ((1, 1, 0), (-1, 1, np.pi / 2), (-1, -1, np.pi), (1, -1, 1.5 * np.pi))
        ]
    )
    c, s = np.cos(angle), np.sin(angle)
    flat = flat @ np.array([[c, s], [-s, c]]) + at
    return looking.solid(view, drawing.prism(flat, 0.0, THICKNESS_MM))


def test_size_is_the_standards() -> None:
    # ISO/IEC 7810:2019, ID-1: 85.60 x 53.98 x 0.76 mm, 85.47-85.72 allowed; from memory.
    assert (WIDTH_MM, HEIGHT_MM, THICKNESS_MM) == (85.60, 53.98, 0.76)
    assert pytest.approx((85.72 - 85.47) / 2 / np.sqrt(3)) == U_WIDTH_MM
    assert pytest.approx((54.03 - 53.92) / 2 / np.sqrt(3)) == U_HEIGHT_MM


@pytest.mark.parametrize("turn", [(0, 0, 0), (0.05, 0, 0), (-0.03, 0.06, 0), (0, -0.07, 0)])
@pytest.mark.parametrize("angle", [0.0, 0.2, 1.6])
def test_distance_and_tilt(turn, angle) -> None:
    view = View(turn=turn, f_px=1500.0)
    seen = looking.look(looking.picture(view, card(view, (3.0, -2.0), angle)), view, gain=0.0)
    assert [s.kind for s in seen.shapes] == ["card"]
    # Nothing is known of the tilt but that a hand holds the phone.
    start = looking.camera(view, tilt=False).tilted(np.array([0, 0, 1.0]), 0.1)
    found = card_reference(seen.shapes[0], start)
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.002)
    # The direction counts: a tilt of the wrong sign is 3 to 8 degrees off.
    off = np.degrees(np.arccos(min(1.0, np.array(found.camera.normal) @ view.normal)))
    assert off < 0.6
    assert abs(found.camera.distance_mm / view.plate_mm - 1) < 3 * found.u_scale
    assert found.height_mm == THICKNESS_MM


def test_height_of_the_card_counts() -> None:
    # From near, 0.76 mm are 0.6 %: the sides away from the middle end at the upper face.
    view = View(distance_mm=120.0, f_px=1200.0)
    seen = looking.look(looking.picture(view, card(view)), view, gain=0.0)
    found = card_reference(seen.shapes[0], looking.camera(view))
    assert found.camera.distance_mm == pytest.approx(120, rel=0.0025)
    assert abs(found.camera.distance_mm - THICKNESS_MM - 120) > 0.5


def grown(points: np.ndarray, out_px: float) -> np.ndarray:
    """A convex outline with every side moved outward."""
    along = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    outward = np.sum(normal * (points - points.mean(axis=0)), axis=1, keepdims=True)
    return points + out_px * np.sign(outward) * normal


@pytest.mark.parametrize("distance_mm", [200.0, 320.0])
@pytest.mark.parametrize("sign", [-1, 1])
def test_sides_that_all_lie_out_are_within_the_scales_uncertainty(distance_mm, sign) -> None:
    """Veil and bloom move all sides alike: twice what is expected of them is within 2 u."""
    view = View(distance_mm=distance_mm, f_px=1500.0)
    found = []
    for out_px in (0.0, 2 * sign * U_EDGES_PX):
        light = looking.picture(view, grown(card(view), out_px))
        seen = looking.look(light, view, gain=0.0)
        found.append(card_reference(seen.shapes[0], looking.camera(view)))
    plain, moved = found
    # By construction: a card that is drawn larger is taken for one that is nearer.
    shift = moved.camera.distance_mm / plain.camera.distance_mm - 1
    assert np.sign(shift) == -sign
    assert abs(moved.camera.distance_mm / view.plate_mm - 1) < 2 * moved.u_scale
    # The size alone, to 0.08 % one way and 0.06 % the other, does not make it.
    assert moved.u_scale > 0.08e-2


def outline_of(view: View, at: tuple[float, float], corner: float) -> np.ndarray:
    """Outline of a card as a lens of barrel distortion draws it: bowed outward, so convex."""
    flat = card(view, at)
    closed = np.concatenate([flat, flat[:1]])
    fine = np.concatenate(
        [
            a + np.linspace(0, 1, 40, endpoint=False)[:, None] * (b - a)
            for a, b in zip(closed, closed[1:], strict=False)
        ]
    )
    centre = np.array(view.centre, float)
    off = fine - centre
    return centre + off * (1 + corner * np.sum(off**2, axis=1, keepdims=True) / (centre @ centre))


@pytest.mark.parametrize("corner", [-0.012, -0.006])
def test_bent_sides_tell_the_lens_and_free_the_scale_of_it(corner: float) -> None:
    view = View(f_px=1500.0)
    at = (25.0, -18.0)
    seen = looking.look(looking.picture(view, outline_of(view, at, corner)), view, gain=0.0)
    found = card_reference(seen.shapes[0], looking.camera(view))
    assert found.camera.corner == pytest.approx(corner, abs=3 * found.camera.u_corner)
    assert found.camera.u_corner < 0.6 * U_CORNER
    assert abs(found.camera.distance_mm / view.plate_mm - 1) < 3 * found.u_scale
    # By construction: without distortion the same card is 0.3 % off or more at its far corner.
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.003)


def test_a_leaning_card_tells_the_focal_length() -> None:
    view = View(turn=(0.14, 0.10, 0.0), f_px=1500.0)
    seen = looking.look(looking.picture(view, card(view, (3.0, -2.0))), view, gain=0.0)
    wrong = looking.camera(view, tilt=False).tilted(np.array([0, 0, 1.0]), 0.2)
    wrong = replace(wrong, f_px=1.06 * view.f_px, u_f_px=0.06 * view.f_px)
    found = card_reference(seen.shapes[0], wrong).camera
    assert found.u_f_px < 0.7 * wrong.u_f_px
    assert abs(found.f_px - view.f_px) < 2.5 * found.u_f_px
    assert abs(found.f_px - view.f_px) < 0.7 * abs(wrong.f_px - view.f_px)


def test_a_level_card_tells_no_focal_length_however_little_is_known_of_it() -> None:
    """Seen square, distance and focal length are one parameter: only their ratio is told."""
    view = View(f_px=1500.0)
    seen = looking.look(looking.picture(view, card(view, (3.0, -2.0))), view, gain=0.0)
    start = replace(looking.camera(view), f_px=1.4 * view.f_px, u_f_px=2.0 * view.f_px)
    found = card_reference(seen.shapes[0], start)
    assert found.camera.u_f_px > view.f_px
    assert found.u_scale < 0.01


@pytest.mark.parametrize("size", [(85.0, 55.0), (90.0, 55.0)])
@pytest.mark.parametrize("turn", [(0, 0, 0), (0.05, -0.03, 0)])
def test_a_card_of_another_format_is_refused_by_its_proportion(size, turn) -> None:
    # Business cards of 85 x 55 and 90 x 55 mm (common practice, no source).
    view = View(turn=turn, f_px=1500.0)
    w, h = size[0] / 2, size[1] / 2
    corners = np.array([(-w, -h), (w, -h), (w, h), (-w, h)])
    solid = looking.solid(view, drawing.prism(corners, 0.0, 0.4))
    seen = looking.look(looking.picture(view, solid), view, gain=0.0)
    assert [s.kind for s in seen.shapes] == ["card"]
    start = looking.camera(view, tilt=False).tilted(np.array([0, 0, 1.0]), 0.035)
    with pytest.raises(UnreadableError, match="another format"):
        card_reference(seen.shapes[0], start)


@pytest.mark.parametrize(
    ("before_px", "angle", "seen_so"),
    [(7, 0.25, True), (-40, 0.25, True), (-35, 0.2, True), (-45, 0.2, False), (-19, 0.0, False)],
)
def test_a_card_at_the_border_of_the_light_is_measured_by_its_sides(
    before_px, angle, seen_so
) -> None:
    """Its corner lies close before the border at x = 40 or beyond; or a side, which is not seen.

    At -35 a fifth of a side shows, at -45 a tenth.
    """
    view = View(f_px=1500.0)
    first = card(view, angle=angle)[:, 0].min()
    shift = (40 + before_px - first) / view.f_px * 200
    light = looking.picture(view, card(view, (shift, 0.0), angle))
    seen = looking.look(light, view, gain=0.0)
    assert [(s.kind, s.blob.cut) for s in seen.shapes] == [("card", True)]
    camera = looking.camera(view)
    if seen_so:
        found = find_reference(ScaleSpec(source="card"), seen.shapes, camera, seen.pins)
        assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.003)
        return
    with pytest.raises(UnreadableError, match="card is cut by the edge") as told:
        find_reference(ScaleSpec(source="card"), seen.shapes, camera, seen.pins)
    assert told.value.code == "cut"


def side_across_a_border(border_px: float) -> tuple[SimpleNamespace, Segment]:
    """A card's side at y = 100.3 from x = 20 to 480; the light, out of focus, begins at a place."""
    y, x = np.mgrid[0:200, 0:500].astype(float)
    window = normal_cdf((x - border_px - 3 * (y - 100)) / 12)
    crop = Crop(
        light=(window * (1 - 0.95 * normal_cdf((y - 100.3) / 0.8))).astype(np.float32),
        origin_px=(0, 0),
        mask=(y > 100).astype(np.uint8),
        channel="mean",
        background_code=0.8,
    )
    ends = np.array([[20.0, 100.3], [480.0, 100.3]])
    side = Segment(start=ends[0], end=ends[1], outside=np.array([0.0, -1.0]))
    return SimpleNamespace(crop=crop), side


def test_a_side_is_placed_clear_of_the_borders_blur() -> None:
    """Where the light ends aslant over a side, half of it lies elsewhere."""
    shape, side = side_across_a_border(200.0)
    found = places(shape.crop, _seen(shape, side))
    assert len(found) == PIECES and np.ptp(found[:, 0]) > 200
    assert np.ptp(found[:, 1]) < 0.02


def test_the_stub_of_a_side_tells_nothing() -> None:
    with pytest.raises(OutlineError):
        _seen(*side_across_a_border(410.0))


def test_a_side_is_as_well_known_as_the_standard_makes_it() -> None:
    camera = looking.camera(View())
    for wide, size in ((0, (U_WIDTH_MM, U_HEIGHT_MM)), (1, (U_HEIGHT_MM, U_WIDTH_MM))):
        assert tuple(module._spread(camera, wide)[6:8]) == size


def test_a_tilt_is_known_as_the_mean_of_both_its_ways() -> None:
    covariance = np.zeros((module.PARAMETERS,) * 2)
    covariance[4, 4], covariance[5, 5] = 0.01**2, 0.02**2
    q = np.zeros(module.PARAMETERS)
    q[0] = 200.0
    shape = SimpleNamespace(
        centre_px=np.zeros(2), blob=SimpleNamespace(label=1), outline_px=np.zeros((4, 2))
    )
    found = module._reference(q, covariance, shape, looking.camera(View())).camera
    assert found.u_tilt_rad == pytest.approx(np.hypot(0.01, 0.02) / np.sqrt(2))


def test_sides_that_fit_badly_leave_all_as_open_as_they_do(monkeypatch) -> None:
    """Places by turns in and out by five times what they are good to: u is five times as large."""
    view = View(f_px=1500.0)
    seen = looking.look(looking.picture(view, card(view, (3.0, -2.0))), view, gain=0.0)
    plain = card_reference(seen.shapes[0], looking.camera(view))
    straight = module._off_px

    def waved(*of):
        off = straight(*of)
        return off + 5 * module.U_PIECE_PX * (-1.0) ** np.arange(len(off))

    monkeypatch.setattr(module, "_off_px", waved)
    poor = card_reference(seen.shapes[0], looking.camera(view))
    assert poor.u_scale == pytest.approx(5 * plain.u_scale, rel=0.1)
