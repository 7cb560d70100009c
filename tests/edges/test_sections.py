"""From points on flanks to a thread's numbers: exact flanks in, the same numbers out."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import theilslopes

from pitchcam.edges.axial_points import FlankPoints
from pitchcam.edges.flank_fit import FEWEST_FLANKS, NAMES, fit_flanks
from pitchcam.edges.helicoid import Helicoid
from pitchcam.edges.section import USUAL, Section, Winding
from pitchcam.edges.tip_form import meeting_radius
from pitchcam.edges.unfold import unfold_flank
from pitchcam.thread.spectrum import spectrum, tone_period

P, R2 = 1.5, 6.0
TAN = (math.tan(math.radians(30)), math.tan(math.radians(27)))


def drawn(
    *,
    pitch=P,
    radius=R2,
    tan=TAN,
    taper=0.0,
    offset=0.0,
    turn=0.0,
    lag=P / 2,
    ridges=6,
    noise=0.0,
    seed=1,
) -> FlankPoints:
    """Points on both flanks of each ridge on both sides of an axis y = offset + turn z.

    Ridge and groove are equally wide at ``radius`` where z = 0.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for side in (1.0, -1.0):
        for k in range(ridges):
            for flank in (1.0, -1.0):
                depth = np.linspace(-0.3, 0.3, 12) * pitch / 2
                middle = k * pitch + (lag if side < 0 else 0.0) - ridges * pitch / 2
                z = middle + flank * (pitch / 4 - depth * tan[0 if flank > 0 else 1])
                r = radius + depth + taper / 2 * z + side * (offset + turn * z)
                z = z + rng.normal(0, noise, 12)
                rows.append([z, r, 0 * r + side, 0 * r + flank, 0 * r + k])
    z, r, side, flank, ridge = np.concatenate(rows, axis=1)
    return FlankPoints(z=z, r=r, side=side, flank=flank, ridge=ridge)


def fitted(p: FlankPoints, **how):
    return fit_flanks(p, tan_guess=0.55, **how)


def test_exact_flanks_come_back_to_the_last_micrometre() -> None:
    fit = fitted(drawn())
    assert fit.pitch_mm == pytest.approx(P, abs=1e-9)
    assert fit.tan_half == pytest.approx(TAN, abs=1e-9)
    assert fit.half_angles_deg == pytest.approx((30.0, 27.0))
    assert fit.angle_deg == pytest.approx(57.0)
    assert fit.pitch_radius_mm == pytest.approx(R2, abs=1e-9)
    assert fit.lag_mm == pytest.approx(P / 2, abs=1e-9)
    assert (fit.taper, fit.turn_rad, fit.offset_mm) == pytest.approx((0, 0, 0), abs=1e-9)
    assert fit.rms_mm < 1e-9 and fit.used.all()


@pytest.mark.parametrize("taper", [1 / 16, -1 / 16, 0.01])
@pytest.mark.parametrize("turn", [0.0, 0.004])
def test_a_cone_and_a_turned_axis_are_told_apart(taper: float, turn: float) -> None:
    fit = fitted(drawn(taper=taper, turn=turn))
    assert fit.taper == pytest.approx(taper, abs=2e-4)
    assert fit.turn_rad == pytest.approx(turn, abs=2e-4)
    assert fit.pitch_mm == pytest.approx(P, rel=1e-4)


@pytest.mark.parametrize("offset", [0.05, -0.12])
def test_an_axis_that_lies_aside_is_found(offset: float) -> None:
    fit = fitted(drawn(offset=offset))
    assert fit.offset_mm == pytest.approx(offset, abs=1e-9)
    assert fit.pitch_radius_mm == pytest.approx(R2, abs=1e-9)


@pytest.mark.parametrize("lag", [0.0, 0.4, P / 2])
def test_the_other_sides_ridges_lag_by_what_they_do(lag: float) -> None:
    assert fitted(drawn(lag=lag)).lag_mm == pytest.approx(lag, abs=1e-9)


def test_mirrored_along_the_axis_the_flanks_change_places() -> None:
    p = drawn(taper=0.02)
    mirrored = fitted(replace(p, z=-p.z, flank=-p.flank, ridge=-p.ridge))
    fit = fitted(p)
    assert mirrored.tan_half == pytest.approx(fit.tan_half[::-1], abs=1e-6)
    assert mirrored.taper == pytest.approx(-fit.taper, abs=1e-6)
    assert abs(mirrored.pitch_mm) == pytest.approx(fit.pitch_mm)


def test_mirrored_across_the_axis_the_sides_change_places() -> None:
    p = drawn(offset=0.05, turn=0.003, lag=0.6)
    fit, mirrored = fitted(p), fitted(replace(p, side=-p.side))
    assert mirrored.offset_mm == pytest.approx(-fit.offset_mm, abs=1e-6)
    assert mirrored.turn_rad == pytest.approx(-fit.turn_rad, abs=1e-6)
    assert mirrored.lag_mm == pytest.approx(-fit.lag_mm, abs=1e-6)
    assert mirrored.pitch_radius_mm == pytest.approx(fit.pitch_radius_mm, abs=1e-6)


@pytest.mark.parametrize("shift", [-3.0, 40.0])
def test_moved_along_the_axis_only_the_phase_moves(shift: float) -> None:
    p = drawn()
    fit, moved = fitted(p), fitted(replace(p, z=p.z + shift))
    assert moved.phase_mm - fit.phase_mm == pytest.approx(shift, abs=1e-6)
    assert (moved.pitch_mm, moved.pitch_radius_mm) == pytest.approx(
        (fit.pitch_mm, fit.pitch_radius_mm)
    )


@pytest.mark.parametrize("by", [0.5, 4.0])
def test_scaled_all_lengths_scale_and_no_angle(by: float) -> None:
    p = drawn(taper=0.03, offset=0.05)
    fit, large = fitted(p), fitted(replace(p, z=by * p.z, r=by * p.r))
    assert large.pitch_mm == pytest.approx(by * fit.pitch_mm)
    assert large.pitch_radius_mm == pytest.approx(by * fit.pitch_radius_mm)
    assert large.offset_mm == pytest.approx(by * fit.offset_mm, abs=1e-9)
    assert large.tan_half == pytest.approx(fit.tan_half, abs=1e-6)
    assert large.taper == pytest.approx(fit.taper, abs=1e-6)


def test_a_thinner_ridge_is_a_smaller_pitch_diameter() -> None:
    """Where ridge and groove are equally wide: dr = dw / (tan a + tan b)."""
    p = drawn()
    thin = replace(p, z=p.z - p.flank * 0.02)
    assert fitted(p).pitch_radius_mm - fitted(thin).pitch_radius_mm == pytest.approx(
        0.04 / sum(TAN)
    )


def test_a_wider_angle_moves_no_pitch_line() -> None:
    for half in (27.5, 30.0, 35.0):
        tan = (math.tan(math.radians(half)),) * 2
        fit = fitted(drawn(tan=tan))
        assert fit.angle_deg == pytest.approx(2 * half)
        assert fit.pitch_radius_mm == pytest.approx(R2, abs=1e-9)


def test_one_spoiled_flank_of_many_is_left_out() -> None:
    p = drawn(noise=0.002)
    bad = (p.side > 0) & (p.ridge == 2) & (p.flank > 0)
    z = p.z + np.where(bad, 0.15, 0.0)
    fit = fitted(replace(p, z=z))
    assert not fit.used[bad].any()
    assert fit.used[~bad].mean() > 0.97
    assert fit.pitch_mm == pytest.approx(P, abs=0.002)


def test_the_covariance_is_that_of_many_draws() -> None:
    """Independent noise on the points: pitch, both tangents and both slopes."""
    fits = [fitted(drawn(noise=0.01, seed=i, ridges=4)) for i in range(120)]
    for name, value in (
        ("pitch", lambda f: f.pitch_mm),
        ("tan+", lambda f: f.tan_half[0]),
        ("tan-", lambda f: f.tan_half[1]),
        ("lag", lambda f: f.lag_mm),
        ("offset", lambda f: f.offset_mm),
    ):
        i = NAMES.index(name)
        spread = np.std([value(f) for f in fits])
        stated = math.sqrt(np.mean([f.covariance[i, i] for f in fits]))
        assert spread == pytest.approx(stated, rel=0.3), name


def test_twice_the_noise_is_twice_the_u() -> None:
    one, two = (fitted(drawn(noise=n, ridges=8)) for n in (0.005, 0.010))
    ratio = np.sqrt(np.diag(two.covariance) / np.diag(one.covariance))
    assert ratio == pytest.approx(np.full(len(NAMES), 2.0), rel=0.05)


def test_points_that_share_their_noise_count_less() -> None:
    """With four flanks a ridge and few ridges the points by themselves are counted."""
    p = drawn(noise=0.01, ridges=3)
    assert not fitted(p).scatter.by_flanks
    alone, shared = (np.sqrt(np.diag(fitted(p, per_point=n).covariance)) for n in (1.0, 0.25))
    assert (shared > 1.9 * alone).all()


def test_degrees_of_freedom_are_by_flanks_where_there_are_enough() -> None:
    few, many = fitted(drawn(noise=0.01, ridges=3)), fitted(drawn(noise=0.01, ridges=8))
    assert few.scatter.flanks == 12 < FEWEST_FLANKS <= many.scatter.flanks == 32
    assert many.scatter.degrees_of_freedom == 31.0
    assert few.scatter.degrees_of_freedom == pytest.approx(12 * 12 - len(NAMES), abs=5)


@pytest.mark.parametrize("keep", ["few points", "one flank", "one ridge", "one side"])
def test_points_that_do_not_determine_it_are_refused(keep: str) -> None:
    p = drawn()
    mask = {
        "few points": np.arange(len(p.z)) < len(NAMES),
        "one flank": p.flank > 0,
        "one ridge": p.ridge == 0,
        "one side": p.side > 0,
    }[keep]
    some = FlankPoints(
        z=p.z[mask], r=p.r[mask], side=p.side[mask], flank=p.flank[mask], ridge=p.ridge[mask]
    )
    with pytest.raises(np.linalg.LinAlgError):
        fitted(some)


# Section and winding.


def section(turn: float = 0.01, offset: float = 0.3) -> Section:
    p = drawn()
    return Section(
        fit=fitted(p), points=p, seen_points=p, turn_rad=turn, offset_mm=offset, winding=USUAL
    )


def test_onto_the_threads_own_axis_and_back() -> None:
    zy = np.random.default_rng(2).uniform(-9, 9, (30, 2))
    s = section()
    own = s.to_axis(zy)
    assert s.from_axis(own) == pytest.approx(zy, abs=1e-12)
    apart = np.linalg.norm(zy[:, None] - zy, axis=2)
    assert np.linalg.norm(own[:, None] - own, axis=2) == pytest.approx(apart, abs=1e-12)
    assert s.to_axis(np.array([0.0, 0.3])) == pytest.approx([0, 0]), "its axis passes there"
    along = s.from_axis(np.array([[0.0, 0.0], [1.0, 0.0]]))
    assert (along[1] - along[0]) == pytest.approx([math.cos(0.01), math.sin(0.01)])


@pytest.mark.parametrize(
    ("starts", "hand", "lead"), [(1, 1.0, 1.0), (2, 1.0, 2.0), (1, -1.0, -1.0), (3, -1.0, -3.0)]
)
def test_a_windings_advance_in_spacings(starts: int, hand: float, lead: float) -> None:
    assert Winding(starts=starts, hand=hand).lead == lead


def test_the_flanks_as_seen_are_fitted_alike() -> None:
    s = section()
    assert s.seen.pitch_mm == pytest.approx(s.fit.pitch_mm)
    assert s.seen.angle_deg == pytest.approx(s.fit.angle_deg)


# The helicoid by itself, and its contour.

ISO = Helicoid(
    pitch=P,
    advance=P / (2 * math.pi),
    tan_half=(math.tan(math.radians(30)),) * 2,
    pitch_radius=R2,
    half_taper=0.0,
    crest=R2 + 0.45,
    root=R2 - 0.4,
)


def gap(
    z: float, y: float, x: float = 0.0, side: float = 1.0, solid: Helicoid = ISO, phase=0.0
) -> float:
    at = np.array([[z], [y], [x]])
    return float(solid.clearance(at, np.array([phase]), np.array([side]))[0])


def test_a_ridges_middle_a_groove_and_the_pitch_line_by_hand() -> None:
    assert gap(0.0, R2 + 0.45) == pytest.approx(0.0, abs=1e-12), "the crest"
    assert gap(P / 2, R2 - 0.4) == pytest.approx(0.0, abs=1e-12), "the root"
    assert gap(P / 4, R2) == pytest.approx(0.0, abs=1e-12), (
        "a quarter of a pitch off, at the pitch line"
    )
    assert gap(-P / 4, R2) == pytest.approx(0.0, abs=1e-12)
    assert gap(P / 4, R2 + 0.1) == pytest.approx(0.1)
    assert gap(P / 4 + 0.01, R2) == pytest.approx(0.01 * math.sqrt(3), rel=1e-9)


@pytest.mark.parametrize("turns", [0.1, 0.25, 0.4, -0.3])
@pytest.mark.parametrize("hand", [1, -1])
def test_a_turn_is_a_lead_along_the_axis(turns: float, hand: int) -> None:
    solid = replace(ISO, advance=hand * ISO.advance)
    a = 2 * math.pi * turns
    for r in (R2, R2 + 0.2):
        here = gap(0.1, r, 0.0, solid=solid)
        there = gap(0.1 + hand * P * turns, r * math.cos(a), r * math.sin(a), solid=solid)
        assert there == pytest.approx(here, abs=1e-9)


def test_pitch_after_pitch_it_is_the_same() -> None:
    for k in (-3, 1, 5):
        assert gap(0.2 + k * P, R2 + 0.1) == pytest.approx(gap(0.2, R2 + 0.1), abs=1e-9)


def test_a_tapered_thread_grows_along_its_axis() -> None:
    solid = replace(ISO, half_taper=1 / 32)
    assert gap(8 * P, R2 + 0.45 + 8 * P / 32, solid=solid) == pytest.approx(0.0, abs=1e-9)


def test_a_ray_straight_down_enters_at_the_radius_of_its_station() -> None:
    steps = np.linspace(0, 8, 200)
    for z, radius in ((0.0, ISO.crest), (P / 2, ISO.root), (P / 4, R2)):
        start, way = np.array([[z], [R2 + 3.0], [0.0]]), np.array([[0.0], [-1.0], [0.0]])
        far = ISO.first_hit(start, way, np.zeros(1), np.ones(1), steps)[0]
        assert R2 + 3.0 - far == pytest.approx(radius, abs=2e-3)


def test_normals_stand_out_of_crest_and_flank() -> None:
    at = np.array([[0.0, P / 4, -P / 4], [ISO.crest, R2, R2], [0.0, 0.0, 0.0]])
    n = ISO.normal(at, np.zeros(3), np.ones(3))
    assert n[:, 0] == pytest.approx([0, 1, 0])
    # A flank of 30 degrees: its normal stands at 60 to the radius, and a little along the winding.
    assert n[0, 1] == pytest.approx(math.cos(math.radians(30)), abs=0.01)
    assert n[1, 1] == pytest.approx(math.sin(math.radians(30)), abs=0.01)
    assert n[0, 2] == pytest.approx(-n[0, 1]) and n[1, 2] == pytest.approx(n[1, 1])
    assert n[2, 1] == pytest.approx(-n[2, 2])


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("flank", [1.0, -1.0])
@pytest.mark.parametrize("slant_mm", [0.0, 12.0])
def test_an_unfolded_contour_point_lies_on_its_flank(
    side: float, flank: float, slant_mm: float
) -> None:
    """The contour is found by brute force: the turn at which the flank stands farthest out."""
    lead, tan, pinhole = 2.0, math.tan(math.radians(30)), np.array([slant_mm, 0.0, 190.0])
    k = lead / (2 * math.pi)
    r = R2 + 0.1

    def seen(theta: float, radius: float) -> tuple[float, float]:
        """Where z = k theta - flank (r - R2) tan is seen on the plane x = 0."""
        z = k * theta - flank * (radius - R2) * tan
        y, x = side * radius * math.cos(theta), radius * math.sin(theta) * side
        grow = pinhole[2] / (pinhole[2] - x)
        return pinhole[0] + grow * (z - pinhole[0]), grow * y

    def across(theta: float, radius: float, d=1e-6) -> float:
        """The seen surface folds where its two directions are parallel in the picture."""
        a = np.subtract(seen(theta + d, radius), seen(theta - d, radius))
        b = np.subtract(seen(theta, radius + d), seen(theta, radius - d))
        return float(a[0] * b[1] - a[1] * b[0]) / d**2

    grid = np.linspace(-0.5, 0.5, 201)
    signs = np.sign([across(t, r) for t in grid])
    i = int(np.flatnonzero(np.diff(signs))[np.argmin(np.abs(grid[np.flatnonzero(np.diff(signs))]))])
    theta = brentq(lambda t: across(t, r), grid[i], grid[i + 1])
    zy = np.array([seen(theta, r)])
    z, radius = unfold_flank(
        zy, pinhole, np.array([side]), np.array([flank]), lead, np.array([tan])
    )
    assert radius[0] == pytest.approx(r, abs=2e-4)
    assert z[0] == pytest.approx(-flank * (r - R2) * tan, abs=2e-4)


def test_far_away_and_without_a_helix_nothing_is_to_be_unfolded() -> None:
    zy = np.array([[0.3, 6.1], [-0.4, 5.9]])
    z, r = unfold_flank(
        zy, np.array([0.0, 0.0, 1e7]), np.ones(2), np.array([1.0, -1.0]), 0.0, np.full(2, 0.57)
    )
    assert z == pytest.approx(zy[:, 0], abs=1e-5)
    assert r == pytest.approx(zy[:, 1], abs=1e-5)


def test_a_cylinder_is_seen_along_its_tangents_wider_than_it_is() -> None:
    """Flanks of 90 degrees half angle are a cylinder: r = y cos(b) with sin b = r / distance."""
    away, r = 190.0, 6.0
    y = r / math.sqrt(1 - (r / away) ** 2)
    _, found = unfold_flank(
        np.array([[0.0, y]]),
        np.array([0.0, 0.0, away]),
        np.ones(1),
        np.ones(1),
        0.0,
        np.array([1e4]),
    )
    assert found[0] == pytest.approx(r, abs=1e-5)


# Crests and roots.


@pytest.mark.parametrize("groove", [False, True])
def test_flanks_meet_where_the_ridge_or_groove_has_no_width(groove: bool) -> None:
    s = section()
    meet = meeting_radius(s, groove=groove)
    by_hand = R2 + (-1 if groove else 1) * (P / 2) / sum(TAN)
    assert meet == pytest.approx(by_hand, abs=1e-6)


# Spacing by its spectrum.


def wave(z: np.ndarray, period: float, phase: float = 0.0) -> np.ndarray:
    """A triangle's first harmonics on a straight line."""
    t = 2 * np.pi * z / period + phase
    return 6 + 0.01 * z + 0.4 * np.cos(t) + 0.05 * np.cos(3 * t)


@pytest.mark.parametrize("period", [0.8, 1.2345, 2.5])
@pytest.mark.parametrize("off", [0.96, 1.0, 1.05])
def test_a_period_is_found_from_a_guess(period: float, off: float) -> None:
    z = np.linspace(0, 9.3 * period, 800)
    sides = (wave(z, period), wave(z, period, np.pi))
    assert tone_period(z, sides, off * period) == pytest.approx(period, rel=2e-5)


def test_a_period_moves_with_units_and_not_with_place_or_height() -> None:
    z = np.linspace(0, 12, 800)
    sides = (wave(z, 1.3), wave(z, 1.3, np.pi))
    one = tone_period(z, sides, 1.3)
    assert tone_period(25.4 * z, sides, 25.4 * 1.3) == pytest.approx(25.4 * one, rel=1e-6)
    assert tone_period(z + 70, sides, 1.3) == pytest.approx(one, rel=1e-6)
    assert tone_period(z, tuple(2 * s + 3 for s in sides), 1.3) == pytest.approx(one, rel=1e-6)
    assert tone_period(z, sides[::-1], 1.3) == pytest.approx(one, rel=1e-9)


def test_the_periods_scatter_reaches_the_bound_for_a_tone_with_harmonics() -> None:
    """var(w) >= 24 s^2 / (N (N^2 - 1) sum l^2 A_l^2), here of two sides."""
    z = np.linspace(0, 10, 500)
    rng = np.random.default_rng(6)
    found = [
        tone_period(z, tuple(wave(z, 1.25, p) + rng.normal(0, 0.05, 500) for p in (0, np.pi)), 1.25)
        for _ in range(60)
    ]
    step = z[1] - z[0]
    n, power = len(z), 2 * (0.4**2 + 9 * 0.05**2)
    bound = math.sqrt(24 * 0.05**2 / (n * (n**2 - 1) * power)) / step * 1.25**2 / (2 * math.pi)
    assert bound < 1.3 * np.std(found) < 2.0 * bound * 1.3


def test_a_spectrum_peaks_at_the_pitch_with_its_amplitude() -> None:
    z = np.linspace(0, 20, 1000)
    frequency, amplitude = spectrum(z, wave(z, 1.25), wave(z, 1.25, np.pi), 1.25)
    assert frequency[-1] < 6 / 1.25
    top = int(np.argmax(amplitude))
    assert frequency[top] == pytest.approx(1 / 1.25, rel=0.01)
    assert amplitude[top] == pytest.approx(0.4, rel=0.02)
    third = np.argmin(np.abs(frequency - 3 / 1.25))
    assert amplitude[third - 3 : third + 4].max() == pytest.approx(0.05, rel=0.1)
    slope = theilslopes(wave(z, 1.25) + wave(z, 1.25, np.pi), z).slope
    assert slope == pytest.approx(0.02, rel=0.05), "and the line it stands on is no wave"
