"""The lens's distortion from straight edges that bend."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcam.camera.pinhole import U_CORNER, Camera
from pitchcam.edges.bend import Bent, corner_share

CAMERA = Camera(f_px=3000.0, u_f_px=60.0, centre_px=(1999.5, 1499.5))


def edge(
    camera: Camera,
    start: tuple[float, float],
    end: tuple[float, float],
    noise_px: float = 0.0,
    bow_px: float = 0.0,
) -> Bent:
    """A straight edge between two undistorted places, as a distorting camera draws it."""
    share = np.linspace(0, 1, 16)[:, None]
    straight = np.array(start) * (1 - share) + np.array(end) * share
    way = np.array(end) - np.array(start)
    across = np.array([-way[1], way[0]]) / np.hypot(*way)
    straight = straight + bow_px * (1 - (2 * share - 1) ** 2) * across
    centre = np.array(camera.centre_px)
    rays = np.concatenate([(straight - centre) / camera.f_px, np.ones((16, 1))], axis=1)
    seen = camera.project(rays)
    rng = np.random.default_rng(3)
    return Bent(places_px=seen + rng.normal(0, noise_px, seen.shape), u_px=0.06)


@pytest.mark.parametrize("corner", [-0.012, -0.003, 0.0, 0.004, 0.01])
def test_long_edges_tell_the_distortion(corner: float) -> None:
    lens = CAMERA.bent(corner, 0.0)
    assert lens.corner == pytest.approx(corner)
    edges = [edge(lens, (600, 300), (3400, 400), 0.05), edge(lens, (500, 2700), (3500, 2600), 0.05)]
    found, u = corner_share(CAMERA, edges)
    assert u < 0.1 * U_CORNER
    # Undone to first order: a fortieth is left at the largest.
    assert abs(found - corner) < 3 * u + 0.03 * abs(corner)


def test_an_edge_through_the_middle_tells_nothing() -> None:
    lens = CAMERA.bent(0.01, 0.0)
    through = edge(lens, (500, 1499.5), (3500, 1499.5), 0.05)
    found, u = corner_share(CAMERA, [through])
    assert u > 0.9 * U_CORNER
    assert abs(found) < U_CORNER
    assert corner_share(CAMERA, []) == pytest.approx((0.0, U_CORNER))


def test_a_bow_of_the_edge_itself_is_counted() -> None:
    # A short edge that is itself bowed by 0.08 px: the error stays within its u.
    plain = edge(CAMERA, (1500, 600), (2300, 640), bow_px=0.08)
    found, u = corner_share(CAMERA, [plain])
    assert abs(found) < 1.5 * u
    assert u > 0.3 * U_CORNER


def test_what_is_no_straight_edge_is_left_out() -> None:
    wild = edge(CAMERA, (600, 300), (3400, 400), noise_px=2.0)
    few = Bent(places_px=wild.places_px[:4], u_px=0.06)
    assert corner_share(CAMERA, [wild, few]) == pytest.approx((0.0, U_CORNER))


def test_what_is_known_before_is_weighed_in() -> None:
    lens = CAMERA.bent(0.006, 0.0)
    # A profile's camera knows its lens: an edge hardly moves it.
    known = CAMERA.bent(0.006, 0.0005)
    short = [edge(lens, (1500, 600), (2300, 640), 0.05)]
    found, u = corner_share(known, short)
    assert found == pytest.approx(0.006, abs=0.0005)
    assert u <= 0.0005
