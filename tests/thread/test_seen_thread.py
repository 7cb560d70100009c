"""A thread seen by brute force: sides, crests, readings, ends and plots against its form."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pitchcam.edges.section import Winding, fit_again, fit_section
from pitchcam.edges.sight import laid_frame
from pitchcam.errors import OutlineError
from pitchcam.objects.frame import axis_frame
from pitchcam.records import BudgetLine, Quantity
from pitchcam.thread.budget import budget, combined, values
from pitchcam.thread.budget.pose import inclined, sloped
from pitchcam.thread.crest_lines import CrestShape, remeasure_crests
from pitchcam.thread.measure import remeasure
from pitchcam.thread.reading import (
    TAPER_SEEN,
    crest_plots,
    crest_reading,
    half_angles,
    plots,
    to_reading,
)
from pitchcam.thread.spectrum import side_profiles, tone_period
from pitchcam.thread.visible_flanks import Along, ridge_points, visible_angle
from tests.thread.drawn_shape import HEIGHT, MAJOR, MINOR, PITCH, PLACE, drawn_shape
from tests.thread.helicoid import iso_profile, place, seen_sides
from tests.thread.test_crest_lines import seen

PD = MAJOR - 3 * math.sqrt(3) / 8 * PITCH


@pytest.fixture(scope="module")
def shape():
    return drawn_shape()


@pytest.fixture(scope="module")
def crests() -> CrestShape:
    return seen(iso_profile(PITCH, MAJOR), PITCH, 28.0)


# Measured whole.


def test_what_was_drawn_is_what_is_measured(shape) -> None:
    v = values(shape)
    assert v["pitch_mm"] == pytest.approx(PITCH, rel=2e-4)
    assert v["pitch_diameter_mm"] == pytest.approx(PD, abs=0.01)
    assert v["major_mm"] == pytest.approx(MAJOR)
    assert v["minor_mm"] == pytest.approx(MINOR)
    assert v["angle_deg"] == pytest.approx(60.0, abs=0.15)
    assert abs(v["taper"]) < 3e-4
    assert shape.lag == pytest.approx(0.5, abs=0.002)
    assert not shape.hidden


def test_measuring_again_in_its_own_pose_changes_nothing(shape) -> None:
    again = remeasure(shape, shape.camera, HEIGHT, 0.0)
    assert values(again) == pytest.approx(values(shape), rel=1e-5, abs=1e-6)
    assert again.section.fit.used.sum() == pytest.approx(shape.section.fit.used.sum(), abs=2)


@pytest.mark.parametrize("by", [0.97, 1.02])
def test_from_farther_all_lengths_are_longer_and_no_angle(shape, by: float) -> None:
    camera = shape.camera.over_plate(HEIGHT + (shape.camera.distance_mm - HEIGHT) * by)
    again, before = values(remeasure(shape, camera, HEIGHT, 0.0)), values(shape)
    for k in ("pitch_mm", "pitch_diameter_mm", "major_mm", "minor_mm"):
        assert again[k] == pytest.approx(by * before[k], rel=1e-3)
    assert again["angle_deg"] == pytest.approx(before["angle_deg"], abs=0.1)
    assert again["taper"] == pytest.approx(before["taper"], abs=2e-4)


@pytest.mark.parametrize("deg", [-2.0, 1.0])
def test_taken_for_inclined_it_is_taken_for_tapered(shape, deg: float) -> None:
    """What rises is nearer, and is seen along the helix, whose shadow is undone with it.

    The one makes the taper less by d a / L, the other more by as much over tan^2 of the half angle.
    """
    a = math.radians(deg)
    again = values(remeasure(shape, shape.camera, HEIGHT, a))
    expected = PD * math.sin(a) / (200 - HEIGHT) * (1 / math.tan(math.radians(30)) ** 2 - 1)
    assert again["taper"] - values(shape)["taper"] == pytest.approx(expected, rel=0.12)


def test_a_frame_is_laid_about_the_same_middle(shape) -> None:
    frame = laid_frame(shape.frame, shape.axis, shape.camera, HEIGHT + 4, 0.02)
    middle = shape.camera.project(shape.frame.origin)
    assert shape.camera.project(frame.origin) == pytest.approx(middle, abs=1e-6)
    assert frame.origin @ np.array(shape.camera.normal) == pytest.approx(200 - HEIGHT - 4)


def test_fitted_again_it_keeps_its_points_and_its_winding(shape) -> None:
    again = fit_again(shape.section, shape.flanks, shape.frame, PITCH)
    assert again.fit.pitch_mm == pytest.approx(shape.section.fit.pitch_mm, rel=1e-6)
    assert again.winding == shape.section.winding
    two = fit_section(shape.flanks, shape.frame, PITCH, Winding(starts=2), rounds=3)
    assert fit_again(two, shape.flanks, shape.frame, PITCH).winding.starts == 2


def test_a_slope_off_goes_with_its_lever() -> None:
    lying = replace(PLACE, slope_rad=0.01, u_slope_rad=0.02, height_per_rad=15.0)
    assert sloped(lying, 0.005) == pytest.approx((HEIGHT + 15 * 0.005, 0.015))
    assert inclined(lying, 1.0) == pytest.approx((HEIGHT + 0.3, 0.03))
    assert inclined(lying, -1.0) == pytest.approx((HEIGHT - 0.3, -0.01))
    own = replace(lying, scale_on_axis=True)
    assert inclined(own, 1.0) == pytest.approx((HEIGHT, 0.03)), (
        "own crests have no height to follow"
    )


# Read.


def lines(shape):
    return budget(shape, PLACE)


def test_a_reading_has_the_values_and_the_budgets_u(shape) -> None:
    own = lines(shape)
    reading = to_reading(shape, own, shape.span_mm)
    u, r = combined(own)
    for k, v in values(shape).items():
        q = getattr(reading, k)
        assert (q.value, q.u) == pytest.approx((abs(v) if k == "taper" else v, u[k]))
    assert reading.diameter_station_mm is None
    assert reading.starts == 1
    assert {k: abs(v) for k, v in reading.correlation.items()} == pytest.approx(
        {k: abs(v) for k, v in r.items()}
    )


@pytest.mark.parametrize("taper", [1 / 16, -1 / 16])
def test_a_tapers_diameters_grow_to_its_large_end_by_half_its_length(shape, taper: float) -> None:
    section = replace(shape.section, fit=replace(shape.section.fit, taper=taper))
    cone = replace(shape, section=section)
    ends = (-5.0, 7.0)
    reading = to_reading(cone, lines(shape), ends)
    large = 7.0 if taper > 0 else 5.0
    assert reading.pitch_diameter_mm.value == pytest.approx(cone.pitch_diameter_mm + large / 16)
    assert reading.major_mm.value == pytest.approx(MAJOR + large / 16)
    assert reading.taper.value == pytest.approx(1 / 16)
    assert reading.diameter_station_mm.value == pytest.approx(12.0)
    assert abs(taper) > TAPER_SEEN


def test_halves_make_the_whole_angle_and_share_its_u(shape) -> None:
    a, b = half_angles(shape, lines(shape))
    assert a.value + b.value == pytest.approx(values(shape)["angle_deg"])
    u = combined(lines(shape))[0]["angle_deg"]
    assert a.u == b.u == pytest.approx(math.hypot(u / math.sqrt(2), 0.15))


def test_a_reading_by_crests_has_no_diameter_of_its_flanks(crests) -> None:
    reading = crest_reading(crests, budget(crests, PLACE))
    assert reading.pitch_diameter_mm is None and reading.minor_mm is None
    assert reading.pitch_mm.value == pytest.approx(PITCH, rel=1e-3)
    assert reading.major_mm.value == pytest.approx(MAJOR, abs=0.03)
    assert reading.angle_deg.value == pytest.approx(60.0, abs=0.5)
    assert reading.starts == 1


def test_a_tapered_reading_by_crests_is_that_of_its_large_end(crests) -> None:
    cone = replace(crests, taper=1 / 16, span_mm=(-4.0, 6.0))
    own = budget(cone, PLACE)
    reading = crest_reading(cone, own)
    assert reading.major_mm.value == pytest.approx(crests.major_mm + 6 / 16)
    assert reading.diameter_station_mm == Quantity(
        value=10.0 + crests.pitch_mm / 2, u=crests.pitch_mm
    )
    back = crest_reading(replace(cone, taper=-1 / 16), own)
    assert back.major_mm.value == pytest.approx(crests.major_mm + 4 / 16)


OTHERS = ("pitch_diameter_mm", "minor_mm", "angle_deg")


def test_an_error_of_the_taper_is_in_the_diameters_of_the_large_end(shape) -> None:
    """u^2 of the diameter grows by (half the length times u of the taper)^2, where independent."""
    section = replace(shape.section, fit=replace(shape.section.fit, taper=1 / 16))
    cone = replace(shape, section=section)
    own = (
        BudgetLine(source="a", contributions={"major_mm": 0.02, "pitch_mm": 0.001}),
        BudgetLine(source="b", contributions={"taper": 0.004}),
        BudgetLine(source="c", contributions=dict.fromkeys(OTHERS, 0.1)),
    )
    reading = to_reading(cone, own, (-6.0, 6.0))
    assert reading.major_mm.u == pytest.approx(math.hypot(0.02, 6 * 0.004))
    assert reading.correlation[("major_mm", "taper")] == pytest.approx(
        6 * 0.004 / reading.major_mm.u
    )
    back = to_reading(
        replace(cone, section=replace(section, fit=replace(section.fit, taper=-1 / 16))),
        own,
        (-6.0, 6.0),
    )
    assert back.correlation[("major_mm", "taper")] == pytest.approx(
        reading.correlation[("major_mm", "taper")]
    )


# Seen by its crests.


def test_crests_lie_a_pitch_apart_on_the_major_diameter(crests) -> None:
    zy = crests.sight.to_frame(crests.crests.xy)
    for side in (1.0, -1.0):
        z = zy[crests.crests.side == side][:, 0]
        assert np.diff(z) == pytest.approx(np.full(len(z) - 1, PITCH), rel=0.01)
    assert np.abs(zy[:, 1]) == pytest.approx(np.full(len(zy), MAJOR / 2), abs=0.04)
    assert crests.lag == pytest.approx(0.5, abs=0.02)
    assert crests.slant == pytest.approx(crests.sight.slant)


@pytest.mark.parametrize("by", [0.95, 1.04])
def test_crests_measured_from_farther_are_larger(crests, by: float) -> None:
    camera = crests.camera.over_plate(HEIGHT + (crests.camera.distance_mm - HEIGHT) * by)
    again = remeasure_crests(crests, camera, HEIGHT, 0.0)
    assert again.pitch_mm == pytest.approx(by * crests.pitch_mm, rel=1e-4)
    assert again.major_mm == pytest.approx(by * crests.major_mm, rel=1e-3)
    assert again.u_edge_mm == crests.u_edge_mm


def test_flanks_show_the_angle_where_a_slant_leaves_them(crests) -> None:
    along = Along(pitch_mm=PITCH, radius_mm=MAJOR / 2, taper=0.0)
    a, b, u = visible_angle(crests.sight, along)
    assert abs(a + b - 60.0) < 1.5 * u
    assert a == pytest.approx(30.0, abs=0.8) and b == pytest.approx(30.0, abs=0.8)
    assert u > 0.5, "bands that bend alike"


def test_the_outlines_points_are_told_by_ridge_and_phase(crests) -> None:
    spacing = crests.spacing_px
    for points in ridge_points(crests.sight):
        assert (np.abs(points.phase) > 0.05).all() and (np.abs(points.phase) < 0.5).all()
        st = crests.axis.to_axis(crests.outline_px[points.index])
        assert len(np.unique(np.sign(st[:, 1]))) == 1, "of one side"
        place = st[:, 0] / spacing - points.ridge - points.phase
        assert np.ptp(place) < 0.02
        steps = np.unique(points.ridge)
        assert np.diff(steps) == pytest.approx(np.ones(len(steps) - 1))


def test_a_picture_of_crests_marks_axis_edges_and_crests(crests) -> None:
    drawn = crest_plots(crests)
    a, b = (np.array(p) for p in drawn.axis_px)
    off = crests.axis.to_axis(np.stack([a, b]))
    assert np.abs(off[:, 1]).max() < 0.5
    assert len(drawn.edges_px) == 2
    assert len(drawn.crests_px) == len(crests.crests.xy)
    for edge, sign in zip(drawn.edges_px, (1, -1), strict=True):
        assert (sign * crests.axis.to_axis(np.array(edge))[:, 1] > 0).all()


# Profiles and plots.


@pytest.fixture(scope="module")
def outlined(shape):
    """The same thread with its outline in the photo."""
    camera, frame = place()
    z, upper, lower = seen_sides(iso_profile(PITCH, MAJOR), PITCH, PITCH, frame.pinhole)
    sides = [frame.to_photo(np.stack([z, y, np.zeros_like(z)], axis=1)) for y in (upper, -lower)]
    return replace(shape, outline_px=np.concatenate([sides[0], sides[1][::-1]]))


def test_both_sides_over_even_stations(outlined) -> None:
    z, upper, lower = side_profiles(outlined.outline_px, outlined.frame, (-3.0, 3.0))
    assert np.diff(z) == pytest.approx(np.full(len(z) - 1, z[1] - z[0]))
    assert len(z) == pytest.approx(400, abs=1)
    for side in (upper, lower):
        assert side.max() == pytest.approx(MAJOR / 2, abs=0.02)
        assert side.min() > MINOR / 2 - 0.05
    assert tone_period(z, (upper, lower), PITCH) == pytest.approx(PITCH, rel=2e-3)
    step = side_profiles(outlined.outline_px, outlined.frame, (-3.0, 3.0), step_mm=0.05)[0]
    assert np.diff(step) == pytest.approx(np.full(len(step) - 1, 0.05))


def test_plots_show_the_form_folded_to_one_pitch(outlined) -> None:
    reading = to_reading(outlined, lines(outlined), outlined.span_mm)
    drawn = plots(outlined, reading)
    place_, radius = (np.array(v) for v in drawn.folded)
    assert (place_ >= 0).all() and (place_ < 1).all()
    # On the flanks the radius falls by half a pitch's width over the tangents, from the middle 1/2.
    flank = (np.abs(place_ - 0.5) > 0.13) & (np.abs(place_ - 0.5) < 0.35)
    by_form = PD / 2 + (PITCH / 4 - np.abs(place_ - 0.5) * PITCH) / math.tan(math.radians(30))
    assert np.abs(radius - by_form)[flank].max() < 0.03
    frequency, amplitude = (np.array(v) for v in drawn.spectrum)
    assert frequency[np.argmax(amplitude)] == pytest.approx(1 / PITCH, rel=0.05)
    at, off = (np.array(v) for v in drawn.drift)
    assert (np.diff(at) > 0).all()
    assert np.abs(off).max() < 5, "micrometres: an exact thread is even"
    assert len(drawn.flanks_px) == len(
        {
            (s, r, f)
            for s, r, f in zip(
                outlined.flanks.side, outlined.flanks.ridge, outlined.flanks.flank, strict=True
            )
        }
    )


def test_marked_crests_lie_on_the_outline(outlined) -> None:
    drawn = plots(outlined, to_reading(outlined, lines(outlined), outlined.span_mm))
    points = np.array(drawn.crests_px)
    apart = np.linalg.norm(points[:, None] - outlined.outline_px, axis=2).min(axis=1)
    assert apart.max() < 2.0
    a, b = (np.array(p) for p in drawn.axis_px)
    assert np.linalg.norm(b - a) * outlined.mm_per_px == pytest.approx(
        outlined.span_mm[1] - outlined.span_mm[0] + 2 * PITCH, rel=0.01
    )


@pytest.mark.parametrize("incline", [0.0, 0.05])
def test_a_sight_goes_with_its_pose(crests, incline: float) -> None:
    laid = crests.sight.laid(crests.camera, HEIGHT + 3, incline)
    assert laid.outline_px is crests.sight.outline_px
    middle = float(crests.axis.to_axis(crests.camera.project(crests.frame.origin))[0])
    expected = axis_frame(crests.camera, crests.axis, middle, HEIGHT + 3, incline)
    assert laid.frame.origin == pytest.approx(expected.origin)
    assert laid.frame.along == pytest.approx(expected.along)
    there = laid.to_photo(np.array([[1.0, 2.0, 0.0]]))
    assert laid.to_frame(there) == pytest.approx(np.array([[1.0, 2.0]]))
    assert laid.blur_mm == pytest.approx(laid.blur_px * laid.mm_per_px)


# The budget of crests alone.


def by_source(crests, place=PLACE) -> dict[str, BudgetLine]:
    return {x.source: x for x in budget(crests, place)}


def test_a_thread_by_its_crests_has_these_lines_and_no_other(crests) -> None:
    assert list(by_source(crests)) == [
        "scale of the reference",
        "height of the axis",
        "focal length",
        "tilt of the camera",
        "lens distortion",
        "inclination of the part",
        "edge and rim",
        "edge noise",
        "form of the model",
    ]
    for x in by_source(crests).values():
        assert set(x.contributions) <= set(values(crests)), "what was not measured has none"


def test_crests_scatter_is_their_own_and_type_a(crests) -> None:
    noise = by_source(crests)["edge noise"]
    assert (noise.kind, noise.correlated) == ("A", False)
    assert noise.degrees_of_freedom == len(crests.crests.xy) - 4
    assert noise.contributions["pitch_mm"] == crests.u_pitch_mm
    assert noise.contributions["taper"] == crests.u_taper
    assert noise.contributions["major_mm"] == crests.u_major_mm
    assert noise.contributions["angle_deg"] == crests.u_angle_deg


def test_both_edges_of_a_crest_diameter_count(crests) -> None:
    wide = replace(crests, u_edge_mm=0.01)
    assert by_source(wide)["edge and rim"].contributions == {"major_mm": 0.02}


def test_what_crests_leave_open_of_the_pitch_is_a_share_of_it(crests) -> None:
    form = by_source(crests)["form of the model"]
    assert not form.correlated
    assert all(c > 0 for c in form.contributions.values())
    twice = replace(crests, pitch_mm=2 * crests.pitch_mm)
    assert by_source(twice)["form of the model"].contributions["pitch_mm"] == pytest.approx(
        2 * form.contributions["pitch_mm"]
    )


@pytest.mark.parametrize("u_rad", [0.005, 0.02])
def test_crests_under_a_slant_go_with_the_inclination(crests, u_rad: float) -> None:
    """Measured again, more and less inclined; the larger change counts."""
    place = replace(PLACE, u_slope_rad=u_rad)
    own = by_source(crests, place)["inclination of the part"].contributions
    now = crests.quantities()
    changes = [
        remeasure_crests(crests, crests.camera, HEIGHT, s * u_rad).quantities() for s in (1, -1)
    ]
    for k in ("pitch_mm", "major_mm", "taper"):
        larger = max((c[k] - now[k] for c in changes), key=abs)
        assert own[k] == pytest.approx(larger, rel=1e-6, abs=1e-9)
    assert abs(own["pitch_mm"]) > 1e-4


def test_a_side_without_outline_has_no_profile(outlined) -> None:
    """It is the thread's refusal, not a fault of what would interpolate."""
    above = outlined.frame.from_photo(outlined.outline_px)[:, 1] > 0
    with pytest.raises(OutlineError, match="one side of the thread"):
        side_profiles(outlined.outline_px[above], outlined.frame, (-3.0, 3.0))
