"""The plate's tilt from a lit window that is a rectangle."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcam.camera.held import PRIOR_TILT_RAD
from pitchcam.objects.field import find_field
from pitchcam.scale.tilt import told_by_window, window_tilt
from tests.objects import drawing
from tests.objects.drawing import View
from tests.scale import looking

RECTANGLE = np.array([[-50, -35, 0], [50, -35, 0], [50, 35, 0], [-50, 35, 0.0]])


def lit(view: View, corners: np.ndarray = RECTANGLE) -> np.ndarray:
    return looking.LIGHT * drawing.cover(view.size, looking.solid(view, corners), 3.0)


@pytest.mark.parametrize(
    "turn", [(0, 0, 0), (0.06, 0, 0), (-0.06, 0, 0), (0, 0.05, 0.1), (0.04, -0.05, -0.2)]
)
@pytest.mark.parametrize("f_px", [1500.0, 2000.0])
def test_tilt_and_its_direction(turn, f_px) -> None:
    view = View(turn=turn, f_px=f_px)
    pixels = drawing.develop(lit(view))
    found = window_tilt(find_field(pixels), looking.camera(view, tilt=False))
    assert found is not None
    normal, u = found
    off = np.degrees(np.arccos(min(1.0, normal @ view.normal)))
    # A wrong sign would be off by 5 to 7 degrees.
    assert off < 0.35
    assert np.radians(off) < 3 * u
    assert 0 < u <= PRIOR_TILT_RAD


def test_parts_before_the_border_do_not_matter() -> None:
    view = View(turn=(0.05, -0.03, 0))
    light = lit(view)
    for at in ((-48, 0), (10, 33)):
        corners = np.array([[-6, -5], [6, -5], [6, 5], [-6, 5]]) + at
        shadow = looking.solid(view, drawing.prism(corners, 0, 1))
        light = light * (1 - 0.95 * drawing.cover(view.size, shadow))
    pixels = drawing.develop(light)
    found = window_tilt(find_field(pixels), looking.camera(view, tilt=False))
    assert found is not None
    assert np.degrees(np.arccos(found[0] @ view.normal)) < 0.5


def test_what_is_no_rectangle_tells_nothing() -> None:
    view = View()
    skewed = RECTANGLE + np.outer(RECTANGLE[:, 1], [0.15, 0, 0])
    pixels = drawing.develop(lit(view, skewed))
    assert window_tilt(find_field(pixels), looking.camera(view)) is None
    full = drawing.develop(np.full((900, 1200), 0.6))
    assert window_tilt(find_field(full), looking.camera(view)) is None


def test_a_small_window_tells_less_of_the_tilt_than_hands_do() -> None:
    """Sides of 190 px that are square to a quarter of a degree, 3000 px from the pinhole."""
    view = View(turn=(0.06, 0.0, 0.0), f_px=3000.0)
    field = find_field(drawing.develop(lit(view, 0.15 * RECTANGLE)))
    camera = looking.camera(view, tilt=False)
    found = window_tilt(field, camera)
    assert found is not None
    normal, u = found
    assert PRIOR_TILT_RAD < u == pytest.approx(np.radians(0.25) * 3000 / 188 / np.sqrt(2), rel=0.1)
    # Both are weighed: less is left open than either leaves, and hands say 0.
    told = told_by_window(field, camera)
    assert told.u_tilt_rad < PRIOR_TILT_RAD
    assert abs(told.normal[1]) < 0.5 * abs(normal[1])


@pytest.mark.parametrize("turn", [(0.16, 0, 0), (0.25, 0, 0), (-0.12, 0.16, 0.1)])
def test_a_large_tilt_is_measured_as_well_as_a_small_one(turn) -> None:
    """A phone held carelessly tilts by 9 to 14 degrees; taken as none, they are 1 to 3 %."""
    view = View(turn=turn)
    pixels = drawing.develop(lit(view, 0.7 * RECTANGLE))
    found = window_tilt(find_field(pixels), looking.camera(view, tilt=False))
    assert found is not None
    off = float(np.arccos(min(1.0, found[0] @ view.normal)))
    assert off < min(3 * found[1], np.radians(0.5))


@pytest.mark.parametrize("turn", [(0.0, 0.0, 0.0), (0.0, 0.05, 0.0), (0.03, -0.15, 0.0)])
def test_two_opposite_sides_tell_the_tilt_along_them(turn) -> None:
    """The other two lie beyond the picture's border."""
    view = View(turn=turn)
    field = find_field(drawing.develop(lit(view, RECTANGLE * (1.5, 1.0, 1.0))))
    camera = looking.camera(view, tilt=False)
    assert window_tilt(field, camera) is None
    told = told_by_window(field, camera)
    along, across = (told.leans.u_along(np.array(way)) for way in ((1.0, 0.0), (0.0, 1.0)))
    # Half a degree over a window as wide as a third of the focal length.
    assert np.radians(0.8) < along < np.radians(1.6)
    assert abs(told.normal[0] - view.normal[0]) < 1.5 * along
    # Whoever leans one way leans the other too; whoever does not, hardly does.
    assert across > np.radians(4.0) if abs(turn[1]) > 0.1 else across > np.radians(1.0)


def test_no_window_leaves_what_is_known_of_hands() -> None:
    camera = looking.camera(View(), tilt=False)
    told = told_by_window(find_field(drawing.develop(np.full((900, 1200), 0.6))), camera)
    assert told.normal == (0.0, 0.0, 1.0)
    assert told.u_tilt_rad == pytest.approx(PRIOR_TILT_RAD)


def test_trapezium_beyond_any_photo_of_a_plate() -> None:
    view = View(turn=(0.7, 0, 0))
    pixels = drawing.develop(lit(view, 0.5 * RECTANGLE))
    assert window_tilt(find_field(pixels), looking.camera(view, tilt=False)) is None


def test_a_tilt_goes_with_the_focal_length_it_was_told_with() -> None:
    """The same lines, read with another focal length, tell another tilt."""
    view = View(turn=(0.04, -0.05, -0.2), f_px=2000.0)
    field = find_field(drawing.develop(lit(view)))
    camera = looking.camera(view, tilt=False)
    here = window_tilt(field, camera)
    shorter = window_tilt(field, camera.refocused(0.7, 0.0))
    assert here is not None and shorter is not None
    turned = camera.tilted(*here).refocused(0.7, 0.0)
    assert turned.normal == pytest.approx(shorter[0], abs=2e-3)
    assert turned.u_tilt_rad == pytest.approx(shorter[1], rel=0.2)


def test_another_focal_length_leaves_the_scale_of_the_plane_it_is_told_for() -> None:
    camera = looking.camera(View()).over_plate(200.0)
    longer = camera.refocused(1.3, 4.0)
    here, there = ((c.distance_mm - 4.0) / c.f_px for c in (camera, longer))
    assert there == pytest.approx(here)
    assert longer.u_lens == pytest.approx(camera.u_lens)
