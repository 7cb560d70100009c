"""How a part may fall: its lower hull under its weight."""

import cv2
import numpy as np
import pytest

from pitchcam.camera.held import by_hand
from pitchcam.camera.pinhole import Camera
from pitchcam.thread.pose.hull import PartRadii, falls
from pitchcam.thread.pose.records import GRID
from pitchcam.thread.pose.rest import Seen, posterior


def stepped(head_mm: float, length_mm: float = 60.0) -> PartRadii:
    """A round head of radius 10 mm and that length on a shank of 5 mm."""
    z = np.linspace(0.0, length_mm, 601)
    r = np.where(z <= head_mm, 10.0, 5.0)
    return PartRadii(z_mm=z, seen_mm=r, rests_mm=r)


def test_a_heavy_head_keeps_its_part_level() -> None:
    """By cylinders: sum of r^2 l z / sum of r^2 l is 20.3 mm, on the head of 25; mid-length is 30.

    Its centre of mass is good to 3 mm, a twentieth of the length.
    """
    level, leaning = sorted(falls(stepped(25.0)), key=lambda f: abs(f.incline_rad))
    assert level.incline_rad == pytest.approx(0.0, abs=1e-9)
    assert level.probability == pytest.approx(0.94, abs=0.01)
    assert np.tan(leaning.incline_rad) == pytest.approx(-5 / 35, rel=0.01)


def test_a_light_head_lets_its_part_lean() -> None:
    found = falls(stepped(8.0))
    assert max(found, key=lambda f: f.probability).incline_rad < -0.08
    # Two radii, each good to 0.07 mm, over the edge's length, besides 0.15 degrees.
    u = np.hypot(np.sqrt(2) * 0.07 / 52, np.radians(0.15))
    assert max(found, key=lambda f: f.probability).u_incline_rad == pytest.approx(u, rel=0.01)


def test_a_tilt_lifts_what_lies_farther_along_than_the_reference() -> None:
    """A level cylinder that the picture shows rising by 2 degrees: the camera is tilted."""
    z = np.linspace(-20.0, 20.0, 401)
    r = np.full_like(z, 5.0)
    cylinder = PartRadii(z_mm=z, seen_mm=r, rests_mm=r)
    camera = Camera(
        f_px=3000.0,
        u_f_px=30.0,
        centre_px=(2000.0, 1500.0),
        distance_mm=200.0,
        u_tilt_rad=float(np.radians(2.0)),
    )
    seen = Seen(lens=np.zeros(1), log=-0.5 * ((GRID[None] - 2.0) / 0.1) ** 2)
    beside, beyond = (posterior(cylinder, seen, camera, 0.07, lever) for lever in (0.0, 30.0))
    tilt = beyond.slope_rad - beyond.incline_rad
    assert tilt > np.radians(1.0)
    assert beyond.height_mm - beside.height_mm == pytest.approx(30 * np.tan(tilt), rel=0.05)


def test_a_tilt_seen_along_a_part_says_how_open_that_across_it_is() -> None:
    """A level cylinder that the picture shows rising by 9 degrees: the phone is held aside."""
    z = np.linspace(-20.0, 20.0, 401)
    r = np.full_like(z, 5.0)
    cylinder = PartRadii(z_mm=z, seen_mm=r, rests_mm=r)
    camera = Camera(f_px=3000.0, u_f_px=30.0, centre_px=(2000.0, 1500.0), distance_mm=200.0)
    camera = camera.held_as(by_hand())

    def across(rises_deg: float) -> float:
        seen = Seen(
            lens=np.zeros(1), log=-0.5 * ((GRID[None] - rises_deg) / 0.1) ** 2, along=(0.6, 0.8)
        )
        open_ = posterior(cylinder, seen, camera, 0.07).u_across_rad
        assert open_ is not None
        return float(np.degrees(open_))

    assert across(0.0) < 1.6
    assert across(9.0) > 3.0
    # Where the reference told it already, that is what is left open.
    told = camera.held_as(camera.leans.seen_along(np.array([-0.8, 0.6]), 0.02, np.radians(0.2)))
    blind = Seen(lens=np.zeros(1), log=np.zeros((1, len(GRID))), along=(0.6, 0.8))
    open_ = posterior(cylinder, blind, told, 0.07).u_across_rad
    assert open_ == pytest.approx(np.radians(0.2), rel=0.05)


def test_a_way_to_hold_the_phone_that_is_next_to_none_opens_no_height() -> None:
    """Told across to be square, a phone is hardly held from aside, which is 7 degrees along."""
    z = np.linspace(-20.0, 20.0, 401)
    r = np.full_like(z, 5.0)
    camera = Camera(f_px=3000.0, u_f_px=30.0, centre_px=(2000.0, 1500.0), distance_mm=200.0)
    told = by_hand().seen_along(np.array([0.0, 1.0]), 0.0, np.radians(0.3))
    assert 0.001 < told.shares[2] < 0.02
    blind = Seen(lens=np.zeros(1), log=np.zeros((1, len(GRID))))
    found = posterior(
        PartRadii(z_mm=z, seen_mm=r, rests_mm=r), blind, camera.held_as(told), 0.0, 60.0
    )
    # 60 mm from the reference: by care and by eye alone 1.24 degrees, with the tail 1.4.
    tilt = np.sqrt(found.u_slope_rad**2 - found.u_incline_rad**2)
    shares = told.shares[:2] / told.shares[:2].sum()
    assert np.degrees(tilt) == pytest.approx(np.sqrt(shares @ [1.0, 2.5**2]), rel=0.02)


def test_the_radius_that_carries_a_part_counts_in_its_height() -> None:
    z = np.linspace(-20.0, 20.0, 401)
    r = np.full_like(z, 5.0)
    camera = Camera(f_px=3000.0, u_f_px=30.0, centre_px=(2000.0, 1500.0), distance_mm=200.0)
    cylinder = PartRadii(z_mm=z, seen_mm=r, rests_mm=r)
    blind = Seen(lens=np.zeros(1), log=np.zeros((1, len(GRID))))
    sure, open_ = (posterior(cylinder, blind, camera, u) for u in (0.0, 0.5))
    assert open_.u_height_mm**2 - sure.u_height_mm**2 == pytest.approx(0.25)
    assert open_.u_axis_height_mm**2 - sure.u_axis_height_mm**2 == pytest.approx(0.25)


@pytest.mark.parametrize("seed", range(5))
def test_corners_are_those_of_opencvs_hull(seed: int) -> None:
    """Of ragged profiles, drawn on whole numbers, which OpenCV's hull keeps exactly."""
    draw = np.random.default_rng(seed)
    z = np.arange(400.0)
    r = np.floor(draw.uniform(50, 90, 400) + 30 * np.sin(z / draw.uniform(40, 120)))
    radii = PartRadii(z_mm=z, seen_mm=r, rests_mm=r)
    outline = np.concatenate([np.stack([z, r], axis=1), [[399.0, -1000.0], [0.0, -1000.0]]])
    hull = {tuple(p) for p in cv2.convexHull(outline.astype(np.float32))[:, 0].tolist()}
    assert {(z[k], r[k]) for k in radii.corners} == {p for p in hull if p[1] > -1000}
