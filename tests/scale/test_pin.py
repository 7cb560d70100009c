"""Distance from a pin: exact tangent planes, then dull and polished pins in pictures."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.errors import UnreadableError
from pitchcam.records import ScaleSpec
from pitchcam.scale.find import find_reference
from pitchcam.scale.pin import U_CONVERGE_PX, _reference, pin_distance
from pitchcam.scale.tilt import edge_plane, told_by_parallels
from tests.objects import drawing
from tests.objects.drawing import View
from tests.scale import looking


def exact_edges(view: View, middle, angle, length, diameter):
    """Both long edges of the shadow: the hull's two longest sides."""
    corners = looking.solid(view, drawing.pin(middle, angle, length, diameter, 2880))
    sides = np.roll(corners, -1, axis=0) - corners
    longest = np.argsort(np.hypot(*sides.T))[-2:]
    return tuple((corners[i], corners[(i + 1) % len(corners)]) for i in longest)


@pytest.mark.parametrize("turn", [(0, 0, 0), (0.05, -0.03, 0.2), (-0.02, 0.06, 0)])
@pytest.mark.parametrize(("middle", "angle"), [((0, 0), 0.0), ((25, 15), 0.7), ((-30, 10), 1.6)])
@pytest.mark.parametrize("diameter", [3.0, 12.0])
def test_edges_give_the_plates_distance(turn, middle, angle, diameter) -> None:
    view = View(turn=turn, size=(2000, 1500))
    edges = exact_edges(view, middle, angle, 30, diameter)
    distance, slope = pin_distance(looking.camera(view), edges, diameter)
    # The pin's height over the plate is 0.75 to 3 % here, its perspective up to 0.05 %.
    assert distance == pytest.approx(view.plate_mm, rel=1e-5)
    assert slope == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("tilt", [0.05, -0.05])
def test_convergence_shows_a_tilt_left_out(tilt: float) -> None:
    # Turned about y, a pin along x runs away from the camera or toward it.
    view = View(turn=(0, tilt, 0))
    edges = exact_edges(view, (0, 0), 0.0, 40, 8.0)
    _, slope = pin_distance(looking.camera(view, tilt=False), edges, 8.0)
    assert abs(slope) == pytest.approx(0.05, abs=2e-3)
    # Which edge comes first does not matter; the direction along the pin gives the sign.
    swapped = tuple(e[::-1] for e in edges[::-1])
    _, same = pin_distance(looking.camera(view, tilt=False), swapped, 8.0)
    assert same == pytest.approx(slope)
    other = View(turn=(0, -tilt, 0))
    _, back = pin_distance(
        looking.camera(other, tilt=False), exact_edges(other, (0, 0), 0.0, 40, 8.0), 8.0
    )
    assert back == pytest.approx(-slope, abs=2e-3)


@pytest.mark.parametrize("turn", [(0, 0.035, 0), (0, -0.02, 0), (0.03, 0.01, 0)])
def test_depth_at_a_pin_is_right_whatever_tilt_is_assumed(turn) -> None:
    view = View(turn=turn, size=(2000, 1500))
    edges = exact_edges(view, (30, 8), 0.0, 30, 8.0)
    level = looking.camera(view, tilt=False)
    distance, _ = pin_distance(level, edges, 8.0)
    middle = np.mean([np.mean(e, axis=0) for e in edges], axis=0)[None]

    def depth(camera, mm):
        return camera.over_plate(mm).on_plane(middle, 4.0)[0, 2]

    true = depth(looking.camera(view), view.plate_mm)
    assert depth(level, distance) == pytest.approx(true, rel=4e-4)
    # The plate's distance itself is off by what the tilt makes over the way to the pin's middle.
    assert abs(distance / view.plate_mm - 1) > 2e-4
    # Its edges' convergence tells most of the tilt along it where it appears wide.
    free = replace(level, u_tilt_rad=0.1)
    lean = told_by_parallels(free.over_plate(distance), edges, U_CONVERGE_PX)
    assert lean.normal[0] == pytest.approx(view.normal[0], abs=0.2 * abs(view.normal[0]) + 1e-3)
    along, across = (lean.leans.u_along(np.array(way)) for way in ((1.0, 0.0), (0.0, 1.0)))
    assert along < 0.04 and across == pytest.approx(0.1)


def test_plane_holds_the_edge() -> None:
    camera = looking.camera(View())
    a, b = np.array([100.0, 200.0]), np.array([900.0, 260.0])
    normal = edge_plane(camera, a, b)
    assert np.linalg.norm(normal) == pytest.approx(1)
    assert camera.rays(np.stack([a, b, (a + b) / 2])) @ normal == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("middle", "angle", "turn"), [((0, 0), 0.05, (0, 0, 0)), ((20, -12), 0.9, (0.03, 0.02, 0))]
)
@pytest.mark.parametrize("loss", [0.35, 0.6])
def test_polished_pin_in_a_picture(middle, angle, turn, loss) -> None:
    # 250 mm behind the pin, a panel as wide as the picture needs: 10 px/mm, rims near a pixel.
    view = View(turn=turn)
    light = looking.traced_pin(
        view,
        middle,
        angle,
        28,
        6.0,
        behind=250,
        half=(115, 85),
        share=lambda a: 1 - loss * a / (a + 0.12),
    )
    seen = looking.look(light, view)
    assert [s.kind for s in seen.shapes] == ["bar"]
    found = find_reference(
        ScaleSpec(source="pin", mm=6.0), seen.shapes, looking.camera(view), seen.pins
    )
    error = found.camera.distance_mm / view.plate_mm - 1
    # 0.3 px of a width of 60.
    assert abs(error) < 0.006
    assert abs(error) < 2.5 * found.u_scale
    assert found.u_scale < 0.008
    assert found.height_mm == 3.0


@pytest.mark.parametrize("reach_mm", [4.0, 24.0])
def test_a_pin_that_the_border_cuts_at_its_end_is_measured_between(reach_mm) -> None:
    """The light ends at x = 40; so far from its middle the pin's end lies beyond or before it."""
    view = View()
    edge = (40 - view.centre[0]) / view.f_px * 200
    pin = drawing.pin((edge + reach_mm, 5.0), 0.0, 30, 8.0)
    seen = looking.look(looking.picture(view, looking.solid(view, pin)), view, gain=0.0)
    assert [s.blob.cut for s in seen.shapes] == [reach_mm < 15]
    found = find_reference(
        ScaleSpec(source="pin", mm=8.0), seen.shapes, looking.camera(view), seen.pins
    )
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.01)


def test_a_pin_that_the_border_cuts_along_its_side_is_none() -> None:
    view = View()
    edge = (40 - view.centre[0]) / view.f_px * 200
    pin = drawing.pin((edge + 4.5, 0.0), np.pi / 2, 30, 8.0)
    seen = looking.look(looking.picture(view, looking.solid(view, pin)), view, gain=0.0)
    assert [(s.kind, s.blob.cut) for s in seen.shapes] == [("bar", True)]
    with pytest.raises(UnreadableError, match="cut by the edge") as told:
        find_reference(
            ScaleSpec(source="pin", mm=8.0), seen.shapes, looking.camera(view), seen.pins
        )
    assert told.value.code == "cut"


def test_in_a_cropped_picture_a_pin_is_a_reference_only_when_seen_whole() -> None:
    view = View()
    edge = (40 - view.centre[0]) / view.f_px * 200
    pin = drawing.pin((edge + 4.0, 5.0), 0.0, 30, 8.0)
    seen = looking.look(looking.picture(view, looking.solid(view, pin)), view, gain=0.0)
    camera = replace(looking.camera(view), u_centre_px=90.0)
    with pytest.raises(UnreadableError) as told:
        find_reference(ScaleSpec(source="pin", mm=8.0), seen.shapes, camera, seen.pins)
    assert told.value.code == "cut"


def off_middle(view: View, u_turn_px: tuple[float, float] = (0.0, 0.0)):
    """The reference of a pin of 8 mm far to the right, of which nothing tells how it leans."""
    edges = [
        SimpleNamespace(start_px=a, end_px=b, u_px=0.02, u_turn_px=u)
        for (a, b), u in zip(exact_edges(view, (30, 8), 0.0, 30, 8.0), u_turn_px, strict=True)
    ]
    shape = SimpleNamespace(
        centre_px=np.zeros(2), blob=SimpleNamespace(label=1), outline_px=np.zeros((4, 2))
    )
    level = replace(looking.camera(view, tilt=False), u_tilt_rad=1.0)
    return edges, _reference(shape, level, edges, 8.0)


def test_the_plate_is_as_far_as_its_tilt_makes_it() -> None:
    """Level it would be nearer or farther by what the tilt makes on the way to the pin: 0.5 %."""
    view = View(turn=(0, 0.035, 0), size=(2000, 1500))
    _, found = off_middle(view)
    assert found.camera.normal[0] == pytest.approx(view.normal[0], abs=1e-3)
    assert found.camera.distance_mm == pytest.approx(view.plate_mm, rel=5e-4)


def test_edges_that_may_be_turned_leave_the_tilt_as_open() -> None:
    """Turned about its middle by e at its end, an edge makes twice as much of what converges."""
    view = View(size=(2000, 1500))
    (one, other), found = off_middle(view, (1.2, 0.9))
    width = np.linalg.norm((one.start_px + one.end_px - other.start_px - other.end_px) / 2)
    # The pin is 30 mm long, and its axis 196 mm away.
    expected = 2 * np.hypot(1.2, 0.9) / width * view.plate_mm / 30.0
    assert found.camera.leans.u_along(np.array([1.0, 0.0])) == pytest.approx(expected, rel=0.05)
