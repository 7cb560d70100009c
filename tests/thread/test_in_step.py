"""Both sides in step or half a spacing apart, and how well that is known: by projected rings."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import pytest

from pitchcam.camera.pinhole import Camera
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.regions import Region
from pitchcam.objects.turned import believed_turn, crests_turn
from pitchcam.thread.in_step import PRIOR, U_PLACES, in_step, u_lag

F_PX, CENTRE = 6000.0, (2000.0, 1500.0)
AXIS_MM, RADIUS_MM, DISTANCE_MM = np.array([-75.0, 55.0, 0.0]), 15.0, 280.0
ALONG = np.array([np.cos(0.3), np.sin(0.3), 0.0])
SPACING_PX = 20.0


@dataclass(frozen=True)
class Seen:
    axis: ImageAxis
    camera: Camera
    outline_px: np.ndarray


def projected(points: np.ndarray, k1: float = 0.0, longer: float = 1.0) -> np.ndarray:
    """Return where OpenCV's camera, which looks straight down at the plate, sees points."""
    matrix = np.array([[F_PX * longer, 0, CENTRE[0]], [0, F_PX * longer, CENTRE[1]], [0, 0, 1]])
    away = points + [0, 0, DISTANCE_MM]
    lens = np.array([k1, 0, 0, 0, 0])
    return cv2.projectPoints(away, np.zeros(3), np.zeros(3), matrix, lens)[0][:, 0]


def ring_and_axis(**how: float) -> tuple[float, float]:
    """Return how far the sides of one ring lie apart along the axis in the picture, and its width.

    They are its outermost points, each where the ray only touches it.
    """
    a = np.linspace(0, 2 * np.pi, 36001)[:, None]
    across = np.cross(ALONG, [0, 0, 1.0])
    ring = AXIS_MM + RADIUS_MM * (np.cos(a) * across + np.sin(a) * np.array([0, 0, 1.0]))
    ends = projected(np.array([AXIS_MM - 1e-3 * ALONG, AXIS_MM + 1e-3 * ALONG]), **how)
    d = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    seen = projected(ring, **how)
    s, t = seen @ d, seen @ np.array([-d[1], d[0]])
    return float(s[t.argmax()] - s[t.argmin()]), float(np.ptp(t))


def looked_at(camera: Camera, crests: int = 40, at_mm: np.ndarray = AXIS_MM) -> tuple[Region, Seen]:
    """Return a fine thread on that axis, as the measurement has it."""
    middle, beside = projected(np.array([at_mm, at_mm + ALONG]))
    d = (beside - middle) / np.hypot(*(beside - middle))
    axis = ImageAxis(point_px=tuple(middle), direction=tuple(d))
    s = np.arange(crests) * SPACING_PX
    s -= s.mean()
    width = ring_and_axis()[1]
    t = np.linspace(-5, 5, 11)
    sides = np.concatenate([np.stack([t, np.full(11, e * width / 2)], axis=1) for e in (-1, 1)])
    region = Region(
        start_px=float(s[0]),
        end_px=float(s[-1]),
        spacing_px=SPACING_PX,
        depth_px=0.5,
        lag=0.0,
        crests=(s, s),
        skew=0.0,
        u_turn_rad=crests_turn((s, 0.0 * s), (s, 0.0 * s))[1],
    )
    return region, Seen(axis, camera, axis.to_photo(sides))


SURE = Camera(f_px=F_PX, u_f_px=1e-6, centre_px=CENTRE, u_corner=1e-9)


def test_crests_own_places_leave_it_open_however_well_all_else_is_known() -> None:
    region, seen = looked_at(SURE)
    u = u_lag(replace(region, u_turn_rad=0.0), seen)
    assert u == pytest.approx(U_PLACES, rel=0.01)


def test_the_lens_s_distortion_moves_the_sides_as_much_as_is_said() -> None:
    """Half a percent at the corner, a usual phone's: a fifth of this thread's spacing."""
    corner = 0.005
    camera = replace(SURE, u_corner=corner)
    k1 = corner * F_PX**2 / float(np.hypot(*CENTRE)) ** 2
    (plain, width), (bent, _) = ring_and_axis(), ring_and_axis(k1=k1)
    assert abs(bent - plain) / SPACING_PX > 0.15
    own = believed_turn(0.0, looked_at(camera)[0].u_turn_rad)[1]
    left = np.hypot(U_PLACES, own * width / SPACING_PX)
    told = np.sqrt(u_lag(*looked_at(camera)) ** 2 - left**2)
    assert told == pytest.approx(abs(bent - plain) / SPACING_PX, rel=0.2)


def test_the_focal_length_does_too() -> None:
    camera = replace(SURE, u_f_px=0.03 * F_PX)
    # The same picture, by a lens of another length: of a part whose direction is seen otherwise.
    region, seen = looked_at(camera)
    left = np.hypot(U_PLACES, u_lag(*looked_at(SURE)))
    slants = (projected(AXIS_MM[None])[0] - CENTRE) / F_PX
    d = np.array(seen.axis.direction)
    # The product of both slants is what the shift goes with, and falls as the length's square.
    product = abs(float(slants @ d) * float(slants @ [-d[1], d[0]]))
    shift = product * ring_and_axis()[1] / SPACING_PX
    assert abs(ring_and_axis()[0]) / SPACING_PX == pytest.approx(shift, rel=0.15)
    assert np.sqrt(u_lag(region, seen) ** 2 - left**2 + U_PLACES**2) == pytest.approx(
        0.06 * shift, rel=0.3
    )


@pytest.mark.parametrize("u_px", [40.0, 160.0])
def test_the_principal_point_does_too(u_px: float) -> None:
    """Both slants of a ray are counted from it: a crop's is known to a tenth of the picture."""
    region, seen = looked_at(replace(SURE, u_centre_px=u_px))
    left = u_lag(*looked_at(SURE))
    # Of the product of both slants either way: the length of the slants, whatever the axis is.
    slant = float(np.hypot(*(projected(AXIS_MM[None])[0] - CENTRE))) / F_PX
    moved = ring_and_axis()[1] / SPACING_PX * slant * u_px / F_PX
    assert np.sqrt(u_lag(region, seen) ** 2 - left**2) == pytest.approx(moved, rel=0.15)


def test_few_crests_tell_the_axis_less() -> None:
    assert u_lag(*looked_at(SURE, crests=6)) > 2 * u_lag(*looked_at(SURE, crests=40))


def test_what_is_half_way_is_as_it_usually_is() -> None:
    assert in_step(0.25, *looked_at(SURE)) == pytest.approx(PRIOR, rel=1e-6)


def test_rings_and_threads() -> None:
    sure = looked_at(SURE)
    assert in_step(0.02, *sure) > 0.999
    assert in_step(0.48, *sure) < 1e-4
    # The same lag of a fine thread in a corner, where the lens is not known so well.
    far = looked_at(replace(SURE, u_corner=0.005))
    assert 0.1 < in_step(0.09, *far) < 0.5
    near = looked_at(replace(SURE, u_corner=0.005), at_mm=np.zeros(3))
    assert in_step(0.09, *near) > 0.99


def test_the_lag_is_known_but_for_whole_spacings() -> None:
    far = looked_at(replace(SURE, u_corner=0.01))
    assert in_step(0.6, *far) == pytest.approx(in_step(0.4, *far), rel=1e-3)
