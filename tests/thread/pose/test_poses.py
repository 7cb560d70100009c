"""How a part lies, by statics and Bayes's rule: cylinders, cones and heads worked by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm
from shapely import MultiPoint

from pitchcam.camera.held import known
from pitchcam.camera.pinhole import Camera
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.end_face import Face
from pitchcam.pipeline.pose_report import ASLANT_DEG, lies_aslant, part_pose
from pitchcam.thread.pose.drift import TAPERS, ThreadSight
from pitchcam.thread.pose.height import Rest, Roll, turned
from pitchcam.thread.pose.hull import PartRadii, falls
from pitchcam.thread.pose.laid import _told
from pitchcam.thread.pose.records import GRID, U_INCLINE_RAD, UNKNOWN, Pose, normal
from pitchcam.thread.pose.rest import (
    FALLEN,
    HELD,
    KNOWN_LENS,
    LEVEL,
    U_LENS,
    UNEVEN,
    Seen,
    lens_is_open,
    posterior,
    prior,
    sight,
)

Z = np.linspace(-20.0, 20.0, 401)
CAMERA = Camera(
    f_px=3000.0, u_f_px=30.0, centre_px=(2000.0, 1500.0), distance_mm=200.0, u_tilt_rad=1e-5
)
AXIS = ImageAxis(point_px=(2000.0, 1500.0), direction=(1.0, 0.0))


def round_part(r: np.ndarray | float, z: np.ndarray = Z) -> PartRadii:
    r = np.broadcast_to(np.asarray(r, float), z.shape).copy()
    return PartRadii(z_mm=z, seen_mm=r, rests_mm=r)


def told(deg: float, u_deg: float, lens=(0.0,)) -> Seen:
    """A picture that shows one angle between axis and picture."""
    log = np.tile(-0.5 * ((GRID - deg) / u_deg) ** 2, (len(lens), 1))
    return Seen(lens=np.array(lens), log=log)


def test_angles_are_weighed_in_even_steps_to_both_sides() -> None:
    assert pytest.approx(-GRID[::-1]) == GRID
    assert np.diff(GRID) == pytest.approx(np.full(len(GRID) - 1, 0.1))


@pytest.mark.parametrize("u", [0.3, 2.0])
def test_the_density_is_scipys(u: float) -> None:
    assert normal(GRID - 1.5, u) == pytest.approx(norm.pdf(GRID, 1.5, u))


@pytest.mark.parametrize("deg", [0.0, 4.0, -10.0])
def test_a_cylinder_inclined_touches_with_its_lower_end(deg: float) -> None:
    """r cos a + (l / 2) sin |a| over the plate in its middle."""
    a = math.radians(deg)
    expected = 5 * math.cos(a) + 20 * math.sin(abs(a))
    assert round_part(5.0).axis_height_mm(a) == pytest.approx(expected)


def test_heights_of_many_inclinations_are_each_its_own() -> None:
    part = round_part(5 + 0.05 * Z)
    many = part.axis_height_mm(np.radians(GRID))
    assert many.shape == GRID.shape
    for i in (0, 100, 220, 300, 440):
        assert many[i] == pytest.approx(float(part.axis_height_mm(math.radians(GRID[i]))))


def test_a_cone_lies_on_its_side() -> None:
    """Its axis falls toward the thin end by half the cone's angle."""
    part = round_part(5 + 0.05 * Z)
    (fall,) = falls(part)
    assert math.tan(fall.incline_rad) == pytest.approx(0.05, rel=1e-6)
    assert fall.probability == pytest.approx(1.0, abs=0.01)
    assert part.axis_height_mm(fall.incline_rad) == pytest.approx(5 * math.cos(fall.incline_rad))


def test_a_part_turned_end_for_end_falls_the_other_way() -> None:
    r = np.where(Z < 0, 9.0, 5.0)
    one, other = falls(round_part(r)), falls(round_part(r[::-1]))
    assert sorted(f.incline_rad for f in one) == pytest.approx(
        sorted(-f.incline_rad for f in other)
    )
    assert sum(f.probability for f in one) == pytest.approx(sum(f.probability for f in other))


def test_all_ways_to_fall_make_one() -> None:
    for r in (np.where(Z < -5, 9.0, 5.0), 5 + 0.02 * np.abs(Z), np.full_like(Z, 4.0)):
        assert sum(f.probability for f in falls(round_part(r))) == pytest.approx(1.0, abs=0.01)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_a_parts_hull_is_shapelys(seed: int) -> None:
    rng = np.random.default_rng(seed)
    r = rng.uniform(3, 9, 40)
    z = np.sort(rng.uniform(-20, 20, 40))
    part = PartRadii(z_mm=z, seen_mm=r, rests_mm=r)
    outer = MultiPoint(np.column_stack([np.r_[z, z[[0, -1]]], np.r_[r, -50, -50]])).convex_hull
    upper = {(round(x, 9), round(y, 9)) for x, y in outer.exterior.coords if y > -50}
    assert {(round(z[i], 9), round(r[i], 9)) for i in part.corners} == upper
    assert part.corners == sorted(part.corners)


def test_a_level_cylinder_is_expected_level_or_a_little_uneven() -> None:
    p = prior(round_part(5.0))
    assert p.sum() == pytest.approx(1.0)
    assert p == pytest.approx(p[::-1])
    assert GRID[np.argmax(p)] == pytest.approx(0.0)
    assert p[np.abs(GRID) < 3.0].sum() > 0.9
    assert sum(w[0] for w in (LEVEL, UNEVEN, FALLEN, HELD)) == pytest.approx(1.0)


def test_where_a_head_would_make_it_lean_both_are_expected() -> None:
    r = np.where(Z < -15, 12.0, 5.0)
    lean = max(falls(round_part(r)), key=lambda f: abs(f.incline_rad) * f.probability)
    p = prior(round_part(r))
    at = np.degrees(lean.incline_rad)
    assert p[np.abs(GRID - at) < 0.8].sum() > 0.1
    assert p[np.abs(GRID - at) < 0.8].sum() > 5 * p[np.abs(GRID + at) < 0.8].sum()


@pytest.mark.parametrize("deg", [-4.0, 0.0, 2.5])
def test_what_is_seen_sharply_is_the_pose(deg: float) -> None:
    pose = posterior(round_part(5.0), told(deg, 0.1), CAMERA, 0.07)
    assert math.degrees(pose.incline_rad) == pytest.approx(deg, abs=0.15)
    assert pose.slope_rad == pytest.approx(pose.incline_rad, abs=1e-6)
    assert math.degrees(pose.u_incline_rad) < 0.15
    assert pose.axis_height_mm == pytest.approx(
        float(round_part(5.0).axis_height_mm(pose.incline_rad)), abs=0.05
    )


def collared() -> PartRadii:
    """A plug that lies on its collar's edge and the end of its short thread, at 28 degrees."""
    z = np.linspace(-18.0, 8.0, 401)
    return round_part(np.where(np.abs(z + 9) < 1.5, 25.0, np.where(z < -9, 9.0, 17.0)), z)


def test_a_plug_on_its_collar_lies_steeper_than_any_bolt() -> None:
    part = collared()
    fall = max(falls(part), key=lambda f: f.probability)
    lies = math.degrees(fall.incline_rad)
    assert 24 < abs(lies) < 33
    pose = posterior(part, told(lies, 1.0), CAMERA, 0.07)
    assert math.degrees(pose.incline_rad) == pytest.approx(lies, abs=0.3)


def test_of_two_rests_the_one_counts_whose_angle_is_seen() -> None:
    """The evidence is prior times likelihood, summed; it changes the odds as Bayes has it."""
    lies = math.degrees(max(falls(collared()), key=lambda f: f.probability).incline_rad)
    part, level = (
        posterior(p, told(lies, 0.5), CAMERA, 0.07) for p in (collared(), round_part(5.0))
    )
    likely = np.exp(-0.5 * ((GRID - lies) / 0.5) ** 2)
    odds = float(prior(collared()) @ likely) / float(prior(round_part(5.0)) @ likely)
    assert part.log_evidence - level.log_evidence == pytest.approx(math.log(odds), abs=0.02)
    assert _told(0.3, part, level) > 0.9
    assert _told(0.7, level, part) < 0.1
    assert _told(0.3, part, part) == pytest.approx(0.3)


def test_a_pose_is_prior_times_likelihood_summed_over_all_angles() -> None:
    part = round_part(5.0)
    for deg, u in ((1.0, 1.0), (3.0, 2.0)):
        weight = prior(part) * np.exp(-0.5 * ((GRID - deg) / u) ** 2)
        weight /= weight.sum()
        mean = float(weight @ np.radians(GRID))
        spread = math.sqrt(float(weight @ (np.radians(GRID) - mean) ** 2))
        pose = posterior(part, told(deg, u), CAMERA, 0.0)
        assert pose.incline_rad == pytest.approx(mean, abs=1e-5)
        assert pose.u_incline_rad == pytest.approx(spread, rel=1e-3)
        heights = part.axis_height_mm(np.radians(GRID))
        assert pose.axis_height_mm == pytest.approx(float(weight @ heights), rel=1e-6)
        assert pose.u_axis_height_mm == pytest.approx(
            math.sqrt(float(weight @ (heights - weight @ heights) ** 2)), rel=1e-3
        )


def test_mirrored_evidence_is_a_mirrored_pose() -> None:
    one, other = (posterior(round_part(5.0), told(d, 0.5), CAMERA, 0.07) for d in (2.0, -2.0))
    assert other.incline_rad == pytest.approx(-one.incline_rad)
    assert other.height_mm == pytest.approx(one.height_mm)
    assert other.height_per_rad == pytest.approx(-one.height_per_rad, abs=1e-6)


def test_a_radius_that_is_hardly_known_counts_in_the_height_alone() -> None:
    one, other = (posterior(round_part(5.0), told(0.0, 0.1), CAMERA, u) for u in (0.0, 0.5))
    assert other.u_height_mm == pytest.approx(math.hypot(one.u_height_mm, 0.5))
    assert other.u_axis_height_mm == pytest.approx(math.hypot(one.u_axis_height_mm, 0.5))
    assert other.incline_rad == one.incline_rad


def test_a_tilt_of_the_camera_is_in_the_slope_and_not_in_the_inclination() -> None:
    """A level part that a tilted camera sees: what the picture shows is tilt, by what hands do."""
    leaning = CAMERA.held_as(known(np.array([0.0, 0.0, 1.0]), math.radians(3.0)))
    pose = posterior(round_part(5.0), told(2.0, 0.1), leaning, 0.07)
    sharp = posterior(round_part(5.0), told(2.0, 0.1), CAMERA, 0.07)
    assert math.degrees(pose.slope_rad) == pytest.approx(2.0, abs=0.1)
    assert abs(pose.incline_rad) < 0.4 * abs(sharp.incline_rad)
    assert pose.u_across_rad is not None and pose.u_across_rad > math.radians(2.0)


def test_of_several_focal_lengths_each_counts_by_how_well_it_fits() -> None:
    seen = Seen(
        lens=np.array([-0.2, 0.0, 0.2]), log=np.log([[0.25], [0.5], [0.25]]) + told(0, 0.3).log
    )
    pose = posterior(round_part(5.0), seen, CAMERA, 0.07)
    assert pose.lens == pytest.approx(0.0, abs=1e-9)
    assert pose.u_lens == pytest.approx(0.2 * math.sqrt(0.5))
    skewed = replace(seen, log=np.log([[0.1], [0.1], [0.8]]) + told(0, 0.3).log)
    assert posterior(round_part(5.0), skewed, CAMERA, 0.07).lens == pytest.approx(0.14)


def test_a_slope_that_goes_with_the_focal_length_is_told_as_such() -> None:
    lens = np.array([-0.1, 0.0, 0.1])
    log = np.concatenate([told(d, 0.1).log for d in (1.0, 2.0, 3.0)])
    leaning = CAMERA.held_as(known(np.array([0.0, 0.0, 1.0]), math.radians(20.0)))
    flat = PartRadii(z_mm=Z, seen_mm=np.full_like(Z, 5.0), rests_mm=np.full_like(Z, 5.0))
    pose = posterior(flat, Seen(lens=lens, log=log), leaning, 0.07)
    assert pose.slope_per_lens == pytest.approx(math.radians(1.0) / 0.1, rel=0.1)
    assert pose.own_u_slope_rad < 0.4 * pose.u_slope_rad
    assert math.hypot(pose.own_u_slope_rad, pose.slope_per_lens * pose.u_lens) == pytest.approx(
        pose.u_slope_rad
    )


def test_nothing_known_is_a_degree_and_a_fifth() -> None:
    assert (
        UNKNOWN.u_incline_rad
        == UNKNOWN.u_slope_rad
        == U_INCLINE_RAD
        == pytest.approx(math.radians(1.2))
    )
    assert UNKNOWN.own_u_slope_rad == U_INCLINE_RAD
    assert UNKNOWN.turn_rad is None


# What the picture shows.


@pytest.mark.parametrize("deg", [-6.0, 0.0, 3.0])
def test_an_end_face_in_the_middle_shows_its_inclination(deg: float) -> None:
    """It bulges by the sine of the angle at which it is seen."""
    face = Face(
        end=1.0, s_px=0.0, radius_px=80.0, bulge=math.sin(math.radians(abs(deg))), u_bulge=0.005
    )
    seen = sight([face], None, AXIS, CAMERA, 5.0)
    likely = np.exp(seen.log[len(seen.lens) // 2])
    top = GRID[np.argmax(likely)]
    assert abs(top) == pytest.approx(abs(deg), abs=0.2)


def test_no_face_and_no_thread_show_nothing() -> None:
    seen = sight([], None, AXIS, CAMERA, 5.0)
    assert np.ptp(seen.log, axis=1) == pytest.approx(np.zeros(len(seen.lens)))
    assert seen.along == (1.0, 0.0)


def test_lenses_that_are_tried_spread_about_what_is_known() -> None:
    assert not lens_is_open(CAMERA)
    closed = sight([], None, AXIS, CAMERA, 5.0)
    assert closed.lens.max() == pytest.approx(2.5 * CAMERA.u_lens)
    guess = replace(CAMERA, u_f_px=0.12 * CAMERA.f_px)
    assert lens_is_open(guess) and KNOWN_LENS < 0.12
    wide = sight([], None, AXIS, guess, 5.0)
    assert wide.lens.max() == pytest.approx(2.5 * U_LENS)
    assert lens_is_open(replace(CAMERA, f_guess_px=2500.0))
    once = sight([], None, AXIS, replace(CAMERA, f_guess_px=2500.0), 5.0)
    assert once.lens.mean() == pytest.approx(math.log(2500 / 3000)), (
        "about what was guessed at first"
    )


def thread(
    taper: float, per_deg: float = 0.002, even_deg: float = 0.0, u: float = 0.4
) -> ThreadSight:
    even = -0.5 * ((GRID - even_deg) / u) ** 2
    return ThreadSight(even=even, taper=taper, per_deg=per_deg, unfolded=0.0, u_taper=0.0025)


def test_an_even_parallel_thread_is_seen_level() -> None:
    likely = thread(0.0).at(np.ones(1))[0]
    assert GRID[np.argmax(likely)] == pytest.approx(0.0)


@pytest.mark.parametrize("deg", [-3.0, 2.0])
def test_a_thread_that_drifts_shows_the_angle_at_which_it_is_even(deg: float) -> None:
    seen = thread(-0.002 * deg, even_deg=deg).at(np.ones(1))[0]
    assert GRID[np.argmax(seen)] == pytest.approx(deg, abs=0.15)


def test_tapers_of_the_standards_are_no_angle() -> None:
    """1:16 and none are what threads have; anything between is an inclination."""
    for taper in (0.0, 1 / 16, -1 / 16):
        plain = ThreadSight(
            even=np.zeros(len(GRID)), taper=taper, per_deg=0.004, unfolded=0.0, u_taper=0.0025
        )
        likely = np.where(np.abs(GRID) < 5, plain.at(np.ones(1))[0], -np.inf)
        assert GRID[np.argmax(likely)] == pytest.approx(0.0, abs=0.1)
    assert sum(share for _, share in TAPERS) == pytest.approx(1.0)


def test_through_a_longer_lens_the_same_drift_is_a_larger_angle() -> None:
    seen = thread(-0.004, per_deg=0.002, even_deg=2.0, u=3.0).at(np.array([1.0, 1.5]))
    first, second = (GRID[np.argmax(row)] for row in seen)
    assert second / first == pytest.approx(1.5, rel=0.1)


# Hexagons, and what is said.


def rest(**how) -> Rest:
    given = {
        "width_mm": 20.0,
        "height_mm": 20 * math.sqrt(3) / 4,
        "u_height_mm": 0.1,
        "hexagon": True,
        "stretch": (0.0, 90.0),
    }
    return Rest(**{**given, **how})


def test_a_hexagon_on_its_flat_stays() -> None:
    flat = turned(rest(), Roll(turn_rad=0.0, u_turn_rad=0.0, shown=1.0))
    assert flat.height_mm == pytest.approx(20 * math.sqrt(3) / 4)
    assert flat.u_height_mm == pytest.approx(0.1)
    assert turned(rest(hexagon=False), Roll(turn_rad=0.2, u_turn_rad=0.1, shown=0.9)) == rest(
        hexagon=False
    )


@pytest.mark.parametrize("deg", [5.0, 15.0, 30.0])
def test_a_turned_hexagon_may_stand_as_high_as_its_corner_lifts_it(deg: float) -> None:
    """w / 2 cos(30 - a): on its corner it stands w / 2 high; a quarter of the lift is left open."""
    a = math.radians(deg)
    found = turned(rest(), Roll(turn_rad=a, u_turn_rad=0.0, shown=1.0))
    lift = 10 * math.cos(math.radians(30) - a) - 20 * math.sqrt(3) / 4
    assert found.height_mm == pytest.approx(20 * math.sqrt(3) / 4)
    assert found.u_height_mm == pytest.approx(math.hypot(0.1, 0.25 * lift))


def test_a_hexagon_that_shows_less_than_its_corners_is_larger() -> None:
    found = turned(rest(), Roll(turn_rad=0.1, u_turn_rad=0.0, shown=0.95))
    assert found.height_mm == pytest.approx(20 / 0.95 * math.sqrt(3) / 4)


def pose(deg: float, u_deg: float = 0.5, **how) -> Pose:
    a, u = math.radians(deg), math.radians(u_deg)
    return replace(
        UNKNOWN, incline_rad=a, u_incline_rad=u, axis_height_mm=7.0, u_axis_height_mm=0.2, **how
    )


@pytest.mark.parametrize(
    ("deg", "u", "said"),
    [(2.9, 0.1, False), (3.1, 0.1, True), (-5.0, 1.0, True), (5.0, 2.6, False), (-12.0, 2.0, True)],
)
def test_only_what_lies_aslant_beyond_doubt_is_said_to(deg: float, u: float, said: bool) -> None:
    flags = lies_aslant(pose(deg, u), 2)
    assert bool(flags) is said
    if said:
        assert flags[0].code == "inclined"
        assert (
            flags[0].message
            == f"part 2 lies aslant by {abs(deg):.0f} degrees; that is taken into account"
        )
    assert ASLANT_DEG == 3.0


def test_a_pose_is_told_in_degrees_and_millimetres() -> None:
    told = part_pose(pose(4.0, 0.5))
    assert (told.inclination_deg.value, told.inclination_deg.u) == pytest.approx((4.0, 0.5))
    assert (told.axis_height_mm.value, told.axis_height_mm.u) == (7.0, 0.2)
    assert told.turn_deg is None
    hexagon = part_pose(pose(0.0, turn_rad=math.radians(10), u_turn_rad=math.radians(2)))
    assert (hexagon.turn_deg.value, hexagon.turn_deg.u) == pytest.approx((10.0, 2.0))
