"""Every term of the budget by itself: against measuring again with its input moved, or a trial.

What is moved is the geometry that a thread was drawn in or is measured with; no term is compared
with its own formula.
"""

import functools
from dataclasses import replace

import numpy as np
import pytest

from pitchcam.camera.pinhole import U_CORNER, U_CORNER_PROFILE
from pitchcam.edges.flank_fit import fit_flanks
from pitchcam.records import NAMING_QUANTITIES
from pitchcam.thread.budget import budget, combined, relative_u_scale, values
from pitchcam.thread.budget import edges as edges_term
from pitchcam.thread.budget.edges import flank_px
from pitchcam.thread.budget.pose import inclined
from pitchcam.thread.measure import remeasure
from tests.thread.drawn_shape import (
    CREST_BY_LIGHT_MM,
    HEIGHT,
    PITCH,
    ROOT_BY_LIGHT_MM,
    U_BESIDE,
    U_CREST_MM,
    U_ROOT_MM,
    drawn_shape,
    with_edges_moved,
)
from tests.thread.drawn_shape import PLACE as AS_DRAWN
from tests.thread.helicoid import whitworth_profile

PLACE = replace(AS_DRAWN, corner_share=0.1, u_tilt_rad=0.02)
LENGTHS = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm")
SCALE = (
    "scale of the reference",
    "height of the axis",
    "focal length",
    "tilt of the camera",
    "lens distortion",
)


@pytest.fixture(scope="module")
def shape():
    return drawn_shape()


def with_camera(shape, **known):
    return replace(shape, frame=replace(shape.frame, camera=replace(shape.camera, **known)))


def line(shape, source, place=PLACE):
    return next(x for x in budget(shape, place) if x.source == source)


def contribution(shape, source, quantity, place=PLACE):
    return line(shape, source, place).contributions[quantity]


def change(shape, camera, height_mm, quantity):
    again = remeasure(shape, camera, height_mm, 0.0)
    return values(again)[quantity] - values(shape)[quantity]


def test_the_budget_has_these_lines_and_no_other(shape):
    plain = [
        *SCALE,
        "inclination of the part",
        "edge and rim",
        "light beside the part",
        "rim along the thread",
        "ridges at the ends",
        "view along the thread",
        "blur in the roots",
        "edge noise",
        "form of the model",
    ]
    assert [x.source for x in budget(shape, PLACE)] == plain
    odd = budget(replace(shape, nearness=1.0, bend_deg=1.0, swept_mm=0.1), PLACE)
    assert {x.source for x in odd} - set(plain) == {
        "panel close behind the part",
        "bent flanks",
        "motion along the thread",
    }


def test_contributions_stand_in_one_order_in_any_process(shape):
    """Not in that of a set, which is drawn anew with every start: documents keep their bytes."""
    focal = line(shape, "focal length")
    assert list(focal.contributions) == [k for k in values(shape) if k in focal.contributions]


@pytest.mark.parametrize("quantity", LENGTHS)
def test_a_reference_that_is_larger_makes_all_lengths_larger(shape, quantity):
    """The camera then stands higher by the same share of its distance to the reference."""
    camera = shape.camera
    to_reference = camera.distance_mm - HEIGHT + PLACE.rise_mm
    higher = camera.over_plate(camera.distance_mm + to_reference * PLACE.u_scale)
    # The axis is nearer by the rise, so that the same millimetres are a larger share of its depth.
    measured = change(shape, higher, HEIGHT, quantity) * (1 - PLACE.rise_mm / to_reference)
    assert contribution(shape, "scale of the reference", quantity) == pytest.approx(
        measured, rel=0.01
    )


@pytest.mark.parametrize("quantity", LENGTHS)
def test_an_axis_that_is_higher_is_nearer_and_reads_smaller(shape, quantity):
    measured = change(shape, shape.camera, HEIGHT + PLACE.u_rise_mm, quantity)
    assert measured < 0
    assert contribution(shape, "height of the axis", quantity) == pytest.approx(measured, rel=0.01)


@pytest.mark.parametrize("rise_mm", [6.0, -4.0])
@pytest.mark.parametrize("quantity", LENGTHS)
def test_a_longer_focal_length_counts_by_the_rise_and_its_sign(shape, quantity, rise_mm):
    """The reference keeps its millimetres per pixel; the axis over it comes nearer by less."""
    camera, place = shape.camera, replace(PLACE, rise_mm=rise_mm)
    longer = 1 + camera.u_f_px / camera.f_px
    plane = HEIGHT - rise_mm
    moved = replace(
        camera, f_px=camera.f_px * longer, distance_mm=plane + (camera.distance_mm - plane) * longer
    )
    measured = change(shape, moved, HEIGHT, quantity)
    assert np.sign(measured) == np.sign(rise_mm)
    # The contour of a round part stands nearer by r^2 / L, which the term leaves out: an eighth.
    assert contribution(shape, "focal length", quantity, place) == pytest.approx(measured, rel=0.15)


def test_a_focal_length_that_nobody_knows_is_as_many_times_longer_as_shorter(shape):
    """By similar triangles, at a reach of L: lengths grow by (1 - 1 / k) of the rise over L.

    Half of what lies between k = e^u and e^-u; contours stand nearer by r^2 / L, an eighth of it.
    """
    open_ = with_camera(shape, u_f_px=0.5 * shape.camera.f_px)
    share = contribution(open_, "focal length", "pitch_mm") / PITCH
    assert share == pytest.approx(PLACE.rise_mm / (200.0 - HEIGHT) * np.sinh(0.5), rel=0.12)


def test_a_wrong_focal_length_makes_a_taper_off_the_optical_axis():
    """The helix's shadow widens a diameter by (d / 2) T^2 / tan^2 a at a slant T = s / L.

    It grows along the thread by d T / (L tan^2 a), which is undone with the wrong L.
    """
    shape = drawn_shape(off_mm=20.0)
    place = replace(PLACE, rise_mm=0.0)
    u, v = shape.camera.u_f_px / shape.camera.f_px, values(shape)
    assert abs(v["taper"]) < 2e-4
    reach, tan = 200.0 - HEIGHT, np.tan(np.radians(30))
    shadow = v["pitch_diameter_mm"] * (20.0 / reach) / (reach * tan**2)
    told = line(shape, "focal length", place).contributions
    assert abs(told["taper"]) == pytest.approx(2 * u * shadow, rel=0.15)
    diameter = v["pitch_diameter_mm"] * (20.0 / reach) ** 2 / tan**2
    # The contour of a round part is nearer by r^2 / L besides.
    assert abs(told["pitch_diameter_mm"]) == pytest.approx(u * diameter, rel=0.3)


def test_what_the_slope_follows_of_the_focal_length_counts_in_it():
    """End faces show slant and slope together: the longer the lens, the more is slope."""
    shape = drawn_shape(off_mm=20.0)
    fixed, follows = (
        line(shape, "focal length", replace(PLACE, rise_mm=0.0, slope_per_lens=by)).contributions
        for by in (0.0, 0.1)
    )
    lies = replace(PLACE, u_slope_rad=0.1 * shape.camera.u_f_px / shape.camera.f_px)
    slope = line(shape, "inclination of the part", lies).contributions
    assert abs(follows["taper"] - fixed["taper"]) == pytest.approx(abs(slope["taper"]), rel=0.1)


def test_an_axis_rises_with_a_slope_that_follows_the_focal_length(shape):
    """By similar triangles: higher by 15 mm a radian, and so much nearer to the camera."""
    level, rises = (
        line(shape, "focal length", replace(PLACE, slope_per_lens=0.1, height_per_rad=by))
        for by in (0.0, 15.0)
    )
    u = shape.camera.u_f_px / shape.camera.f_px
    for name in LENGTHS:
        share = (rises.contributions[name] - level.contributions[name]) / values(shape)[name]
        assert share == pytest.approx(-15.0 * 0.1 * u / (200.0 - HEIGHT), rel=0.01)


def test_a_scale_that_goes_with_the_focal_length_counts_in_it(shape):
    """A pin far off the middle is seen aslant: its width tells another scale."""
    plain = line(shape, "focal length").contributions
    goes = line(shape, "focal length", replace(PLACE, scale_per_lens=-0.06)).contributions
    u = shape.camera.u_f_px / shape.camera.f_px
    # The plane of the reference is farther away than the thread by the rise.
    reach = 200.0 - HEIGHT
    grown = 1 + PLACE.rise_mm / reach
    for name in LENGTHS:
        share = (goes[name] - plain[name]) / values(shape)[name]
        assert share == pytest.approx(-0.06 * u * grown, rel=0.05)


def recentred(shape, u_px):
    """Return a place whose principal point may lie aside by so much, the axis along x."""
    off = [[np.array(d) * u_px * s for s in (1.0, -1.0)] for d in ([1.0, 0.0], [0.0, 1.0])]
    return replace(
        PLACE, recentred=tuple(tuple(shape.camera.recentred(o) for o in pair) for pair in off)
    )


def larger_way(shape, source, place):
    """Return the larger change of the two ways: what goes with the place, and with its square."""
    straight, square = (line(shape, source + x, place).contributions for x in ("", ", either way"))
    even = {k: v / np.sqrt(3) for k, v in square.items()}
    return {k: even[k] + np.copysign(straight[k], even[k]) for k in even}


def test_the_principal_point_correlates_what_it_moves_together(shape):
    """Taper goes with its place along the axis, a diameter's shadow with the place's square."""
    place = recentred(shape, 300.0)
    now = values(shape)
    one, other = (values(remeasure(shape, c, HEIGHT, 0.0)) for c in place.recentred[0])
    straight = line(shape, "principal point along", place).contributions
    square = line(shape, "principal point along, either way", place).contributions
    for name in now:
        assert now[name] + straight[name] + square[name] / np.sqrt(3) == pytest.approx(one[name])
        assert now[name] - straight[name] + square[name] / np.sqrt(3) == pytest.approx(other[name])


def test_a_round_part_off_the_optical_axis_is_drawn_wider_by_the_secant(shape):
    """By construction: tangents from the pinhole at an angle t span the diameter over cos t."""
    u_px, f_px = 300.0, shape.camera.f_px
    here = shape.camera.project(shape.frame.origin) - shape.camera.centre_px
    now, off = (np.cos(np.arctan((abs(here[1]) + by) / f_px)) for by in (0.0, u_px))
    place = recentred(shape, u_px)
    across = larger_way(shape, "principal point across", place)
    for name in ("major_mm", "pitch_diameter_mm", "minor_mm"):
        assert across[name] / values(shape)[name] == pytest.approx(off / now - 1, rel=0.05)
    assert abs(across["pitch_mm"]) < 1e-3 * PITCH


def test_a_part_before_or_behind_the_optical_axis_has_a_helix_s_shadow(shape):
    """The shadow widens a diameter by (d / 2) T^2 / tan^2 a, wherever the middle really was."""
    u_px, f_px = 300.0, shape.camera.f_px
    here = abs(float((shape.camera.project(shape.frame.origin) - shape.camera.centre_px)[0]))
    along = larger_way(shape, "principal point along", recentred(shape, u_px))
    by = ((here + u_px) ** 2 - here**2) / f_px**2 / (2 * np.tan(np.radians(30)) ** 2)
    assert along["pitch_diameter_mm"] == pytest.approx(
        -by * values(shape)["pitch_diameter_mm"], rel=0.1
    )


def test_a_known_principal_point_has_no_line(shape):
    assert not any("principal" in x.source for x in budget(shape, PLACE))


@pytest.mark.parametrize("quantity", LENGTHS)
def test_a_tilted_camera_is_nearer_to_what_lies_apart_from_the_reference(shape, quantity):
    """Turn the plate about a line along the thread through a reference beside it."""
    camera, u = shape.camera, PLACE.u_tilt_rad
    height = HEIGHT - PLACE.rise_mm
    here = camera.on_plane(camera.project(shape.frame.origin)[None], height)[0]
    beside = here + np.array([0.0, PLACE.apart_mm, 0.0])
    turned = camera.tilted(np.array([0.0, -np.sin(u), np.cos(u)]), u)
    turned = turned.over_plate(float(np.array(turned.normal) @ beside) + height)
    measured = abs(change(shape, turned, HEIGHT, quantity))
    assert abs(contribution(shape, "tilt of the camera", quantity)) == pytest.approx(
        measured, rel=0.05
    )


def moved_length(share, cos2, corner_shift):
    """Return how much longer a short length is seen at a share of the corner's radius.

    ``cos2`` is the square of the cosine between it and the radius. A radial distortion that moves
    the corner by ``corner_shift`` of its distance is applied to its ends.
    """
    way = np.array([np.sqrt(cos2), np.sqrt(1 - cos2)]) * 1e-4
    ends = np.array([share, 0.0]) + np.array([-way, way])
    seen = ends * (1 + corner_shift * np.sum(ends**2, axis=1, keepdims=True))
    return float(np.hypot(*(seen[1] - seen[0])) / 2e-4) - 1


@pytest.mark.parametrize("corner_shift", [U_CORNER, U_CORNER_PROFILE])
@pytest.mark.parametrize("radial", [0.0, 0.3, 1.0])
def test_distortion_counts_by_its_scale_here_and_at_the_reference(shape, corner_shift, radial):
    # A pin that points away from the middle: its width is read across the radius.
    place = replace(PLACE, corner_share=0.5, radial=radial, bent_reference=1.0)
    shape, v = with_camera(shape, u_corner=corner_shift), values(shape)
    there = moved_length(place.corner_share_reference, 0.0, corner_shift)
    for name, cos2 in (("pitch_mm", radial), ("major_mm", 1 - radial)):
        seen = moved_length(0.5, cos2, corner_shift) - there
        relative = contribution(shape, "lens distortion", name, place) / v[name]
        assert relative == pytest.approx(seen, rel=0.02, abs=1e-5), name
    # A tilt that the reference tells with it, which makes 0.3 of the scale of a displacement of 1.
    leans = replace(place, bent_tilt=0.3)
    more = contribution(shape, "lens distortion", "major_mm", place) - contribution(
        shape, "lens distortion", "major_mm", leans
    )
    assert more == pytest.approx(0.3 * corner_shift * v["major_mm"])
    on_axis = replace(place, scale_on_axis=True)
    ratio = moved_length(0.5, radial, corner_shift) - moved_length(0.5, 1 - radial, corner_shift)
    relative = contribution(shape, "lens distortion", "pitch_mm", on_axis) / v["pitch_mm"]
    assert relative == pytest.approx(ratio, rel=0.02, abs=1e-5)
    assert contribution(shape, "lens distortion", "major_mm", on_axis) == 0.0


def test_from_crests_of_another_thread_the_way_to_them_counts(shape):
    """Depth by similar triangles, the lens's scale at both places, and the slope over the lever."""
    bare = replace(PLACE, scale_on_axis=True, corner_share=0.4, radial=0.0)
    beside = replace(bare, u_beside_mm=2.0, bent_read=0.05)
    v, k = values(shape), shape.camera.u_corner
    nearer = HEIGHT + 2.0
    expected = change(shape, shape.camera, nearer, "major_mm")
    told = contribution(shape, "height of the axis", "major_mm", beside)
    assert told == pytest.approx(expected, rel=0.03)
    assert "height of the axis" not in {x.source for x in budget(shape, bare)}
    # Across the radius the pitch is read along it: by k c^2 here, by 0.05 k where crests were read.
    bends = contribution(shape, "lens distortion", "major_mm", beside) / v["major_mm"]
    assert bends == pytest.approx(k * (3 * 0.4**2 - 0.05))
    # 30 mm away along the axis its inclination's u makes as much of the scale as a height does.
    lever = replace(bare, lever_mm=30.0, slope_rad=0.0, u_slope_rad=0.01)
    level = replace(lever, lever_mm=0.0)
    by = [contribution(shape, "inclination of the part", "major_mm", p) for p in (lever, level)]
    rises = change(shape, shape.camera, HEIGHT + 0.3, "major_mm")
    assert by[0] - by[1] == pytest.approx(rises, rel=0.05)


def test_the_scale_s_own_lines_are_marked_and_no_other(shape):
    lines = budget(replace(shape, nearness=1.0), PLACE)
    assert tuple(x.source for x in lines if x.of_scale) == SCALE


@pytest.mark.parametrize("place", [PLACE, replace(PLACE, scale_on_axis=True)])
def test_the_scale_s_u_is_that_of_its_own_lines(shape, place):
    """By trial: every input of the scale drawn, and the pitch that follows."""
    sources = SCALE if not place.scale_on_axis else (SCALE[0], SCALE[4])
    rng = np.random.default_rng(7)
    share = sum(
        rng.normal(size=100_000) * contribution(shape, s, "pitch_mm", place) / PITCH
        for s in sources
    )
    u = relative_u_scale(budget(shape, place), values(shape)["pitch_mm"])
    assert u == pytest.approx(np.std(share), rel=0.01)


def test_a_part_that_lies_inclined_in_fact_reads_as_the_budget_says(shape):
    """Drawn inclined by the term's u, measured as level.

    To first order a cylinder's far end is smaller by D / L sin phi per length, and the flanks'
    contour, unfolded as if level, stands farther out there by D / L sin phi / tan^2 a.
    """
    u, now = np.radians(1.2), values(shape)
    ways = [values(drawn_shape(incline_rad=way)) for way in (u, -u)]
    seen = {k: max(abs(way[k] - now[k]) for way in ways) for k in NAMING_QUANTITIES}
    far_end = values(shape)["pitch_diameter_mm"] / (200.0 - HEIGHT) * np.sin(u)
    by_formula = far_end * (1 / np.tan(np.radians(30)) ** 2 - 1)
    assert seen["taper"] == pytest.approx(by_formula, rel=0.1)
    stated = line(shape, "inclination of the part").contributions
    for name in ("taper", "pitch_mm", "pitch_diameter_mm"):
        assert abs(stated[name]) == pytest.approx(seen[name], rel=0.03), name


def test_what_goes_evenly_with_the_inclination_has_the_signs_of_more_of_it(shape):
    """Both ways change it by as much: all signs must be of one way, or correlations are chance."""
    place = replace(PLACE, height_per_rad=15.0)
    more, less = (
        values(remeasure(shape, shape.camera, *inclined(place, sign))) for sign in (1.0, -1.0)
    )
    now, stated = values(shape), line(shape, "inclination of the part", place).contributions
    for k in ("major_mm", "minor_mm", "taper"):
        assert more[k] - now[k] == pytest.approx(now[k] - less[k], rel=0.005), k
        assert stated[k] == pytest.approx(more[k] - now[k]), k


@pytest.mark.parametrize("lever_mm", [15.0, -15.0])
def test_an_inclined_axis_lies_higher_away_from_what_the_part_rests_on(shape, lever_mm):
    """Drawn inclined and lifted by the lever's end, measured as level; with the scale from the
    thread's own crests a lift is no error."""
    u = 0.02
    place = replace(PLACE, u_slope_rad=u, height_per_rad=lever_mm)
    ways = [
        values(drawn_shape(incline_rad=way, lift_mm=lever_mm * way))["pitch_diameter_mm"]
        for way in (u, -u)
    ]
    seen = max(abs(way - values(shape)["pitch_diameter_mm"]) for way in ways)
    assert seen > 0.8 * 15.0 * u / 191.0 * 13.0
    name = "inclination of the part"
    stated = abs(contribution(shape, name, "pitch_diameter_mm", place))
    assert stated == pytest.approx(seen, rel=0.05)
    own, level = replace(place, scale_on_axis=True), replace(place, height_per_rad=0.0)
    without = abs(contribution(shape, name, "pitch_diameter_mm", level))
    assert abs(contribution(shape, name, "pitch_diameter_mm", own)) == without < 0.8 * stated


def test_edges_that_lie_out_together_move_the_diameters(shape):
    out_mm = float(np.hypot(0.18, 0.05)) * shape.mm_per_px
    moved = values(with_edges_moved(shape, np.full(len(shape.flanks.xy), out_mm)))
    seen = moved["pitch_diameter_mm"] - values(shape)["pitch_diameter_mm"]
    stated = line(shape, "edge and rim").contributions
    assert stated["pitch_diameter_mm"] == pytest.approx(seen, rel=0.03)
    # A crest moves out by as much as its flanks, of which it shares blur and metal in part; a root
    # lies between both flanks and goes out with them.
    assert 0.5 * 2 * out_mm < stated["major_mm"] < 2 * out_mm
    assert 2 * out_mm < stated["minor_mm"] < seen
    # Judgement: seven tenths of the shift, and six of what the flanks' diameter moves.
    assert stated["major_mm"] == pytest.approx(0.7 * 2 * out_mm)
    assert stated["minor_mm"] == pytest.approx(0.6 * seen, rel=0.03)
    assert "pitch_mm" not in stated and "angle_deg" not in stated


def test_the_light_beside_the_part_moves_crests_and_roots_together(shape):
    """Both radii of a diameter are read by one level; flanks are fitted with it."""
    beside = line(shape, "light beside the part")
    assert beside.contributions == pytest.approx(
        {"major_mm": 2 * CREST_BY_LIGHT_MM * U_BESIDE, "minor_mm": 2 * ROOT_BY_LIGHT_MM * U_BESIDE}
    )
    assert beside.correlated and not beside.of_scale
    one_root = replace(shape, roots=shape.roots[:1])
    assert "minor_mm" not in line(one_root, "light beside the part").contributions


def test_edges_that_differ_along_the_thread_scatter_pitch_and_taper(shape):
    """Draw a shift for each half of each flank; how it rises up a flank is the angle's.

    Halves placed by one model do not differ as if drawn independently: the term takes a share.
    """
    flanks, rng = shape.flanks, np.random.default_rng(11)
    z = shape.frame.from_photo(flanks.xy)[:, 0]
    one_mm = float(np.hypot(0.18 * 0.6, 0.05)) * shape.mm_per_px
    group = ((flanks.side > 0) * 4 + (flanks.flank > 0) * 2 + (z > 0)).astype(int)
    drawn = []
    for _ in range(150):
        moved = values(with_edges_moved(shape, rng.normal(0, one_mm, 8)[group]))
        drawn.append([moved[k] for k in ("pitch_mm", "taper")])
    stated = line(shape, "rim along the thread").contributions
    assert "angle_deg" not in stated
    for name, scatter in zip(("pitch_mm", "taper"), np.std(drawn, axis=0), strict=True):
        assert 0.2 * scatter < stated[name] < 0.33 * scatter, name
    assert stated["pitch_mm"] > 0 and stated["taper"] > 0
    # An edge out by e along its normal is out by e / cos a along the axis, by e / sin a from it.
    along, out = stated["pitch_mm"] / PITCH, stated["taper"] / 2
    assert along / out == pytest.approx(np.tan(np.radians(30)), rel=0.01)


def test_an_end_ridge_that_stands_off_turns_the_taper(shape):
    """Both flanks of the last ridge of one side out by a share of the pitch, as a run-out does.

    Of one flank the term takes what the line of its side turns; two turn it twice as far.
    """
    p, fit = shape.section.points, shape.section.fit
    last = (p.side > 0) & (p.ridge == p.ridge[p.side > 0].max())
    assert len(set(p.flank[last])) == 2
    off = 0.01 * shape.pitch_mm
    z = np.where(last, p.z + p.flank * np.mean(fit.tan_half) * off, p.z)
    again = fit_flanks(replace(p, z=z), tan_guess=np.array(fit.tan_half), use=fit.used, rounds=1)
    moved = abs(again.taper - fit.taper) / 2
    stated = contribution(shape, "ridges at the ends", "taper") * 0.01 / edges_term.END_RIDGE
    assert 0.7 * moved < stated < 1.5 * moved


def test_a_near_panel_leaves_the_taper_of_short_threads_open(shape):
    near = replace(shape, nearness=1.0)
    ends = contribution(near, "ridges at the ends", "taper")
    panel = contribution(near, "panel close behind the part", "taper")
    assert panel == pytest.approx(ends * edges_term.END_RIDGE_NEAR / edges_term.END_RIDGE)
    half = replace(near, span_mm=tuple(x / 2 for x in near.span_mm))
    assert contribution(half, "ridges at the ends", "taper") == pytest.approx(4 * ends)
    # Less than a turn has the flanks of one.
    one, less = (replace(near, span_mm=(0.0, k * PITCH)) for k in (1.0, 0.3))
    assert contribution(less, "ridges at the ends", "taper") == pytest.approx(
        contribution(one, "ridges at the ends", "taper")
    )


def test_a_radius_that_is_no_number_is_no_diameter(shape):
    lost = replace(shape, roots=tuple(replace(t, radius_mm=float("nan")) for t in shape.roots))
    assert set(values(lost)) == set(values(shape)) - {"minor_mm"}


def test_a_near_panel_leaves_the_diameters_by_the_photos_pixels(shape):
    """Edges are traced by pixels: what that leaves of a diameter is as many, however coarse."""
    panel = contributions_near(shape)
    told = [panel[k] / shape.mm_per_px for k in LENGTHS[1:]]
    assert told == pytest.approx([0.15, 0.25, 0.45])
    assert panel["pitch_mm"] == pytest.approx(0.0004 * PITCH, rel=1e-3)
    # With half the focal length the same thread has half the pixels.
    shorter = with_camera(shape, f_px=shape.camera.f_px / 2)
    coarse = contributions_near(shorter)
    assert [coarse[k] / panel[k] for k in LENGTHS[1:]] == pytest.approx([2.0] * 3)


def contributions_near(shape):
    """What a panel right behind a shape contributes."""
    return line(replace(shape, nearness=1.0), "panel close behind the part").contributions


def test_a_view_along_the_thread_opens_the_angle_of_rounded_crests():
    """A Whitworth thread's exact contour, seen so far aslant that crests pass for flanks."""
    seen = drawn_shape(whitworth_profile(25.4 / 16, 12.7), pitch=25.4 / 16, off_mm=30.0)
    # With the scatter that edges of a photo have: of exact ones the fit leaves out the crests.
    noise = np.random.default_rng(1).normal(0, 0.003, len(seen.flanks.xy))
    error = values(with_edges_moved(seen, noise))["angle_deg"] - 55.0
    assert error > 2.0
    wide = contribution(replace(seen, straight=False), "view along the thread", "angle_deg")
    assert 0.5 * wide < error < 1.1 * wide


def test_the_view_along_the_thread_counts_with_the_slant_s_square(shape):
    def seen(off_mm, straight, quantity):
        z, y, x = shape.section.pinhole(shape.frame)
        at = replace(shape, span_mm=(z - off_mm - 4, z - off_mm + 4), straight=straight)
        return contribution(at, "view along the thread", quantity)

    at = 0.136 * float(shape.section.pinhole(shape.frame)[2])
    assert seen(at, False, "angle_deg") == pytest.approx(3.2)
    assert seen(at, True, "angle_deg") == pytest.approx(0.04 * 3.2)
    assert seen(at, False, "pitch_diameter_mm") == pytest.approx(0.03 * PITCH, rel=1e-4)
    assert seen(at, True, "pitch_diameter_mm") == pytest.approx(0.03 / 8 * PITCH, rel=1e-4)
    assert seen(2 * at, True, "angle_deg") == pytest.approx(4 * 0.04 * 3.2)
    assert seen(0.0, False, "angle_deg") < 1e-12


def test_flanks_that_are_seen_too_far_out_meet_so_much_higher():
    """By construction: where flanks are seen d too far out, they meet d higher."""
    pitch, off_mm = 25.4 / 16, 12.0
    seen = drawn_shape(whitworth_profile(pitch, 12.7), pitch=pitch, off_mm=off_mm)
    fit, reach = seen.section.fit, 200.0 - HEIGHT
    out = {}
    for side in (1.0, -1.0):
        lean = pitch / (2 * np.pi * fit.pitch_radius_mm)
        tan = abs(seen.slant * np.sign(seen.section.pinhole(seen.frame)[0]) - side * lean)
        out[side] = fit.pitch_radius_mm * tan**2 / (2 * np.tan(np.radians(27.5)) ** 2)
        assert seen.section.covered_mm(seen.frame, side) == pytest.approx(out[side], rel=0.02)
    assert max(out.values()) > 3 * min(out.values()) and seen.slant > 0.8 * off_mm / reach


def with_roots_over(shape, blurs):
    """The shape with roots that end so many blurs over the point of their flanks, as seen."""
    fit = shape.section.fit
    point = fit.pitch_radius_mm - fit.pitch_mm / 2 / sum(fit.tan_half)
    roots = tuple(
        replace(t, radius_mm=point + shape.section.covered_mm(shape.frame, t.side) + over)
        for t, over in zip(shape.roots, (blurs * shape.blur_mm, -1.0), strict=True)
    )
    return replace(shape, roots=roots)


def test_roots_are_open_by_the_blur_unless_one_side_shows_them(shape):
    """A groove's form goes by the blurs that its root ends over the point."""
    at_point, between, seen = (
        line(with_roots_over(shape, blurs), "blur in the roots").contributions["minor_mm"]
        for blurs in (0.0, 2.0, 4.0)
    )
    # Both sides are open alike, each by 0.6 of the blur.
    assert at_point == pytest.approx(1.2 * shape.blur_mm)
    assert between == pytest.approx(at_point / np.e)
    assert seen < 0.01 * shape.blur_mm
    # A root is not the better seen for lying behind its flanks.
    behind = line(with_roots_over(shape, -4.0), "blur in the roots").contributions["minor_mm"]
    assert behind == pytest.approx(at_point)
    wider = with_roots_over(replace(shape, blur_mm=2 * shape.blur_mm), 2.0)
    assert line(wider, "blur in the roots").contributions["minor_mm"] == pytest.approx(2 * between)
    assert budget_without_roots(shape) is None
    # And by all that describes the light as well.
    open_ = with_roots_over(shape, 4.0)
    open_ = replace(open_, roots=tuple(replace(t, hidden_mm=0.03) for t in open_.roots))
    told = line(open_, "blur in the roots").contributions["minor_mm"]
    assert told == pytest.approx(0.03 * np.sqrt(2), rel=0.01)


def budget_without_roots(shape):
    """The term of a thread whose roots were not found."""
    return edges_term.blurred_roots(replace(shape, roots=()), PLACE)


def test_a_motion_leaves_the_edges_open_by_a_share_of_it(shape):
    """All edges out by that share: flanks measured again say what it makes of their diameter."""
    swept = 0.1
    stated = line(replace(shape, swept_mm=swept), "motion along the thread").contributions
    out = np.full(len(shape.flanks.side), edges_term.U_SWEPT * swept)
    again = values(with_edges_moved(shape, out))["pitch_diameter_mm"]
    pitch_diameter = stated["pitch_diameter_mm"]
    assert pitch_diameter == pytest.approx(again - values(shape)["pitch_diameter_mm"], rel=0.02)
    # Crests move with the flanks by 0.7 of that edge, roots by 0.6 of their diameter.
    assert stated["major_mm"] == pytest.approx(0.7 * 2 * edges_term.U_SWEPT * swept)
    assert stated["minor_mm"] == pytest.approx(0.6 * pitch_diameter)
    assert edges_term.motion(shape, PLACE) is None


def test_bent_flanks_leave_open_what_lies_between_their_halves(shape):
    """Evenly spread between both halves' angles, with the fit in the middle: root 12."""
    spread = np.std(np.linspace(-1.0, 1.0, 2001))
    for bend_deg in (2.0, -2.0):
        stated = line(replace(shape, bend_deg=bend_deg), "bent flanks").contributions
        assert stated == pytest.approx({"angle_deg": spread}, rel=1e-3)


def test_what_is_open_of_an_edge_s_rise_up_each_flank_turns_it(shape):
    """Move each flank's points by a rise of its own: the scatter of the angle is what is stated."""
    rng = np.random.default_rng(3)
    u_px = 0.1
    edges = tuple(replace(e, u_by_height_px=u_px) for e in shape.edges)
    stated = line(replace(shape, edges=edges), "bent flanks").contributions["angle_deg"]
    f = shape.flanks
    group = 2 * (f.side > 0) + (f.flank > 0)
    off = []
    for _ in range(12):
        rises = rng.normal(0, u_px * shape.mm_per_px, 4)
        moved = with_edges_moved(shape, rises[group] * (f.height - f.height.mean()))
        off.append(values(moved)["angle_deg"] - values(shape)["angle_deg"])
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(stated, rel=0.35)
    assert "bent flanks" not in {x.source for x in budget(shape, PLACE)}


@pytest.mark.parametrize(("of_few", "share"), [(0.9, 1.0), (1.0, 1.0), (2.0, 1 / 8)])
def test_mirrored_light_turns_the_flanks_of_few_pixels_together(shape, monkeypatch, of_few, share):
    """Move all flanks' points by the rise that is left open: the angle's change is what is stated.

    ``of_few`` is the thread's pixels a pitch over those that are few.
    """
    monkeypatch.setattr(edges_term, "FEW_PX", shape.pitch_mm / shape.mm_per_px / of_few)
    u_px = 0.2
    edges = tuple(replace(e, u_by_height_px=u_px) for e in shape.edges)
    stated = line(replace(shape, edges=edges), "light on the flanks").contributions
    assert set(stated) == {"angle_deg"}
    rise_mm = 1.25 * share * np.sqrt(u_px**2 - 0.07**2) * shape.mm_per_px
    height = shape.flanks.height - shape.flanks.height.mean()
    moved = with_edges_moved(shape, rise_mm * height)
    off = values(moved)["angle_deg"] - values(shape)["angle_deg"]
    assert abs(off) == pytest.approx(stated["angle_deg"], rel=0.25)


def test_flanks_that_are_known_as_black_ones_are_have_no_light_on_them(shape):
    black = replace(shape, edges=tuple(replace(e, u_by_height_px=0.07) for e in shape.edges))
    assert "light on the flanks" not in {x.source for x in budget(black, PLACE)}


def test_a_panel_close_behind_leaves_each_quantity_open_by_itself(shape):
    near = line(replace(shape, nearness=1.0), "panel close behind the part")
    assert near.contributions["pitch_mm"] == pytest.approx(0.0004 * PITCH, rel=1e-3)
    assert not near.correlated
    half = line(replace(shape, nearness=0.5), "panel close behind the part")
    assert half.contributions["minor_mm"] == pytest.approx(near.contributions["minor_mm"] / 2)
    plain, before = combined(budget(shape, PLACE))
    wide, correlation = combined(budget(replace(shape, nearness=1.0), PLACE))
    for k in NAMING_QUANTITIES:
        assert wide[k] == pytest.approx(np.hypot(plain[k], near.contributions.get(k, 0.0)))
    pair = ("angle_deg", "taper")
    assert abs(correlation[pair]) < abs(before[pair])


def flank_numbers(flanks):
    each = np.stack([flanks.side, flanks.flank, flanks.ridge], axis=1)
    return np.unique(each, axis=0, return_inverse=True)[1].ravel()


@pytest.mark.parametrize("seed", range(6))
def test_flanks_under_dirt_draw_no_fit_with_them(shape, seed):
    """A fifth of the flanks lie off by 0.05 to 0.15 mm, all to the outside; noise as in photos."""
    flanks, rng = shape.flanks, np.random.default_rng(seed)
    group = flank_numbers(flanks)
    dirty = rng.permutation(group.max() + 1) < 5
    out = np.where(dirty, rng.uniform(0.05, 0.15, len(dirty)), 0.0)[group]
    out *= 0.3 + flanks.height  # a grain covers more of a flank's upper part
    fit = with_edges_moved(shape, out + rng.normal(0, 0.003, len(out))).section.fit
    assert fit.angle_deg == pytest.approx(60.0, abs=0.6)
    assert fit.taper == pytest.approx(0.0, abs=0.002)
    assert fit.used[dirty[group]].mean() < 0.2


FITTED = ["pitch_mm", "pitch_diameter_mm", "angle_deg", "taper"]
NOISE = [("points", k) for k in FITTED] + [
    ("flanks moved", "pitch_mm"),
    ("flanks moved", "pitch_diameter_mm"),
    ("flanks moved", "taper"),
    ("flanks turned", "angle_deg"),
]


@pytest.mark.parametrize("kind, quantity", NOISE)
def test_noise_is_what_a_trial_gives(kind, quantity):
    """Scatter of fits to drawn noise: of each point by itself, or of whole flanks, as dirt and
    wear make it, which the points of one flank share."""
    scatter, stated = noise_trial(kind)
    k = list(NAMING_QUANTITIES).index(quantity)
    assert stated[quantity] == pytest.approx(scatter[k], rel=0.2)


@functools.cache
def noise_trial(kind):
    shape = drawn_shape()
    flanks, rng = shape.flanks, np.random.default_rng(5)
    group = flank_numbers(flanks)
    up = (flanks.height - flanks.height.mean()) / np.std(flanks.height)
    drawn, told = [], []
    for _ in range(150):
        moved = {
            "points": lambda: 0.0,
            "flanks moved": lambda: rng.normal(0, 0.004, group.max() + 1)[group],
            "flanks turned": lambda: rng.normal(0, 0.004, group.max() + 1)[group] * up,
        }[kind]()
        noisy = with_edges_moved(shape, moved + rng.normal(0, 0.003, len(up)))
        drawn.append([values(noisy)[k] for k in NAMING_QUANTITIES])
        told.append(line(noisy, "edge noise").contributions)
    # Variances, not their roots, are what an estimate of few flanks hits on average.
    rms = {k: np.sqrt(np.mean([t[k] ** 2 for t in told])) for k in FITTED}
    return np.std(drawn, axis=0), rms


def test_crests_and_roots_of_both_sides_add_up(shape):
    """A diameter is the sum of two radii, each with its own u."""
    noise = line(shape, "edge noise")
    assert noise.contributions["major_mm"] == pytest.approx(U_CREST_MM * np.sqrt(2))
    assert noise.contributions["minor_mm"] == pytest.approx(U_ROOT_MM * np.sqrt(2))
    assert (noise.kind, noise.correlated) == ("A", False)
    p, used = shape.section.points, shape.section.fit.used
    whole = set(zip(p.side[used], p.flank[used], p.ridge[used], strict=True))
    assert noise.degrees_of_freedom == len(whole) - 1
    one_side = replace(shape, tips=shape.tips[:1])
    assert "major_mm" not in line(one_side, "edge noise").contributions


def test_the_form_s_floor_stands_below_every_quantity(shape):
    form = line(shape, "form of the model")
    assert set(form.contributions) == set(NAMING_QUANTITIES)
    assert all(u > 0 for u in form.contributions.values()) and not form.correlated
    assert form.contributions["pitch_mm"] == pytest.approx(0.0002 * PITCH, rel=1e-3)
    # Crests and roots are forms drawn on the pitch: a finer thread of that form is surer.
    lengths = [form.contributions[k] / PITCH for k in LENGTHS[1:]]
    assert lengths == pytest.approx([0.005, 0.003, 0.005], rel=1e-3)
    u, _ = combined(budget(shape, PLACE))
    assert all(u[k] > form.contributions[k] for k in NAMING_QUANTITIES)


def test_a_flank_of_which_less_is_seen_is_turned_the_more(shape):
    """Half of every flank: the same shift along it turns it twice as much; one side may tell."""
    whole = 1 / edges_term.flank_px(shape)
    points, fit = shape.section.points, shape.section.fit
    middle = np.median(points.r)

    def only(keep):
        section = replace(shape.section, fit=replace(fit, used=fit.used & keep))
        return 1 / edges_term.flank_px(replace(shape, section=section))

    assert only(points.r > middle) == pytest.approx(2 * whole, rel=0.1)
    # One side alone: its two flanks are not averaged with the other's.
    assert only(points.side > 0) == pytest.approx(np.sqrt(2) * whole, rel=0.05)
    # A side that shows little counts little.
    assert only((points.side > 0) | (points.r > np.percentile(points.r, 85))) < 1.45 * whole


def test_own_crests_as_scale_leave_what_a_lens_stretches_along_more_than_across(shape):
    """r (1 + k r^2) stretches by 1 + 3 k r^2 along the radius and by 1 + k r^2 across it.

    A thread that lies at an angle f to the radius then has a pitch that is off against its own
    diameter by 2 k r^2 cos 2f; here at a fifth of the way to the corner.
    """
    k = shape.camera.u_corner
    for angle in np.radians([0.0, 20.0, 45.0, 70.0, 90.0]):
        place = replace(
            PLACE, scale_on_axis=True, corner_share=0.2, radial=float(np.cos(angle) ** 2)
        )
        share = contribution(shape, "lens distortion", "pitch_mm", place) / shape.pitch_mm
        assert share == pytest.approx(2 * k * 0.2**2 * np.cos(2 * angle), abs=1e-9)


def test_a_tapers_flank_is_as_long_as_that_of_a_parallel_thread(shape):
    """1:16 over ten pitches is as much as the flank's height: it must not pass for flank."""
    plain, section = flank_px(shape), shape.section
    points = replace(section.points, r=section.points.r + section.points.z / 32)
    fit = replace(section.fit, taper=section.fit.taper + 1 / 16)
    tapered = replace(shape, section=replace(section, points=points, fit=fit))
    assert flank_px(tapered) == pytest.approx(plain, rel=1e-6)
    # Of ISO 68-1's flank, 5/8 H high, no more is seen than there is.
    whole = 5 / 8 * np.sqrt(3) / 2 * PITCH / np.cos(np.radians(30)) / shape.mm_per_px
    assert 0.4 * whole < plain < whole
