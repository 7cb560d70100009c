"""Straight edges against known lines and a general library's contours."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr, ndtri
from skimage.measure import find_contours

from pitchcam.edges.lines import (
    FEWEST_PIECES,
    Segment,
    crossings,
    fit_line,
    line_profiles,
    mean_profile,
    outer_fall,
    reach_to_border,
    straight_edge,
)
from pitchcam.light.esf import decode, encode
from pitchcam.objects.contour import crop_object
from pitchcam.objects.field import find_field
from tests.objects import drawing

SIZE = (1000, 800)
BLUR, DARK = 1.0, 0.05


def bar(angle_deg: float, shift: float, blur: float = BLUR):
    """A bar 400 x 90 about the middle, moved by a part of a pixel; its crop, field and side."""
    a = np.radians(angle_deg)
    d, n = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
    middle = np.array([500.0, 400.0]) + shift * n
    corners = np.array(
        [middle + i * 200 * d + j * 45 * n for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    )
    light = 0.6 * drawing.window(SIZE) * (1 - (1 - DARK) * drawing.cover(SIZE, corners, blur))
    pixels = drawing.develop(light, gain=0.0)
    field = find_field(pixels)
    crop = crop_object(pixels, field, field.blobs[0].label, field.blobs[0].box_px)
    # The side toward growing n, from a guess that is 1.5 px off and turned.
    ends = (middle + 45 * n - 150 * d, middle + 45 * n + 150 * d)
    return crop, field, ends, n


@pytest.mark.parametrize("angle", [0.0, 3.0, 31.0, 90.0])
@pytest.mark.parametrize("shift", [0.0, 0.25, 0.5])
def test_line_is_found_to_a_fraction_of_a_pixel(angle: float, shift: float) -> None:
    crop, _, (a, b), n = bar(angle, shift)
    near = Segment(start=a + 1.5 * n, end=b - n, outside=n)
    found, scatter = fit_line(crop, near)
    start, end = found.start, found.end
    # Half the light between background and part is the level; 0.5 lies just outside.
    expected = BLUR * ndtri((0.5 - DARK) / (1 - DARK))
    off = np.array([(start - a) @ n, (end - b) @ n]) - expected
    assert np.abs(off).max() < 0.04
    assert scatter < 0.1
    # Outside check: scikit-image's contour at the same level, a line through it by polyfit.
    ring = max(find_contours(crop.light, 0.5), key=len)[:, ::-1] + crop.origin_px
    along = np.array([n[1], -n[0]])
    near = (np.abs((ring - a) @ n) < 3) & (np.abs((ring - (a + b) / 2) @ along) < 140)
    line = np.polyfit((ring[near] - (a + b) / 2) @ along, (ring[near] - a) @ n, 1)
    ours = ((start + end) / 2 - a) @ n
    assert ours == pytest.approx(line[1], abs=0.03)
    turn = ((end - b) - (start - a)) @ n / ((end - start) @ along)
    assert turn == pytest.approx(line[0], abs=2e-4)


def test_profile_runs_outward() -> None:
    crop, _, (a, b), n = bar(12.0, 0.0)
    p = line_profiles(crop, Segment(start=a, end=b, outside=n))
    middle = np.median(p.light, axis=0)
    assert middle[0] == pytest.approx(DARK, abs=0.02)
    assert middle[-1] == pytest.approx(1.0, abs=0.02)
    turned = np.median(line_profiles(crop, Segment(start=a, end=b, outside=-n)).light, axis=0)
    assert turned == pytest.approx(middle[::-1], abs=0.03)


def test_outermost_crossing_counts() -> None:
    across = np.arange(-6.0, 6.1, 0.5)
    light = np.clip((across + 1.1) / 0.5, 0, 1)
    light[2:6] = 1.0
    found = crossings(np.stack([light, np.ones_like(light), np.zeros_like(light)]), across, 0.5)
    assert found[0] == pytest.approx(-0.8125, abs=1e-6)
    # All bright, and dark to the very end: no edge in reach.
    assert np.isnan(found[1:]).all()


def test_way_to_the_border() -> None:
    _, field, _, _ = bar(0.0, 0.0)
    # The window's border lies 60 px inside the picture.
    for out, reach in (([1.0, 0], 440), ([-1.0, 0], 440), ([0, 1.0], 340), ([0.6, 0.8], 425)):
        found = reach_to_border(field, np.array([500.0, 400.0]), np.array(out))
        assert found == pytest.approx(reach, abs=6)
    assert reach_to_border(field, np.array([-50.0, 400.0]), np.array([-1.0, 0.0])) == 0.0


def test_straight_edge_keeps_its_mean_profile() -> None:
    crop, field, (a, b), n = bar(8.0, 0.4)
    side = Segment(start=a, end=b, outside=n)
    edge = straight_edge(crop, field, side, 45.0)
    assert edge.normal @ n > 0.9999
    at = BLUR * ndtri((0.85 - DARK) / (1 - DARK))
    # The level is near the background: a percent of it moves the place by 0.05 px.
    assert (edge.start - a) @ n == pytest.approx(at, abs=0.12)
    at = (edge.start - a) @ n
    assert len(edge.profiles) == FEWEST_PIECES
    assert straight_edge(crop, field, side, None).at == (pytest.approx(0.0),)
    for p in edge.profiles:
        assert p.light[-4:] == pytest.approx(1.0, abs=0.01)
        assert p.dark == pytest.approx(DARK, abs=0.015)
        assert p.background == pytest.approx(0.6, rel=0.02)
        half = crossings(p.light[None], p.across_px, (1 + DARK) / 2)[0]
        assert half == pytest.approx(-at, abs=0.05)
    moved, _ = edge.moved(2.0)
    assert (moved - edge.start) @ n == pytest.approx(2.0, abs=1e-3)


@pytest.mark.parametrize("blur", [1.5, 3.0, 4.5])
def test_the_outer_fall_is_the_blur(blur: float) -> None:
    crop, field, (a, b), n = bar(3.0, 0.25, blur)
    segment = Segment(start=a, end=b, outside=n)
    edge = straight_edge(crop, field, segment, 45.0)
    # The crop is taken in whole pixels and codes: a tenth.
    assert edge.fall_px == pytest.approx(blur, rel=0.1)
    flat = line_profiles(crop, Segment(start=a + 20 * n, end=b + 20 * n, outside=n), reach_px=4.0)
    plain = type(flat)(
        along_px=flat.along_px, across_px=flat.across_px, light=np.ones_like(flat.light)
    )
    assert outer_fall(plain) == 0.0


def test_an_edge_without_light_beside_it_is_no_fault() -> None:
    """A picture of black dots on white may have none there: what comes is finite."""
    across = np.arange(-9, 9.01, 0.25)
    found = mean_profile(across, np.zeros((20, len(across))), 1.0, None, 30.0)
    assert np.isfinite(found.light).all() and np.isfinite(found.dark)


def face(rise: float, gain: float = 0.3, panel: float = 0.7) -> np.ndarray:
    """Rows of a round edge at -0.4 px, dark ground 0.01, whose face grows lighter by ``rise``."""
    across = np.arange(-9.0, 9.01, 0.25)
    deep = np.clip((-across - 4.0) / 4.0, 0.0, 1.0)
    fine = np.arange(-20.0, 20.0, 0.25)
    light = 0.01 + 0.99 * ndtr((fine + 0.4) / 0.6)
    code = encode(panel * light)
    code = code + gain * (code - gaussian_filter1d(code, 1.5 / 0.25))
    code = np.clip(code, 0.0, 1.0)
    seen = np.interp(across, fine, decode(code)) / panel + rise * deep
    return np.tile(seen, (20, 1))


@pytest.mark.parametrize("gain", [0.0, 0.3, 0.8])
def test_what_a_face_mirrors_of_the_room_is_none_of_its_edge(gain: float) -> None:
    across = np.arange(-9.0, 9.01, 0.25)
    clean = mean_profile(across, face(0.0, gain), 0.7, 20.0, 300.0)
    assert clean.dark == pytest.approx(0.01, abs=1e-3), "a halo's dip is no ground"
    if gain > 0.5:
        return  # a dip so deep may hide as much
    lit = mean_profile(across, face(0.02, gain), 0.7, 20.0, 300.0)
    assert lit.dark == pytest.approx(0.01, abs=4e-3), "read deeper inside it would be 0.02"
    assert lit.light[: len(lit.light) // 4].max() < 0.014
    beside = across[::2] > -4.0
    assert lit.light[beside] == pytest.approx(clean.light[beside], abs=4e-3)
    sharp = mean_profile(across, face(0.02, gain), 0.7, None, 300.0)
    assert sharp.dark > 0.02, "a corner has no round face"


@pytest.mark.parametrize("panel, gain", [(0.97, 0.8), (0.985, 0.5), (1.0, 0.25)])
def test_a_halo_that_is_cut_off_at_white_tells_of_no_ground(panel: float, gain: float) -> None:
    """Sharpening's dip was taken for the edge's own dark: pins came out 0.4 % thin."""
    across = np.arange(-9.0, 9.01, 0.25)
    rows = face(0.0, gain, panel)
    dip = rows[0, across < 0].min()
    found = mean_profile(across, rows, panel, 20.0, 300.0)
    assert dip < 0.006, "there is a dip"
    assert found.dark == pytest.approx(0.01, abs=1e-3)
    assert found.light[0] == pytest.approx(0.01, abs=1e-3)


def test_metal_that_mirrors_all_over_has_no_ground() -> None:
    across = np.arange(-9.0, 9.01, 0.25)
    rows = face(0.0) * 0.4 + 0.6 + 0.2 * np.clip((-across - 4) / 4, 0, 1)
    assert mean_profile(across, rows, 0.7, 20.0, 300.0).dark == pytest.approx(
        float(np.median(rows[0, across < -5.0])) / float(np.median(rows[0, across > 7.0]))
    )
