"""Many small non-linear least-squares problems of one form at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.small import solved

Values = NDArray[np.float64]
#: Parameters (n, p) -> residuals (n, m) and their derivatives (n, m, p).
Model = Callable[[Values], tuple[Values, Values]]
#: Costs (n,) -> which of the problems are given up, (n,).
Hopeless = Callable[[Values], NDArray[np.bool_]]


class Problems(Protocol):
    """A model of which some problems can be asked by themselves, as those that are not settled."""

    def __call__(self, parameters: Values) -> tuple[Values, Values]:
        """Return residuals and derivatives, as a :data:`Model` does."""
        ...

    def of(self, which: NDArray[np.intp]) -> Model:
        """Return the model of some problems, by their places."""
        ...


#: Parameters (p,) -> residuals (m,) and their derivatives (m, p), of one problem.
Cost = Callable[[Values], tuple[Values, Values]]

#: Step of differences that stand for derivatives: small against what is asked of a parameter,
#: large against rounding.
DIFFERENCE = 1e-6
#: Relative fall of the cost below which a problem is settled: the parameters then lie within
#: hundredths of their u.
SETTLED = 1e-6
#: Steps after which a fit ends that does not settle.
MOST_ROUNDS = 80


@dataclass(frozen=True, kw_only=True)
class Solution:
    """Parameters (n, p), residuals (n, m), costs (n,) and information matrices (n, p, p).

    A cost is half the sum of squares; the information is J^T J, the inverse of the covariance of
    parameters whose residuals have unit variance.
    """

    parameters: Values
    residuals: Values
    cost: Values
    information: Values

    def sigma(self, which: int) -> Values:
        """Return one parameter's standard deviation in each problem, (n,)."""
        return self.sigmas()[:, which]

    def sigmas(self) -> Values:
        """Return the parameters' standard deviations, (n, p); very large where unknown."""
        # Scaled to a unit diagonal, so that the inverse knows no units.
        size = np.sqrt(np.einsum("npp->np", self.information))
        size = np.maximum(size, 1e-12)
        scaled = self.information / (size[:, :, None] * size[:, None, :])
        inverse = np.linalg.inv(scaled + 1e-12 * np.eye(size.shape[1]))
        variance = np.einsum("npp->np", inverse)
        out: Values = np.sqrt(np.maximum(variance, 0.0)) / size
        return out

    def along(self, which: int) -> Values:
        """Return how the others change best with one parameter, per problem, (n, p - 1)."""
        size = np.maximum(np.sqrt(np.einsum("npp->np", self.information)), 1e-12)
        scaled = self.information / (size[:, :, None] * size[:, None, :])
        rest = np.delete(np.arange(size.shape[1]), which)
        own = scaled[:, rest[:, None], rest] + 1e-12 * np.eye(len(rest))
        goes = -np.linalg.solve(own, scaled[:, rest, which, None])[..., 0]
        return np.asarray(goes * size[:, which, None] / size[:, rest])


def solve(
    model: Model | Problems,
    start: Values,
    low: Values,
    high: Values,
    *,
    settled: float = SETTLED,
    rounds: int = MOST_ROUNDS,
    hopeless: Hopeless | None = None,
    reach: Values | float = np.inf,
) -> Solution:
    """Minimise the squares of every problem within bounds.

    Parameters
    ----------
    model
        Residuals with derivatives; it is called with all problems at once, or with those that are
        not settled where it can be asked for some.
    start
        First parameters, (n, p).
    low, high
        Bounds, broadcast against ``start``.
    settled
        Relative fall of the cost below which a problem is settled.
    rounds
        So many steps are tried at most.
    hopeless
        Which problems are given up as they are, asked after each round.
    reach
        How far a step takes a parameter at most, (p,).

    Notes
    -----
    Levenberg and Marquardt's damped steps, cut off at the bounds; a parameter that would leave
    its bound is held there for the step. Problems of a handful of parameters cost less than a
    call of a general solver each when they are stepped together.
    """
    at = _between(start, low, high)
    residuals, slopes = model(at)
    cost = 0.5 * np.add.reduce(residuals**2, axis=1)
    damping = np.full(len(at), 1e-2)
    active, ask = np.arange(len(at)), model
    for _ in range(rounds):
        own = at[active], residuals[active], slopes[active], damping[active]
        near, far = np.maximum(low, own[0] - reach), np.minimum(high, own[0] + reach)
        trial = _between(own[0] + _steps(*own, near, far), near, far)
        new_residuals, new_slopes = ask(trial)
        before, now = cost[active], 0.5 * np.add.reduce(new_residuals**2, axis=1)
        better = now < before
        won = active[better]
        at[won], cost[won] = trial[better], now[better]
        residuals[won], slopes[won] = new_residuals[better], new_slopes[better]
        going = (np.abs(before - now) > settled * before) & (better | (own[3] < 1e8))
        damping[active] = np.where(better, own[3] / 5, own[3] * 7)
        if hopeless is not None:
            going &= ~hopeless(cost)[active]
        if not going.any():
            break
        if not going.all():
            active = active[going]
            ask = _some(model, active, at)
    return Solution(parameters=at, residuals=residuals, cost=cost, information=_squared(slopes))


def _some(model: Model | Problems, which: NDArray[np.intp], every: Values) -> Model:
    """Return the model of some problems; one that cannot be asked for some works out all."""
    of_some: Callable[[NDArray[np.intp]], Model] | None = getattr(model, "of", None)
    if of_some is not None:
        return of_some(which)

    def of_all(parameters: Values) -> tuple[Values, Values]:
        at = every.copy()
        at[which] = parameters
        residuals, slopes = model(at)
        return residuals[which], slopes[which]

    return of_all


def solve_one(
    cost: Cost, start: Values, low: Values, high: Values, *, settled: float = SETTLED
) -> Solution:
    """Minimise the squares of a single problem; arrays lack the first axis, the solution has it.

    The steps are those of :func:`solve`, without what it takes to hold several problems apart.
    """
    at = _between(np.asarray(start, float), low, high)
    residuals, slopes = cost(at)
    value, damping = 0.5 * float(residuals @ residuals), 1e-2
    gradient, normal = residuals @ slopes, slopes.T @ slopes
    for _ in range(MOST_ROUNDS):
        trial = _between(at + _step(at, gradient, normal, damping, low, high), low, high)
        new_residuals, new_slopes = cost(trial)
        new_value = 0.5 * float(new_residuals @ new_residuals)
        better, still = new_value < value, abs(value - new_value) <= settled * value
        stuck = damping >= 1e8
        if better:
            at, value, residuals, slopes = trial, new_value, new_residuals, new_slopes
            gradient, normal = residuals @ slopes, slopes.T @ slopes
        damping = damping / 5 if better else damping * 7
        if still or (stuck and not better):
            break
    return Solution(
        parameters=at[None],
        residuals=residuals[None],
        cost=np.array([value]),
        information=normal[None],
    )


def soft(rest: Values, slopes: Values, scale: float) -> tuple[Values, Values]:
    """Return residuals (m,) whose squares grow but linearly beyond a scale, and their derivatives.

    With z = (r / scale)^2 the square is scale^2 times 2 (sqrt(1 + z) - 1), the smooth
    approximation to the absolute value; ``slopes`` (m, p) are those of the plain residuals.
    """
    root = np.sqrt(1 + (rest / scale) ** 2)
    less = np.sqrt(2 / (1 + root))
    return rest * less, slopes * (1 / (root * less))[:, None]


def by_differences(rest: Callable[[Values], Values]) -> Cost:
    """Return a cost whose derivatives are differences, for residuals of a single problem."""

    def cost(q: Values) -> tuple[Values, Values]:
        base = rest(q)
        steps = q + DIFFERENCE * np.eye(len(q))
        return base, np.stack([(rest(step) - base) / DIFFERENCE for step in steps], axis=1)

    return cost


def _between(x: Values, low: Values, high: Values) -> Values:
    out: Values = np.minimum(np.maximum(x, low), high)
    return out


def _step(
    at: Values, gradient: Values, normal: Values, damping: float, low: Values, high: Values
) -> Values:
    """Return the damped step of one problem, as :func:`_steps` those of several."""
    held = ((at <= low) & (gradient > 0)) | ((at >= high) & (gradient < 0))
    damped = normal.copy()
    least: Values | float = 1e-12
    if held.any():
        damped[held] = 0.0
        damped[:, held] = 0.0
        gradient = np.where(held, 0.0, gradient)
        least = np.where(held, 1.0, 1e-12)
    # Every n + 1 numbers a matrix has one on its diagonal.
    damped.reshape(-1)[:: len(at) + 1] = damped.diagonal() * (1 + damping) + least
    return -solved(damped, gradient)


def _squared(slopes: Values) -> Values:
    out: Values = np.swapaxes(slopes, 1, 2) @ slopes
    return out


def _steps(
    at: Values, residuals: Values, slopes: Values, damping: Values, low: Values, high: Values
) -> Values:
    gradient = (residuals[:, None, :] @ slopes)[:, 0]
    held = ((at <= low) & (gradient > 0)) | ((at >= high) & (gradient < 0))
    normal = np.where(held[:, :, None] | held[:, None, :], 0.0, _squared(slopes))
    own = np.arange(at.shape[1])
    diagonal = normal[:, own, own]
    normal[:, own, own] = diagonal * (1 + damping[:, None]) + np.where(held, 1.0, 1e-12)
    return -solved(normal, np.where(held, 0.0, gradient))
