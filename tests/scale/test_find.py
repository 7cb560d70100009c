"""The stated reference among other objects, and refusals that say why."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.camera.held import by_hand
from pitchcam.errors import UnreadableError, UsageError
from pitchcam.records import ScaleSpec
from pitchcam.reference_kinds import REFERENCE_KINDS
from pitchcam.scale.card import HEIGHT_MM, WIDTH_MM
from pitchcam.scale.find import _plausible, check_spec, find_reference
from pitchcam.scale.reference import Reference
from tests.objects import drawing
from tests.objects.drawing import View
from tests.scale import looking

VIEW = View(size=(1600, 1200), f_px=2600.0, distance_mm=220.0)


def pin(at, diameter, angle=0.0, length=26.0) -> np.ndarray:
    return looking.solid(VIEW, drawing.pin(at, angle, length, diameter))


def disc(at, radius) -> np.ndarray:
    return looking.solid(VIEW, drawing.prism(drawing.ring(at, radius, 0)[:, :2], 0, 1.5))


def find(spec: ScaleSpec, *shadows: np.ndarray):
    seen = looking.look(looking.picture(VIEW, *shadows), VIEW)
    return find_reference(spec, seen.shapes, looking.camera(VIEW), seen.pins), seen


def test_pin_and_disc_in_one_picture() -> None:
    shadows = (pin((-20, -18), 8.0, 0.2), disc((25, 15), 11))
    by_pin, _ = find(ScaleSpec(source="pin", mm=8.0), *shadows)
    by_disc, _ = find(ScaleSpec(source="disc", mm=22.0, height_mm=1.5), *shadows)
    # Both stand on one plate: at their own heights they give the same distance.
    for found, source in ((by_pin, "pin"), (by_disc, "disc")):
        assert found.source == source
        assert found.camera.distance_mm == pytest.approx(VIEW.plate_mm, rel=0.006)
        assert abs(found.camera.distance_mm / VIEW.plate_mm - 1) < 3 * found.u_scale
    assert by_pin.labels != by_disc.labels
    assert by_pin.outline_px.shape[1] == 2


def test_two_pins_that_agree() -> None:
    found, _ = find(ScaleSpec(source="pin", mm=8.0), pin((0, -20), 8.0), pin((0, 15), 8.0, 0.3))
    assert found.camera.distance_mm == pytest.approx(VIEW.plate_mm, rel=0.006)


def test_two_pins_that_contradict_one_another() -> None:
    with pytest.raises(UnreadableError, match="2[0-9] % apart") as caught:
        find(ScaleSpec(source="pin", mm=8.0), pin((0, -20), 8.0), pin((0, 15), 10.0))
    assert caught.value.code == "references-disagree"


@pytest.mark.parametrize(
    ("spec", "name"),
    [
        (ScaleSpec(source="disc", mm=22), "the disc"),
        (ScaleSpec(source="card"), "the card"),
        (ScaleSpec(source="jaws", mm=20), "the caliper jaws"),
    ],
)
def test_what_is_not_there_is_said_to_be_missing(spec: ScaleSpec, name: str) -> None:
    with pytest.raises(UnreadableError, match=f"shape of {name}") as caught:
        find(spec, pin((0, 0), 8.0, 0.4))
    assert caught.value.code == "no-reference"
    assert caught.value.advice


def test_size_that_puts_the_camera_nowhere() -> None:
    # 50 mm instead of 8 would hold the phone 1.4 m away.
    with pytest.raises(UnreadableError, match="shape of the pin"):
        find(ScaleSpec(source="pin", mm=50.0), pin((0, 0), 8.0))


def test_card_and_jaws_are_found() -> None:
    view = View(f_px=1500.0)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [WIDTH_MM / 2, HEIGHT_MM / 2]
    shadow = looking.solid(view, drawing.prism(corners, 0, 0.76))
    seen = looking.look(looking.picture(view, shadow), view, gain=0.0)
    card = find_reference(ScaleSpec(source="card"), seen.shapes, looking.camera(view), {})
    assert card.camera.distance_mm == pytest.approx(view.plate_mm, rel=0.002)
    blocks = [
        drawing.prism(np.array([[10, -14], [22, -14], [22, 9], [10, 9]]) * [s, 1], 0, 3)
        for s in (-1, 1)
    ]
    seen = looking.look(
        looking.picture(VIEW, *(looking.solid(VIEW, b) for b in blocks)), VIEW, gain=0.0
    )
    jaws = find_reference(
        ScaleSpec(source="jaws", mm=20, height_mm=3), seen.shapes, looking.camera(VIEW), {}
    )
    assert jaws.camera.distance_mm == pytest.approx(VIEW.plate_mm, rel=0.002)


@pytest.mark.parametrize(
    ("source", "mm", "what"),
    [
        ("pin", None, "missing"),
        ("disc", float("nan"), "missing"),
        ("pin", 0.1, "cannot be right"),
        ("jaws", -3.0, "cannot be right"),
        ("disc", 500.0, "cannot be right"),
        ("major", 0.2, "cannot be right"),
    ],
)
def test_sizes_that_no_reference_has(source, mm, what) -> None:
    with pytest.raises(UsageError, match=what):
        check_spec(ScaleSpec(source=source, mm=mm))


@pytest.mark.parametrize(
    ("source", "mm"),
    [("pin", 6.0), ("card", None), ("auto", None), ("sheet", None), ("major", 13.9)],
)
def test_sizes_that_pass(source, mm) -> None:
    check_spec(ScaleSpec(source=source, mm=mm))


def test_a_pin_s_own_size_and_its_edges_make_the_scale_s_u() -> None:
    """A ground pin is true to 0.01 mm, and no edge is placed better than to 0.08 px in width."""
    seen = looking.look(looking.picture(VIEW, pin((0, -10), 8.0)), VIEW)
    ideal = {label: [replace(e, u_px=0.0) for e in edges] for label, edges in seen.pins.items()}
    (edges,) = ideal.values()
    width = 8.0 * VIEW.f_px / (VIEW.plate_mm - 4.0)
    spec = ScaleSpec(source="pin", mm=8.0)
    found = find_reference(spec, seen.shapes, looking.camera(VIEW), ideal)
    assert found.u_scale == pytest.approx(np.hypot(0.08 / width, 0.008 / 8.0), rel=0.01)
    blurred = {label: [replace(e, u_px=0.3) for e in edges] for label in ideal}
    worse = find_reference(spec, seen.shapes, looking.camera(VIEW), blurred)
    assert worse.u_scale == pytest.approx(
        np.linalg.norm([0.08 / width, 0.008 / 8.0, 2 * 0.3 / width]), rel=0.01
    )


def test_edges_whose_pieces_scatter_tell_no_tilt() -> None:
    """Noise moved a pin's ends by 3 px: its edges seemed to converge as under a tilt of 18 deg."""
    seen = looking.look(looking.picture(VIEW, pin((0, -10), 8.0)), VIEW)
    spec = ScaleSpec(source="pin", mm=8.0)
    camera = looking.camera(VIEW, tilt=False).held_as(by_hand())

    def tilt_deg(u_turn_px: float) -> float:
        wide = {}
        for label, (one, two) in seen.pins.items():
            out = (one.start_px - two.start_px) / np.hypot(*(one.start_px - two.start_px))
            wide[label] = [
                replace(one, start_px=one.start_px + 3.0 * out, u_turn_px=u_turn_px),
                replace(two, u_turn_px=u_turn_px),
            ]
        return find_reference(spec, seen.shapes, camera, wide).camera.tilt_deg

    assert tilt_deg(0.02) > 8.0
    assert tilt_deg(1.1) < 0.3 * tilt_deg(0.02)


def named(source: str, height_mm: float, at_px: tuple[float, float]) -> Reference:
    """Return a reference 300 mm below a level camera whose height came out so."""
    camera = looking.camera(VIEW).over_plate(300.0)
    return Reference(
        source=source,
        camera=camera,
        u_scale=0.001,
        height_mm=height_mm,
        u_height_mm=0.0,
        where_px=np.array(at_px),
        labels=(1,),
        outline_px=np.zeros((0, 2)),
    )


@pytest.mark.parametrize(
    ("source", "height_mm", "slant", "is_one"),
    [
        # A disc's is how its distance follows the focal length: its oval goes with the slant.
        ("disc", -12.0, 0.29, True),
        ("disc", -12.0, 0.0, False),
        ("disc", -40.0, 0.29, False),
        ("pin", -12.0, 0.29, False),
        ("disc", 50.0, 0.29, False),
    ],
)
def test_how_low_a_reference_may_seem_to_lie(source, height_mm, slant, is_one) -> None:
    camera = looking.camera(VIEW)
    at = camera.centre_px + np.array([slant * camera.f_px, 0.0])
    found = [named(source, height_mm, tuple(at))]
    if is_one:
        assert _plausible(found, REFERENCE_KINDS[source]) is found[0]
        return
    with pytest.raises(UnreadableError, match="shape of the"):
        _plausible(found, REFERENCE_KINDS[source])
