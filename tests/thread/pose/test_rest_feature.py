"""What a part rests on: hexagons, round heads and flanges, from shadows projected exactly."""

import numpy as np
import pytest

from pitchcam.scale.pin import pin_distance
from pitchcam.scale.reference import Reference
from pitchcam.thread.pose.height import rest_height
from pitchcam.thread.pose.hexagon import head_stretches
from pitchcam.thread.pose.hull import falls
from tests.thread.pose.drawn_part import (
    Lying,
    bolt,
    cap_screw,
    comes_to_rest,
    cylinder,
    plug,
    sender,
    vertices,
)
from tests.thread.pose.test_rest import camera_of, laid, shape_of


@pytest.mark.parametrize("at_mm", [(0.0, 0.0), (14.0, -10.0)])
@pytest.mark.parametrize(
    "rings, hexagon, radius, heads",
    [
        (bolt(), True, 8.5, 0),
        (sender(), True, 9.0, 0),
        (cap_screw(), False, 8.5, 0),
        (plug(), False, 11.5, 1),
    ],
    ids=["bolt", "sender", "cap screw", "plug"],
)
def test_heads_and_flanges_are_told_from_hexagons(rings, hexagon, radius, heads, at_mm):
    part = Lying(rings, 0.0, heading_deg=40.0, at_mm=at_mm)
    shape = shape_of(part)
    rest = rest_height(shape, camera_of(part))
    assert rest.hexagon is hexagon
    # Taken for the other, it would lie 13 % lower or 15 % higher.
    assert rest.height_mm == pytest.approx(radius, rel=0.015)
    seen = [] if rest.hexagon else head_stretches(shape, rest.stretch)
    assert len(seen) == heads


@pytest.mark.parametrize("rings", [cap_screw(), plug()], ids=["cap screw", "plug"])
def test_they_fall_as_their_centre_of_mass_sinks(rings):
    truth = comes_to_rest(rings)
    assert abs(truth) > 3
    part = Lying(rings, truth, heading_deg=-70.0, at_mm=(8.0, 5.0))
    pose, radii = laid(part, z=7.0)
    ways = [np.degrees(w.incline_rad) for w in falls(radii)]
    assert min(abs(w - truth) for w in ways) < 0.4
    assert np.degrees(pose.incline_rad) == pytest.approx(truth, abs=0.8)
    assert pose.height_mm == pytest.approx(part.axis_height(7.0), abs=0.15)


def test_a_pin_fixes_the_depth_of_its_middle_whatever_the_tilt():
    """About that point a tilt that the part shows turns the plate."""
    rings = cylinder(0, 40, 4.0, 0.3)
    part = Lying(rings, 0.0, heading_deg=0.0, at_mm=(35.0, 20.0))
    level = camera_of(part)
    seen = part.photo(vertices(rings))
    first, last = seen[1], seen[2]
    edges = tuple(
        (first[k], last[k]) for k in (int(np.argmin(first[:, 1])), int(np.argmax(first[:, 1])))
    )
    places = []
    for tilt_deg in (0.0, 3.0):
        camera = level.tilted(np.array([np.tan(np.radians(tilt_deg)), 0.0, 1.0]), 0.03)
        distance, _ = pin_distance(camera, edges, 8.0)
        outline = part.outline()
        reference = Reference(
            source="pin",
            camera=camera.over_plate(distance),
            u_scale=0.002,
            height_mm=4.0,
            u_height_mm=0.02,
            where_px=outline.mean(axis=0),
            labels=(),
            outline_px=outline,
        )
        places.append(reference.place_mm)
    assert np.linalg.norm(places[0] - places[1]) < 0.1
