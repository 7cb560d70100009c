"""Lines, walls, bends and waves: places and directions of drawn edges, and the light beside."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri
from shapely import LineString, Point, Polygon

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.bands import FALLS_AT, FALLS_BY, band_slopes
from pitchcam.edges.bend import FEWEST, U_BOW_PX, U_PIECE_PX, Bent, corner_share, places
from pitchcam.edges.edge_profiles import CODE_NOISE, LIGHT_NOISE, EdgeProfile, coded_noise, stacked
from pitchcam.edges.lines import (
    PROFILE_STEP,
    Segment,
    StraightEdge,
    crossings,
    fit_line,
    line_profiles,
    mean_profile,
    outer_fall,
    reach_to_border,
    reaches_to_border,
)
from pitchcam.edges.rims import mirror_angle, rim_width
from pitchcam.edges.walls import wall_light
from pitchcam.edges.wave import FEWEST as FEWEST_STEPS
from pitchcam.edges.wave import STEP_PX, Traced, find_wave
from pitchcam.objects.contour import Crop

RNG = np.random.default_rng(41)
ACROSS = np.arange(-9.0, 9.01, PROFILE_STEP)


def edge_crop(deg: float, *, blur=1.1, at=(120.0, 90.0), size=(240, 180), dark=0.05) -> Crop:
    """A half plane, dark where x cos + y sin from ``at`` is below 0."""
    y, x = np.mgrid[0 : size[1], 0 : size[0]].astype(float)
    a = math.radians(deg)
    off = (x - at[0]) * math.cos(a) + (y - at[1]) * math.sin(a)
    light = dark + (1 - dark) * ndtr(off / blur)
    return Crop(
        light=light.astype(np.float32),
        origin_px=(500, 700),
        mask=(light < 0.86).astype(np.uint8),
        channel="grey",
        background_code=0.6,
    )


def near(deg: float, off: float = 0.0, turn: float = 0.0) -> Segment:
    """A segment of 80 pixels near that edge, ``off`` pixels out, turned by so much at its ends."""
    a = math.radians(deg)
    n, d = np.array([math.cos(a), math.sin(a)]), np.array([-math.sin(a), math.cos(a)])
    at = np.array([620.0, 790.0])
    return Segment(
        start=at - 40 * d + (off - turn) * n, end=at + 40 * d + (off + turn) * n, outside=n
    )


@pytest.mark.parametrize("deg", [0.0, 31.0, 90.0, 200.0])
def test_a_segments_normal_points_out_whichever_way_it_runs(deg: float) -> None:
    segment = near(deg)
    n = np.array([math.cos(math.radians(deg)), math.sin(math.radians(deg))])
    back = replace(segment, start=segment.end, end=segment.start)
    for s in (segment, back):
        assert s.normal == pytest.approx(n)
        assert s.length_px == pytest.approx(80.0)
        assert s.along @ s.normal == pytest.approx(0.0, abs=1e-12)
    assert back.along == pytest.approx(-segment.along)


@pytest.mark.parametrize("deg", [0.0, 31.0, 200.0])
@pytest.mark.parametrize(("off", "turn"), [(0.0, 0.0), (2.5, 0.0), (-3.0, 1.5)])
def test_a_line_is_fitted_from_wherever_it_starts(deg: float, off: float, turn: float) -> None:
    found, scatter = fit_line(edge_crop(deg), near(deg, off, turn))
    exact = near(deg)
    for place in (found.start, found.end):
        # Half of the light between dark and bright lies on the edge, level 0.5 a little inside.
        out = (place - exact.start) @ exact.normal
        assert out == pytest.approx(1.1 * ndtri((0.5 - 0.05) / 0.95), abs=0.02)
    assert scatter < 0.02


@pytest.mark.parametrize("level", [0.3, 0.525, 0.85])
def test_a_levels_line_lies_where_the_blur_puts_it(level: float) -> None:
    found, _ = fit_line(edge_crop(20.0), near(20.0), level=level)
    exact = near(20.0)
    out = ((found.start + found.end) / 2 - exact.start) @ exact.normal
    assert out == pytest.approx(1.1 * ndtri((level - 0.05) / 0.95), abs=0.1)


def test_dirt_on_a_third_of_an_edge_does_not_move_it() -> None:
    crop = edge_crop(0.0)
    crop.light[60:85, 118:132] = 0.05
    clean, _ = fit_line(edge_crop(0.0), near(0.0))
    dirty, _ = fit_line(crop, near(0.0))
    assert dirty.start == pytest.approx(clean.start, abs=0.05)
    assert dirty.end == pytest.approx(clean.end, abs=0.05)


def test_profiles_are_sampled_square_to_the_segment() -> None:
    p = line_profiles(edge_crop(31.0), near(31.0), reach_px=6.0, step_px=2.0)
    assert p.along_px == pytest.approx(np.arange(0, 80.1, 2.0))
    assert p.across_px == pytest.approx(np.arange(-6, 6.01, PROFILE_STEP))
    expected = 0.05 + 0.95 * ndtr(p.across_px / 1.1)
    assert np.abs(p.light - expected).max() < 0.03


def test_profiles_in_units_are_those_of_a_smaller_photo() -> None:
    fine = line_profiles(edge_crop(31.0), near(31.0), reach_px=8.0)
    coarse = line_profiles(edge_crop(31.0), near(31.0), reach_px=4.0, unit_px=2.0)
    assert coarse.light[:, ::2] == pytest.approx(fine.light[:, ::4], abs=1e-6)


@settings(max_examples=40)
@given(place=st.floats(-4, 4), level=st.floats(0.2, 0.9), blur=st.floats(0.6, 2.0))
def test_a_crossing_is_where_the_light_passes_the_level(place, level, blur) -> None:
    light = ndtr((ACROSS - place) / blur)[None]
    found = crossings(light, ACROSS, level)[0]
    assert np.interp(found, ACROSS, light[0]) == pytest.approx(level, abs=1e-9)
    assert found == pytest.approx(place + blur * ndtri(level), abs=0.02 / blur)


def test_where_light_never_falls_or_begins_dark_there_is_no_crossing() -> None:
    bright, dark = np.ones((1, len(ACROSS))), np.zeros((1, len(ACROSS)))
    assert np.isnan(crossings(np.concatenate([bright, dark]), ACROSS, 0.5)).all()


def test_of_two_falls_the_outer_one_counts() -> None:
    light = np.where((ACROSS < -4) | ((ACROSS > -2) & (ACROSS < 1)), 0.1, 0.9)[None]
    assert crossings(light, ACROSS, 0.5)[0] == pytest.approx(1.0, abs=PROFILE_STEP)


WINDOW = np.array([[100.0, 80], [900, 100], [880, 700], [90, 650]])


@settings(max_examples=60)
@given(x=st.floats(150, 850), y=st.floats(150, 620), deg=st.floats(0, 360))
def test_the_way_to_the_lights_border_is_shapelys(x: float, y: float, deg: float) -> None:
    way = np.array([math.cos(math.radians(deg)), math.sin(math.radians(deg))])
    field = SimpleNamespace(window_px=WINDOW)
    far = Point(x + 3000 * way[0], y + 3000 * way[1])
    expected = Point(x, y).distance(
        Polygon(WINDOW).exterior.intersection(LineString([(x, y), far]))
    )
    assert reach_to_border(field, np.array([x, y]), way) == pytest.approx(expected, rel=1e-9)


def test_many_ways_to_the_border_are_each_its_own() -> None:
    field = SimpleNamespace(window_px=WINDOW)
    points = RNG.uniform([200, 200], [800, 600], (9, 2))
    way = np.array([0.6, -0.8])
    many = reaches_to_border(field, points, way)
    assert many == pytest.approx([reach_to_border(field, p, way) for p in points])
    outside = np.array([[2000.0, 2000.0]])
    assert reaches_to_border(field, outside, np.array([1.0, 0.0])) == pytest.approx([0.0])


def test_an_edge_moves_along_its_normal_and_turns_about_its_middle() -> None:
    edge = StraightEdge(
        start=np.array([0.0, 0]),
        end=np.array([10.0, 0]),
        normal=np.array([0.0, -1]),
        profiles=(),
        at=(),
    )
    a, b = edge.moved(2.0)
    assert (a.tolist(), b.tolist()) == ([0, -2], [10, -2])
    a, b = edge.moved(2.0, 0.5)
    assert (a.tolist(), b.tolist()) == ([0, -1.5], [10, -2.5])


@pytest.mark.parametrize("blur", [1.5, 2.5, 4.0])
@pytest.mark.parametrize("exposure", [0.4, 1.0])
def test_the_outer_fall_is_the_blur_at_any_exposure(blur: float, exposure: float) -> None:
    crop = edge_crop(0.0, blur=blur, dark=0.02)
    crop.light[:] *= exposure
    assert outer_fall(line_profiles(crop, near(0.0), reach_px=24.0)) == pytest.approx(
        blur, rel=0.06
    )


def test_flat_light_has_no_fall() -> None:
    crop = edge_crop(0.0)
    crop.light[:] = 0.7
    assert outer_fall(line_profiles(crop, near(0.0), reach_px=24.0)) == 0.0


def test_a_mean_profile_is_relative_to_the_light_beside_it() -> None:
    rows = np.tile(0.04 + 0.76 * ndtr(ACROSS / 1.0), (40, 1))
    p = mean_profile(ACROSS, rows, 0.6, 80.0, 300.0)
    assert p.light[-4:] == pytest.approx(np.ones(4), abs=1e-3)
    assert p.dark == pytest.approx(0.05, rel=0.01)
    assert p.background == pytest.approx(0.6 * 0.8, rel=1e-3)
    assert (p.radius_px, p.reach_px) == (80.0, 300.0)
    assert np.diff(p.across_px) == pytest.approx(np.full(len(p.across_px) - 1, 2 * PROFILE_STEP))


def test_a_fifth_of_spoiled_rows_does_not_count() -> None:
    rows = np.tile(0.05 + 0.95 * ndtr(ACROSS / 1.0), (50, 1)) + RNG.normal(
        0, 1e-4, (50, len(ACROSS))
    )
    clean = mean_profile(ACROSS, rows, 0.6, None, 300.0)
    rows[:9] = 0.4
    assert mean_profile(ACROSS, rows, 0.6, None, 300.0).light == pytest.approx(
        clean.light, abs=1e-3
    )


def test_profiles_stack_with_what_belongs_to_each() -> None:
    one = EdgeProfile(
        across_px=ACROSS, light=ndtr(ACROSS), dark=0.1, background=0.5, radius_px=None, reach_px=9.0
    )
    two = replace(one, dark=0.2, radius_px=40.0, reach_px=5.0)
    s = stacked([one, two], 0.004)
    assert s.dark.ravel().tolist() == [0.1, 0.2]
    assert s.radius.ravel().tolist() == [0.0, 40.0], "no radius, no band"
    assert s.reach.ravel().tolist() == [9.0, 5.0]
    assert s.code.shape == s.noise.shape == (2, len(ACROSS))
    dim = stacked([replace(one, background=0.25)], 0.004)
    assert (dim.code <= s.code[:1]).all()


def test_codes_agree_to_a_step_in_the_bright_and_to_more_in_the_dark() -> None:
    """Near black a code spreads the light thirteenfold (IEC 61966-2-1: 12.92)."""
    bright, dark = coded_noise(np.array([0.7, 0.0]), CODE_NOISE)
    assert bright == pytest.approx(CODE_NOISE, rel=0.15)
    assert dark == pytest.approx(math.hypot(CODE_NOISE, 12.92 * LIGHT_NOISE), rel=1e-6)
    assert coded_noise(np.array([1.0]), CODE_NOISE) == pytest.approx([CODE_NOISE])


@pytest.mark.parametrize(("reach", "panel"), [(400.0, 0.5), (900.0, 0.2), (50.0, 0.06)])
def test_the_mirror_law_of_an_edge(reach: float, panel: float) -> None:
    """A ray is sent on by twice the grazing angle, up to the light's border: tan 2a = s / f k."""
    a = mirror_angle(reach, 3000.0, panel)
    assert math.tan(2 * a) == pytest.approx(reach / (3000 * panel), rel=1e-12)
    assert rim_width(120.0, reach, 3000.0, panel) == pytest.approx(
        120 * (1 - math.cos(a)), rel=1e-9
    )
    assert rim_width(240.0, reach, 3000.0, panel) == pytest.approx(
        2 * rim_width(120.0, reach, 3000.0, panel)
    )
    assert mirror_angle(2 * reach, 6000.0, panel) == pytest.approx(a), "it knows no pixel size"


def test_a_panel_far_behind_or_a_border_near_the_edge_leaves_hardly_a_rim() -> None:
    widths = [rim_width(100.0, 400.0, 3000.0, k) for k in (0.06, 0.2, 0.5, 0.9)]
    assert widths == sorted(widths, reverse=True)
    assert rim_width(100.0, 0.0, 3000.0, 0.5) == 0.0
    assert rim_width(0.0, 400.0, 3000.0, 0.5) == 0.0


@pytest.mark.parametrize("lower", [-3.0, -1.0, 2.0])
def test_a_wall_lies_between_its_edges_and_behind_the_upper_one(lower: float) -> None:
    upper, wall, dark = 0.5, 0.4, 0.05
    light = wall_light(ACROSS, (np.array(lower), np.array(upper)), wall, dark, 1.0)
    assert light[0] == pytest.approx(dark, abs=1e-6)
    assert light[-1] == pytest.approx(1.0, abs=1e-6)
    if lower < upper:
        inner, outer = ndtr(ACROSS - upper), ndtr(ACROSS - upper)
        assert light == pytest.approx(dark + (wall - dark) * inner + (1 - wall) * outer)
    else:
        assert light[ACROSS == 1.25] == pytest.approx(wall, abs=0.2)
    assert (np.diff(light) > -1e-12).all()


def test_a_wall_as_dark_as_the_inside_is_one_edge_at_the_lower_one() -> None:
    light = wall_light(ACROSS, (np.array(2.0), np.array(-1.0)), 0.05, 0.05, 1.0)
    assert light == pytest.approx(0.05 + 0.95 * ndtr(ACROSS - 2.0), abs=1e-12)


@pytest.mark.parametrize("shine", [0.1, 0.6])
@pytest.mark.parametrize("width", [0.5, 3.0])
def test_a_band_is_steps_of_light(shine: float, width: float) -> None:
    light, slopes = band_slopes(ACROSS, 1.0, np.array([0.3, shine, width, 0.4]))
    outer, inner = ndtr(0.3 - ACROSS), ndtr((0.3 - width - ACROSS) / math.hypot(1.0, 0.4))
    within = (1 - sum(FALLS_BY)) * inner + sum(
        fall * ndtr(0.3 - at * width - ACROSS) for at, fall in zip(FALLS_AT, FALLS_BY, strict=True)
    )
    assert light == pytest.approx(1 - (1 - shine) * outer - shine * within)
    assert slopes.shape == (len(ACROSS), 5)
    added = np.trapezoid(light - ndtr(ACROSS - 0.3), ACROSS)
    mean = 1 - 0.17 * (1 - 0.0265) - 0.10 * (1 - 0.39)
    assert added == pytest.approx(mean * shine * width, rel=0.02), "its mean light over its width"


@pytest.mark.parametrize("i", range(5), ids=["blur", "place", "shine", "width", "softness"])
def test_a_bands_slopes_are_those_of_differences(i: int) -> None:
    q = np.array([0.9, 0.3, 0.5, 2.0, 0.4])
    step = 1e-6 * np.eye(5)[i]
    up, down = (band_slopes(ACROSS, v[0], v[1:])[0] for v in (q + step, q - step))
    found = band_slopes(ACROSS, q[0], q[1:])[1][:, i]
    assert found == pytest.approx((up - down) / 2e-6, abs=1e-7)
    assert np.abs(found).max() > 0.02


CAMERA = Camera(f_px=3000.0, u_f_px=60.0, centre_px=(1999.5, 1499.5))


def straight(y: float, corner: float = 0.0, *, noise=0.0, deg=0.0, n=16, seed=1) -> Bent:
    """A level edge at a height of the picture, drawn by a lens of that displacement."""
    x = np.linspace(500, 3500, n)
    a = math.radians(deg)
    at = np.column_stack([1999.5 + (x - 1999.5) * math.cos(a), y + (x - 1999.5) * math.sin(a)])
    rays = np.column_stack([(at - CAMERA.centre_px) / 3000.0, np.ones(n)])
    seen = CAMERA.bent(corner, 0.0).project(rays)
    return Bent(
        places_px=seen + np.random.default_rng(seed).normal(0, noise, seen.shape), u_px=U_PIECE_PX
    )


def test_a_bend_tells_its_sign_on_either_side_of_the_middle() -> None:
    for y in (300.0, 2700.0):
        for corner in (-0.005, 0.005):
            found, _ = corner_share(CAMERA, [straight(y, corner)])
            assert found == pytest.approx(corner, rel=0.1)


def test_a_bend_does_not_know_how_the_edge_lies() -> None:
    for deg in (0.0, 4.0, -6.0):
        assert corner_share(CAMERA, [straight(400.0, 0.004, deg=deg)])[0] == pytest.approx(
            0.004, rel=0.1
        )


def test_two_edges_tell_more_than_one_and_one_far_out_more_than_one_within() -> None:
    far, within = straight(250.0, 0.004), straight(1200.0, 0.004)
    u = {
        name: corner_share(CAMERA, edges)[1]
        for name, edges in (("far", [far]), ("within", [within]), ("both", [far, within]))
    }
    assert u["both"] < u["far"] < u["within"] < CAMERA.u_corner


def test_a_bends_u_is_that_of_many_draws() -> None:
    """Pieces that scatter as they are said to: errors in u come out as one."""
    edges = [straight(300.0, 0.004, noise=U_PIECE_PX, seed=i) for i in range(80)]
    plain = [replace(e, u_bow_px=1e-6) for e in edges]
    told = np.array([corner_share(replace(CAMERA, u_corner=10.0), [e]) for e in plain])
    # To first order: a tenth of the displacement's own square is left.
    off = (told[:, 0] - told[:, 0].mean()) / told[:, 1]
    assert np.sqrt(np.mean(off**2)) == pytest.approx(1.0, abs=0.25)


def test_a_bow_of_the_edge_itself_widens_u() -> None:
    one, other = straight(300.0), replace(straight(300.0), u_bow_px=10 * U_BOW_PX)
    assert corner_share(CAMERA, [other])[1] > 2 * corner_share(CAMERA, [one])[1]


def test_too_few_pieces_tell_nothing() -> None:
    assert corner_share(CAMERA, [straight(300.0, 0.01, n=FEWEST - 1)]) == pytest.approx(
        (0.0, CAMERA.u_corner)
    )


@pytest.mark.parametrize("deg", [0.0, 31.0, 122.0])
def test_places_lie_on_the_edge_in_order(deg: float) -> None:
    found = places(edge_crop(deg), near(deg, 1.0), pieces=8)
    exact = near(deg)
    assert len(found) == 8
    out = (found - exact.start) @ exact.normal
    assert out == pytest.approx(np.full(8, 1.1 * ndtri(0.45 / 0.95)), abs=0.03)
    assert (np.diff((found - exact.start) @ exact.along) > 5).all()


def traced(off: np.ndarray, *, at=100.0, upright=True, **how) -> Traced:
    s = np.linspace(0, 1600, len(off))
    xy = np.column_stack([at + off, s]) if upright else np.column_stack([s, at + off])
    return Traced(places_px=xy, **how)


def test_a_wave_does_not_know_where_its_edges_lie_or_which_comes_first() -> None:
    s = np.linspace(0, 1600, 400)
    wave = 1.5 * np.sin(s / 60)
    pair = [traced(wave), traced(wave, at=1500.0)]
    found = find_wave(pair)
    assert found is not None and found.kind == "rows"
    assert find_wave(pair[::-1]) == found
    assert found.rms_px == pytest.approx(1.5 / math.sqrt(2), rel=0.1)
    turned = find_wave([traced(wave, upright=False), traced(wave, at=1500.0, upright=False)])
    assert turned is not None and turned.kind == "columns"
    assert turned.rms_px == pytest.approx(found.rms_px, rel=1e-6)


def test_waves_against_each_other_are_not_shared() -> None:
    s = np.linspace(0, 1600, 400)
    wave = 1.5 * np.sin(s / 60)
    assert find_wave([traced(wave), traced(-wave, at=1500.0)]) is None
    assert find_wave([traced(wave), traced(0 * wave, at=1500.0)]) is None
    assert find_wave([traced(wave)]) is None, "one edge may be wavy itself"


def test_what_is_straight_as_it_was_made_tells_by_itself() -> None:
    s = np.linspace(0, 1600, 400)
    pieces = np.where((s // 130) % 2 == 0, 0.8, -0.8)
    other = np.where((s // 170) % 2 == 0, 0.8, -0.8)
    found = find_wave(
        [traced(pieces, straight=True, of=1), traced(other, at=900.0, straight=True, of=2)]
    )
    assert found is not None and found.kind == "pieces"
    assert "piece by piece by" in found.text
    assert find_wave([traced(pieces), traced(other, at=900.0)]) is None


def test_an_edge_shorter_than_its_steps_tells_nothing() -> None:
    n = FEWEST_STEPS - 2
    wave = 2 * np.sin(np.arange(n))
    s = np.arange(n) * STEP_PX
    short = Traced(places_px=np.column_stack([100 + wave, s]))
    assert find_wave([short, replace(short, places_px=short.places_px + [900, 0])]) is None
