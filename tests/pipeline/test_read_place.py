"""Where a caliper may have been held: drawn parts whose diameters are known."""

from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.match.slips import slip_shares
from pitchcam.pipeline.read_place import U_OUTLINE_PX, diameter_mm, read_places, u_diameter
from pitchcam.thread.crest_lines import LEVEL_BLURS
from tests.thread.pose.drawn_part import Lying, cylinder, hexagon, round_ring
from tests.thread.pose.test_rest import camera_of, shape_of

SLIPPED = np.log(slip_shares()["reference-major"])
#: So near, the tangents to a round head are 0.7 % wider than it is.
NEAR = {"incline_deg": 0.0, "distance_mm": 80.0, "f_px": 2500.0}


def drawn(rings, blur_px=0.0, **lying):
    """A part on the plate, the scene that shows it, and where a caliper may have been held."""
    part = Lying(rings, **NEAR | lying)
    shape = shape_of(part)
    shape.lit_outline_px, shape.others = shape.outline_px, ()
    spread = SimpleNamespace(blur_px=blur_px)
    return shape, SimpleNamespace(camera=camera_of(part), rims=SimpleNamespace(spread=spread))


def read(rings, blur_px=0.0, **lying):
    """Every place: what jaws read there, mm, whether over flats, its probability by a slip's."""
    shape, scene = drawn(rings, blur_px, **lying)
    return [
        (diameter_mm(scene, scene.camera, p)[0], p.flats, np.exp(p.log_share - SLIPPED))
        for p in read_places(scene, [shape], [])
    ]


def ridges(start, end, radius=5.5, depth=0.9, pitch=1.5):
    """Rings with flanks of 40 degrees, which in a shadow are a thread's crests."""
    rings = []
    for z in np.arange(start, end, pitch):
        rings += [round_ring(z + 0.1, radius), round_ring(z + 0.6, radius)]
        rings.append(round_ring(z + 1.1, radius - depth))
    return rings


BOLT = [*cylinder(0, 20, 5.5), *hexagon(20, 7, 17)]


def test_a_hexagon_is_read_over_its_flats():
    """Its outline shows its corners, 19.6 mm apart, which jaws do not take."""
    *_, across, flats = read(BOLT)
    assert across[0] == pytest.approx(17 / np.cos(np.radians(30)), rel=0.01) and not across[1]
    assert flats[0] == pytest.approx(17.0, rel=0.003) and flats[1]
    # A face as a hexagon's makes it one, but for those that are mistaken.
    assert flats[2] == pytest.approx(0.96) and across[2] == pytest.approx(0.04)


def test_a_round_head_is_read_over_its_width():
    """By the shadow alone, which shows no light, it is a hexagon one time in five."""
    *_, across, flats = read([*cylinder(0, 24, 5.0), *cylinder(24, 9, 8.5, 0.2)])
    assert across[0] == pytest.approx(17.0, rel=0.003)
    assert across[2] > 0.7 and across[2] + flats[2] == pytest.approx(1.0)


def test_what_is_not_the_widest_may_be_either():
    (shank, small), *_ = [read(BOLT)[:2]]
    assert shank[0] == pytest.approx(11.0, rel=0.003)
    assert (shank[2], small[2]) == pytest.approx((0.5, 0.5)) and small[1]


def test_the_outline_lies_outside_by_its_blur():
    shape, scene = drawn(BOLT, blur_px=2.0)
    place = read_places(scene, [shape], [])[0]
    blurred, _ = diameter_mm(scene, scene.camera, place)
    scene.rims.spread.blur_px = 0.0
    sharp, _ = diameter_mm(scene, scene.camera, place)
    px = sharp / sum(place.level.radii_px)
    assert sharp - blurred == pytest.approx(2 * LEVEL_BLURS * 2.0 * px, rel=0.1)


def test_corners_are_broken_by_an_open_amount():
    shape, scene = drawn(BOLT)
    across, flats = read_places(scene, [shape], [])[-2:]
    assert u_diameter(across) == U_OUTLINE_PX / sum(across.level.radii_px)
    assert u_diameter(flats) > 0.008


@pytest.mark.parametrize("rings_known", [False, True])
def test_crests_that_are_not_measured_are_as_likely_as_any(rings_known):
    """But not those that are known to be rings."""
    shape, scene = drawn([*ridges(0, 6), *cylinder(6.5, 6, 4.0, 0.0), *cylinder(13, 5, 9.0)])
    s = shape.stations[0]
    mm = (s[-1] - s[0]) / 18.0
    first = SimpleNamespace(start_px=s[0], end_px=s[0] + 6 * mm, spacing_px=1.5 * mm)
    shape.others = (first,) if rings_known else ()
    place = read_places(scene, [shape], [])[0]
    assert place.level.ridged
    assert place.log_share == (SLIPPED + np.log(0.5) if rings_known else 0.0)
    assert place.flats is False


def test_a_measured_thread_is_no_place_besides():
    shape, scene = drawn([*ridges(0, 6), *cylinder(6.5, 6, 4.0, 0.0), *cylinder(13, 5, 9.0)])
    s = shape.stations[0]
    mm = (s[-1] - s[0]) / 18.0
    thread = SimpleNamespace(start_px=s[0], end_px=s[0] + 6 * mm, spacing_px=1.5 * mm)
    shape.threads = (thread,)
    assert not any(p.level.ridged for p in read_places(scene, [shape], [thread]))
    # One that is found and could not be measured may have been read.
    assert read_places(scene, [shape], [])[0].log_share == 0.0
