"""A budget's sums and terms by their laws: what doubles, cancels, correlates or is nothing."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pitchcam.records import NAMING_QUANTITIES, BudgetLine
from pitchcam.thread.budget import CREST_TERMS, TERMS, budget, combined, relative_u_scale, values
from pitchcam.thread.budget.edges import END_RIDGE
from pitchcam.thread.budget.geometry import LENGTHS, by_pitch, quantity, reach_mm, scaled
from tests.thread.drawn_shape import HEIGHT, PITCH, drawn_shape
from tests.thread.drawn_shape import PLACE as AS_DRAWN

U = np.array([0.002, 0.02, 0.03, 0.05, 0.5, 0.002])
PLACE = replace(AS_DRAWN, u_tilt_rad=0.02)


@pytest.fixture(scope="module")
def shape():
    return drawn_shape()


def line(shares, source="x", **how) -> BudgetLine:
    return BudgetLine(
        source=source, contributions=dict(zip(NAMING_QUANTITIES, shares, strict=True)), **how
    )


def lines(shape, place=PLACE) -> dict[str, BudgetLine]:
    return {x.source: x for x in budget(shape, place)}


# Sums.


def test_one_line_is_its_own_sum() -> None:
    for correlated in (True, False):
        u, r = combined([line(U, correlated=correlated)])
        assert list(u.values()) == pytest.approx(U)
        expected = 0.999 if correlated else 0.0
        assert list(r.values()) == pytest.approx([expected] * 15)


@pytest.mark.parametrize("by", [2.0, 0.1])
def test_a_budget_that_many_times_as_large_has_u_that_many_times(by: float) -> None:
    many = [line(U), line(U[::-1], correlated=False), line(-U)]
    more = [replace(x, contributions={k: by * v for k, v in x.contributions.items()}) for x in many]
    one, other = combined(many), combined(more)
    assert list(other[0].values()) == pytest.approx([by * v for v in one[0].values()])
    assert list(other[1].values()) == pytest.approx(list(one[1].values()))


def test_lines_add_by_squares_in_any_order() -> None:
    many = [line(U), line(2 * U, correlated=False), line(3 * U)]
    for some in (many, many[::-1]):
        assert list(combined(some)[0].values()) == pytest.approx(math.sqrt(14) * U)


def test_one_line_more_never_makes_anything_surer() -> None:
    before = combined([line(U)])[0]
    after = combined([line(U), line([0, 0, 0.01, 0, 0, 0])])[0]
    assert all(after[k] >= before[k] for k in before)
    assert after["pitch_diameter_mm"] == pytest.approx(math.hypot(0.03, 0.01))


def test_signs_make_correlations_and_no_u() -> None:
    turned = U * [1, -1, 1, -1, 1, -1]
    one, other = combined([line(U)]), combined([line(turned)])
    assert one[0] == pytest.approx(other[0])
    assert other[1][("pitch_mm", "major_mm")] == -one[1][("pitch_mm", "major_mm")]
    assert other[1][("pitch_mm", "pitch_diameter_mm")] == one[1][("pitch_mm", "pitch_diameter_mm")]


def test_two_inputs_against_each_other_correlate_by_their_difference() -> None:
    """One moves both alike, one against each other: r is (a^2 - b^2) / (a^2 + b^2)."""
    alike, against = line([0.003, 0.03, 0, 0, 0, 0]), line([0.001, -0.01, 0, 0, 0, 0])
    r = combined([alike, against])[1][("pitch_mm", "major_mm")]
    assert r == pytest.approx((9 - 1) / (9 + 1))


def test_correlations_are_those_of_draws() -> None:
    many = [line(U), line(U * [1, -1, 0, 1, 0, 2]), line(1.5 * U, correlated=False)]
    rng = np.random.default_rng(4)
    draws = np.zeros((100_000, 6))
    for x in many:
        c = np.array([x.contributions[k] for k in NAMING_QUANTITIES])
        draws += c * (
            rng.normal(size=(len(draws), 1)) if x.correlated else rng.normal(size=draws.shape)
        )
    u, r = combined(many)
    assert draws.std(axis=0) == pytest.approx(list(u.values()), rel=0.01)
    found = np.corrcoef(draws.T)
    for (a, b), value in r.items():
        i, j = NAMING_QUANTITIES.index(a), NAMING_QUANTITIES.index(b)
        assert found[i, j] == pytest.approx(value, abs=0.01)


def test_what_nothing_contributes_to_has_a_u_that_can_be_divided_by() -> None:
    u, r = combined([line([0.002, 0, 0, 0, 0, 0])])
    assert 0 < u["taper"] < 1e-8
    assert all(math.isfinite(v) for v in r.values())


def test_the_scales_u_is_its_own_lines_over_the_pitch() -> None:
    many = [
        line(U * 0 + 0.003, of_scale=True),
        line(U * 0 + 0.004, of_scale=True),
        line(U * 0 + 0.9, of_scale=False),
    ]
    assert relative_u_scale(many, 2.0) == pytest.approx(0.005 / 2.0)
    assert relative_u_scale(many[2:], 2.0) == 0.0


# Terms.

SCALE = ("scale of the reference", "height of the axis", "tilt of the camera")

FOLLOWS = {
    "u_scale": "scale of the reference",
    "u_rise_mm": "height of the axis",
    "apart_mm": "tilt of the camera",
    "u_tilt_rad": "tilt of the camera",
}


@pytest.mark.parametrize(("what", "source"), FOLLOWS.items())
def test_twice_an_input_is_twice_its_term_and_no_other(shape, what: str, source: str) -> None:
    before = lines(shape)
    after = lines(shape, replace(PLACE, **{what: 2 * getattr(PLACE, what)}))
    for name, x in after.items():
        by = 2.0 if name == source else 1.0
        expected = {k: by * v for k, v in before[name].contributions.items()}
        assert x.contributions == pytest.approx(expected), name


@pytest.mark.parametrize(("what", "source"), FOLLOWS.items())
def test_an_input_that_is_known_contributes_nothing(shape, what: str, source: str) -> None:
    known = lines(shape, replace(PLACE, **{what: 0.0}))[source]
    assert set(known.contributions.values()) <= {0.0, -0.0}


@pytest.mark.parametrize("source", SCALE)
def test_a_term_of_the_scale_moves_all_lengths_by_one_share_and_no_angle(
    shape, source: str
) -> None:
    v, own = values(shape), lines(shape)[source]
    shares = [own.contributions[k] / v[k] for k in LENGTHS]
    assert shares == pytest.approx([shares[0]] * 4)
    assert set(own.contributions) == set(LENGTHS)
    assert own.of_scale and own.correlated


def test_shares_of_the_scale_by_hand(shape) -> None:
    """By similar triangles: u of the rise, and of the tilt over the way, over the distance."""
    v, reach, own = values(shape), reach_mm(shape), lines(shape)
    assert reach == pytest.approx(200.0 - HEIGHT, rel=1e-3)
    share = {k: own[k].contributions["pitch_mm"] / v["pitch_mm"] for k in SCALE}
    assert share["scale of the reference"] == pytest.approx(0.002)
    assert share["height of the axis"] == pytest.approx(-0.3 / reach)
    assert share["tilt of the camera"] == pytest.approx(25.0 * 0.02 / reach)


@pytest.mark.parametrize("corner", [0.0, 0.002, 0.01])
def test_distortion_goes_with_what_is_not_known_of_the_lens(shape, corner: float) -> None:
    lens = replace(shape, frame=replace(shape.frame, camera=replace(shape.camera, u_corner=corner)))
    own, usual = lines(lens)["lens distortion"], lines(shape)["lens distortion"]
    for k, c in own.contributions.items():
        assert c == pytest.approx(
            usual.contributions[k] * corner / shape.camera.u_corner, abs=1e-15
        )


def test_a_thread_where_the_reference_lies_has_little_of_its_distortion(shape) -> None:
    beside = replace(PLACE, corner_share=0.6, corner_share_reference=0.6, radial=0.5)
    far = replace(beside, corner_share_reference=0.0)
    near, apart = (lines(shape, p)["lens distortion"].contributions for p in (beside, far))
    assert near["major_mm"] == pytest.approx(0.0, abs=1e-12), "read every way, half along: the same"
    assert abs(apart["major_mm"]) > 0.02
    middle = lines(shape, replace(PLACE, corner_share=0.0, corner_share_reference=0.0))
    assert set(middle["lens distortion"].contributions.values()) == {0.0}


@pytest.mark.parametrize("radial", [0.0, 0.3, 1.0])
def test_distortion_stretches_along_the_radius_three_times_as_much_as_across(
    shape, radial: float
) -> None:
    place = replace(PLACE, corner_share=0.5, corner_share_reference=0.0, radial=radial)
    v, c = values(shape), lines(shape, place)["lens distortion"].contributions
    along, across = c["pitch_mm"] / v["pitch_mm"], c["major_mm"] / v["major_mm"]
    k = shape.camera.u_corner * 0.25
    assert along == pytest.approx(k * (1 + 2 * radial))
    assert across == pytest.approx(k * (3 - 2 * radial))


def test_own_crests_as_scale_leave_neither_height_nor_tilt(shape) -> None:
    own = lines(shape, replace(PLACE, scale_on_axis=True))
    assert "height of the axis" not in own and "tilt of the camera" not in own
    assert not own["focal length"].of_scale
    assert own["lens distortion"].contributions["major_mm"] == 0.0, "the diameter was read"


def test_more_of_an_inclination_is_open_more(shape) -> None:
    small, large = (
        lines(shape, replace(PLACE, u_slope_rad=u))["inclination of the part"].contributions
        for u in (0.01, 0.03)
    )
    assert abs(large["taper"]) == pytest.approx(3 * abs(small["taper"]), rel=0.05)
    assert abs(large["pitch_mm"]) > 2.5 * abs(small["pitch_mm"])


def test_edges_that_are_surer_leave_less(shape) -> None:
    sharp = replace(shape, edges=tuple(replace(e, u_px=e.u_px / 3) for e in shape.edges))
    before, after = lines(shape), lines(sharp)
    for source in ("edge and rim", "rim along the thread"):
        for k, c in after[source].contributions.items():
            assert 0 < c < before[source].contributions[k]


def test_a_flank_that_nothing_determined_counts_no_more_than_its_band(shape) -> None:
    wild, wide = (
        replace(shape, edges=tuple(replace(e, u_px=u) for e in shape.edges)) for u in (500.0, 3.0)
    )
    assert lines(wild)["edge and rim"].contributions == lines(wide)["edge and rim"].contributions


def test_an_edges_shift_counts_on_both_sides_and_over_the_flanks_sine(shape) -> None:
    c = lines(shape)["edge and rim"].contributions
    u_px = math.hypot(0.18, 0.05)
    shift = 2 * u_px * shape.mm_per_px
    assert c["pitch_diameter_mm"] == pytest.approx(shift / math.sin(math.radians(30)), rel=0.01)
    assert c["major_mm"] == pytest.approx(0.7 * shift)
    assert c["minor_mm"] == pytest.approx(0.6 * c["pitch_diameter_mm"])
    assert set(c) == {"pitch_diameter_mm", "major_mm", "minor_mm"}


def test_halves_of_a_longer_thread_tell_its_pitch_better(shape) -> None:
    middle, half = sum(shape.span_mm) / 2, (shape.span_mm[1] - shape.span_mm[0]) / 2
    longer = replace(shape, span_mm=(middle - 2 * half, middle + 2 * half))
    one, two = (lines(s)["rim along the thread"].contributions for s in (shape, longer))
    for k in ("pitch_mm", "taper"):
        assert two[k] == pytest.approx(one[k] / 2)


@pytest.mark.parametrize("times", [2.0, 4.0])
def test_end_ridges_turn_a_taper_by_the_square_of_the_turns(shape, times: float) -> None:
    middle, half = sum(shape.span_mm) / 2, (shape.span_mm[1] - shape.span_mm[0]) / 2
    longer = replace(shape, span_mm=(middle - times * half, middle + times * half))
    one, many = (lines(s)["ridges at the ends"].contributions["taper"] for s in (shape, longer))
    assert many == pytest.approx(one / times**2)


def test_an_end_ridge_turns_the_line_through_all_flanks_by_this(shape) -> None:
    """By least squares over evenly spaced flanks of which an end one stands off by END_RIDGE."""
    turns = (shape.span_mm[1] - shape.span_mm[0]) / PITCH
    n = round(2 * turns)
    z = (np.arange(n) - (n - 1) / 2) * PITCH / 2
    off = np.zeros(n)
    off[-1] = END_RIDGE * PITCH
    slope = np.polyfit(z, off, 1)[0]
    stated = lines(shape)["ridges at the ends"].contributions["taper"]
    # Of either end and on either side: root 2 of both ends, and both sides' mean.
    assert stated == pytest.approx(2 * slope / 2, rel=0.25)


@pytest.mark.parametrize("nearness", [0.1, 0.5, 1.0])
def test_a_near_panel_counts_by_its_nearness(shape, nearness: float) -> None:
    near = replace(shape, nearness=nearness)
    whole = lines(replace(shape, nearness=1.0))["panel close behind the part"]
    own = lines(near)["panel close behind the part"]
    assert own.contributions == pytest.approx(
        {k: nearness * v for k, v in whole.contributions.items()}
    )
    assert not own.correlated


def test_light_from_far_off_has_no_line(shape) -> None:
    assert "panel close behind the part" not in lines(replace(shape, nearness=0.01))
    assert "bent flanks" not in lines(replace(shape, bend_deg=0.01))


@pytest.mark.parametrize("bend", [0.5, -2.0])
def test_bent_flanks_leave_a_uniform_angle_between_both_halves(shape, bend: float) -> None:
    own = lines(replace(shape, bend_deg=bend))["bent flanks"]
    assert own.contributions == pytest.approx({"angle_deg": abs(bend) / math.sqrt(12)})


def test_what_was_not_measured_has_no_contribution(shape) -> None:
    bare = replace(shape, tips=(), roots=())
    assert set(values(bare)) == {"pitch_mm", "pitch_diameter_mm", "angle_deg", "taper"}
    for x in budget(bare, PLACE):
        assert not {"major_mm", "minor_mm"} & set(x.contributions)


def test_every_quantity_that_was_measured_has_some_doubt(shape) -> None:
    u, _ = combined(budget(shape, PLACE))
    assert all(u[k] > 0 for k in values(shape))
    assert len(TERMS) == len({t.__name__ for t in TERMS})
    assert len(CREST_TERMS) == len({(t.__module__, t.__name__) for t in CREST_TERMS})


def test_lengths_scale_together(shape) -> None:
    v = values(shape)
    assert scaled(shape, 0.01) == pytest.approx({k: 0.01 * v[k] for k in LENGTHS})
    grown = by_pitch(shape, dict.fromkeys(NAMING_QUANTITIES, 0.1))
    assert grown["pitch_mm"] == pytest.approx(0.1 * shape.pitch_mm)
    assert grown["major_mm"] == pytest.approx(0.1 * shape.pitch_mm)
    assert grown["angle_deg"] == 0.1


def test_a_quantity_that_is_none_stays_none() -> None:
    assert quantity(None, 0.1) is None
    q = quantity(np.float64(1.5), np.float64(0.1))
    assert q is not None and (q.value, q.u) == (1.5, 0.1)


# The principal point of a picture that may have been cropped.


def moved(shape, off_px: float = 40.0):
    """Cameras whose principal point lies to either side, along the axis and across it."""
    axis = np.array(shape.axis.direction)
    ways = (axis, np.array([-axis[1], axis[0]]))
    return tuple(
        (shape.camera.recentred(off_px * w), shape.camera.recentred(-off_px * w)) for w in ways
    )


EITHER = ("principal point along, either way", "principal point across, either way")


def test_a_crop_has_four_lines_of_its_principal_point(shape) -> None:
    cropped = lines(shape, replace(PLACE, recentred=moved(shape)))
    added = set(cropped) - set(lines(shape))
    assert added == {"principal point along", "principal point across", *EITHER}
    assert all(cropped[k].of_scale for k in added)
    own = lines(shape, replace(PLACE, recentred=moved(shape), scale_on_axis=True))
    assert not any(own[k].of_scale for k in added)


def test_what_goes_with_its_place_doubles_and_with_its_square_goes_fourfold(shape) -> None:
    one, two = (lines(shape, replace(PLACE, recentred=moved(shape, o))) for o in (150.0, 300.0))
    for source in ("principal point along", "principal point across"):
        k = max(
            one[source].contributions,
            key=lambda q: (
                abs(one[source].contributions[q]) / values(shape).get(q, 1) if q in LENGTHS else 0
            ),
        )
        assert two[source].contributions[k] == pytest.approx(
            2 * one[source].contributions[k], rel=0.1
        )
    across = EITHER[1]
    assert two[across].contributions["major_mm"] == pytest.approx(
        4 * one[across].contributions["major_mm"], rel=0.1
    )


def test_the_square_of_a_normal_variable_counts_by_the_root_of_its_fourth_moment(shape) -> None:
    """E x^4 = 3: what one u makes is taken root 3 times."""
    from pitchcam.thread.pose.drift import again

    cameras = moved(shape, 300.0)
    now = values(shape)
    one, other = (values(again(shape, c, HEIGHT, 0.0)) for c in cameras[1])
    even = lines(shape, replace(PLACE, recentred=cameras))[EITHER[1]].contributions["major_mm"]
    mean = (one["major_mm"] + other["major_mm"]) / 2 - now["major_mm"]
    draws = np.random.default_rng(1).normal(size=400_000) ** 2 * mean
    assert even == pytest.approx(math.copysign(math.sqrt(np.mean(draws**2)), mean), rel=0.02)


def test_either_side_first_makes_no_difference_to_the_even_lines(shape) -> None:
    cameras = moved(shape, 300.0)
    turned = tuple(pair[::-1] for pair in cameras)
    one, other = (lines(shape, replace(PLACE, recentred=c)) for c in (cameras, turned))
    for source in EITHER:
        assert other[source].contributions == pytest.approx(one[source].contributions, abs=1e-12)
    for source in ("principal point along", "principal point across"):
        mirrored = {k: -v for k, v in one[source].contributions.items()}
        assert other[source].contributions == pytest.approx(mirrored, abs=1e-12)
