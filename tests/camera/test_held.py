"""What is known of the camera's tilt: against Bayes's rule summed over a grid."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcam.camera.held import PRIOR_TILT_RAD, WAYS_DEG, Held, by_hand, known

GRID = np.radians(np.arange(-40, 40.05, 0.1))


def on_grid(held: Held) -> np.ndarray:
    """The density over GRID x GRID."""
    x, y = np.meshgrid(GRID, GRID, indexing="ij")
    total = np.zeros_like(x)
    for share, mean, covariance in zip(held.shares, held.means, held.covariances, strict=True):
        off = np.stack([x - mean[0], y - mean[1]], axis=-1)
        inverse = np.linalg.inv(covariance)
        density = np.exp(-0.5 * np.einsum("xyi,ij,xyj->xy", off, inverse, off))
        total += share * density * np.sqrt(np.linalg.det(inverse))
    return total / total.sum()


@pytest.mark.parametrize(
    ("way_deg", "seen_deg", "u_deg"), [(0, 0.3, 0.4), (30, -8.0, 0.5), (110, 3.0, 2.0)]
)
def test_what_is_seen_one_way_against_a_grid(way_deg, seen_deg, u_deg) -> None:
    way = np.array([np.cos(np.radians(way_deg)), np.sin(np.radians(way_deg))])
    after = by_hand().seen_along(way, np.radians(seen_deg), np.radians(u_deg))
    along = way[0] * GRID[:, None] + way[1] * GRID
    likely = np.exp(-0.5 * ((np.degrees(along) - seen_deg) / u_deg) ** 2)
    expected = on_grid(by_hand()) * likely
    expected /= expected.sum()
    mean = np.array([expected.sum(axis=1) @ GRID, expected.sum(axis=0) @ GRID])
    assert after.mean() == pytest.approx(mean, abs=2e-5)
    x, y = GRID - mean[0], GRID - mean[1]
    covariance = after.covariance()
    assert covariance[0, 0] == pytest.approx(expected.sum(axis=1) @ x**2, rel=0.01)
    assert covariance[1, 1] == pytest.approx(expected.sum(axis=0) @ y**2, rel=0.01)
    assert covariance[0, 1] == pytest.approx(float(x @ expected @ y), rel=0.01, abs=1e-8)


def test_the_spread_of_all_ways_together() -> None:
    assert (
        pytest.approx(np.radians(np.sqrt(sum(share * u**2 for share, u in WAYS_DEG))))
        == PRIOR_TILT_RAD
    )
    assert sum(share for share, _ in WAYS_DEG) == pytest.approx(1)


def test_a_phone_that_leans_one_way_leans_the_other_too() -> None:
    along, across = np.array([1.0, 0.0]), np.array([0.0, 1.0])
    square = by_hand().seen_along(along, 0.0, np.radians(0.3))
    aside = by_hand().seen_along(along, np.radians(9.0), np.radians(0.3))
    assert square.u_along(along) < np.radians(0.31)
    assert square.u_along(across) < np.radians(1.5) < by_hand().u_along(across)
    assert aside.u_along(across) > np.radians(6.0)
    assert aside.mean() == pytest.approx([np.radians(9.0), 0.0], abs=np.radians(0.1))


def test_one_normal_distribution_is_weighed_as_any_mean_is() -> None:
    """1 / u^2 adds up."""
    before = known(np.array([0.01, -0.02, 1.0]), 0.03)
    after = before.told(np.array([0.05, 0.0]), np.eye(2) / 0.04**2)
    weights = np.array([1 / 0.03**2, 1 / 0.04**2])
    mean = weights @ np.array([[0.01, -0.02], [0.05, 0.0]]) / weights.sum()
    assert after.mean() == pytest.approx(mean)
    assert after.u_along(np.array([0.6, 0.8])) == pytest.approx(weights.sum() ** -0.5)


def test_nothing_seen_changes_nothing() -> None:
    after = by_hand().told(np.array([0.1, 0.1]), np.zeros((2, 2)))
    assert after.covariance() == pytest.approx(by_hand().covariance())
    assert after.shares == pytest.approx(by_hand().shares)


def test_turned_and_scaled() -> None:
    told = by_hand().seen_along(np.array([0.6, 0.8]), 0.03, 0.005)
    turned = told.turned(np.array([0.6, 0.8]))
    assert turned.mean() == pytest.approx([told.mean() @ (0.6, 0.8), told.mean() @ (-0.8, 0.6)])
    assert turned.u_along(np.array([1.0, 0.0])) == pytest.approx(told.u_along(np.array([0.6, 0.8])))
    assert told.scaled(1.2).u_along(np.array([1.0, 0.0])) == pytest.approx(
        1.2 * told.u_along(np.array([1.0, 0.0]))
    )


def test_a_standard_uncertainty_is_told_of_what_is_likely() -> None:
    """A phone that is square along a pin is hardly held from aside: that is a tail."""
    along, across = np.eye(2)
    square = by_hand().seen_along(along, 0.0, np.radians(0.3))
    shares = square.shares[:2] / square.shares[:2].sum()
    assert square.shares[2] < 0.02 and square.likely().shares == pytest.approx([*shares, 0.0])
    likely = np.degrees(square.u_along(across))
    assert likely == pytest.approx(np.sqrt(shares @ [1.0, 2.5**2]), rel=0.01)
    assert likely < 0.9 * np.degrees(np.sqrt(across @ square.covariance() @ across))
    # Before anything is seen all three ways count.
    assert by_hand().likely().shares == pytest.approx(by_hand().shares)
