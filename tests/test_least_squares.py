"""Batches of small fits against SciPy's solver, one by one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit, least_squares

from pitchcam.least_squares import soft, solve, solve_one

X = np.linspace(-6, 6, 41)


def bell(q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Height, place and width of a bell on a level; (n, 4) -> values and derivatives."""
    height, place, width, level = (v[:, None] for v in q.T)
    z = (X - place) / width
    form = np.exp(-0.5 * z * z)
    by = [form, height * form * z / width, height * form * z * z / width, np.ones_like(form)]
    return level + height * form, np.stack(by, axis=2)


def noisy(n: int = 30) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(11)
    true = rng.uniform([0.5, -2, 0.6, -0.2], [2, 2, 1.6, 0.2], (n, 4))
    return true, bell(true)[0] + 0.05 * rng.normal(size=(n, len(X)))


LOW, HIGH = np.array([0.1, -5, 0.3, -1.0]), np.array([5.0, 5, 4, 1])
START = np.array([1.0, 0.0, 1.0, 0.0])


def batch(seen: np.ndarray, high: np.ndarray = HIGH):
    def cost(q):
        value, slopes = bell(q)
        return (value - seen) / 0.05, slopes / 0.05

    return solve(cost, np.tile(START, (len(seen), 1)), LOW, high)


@pytest.mark.parametrize("high", [HIGH, np.array([1.1, 5, 1.0, 1])])
def test_same_answers_as_one_by_one(high):
    _, seen = noisy()
    found = batch(seen, high)
    for i, row in enumerate(seen):
        one = least_squares(
            lambda q, row=row: (bell(q[None])[0][0] - row) / 0.05,
            START,
            bounds=(LOW, high),
            xtol=1e-12,
            ftol=1e-12,
            gtol=1e-12,
        )
        assert found.cost[i] <= one.cost * (1 + 1e-5)
        assert found.parameters[i] == pytest.approx(one.x, abs=2e-3)


def test_sigma_is_that_of_the_covariance():
    _, seen = noisy(5)
    found = batch(seen)
    for i, row in enumerate(seen):

        def model(_, *q):
            return bell(np.array(q)[None])[0][0]

        _, covariance = curve_fit(model, X, row, START, np.full(len(X), 0.05), absolute_sigma=True)
        for k in range(4):
            assert found.sigma(k)[i] == pytest.approx(np.sqrt(covariance[k, k]), rel=0.01)


def test_what_changes_nothing_is_not_known():
    def cost(q):
        slopes = np.zeros((*q.shape[:1], 3, 2))
        slopes[:, :, 0] = 1.0
        return q[:, :1] - np.array([1.0, 2.0, 3.0]), slopes

    found = solve(cost, np.zeros((2, 2)), np.full(2, -9.0), np.full(2, 9.0))
    assert found.parameters[:, 0] == pytest.approx(2.0)
    assert found.sigma(0) == pytest.approx(3**-0.5)
    assert (found.sigma(1) > 1e5).all()


def test_soft_residuals_are_those_of_scipy() -> None:
    """A line through points of which two are far off: as SciPy's solver with its soft loss."""
    x = np.arange(12.0)
    y = 0.3 * x + 1 + 0.05 * np.sin(7 * x)
    y[3], y[8] = 9.0, -4.0
    slopes = np.stack([x, np.ones_like(x)], axis=1)

    def cost(p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return soft(slopes @ p - y, slopes, 0.2)

    bound = np.full(2, 9.0)
    found = solve_one(cost, np.zeros(2), -bound, bound, settled=1e-12)
    fit = least_squares(
        lambda p: slopes @ p - y, [0.0, 0.0], loss="soft_l1", f_scale=0.2, xtol=1e-14, ftol=1e-14
    )
    assert found.parameters[0] == pytest.approx(fit.x, abs=1e-5)
    assert found.cost[0] == pytest.approx(fit.cost, rel=1e-9)


def test_problems_that_are_settled_are_not_asked_again():
    """The answers are those of all problems asked every time."""
    true, seen = noisy(12)
    asked = []

    class Bells:
        def __init__(self, rows):
            self.rows = rows

        def of(self, which):
            return Bells(which)

        def __call__(self, q):
            asked.append(len(q))
            value, slopes = bell(q)
            return (value - seen[self.rows]) / 0.05, slopes / 0.05

    # Some begin where they end, and settle at once.
    start = np.where(np.arange(12)[:, None] % 3 == 0, true, START)
    found = solve(Bells(np.arange(12)), start, LOW, HIGH)
    assert asked[0] == 12 and asked[-1] < 12 and asked == sorted(asked, reverse=True)
    every = solve(lambda q: Bells(np.arange(12))(q), start, LOW, HIGH)
    assert found.parameters == pytest.approx(every.parameters, abs=1e-12)
    assert found.cost == pytest.approx(every.cost, rel=1e-12)


def test_no_step_reaches_farther_than_is_said():
    """A bell far off: Gauss and Newton's first step would leave it."""
    _, seen = noisy(5)
    places = []

    def cost(q):
        places.append(q[:, 1].copy())
        value, slopes = bell(q)
        return (value - seen) / 0.05, slopes / 0.05

    reach = np.array([np.inf, 0.2, np.inf, np.inf])
    start = np.tile(START + [0, 1.5, 0, 0], (5, 1))
    found = solve(cost, start, LOW, HIGH, reach=reach)
    assert np.abs(places[1] - places[0]).max() == pytest.approx(0.2)
    assert found.parameters == pytest.approx(batch(seen).parameters, abs=1e-2)


def test_hopeless_problems_are_left_as_they_are_and_steps_end_where_they_shall():
    _, seen = noisy(6)
    asked = []

    class Some:
        def __init__(self, seen):
            self.seen = seen

        def __call__(self, q):
            asked.append(len(q))
            value, slopes = bell(q)
            return (value - self.seen) / 0.05, slopes / 0.05

        def of(self, which):
            return Some(self.seen[which])

    start = np.tile(START, (6, 1))
    odd = np.arange(6) % 2 == 1
    found = solve(Some(seen), start, LOW, HIGH, hopeless=lambda cost: odd)
    whole = batch(seen)
    assert found.parameters[~odd] == pytest.approx(whole.parameters[~odd], abs=1e-6)
    assert np.all(found.cost[odd] > whole.cost[odd]) and asked[:3] == [6, 6, 3]
    asked.clear()
    solve(Some(seen), start, LOW, HIGH, rounds=2)
    assert asked == [6, 6, 6]


def test_the_others_go_with_one_parameter_as_fits_with_it_held():
    """Hold the width a little off, and fit the rest anew."""
    _, seen = noisy(4)
    found = batch(seen)
    held = found.parameters[:, 2] + 1e-4

    def cost(q):
        value, slopes = bell(np.insert(q, 2, held, axis=1))
        return (value - seen) / 0.05, np.delete(slopes, 2, axis=2) / 0.05

    rest = np.delete(found.parameters, 2, axis=1)
    low, high = (np.delete(x, 2) for x in (LOW, HIGH))
    again = solve(cost, rest, low, high, settled=1e-14).parameters
    best = batch(seen)
    real = (again - np.delete(best.parameters, 2, axis=1)) / 1e-4
    assert found.along(2) == pytest.approx(real, rel=0.1, abs=0.05)
