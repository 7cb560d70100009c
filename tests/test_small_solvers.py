"""Lines, medians and least squares: what no shift, turn or scale may change, and their bounds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit, least_squares, lsq_linear
from scipy.special import erf
from scipy.stats import linregress
from skimage.measure import LineModelND, ransac

from pitchcam.least_squares import Solution, by_differences, soft, solve, solve_one
from pitchcam.normal import normal_cdf
from pitchcam.robust import MOST_MEDIANS, robust_line
from pitchcam.small import cross, distinct, line, median, percentile, solved

X = np.arange(120.0)
RNG = np.random.default_rng(31)
NOISE = RNG.normal(0, 0.1, len(X))
numbers = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40).map(np.array)


@pytest.mark.parametrize("n", [1, 2, 5, 9, 60])
def test_small_systems_are_solved_as_numpy_solves_them(n: int) -> None:
    a, b = RNG.normal(size=(n, n)), RNG.normal(size=n)
    assert (solved(a, b) == np.linalg.solve(a, b)).all()
    a[-1] = 0.0
    with pytest.raises(np.linalg.LinAlgError):
        solved(a, b)


@settings(max_examples=40)
@given(x=numbers)
def test_half_of_all_lie_on_either_side_of_the_median(x: np.ndarray) -> None:
    m = median(x)
    assert (x <= m).sum() * 2 >= len(x)
    assert (x >= m).sum() * 2 >= len(x)
    assert median(-x) == -m


@settings(max_examples=40)
@given(x=numbers, percent=st.floats(0, 100))
def test_a_percentile_lies_between_the_ends_and_mirrors(x: np.ndarray, percent: float) -> None:
    p = percentile(x, percent)
    assert x.min() <= p <= x.max()
    assert percentile(-x, 100 - percent) == pytest.approx(-p, rel=1e-9, abs=1e-6)
    assert percentile(x, 0) == x.min() and percentile(x, 100) == x.max()


@settings(max_examples=40)
@given(x=numbers)
def test_distinct_values_ascend_and_are_all_there(x: np.ndarray) -> None:
    d = distinct(x)
    assert (np.diff(d) > 0).all()
    assert set(d.tolist()) == set(x.tolist())


def test_the_vector_product_stands_square_to_both_and_turns_right_handed() -> None:
    x, y, z = np.eye(3)
    assert (cross(x, y) == z).all() and (cross(y, z) == x).all() and (cross(z, x) == y).all()
    a, b = RNG.normal(size=(2, 3))
    c = cross(a, b)
    assert c @ a == pytest.approx(0.0, abs=1e-12)
    assert c @ b == pytest.approx(0.0, abs=1e-12)
    assert cross(b, a) == pytest.approx(-c)
    assert np.linalg.norm(c) ** 2 + (a @ b) ** 2 == pytest.approx((a @ a) * (b @ b))


@pytest.mark.parametrize(("slope", "offset"), [(0.0, 3.0), (-2.5, 0.25), (1e-6, 1e4)])
def test_a_line_through_points_on_it(slope: float, offset: float) -> None:
    assert line(X, slope * X + offset) == pytest.approx((slope, offset), rel=1e-9, abs=1e-12)
    assert line(np.array([5.0]), np.array([7.0])) == (0.0, 7.0)


def test_a_line_through_scatter_is_scipys() -> None:
    theirs = linregress(X, 0.3 * X + NOISE)
    assert line(X, 0.3 * X + NOISE) == pytest.approx((theirs.slope, theirs.intercept), rel=1e-9)


@pytest.mark.parametrize("shift", [-40.0, 0.0, 1e4])
@pytest.mark.parametrize("by", [-2.0, 0.01, 300.0])
def test_a_robust_line_moves_and_scales_with_its_points(shift: float, by: float) -> None:
    y = 0.05 * X + NOISE + 9.0 * (X % 7 == 0)
    plain, moved = robust_line(X, y, 0.3), robust_line(X + shift, by * y, 0.3 * abs(by))
    assert (moved.kept == plain.kept).all()
    assert moved.slope == pytest.approx(by * plain.slope, rel=1e-6)
    assert moved.offset == pytest.approx(by * (plain.offset - plain.slope * shift), rel=1e-6)


def test_a_robust_line_leaves_out_what_scikit_images_consensus_does() -> None:
    y = 0.05 * X + NOISE
    y[::6] += 4.0
    found = robust_line(X, y, 0.3)
    _, theirs = ransac(np.column_stack([X, y]), LineModelND, 2, 0.4, rng=1)
    assert (found.kept == theirs).all()
    assert found.slope == pytest.approx(0.05, abs=0.001)


def test_a_robust_line_with_one_round_is_the_plain_line() -> None:
    y = 0.05 * X + NOISE + 9.0 * (X == 50)
    once = robust_line(X, y, 0.3, rounds=1)
    assert (once.slope, once.offset) == line(X, y)
    assert once.kept.sum() == len(X) - 1


def test_what_lies_beyond_three_medians_is_left_out_unless_near() -> None:
    y = np.where(X % 2 == 0, 1.0, -1.0)
    far = y.copy()
    far[60] = 1.0 + MOST_MEDIANS
    assert not robust_line(X, far, 0.1).kept[60]
    assert robust_line(X, far, 5.0).kept.all()
    near = y.copy()
    near[60] = 0.9 * MOST_MEDIANS
    assert robust_line(X, near, 0.1).kept.all()


def test_the_normal_distribution_is_symmetric_and_rises() -> None:
    x = np.linspace(-6, 6, 4001)
    p = normal_cdf(x)
    assert p + p[::-1] == pytest.approx(np.ones(len(x)), abs=1e-15)
    assert (np.diff(p) > 0).all()
    assert p == pytest.approx(0.5 * (1 + erf(x / math.sqrt(2))), abs=1e-15)
    assert float(normal_cdf(0.0)) == 0.5
    # 68, 95 and 99.7 %: the rule of thumb's digits, from tables (from memory).
    assert [float(normal_cdf(k) - normal_cdf(-k)) for k in (1, 2, 3)] == pytest.approx(
        [0.682689, 0.954500, 0.997300], abs=1e-6
    )


# Least squares.

T = np.linspace(0, 4, 25)
BOUND = np.full(2, 50.0)


def decay(q: np.ndarray) -> np.ndarray:
    return q[0] * np.exp(-q[1] * T)


SEEN = decay(np.array([3.0, 0.7])) + RNG.normal(0, 0.02, len(T))


def one(q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    e = np.exp(-q[1] * T)
    return q[0] * e - SEEN, np.stack([e, -q[0] * T * e], axis=1)


def many(q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    pairs = [one(row) for row in q]
    return np.stack([r for r, _ in pairs]), np.stack([s for _, s in pairs])


START = np.array([1.0, 0.2])


def test_a_decay_is_that_of_scipys_fit() -> None:
    found = solve_one(one, START, -BOUND, BOUND, settled=1e-12)
    values, covariance = curve_fit(lambda t, a, b: a * np.exp(-b * t), T, SEEN, START)
    assert found.parameters[0] == pytest.approx(values, rel=1e-5)
    scatter = 2 * found.cost[0] / (len(T) - 2)
    assert found.sigmas()[0] * math.sqrt(scatter) == pytest.approx(
        np.sqrt(np.diag(covariance)), rel=1e-3
    )
    assert found.sigma(1)[0] == found.sigmas()[0, 1]


def test_one_problem_alone_goes_as_among_many() -> None:
    starts = np.array([START, [2.0, 0.5], [4.0, 1.0]])
    together = solve(many, starts, -BOUND, BOUND, settled=1e-12)
    for i, start in enumerate(starts):
        alone = solve_one(one, start, -BOUND, BOUND, settled=1e-12)
        assert together.parameters[i] == pytest.approx(alone.parameters[0], rel=1e-6)
        assert together.cost[i] == pytest.approx(alone.cost[0], rel=1e-9)
        assert together.residuals[i] == pytest.approx(alone.residuals[0], abs=1e-6)
        assert together.information[i] == pytest.approx(alone.information[0], rel=1e-4)


def test_the_solution_is_told_with_its_own_residuals() -> None:
    found = solve_one(one, START, -BOUND, BOUND)
    rest, slopes = one(found.parameters[0])
    assert found.residuals[0] == pytest.approx(rest, abs=1e-12)
    assert found.cost[0] == pytest.approx(rest @ rest / 2)
    assert found.information[0] == pytest.approx(slopes.T @ slopes)


@pytest.mark.parametrize(
    "low, high", [([-9, 0.9], [9, 9]), ([-9, -9], [2.5, 9]), ([3.2, -9], [9, 0.5])]
)
def test_bounds_are_kept_and_the_rest_is_at_its_best(low, high) -> None:
    """As SciPy's bounded solver."""
    low, high = np.array(low, float), np.array(high, float)
    found = solve_one(one, START, low, high, settled=1e-13).parameters[0]
    many_found = solve(many, START[None], low, high, settled=1e-13).parameters[0]
    theirs = least_squares(
        lambda q: one(q)[0], np.clip(START, low + 0.01, high - 0.01), bounds=(low, high)
    )
    assert (found >= low).all() and (found <= high).all()
    assert found == pytest.approx(theirs.x, abs=1e-4)
    assert many_found == pytest.approx(found, abs=1e-6)


def test_a_bounded_plane_is_scipys() -> None:
    a, b = RNG.normal(size=(12, 4)), RNG.normal(size=12)
    low, high = np.full(4, -0.2), np.full(4, 0.3)
    found = solve_one(lambda q: (a @ q - b, a), np.zeros(4), low, high, settled=1e-14)
    assert found.parameters[0] == pytest.approx(lsq_linear(a, b, (low, high)).x, abs=1e-5)


def test_a_start_outside_its_bounds_is_drawn_in() -> None:
    found = solve_one(one, np.array([99.0, -99.0]), np.zeros(2), np.full(2, 5.0))
    assert found.parameters[0] == pytest.approx([3.0, 0.7], abs=0.05)


def test_what_is_at_its_best_already_stays() -> None:
    best = solve_one(one, START, -BOUND, BOUND, settled=1e-14).parameters[0]
    again = solve_one(one, best, -BOUND, BOUND)
    assert again.parameters[0] == pytest.approx(best, abs=1e-9)


def test_problems_are_settled_each_by_itself() -> None:
    """One far, one near, one exact: none costs the others their best."""
    best = solve_one(one, START, -BOUND, BOUND, settled=1e-14).parameters[0]
    starts = np.array([best, best * 1.05, [30.0, 3.0]])
    found = solve(many, starts, -BOUND, BOUND, settled=1e-12)
    assert found.parameters == pytest.approx(np.tile(best, (3, 1)), rel=1e-4)


def test_derivatives_by_differences_lead_to_the_same_place() -> None:
    found = solve_one(by_differences(lambda q: one(q)[0]), START, -BOUND, BOUND, settled=1e-12)
    exact = solve_one(one, START, -BOUND, BOUND, settled=1e-12)
    assert found.parameters[0] == pytest.approx(exact.parameters[0], rel=1e-5)
    rest, slopes = by_differences(lambda q: one(q)[0])(START)
    assert (rest == one(START)[0]).all()
    assert slopes == pytest.approx(one(START)[1], abs=1e-5)


def test_sigmas_know_no_units() -> None:
    """A parameter in other units has its sigma in those."""
    slopes = RNG.normal(size=(1, 30, 3))
    information = np.swapaxes(slopes, 1, 2) @ slopes
    by = np.array([1e-6, 1.0, 1e7])
    other = information * by[:, None] * by

    def told(i: np.ndarray) -> np.ndarray:
        return Solution(
            parameters=np.zeros((1, 3)), residuals=np.zeros((1, 1)), cost=np.zeros(1), information=i
        ).sigmas()[0]

    assert told(information) == pytest.approx(
        np.sqrt(np.diag(np.linalg.inv(information[0]))), rel=1e-6
    )
    assert told(other) * by == pytest.approx(told(information), rel=1e-6)


@settings(max_examples=50)
@given(r=st.floats(-50, 50), scale=st.floats(0.05, 5))
def test_a_soft_residual_is_the_plain_one_when_small_and_a_root_when_large(
    r: float, scale: float
) -> None:
    rest, slopes = soft(np.array([r]), np.ones((1, 1)), scale)
    z = (r / scale) ** 2
    assert rest[0] ** 2 == pytest.approx(scale**2 * 2 * (math.sqrt(1 + z) - 1), rel=1e-6, abs=1e-9)
    assert abs(rest[0]) <= abs(r) + 1e-12
    assert np.sign(rest[0]) == np.sign(r)
    step = 1e-6 * scale
    ahead = soft(np.array([r + step]), np.ones((1, 1)), scale)[0]
    behind = soft(np.array([r - step]), np.ones((1, 1)), scale)[0]
    assert slopes[0, 0] == pytest.approx(
        float((ahead - behind)[0]) / (2 * step), rel=1e-4, abs=1e-6
    )
