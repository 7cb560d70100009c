"""The fit of straight flanks, on points of drawn threads."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.edges.axial_points import FlankPoints
from pitchcam.edges.flank_fit import fit_flanks

PITCH, RADIUS, TAN, DEPTH = 1.34, 6.1, np.tan(np.radians(27.5)), 0.4
PIXEL = 0.025


def flanks(ridges, moved, seed=1):
    """Points on both flanks of some ridges on both sides; ``moved`` shifts some flanks, mm."""
    rng = np.random.default_rng(seed)
    rows = []
    for side in (1.0, -1.0):
        for ridge in range(ridges):
            for flank in (1.0, -1.0):
                r = RADIUS + np.linspace(-DEPTH / 2, DEPTH / 2, 24)
                z = ridge * PITCH + (PITCH / 2 if side < 0 else 0.0)
                z = z + flank * (PITCH / 4 - (r - RADIUS) * TAN) + rng.normal(0, 0.1 * PIXEL, 24)
                # A run-out bends a flank as well as it moves it.
                z = z + moved.get((side, ridge, flank), 0.0) * (1 + 0.3 * (r - RADIUS) / DEPTH)
                rows.append([z, r, side + 0 * r, flank + 0 * r, ridge + 0 * r])
    z, r, side, flank, ridge = np.concatenate(rows, axis=1)
    return FlankPoints(z=z - z.mean(), r=r, side=side, flank=flank, ridge=ridge)


#: Flanks of a run-out over a turn and a half, in mm, as a photo of a G 1/4 shows them.
RUN_OUT = {
    (-1.0, 0, -1.0): -0.35,
    (-1.0, 0, 1.0): 0.24,
    (-1.0, 1, -1.0): -0.22,
    (1.0, 0, -1.0): -0.30,
    (1.0, 0, 1.0): -0.07,
    (-1.0, 1, 1.0): 0.05,
}


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("at", ["first", "last"])
def test_a_run_out_of_few_turns_draws_no_sound_flank_with_it(at, seed):
    """Six of twenty flanks, all at one end: the least sum of distances makes a taper of 1:16."""
    ridges = 5
    moved = RUN_OUT
    if at == "last":
        moved = {(-s, ridges - 1 - k, -f): -m for (s, k, f), m in RUN_OUT.items()}
    fit = fit_flanks(flanks(ridges, moved, seed), tan_guess=np.tan(np.radians(28)))
    assert abs(fit.taper) < 0.004
    assert fit.pitch_mm == pytest.approx(PITCH, rel=0.001)
    assert fit.rms_mm < 0.2 * PIXEL


def test_sound_flanks_are_all_used():
    fit = fit_flanks(flanks(5, {}), tan_guess=np.tan(np.radians(28)))
    assert fit.used.mean() > 0.99 and abs(fit.taper) < 0.002


def few(points, seed):
    """Points of a thread of few turns and pixels, so many of each flank's 24."""
    p = flanks(4, {}, seed)
    keep = np.arange(len(p.z)) % (24 // points) == 0
    columns = (c[keep] for c in (p.z, p.r, p.side, p.flank, p.ridge))
    return FlankPoints(**dict(zip(("z", "r", "side", "flank", "ridge"), columns, strict=True)))


def test_a_scatter_of_few_points_is_itself_uncertain():
    """By the variance of Student's t (JCGM 101, 6.4.9.4): 16 flanks of three points, 0.4 each."""
    fit = fit_flanks(few(3, 1), tan_guess=TAN, per_point=0.4)
    scatter = fit.scatter
    n = int(fit.used.sum())
    freedom = 0.4 * n - 9
    assert scatter.determined and scatter.degrees_of_freedom == pytest.approx(freedom)
    inverse = np.linalg.pinv(scatter.slopes.T @ scatter.slopes)
    normal = inverse * float(scatter.rest_mm @ scatter.rest_mm) / freedom
    assert fit.covariance == pytest.approx(normal * freedom / (freedom - 2), rel=1e-6)


def test_flanks_that_lie_off_as_wholes_scatter_what_they_tell():
    """Four turns beside a burr: every flank is off by a tenth of a pixel, its points by less.

    Drawn over and over, pitch and taper scatter as is stated: points alone would make them three
    times as sure. Without such flanks they are as sure as their points.
    """
    rng, ridges = np.random.default_rng(5), 4
    for off, least in ((PIXEL, 2.0), (0.0, 0.8)):
        z, by_points = [], []
        for seed in range(60):
            keys = [(s, k, f) for s in (1.0, -1.0) for k in range(ridges) for f in (1.0, -1.0)]
            p = flanks(ridges, {key: rng.normal(0, off) for key in keys}, seed)
            fit = fit_flanks(p, tan_guess=TAN, use=np.ones(len(p.z), bool))
            scatter = fit.scatter
            assert not scatter.by_flanks
            u = np.sqrt(np.diag(fit.covariance))
            z.append([(fit.pitch_mm - PITCH) / u[1], fit.taper / np.hypot(u[7], u[8])])
            points = np.linalg.pinv(scatter.slopes.T @ scatter.slopes)[1, 1] * scatter.rms_mm**2
            by_points.append(u[1] / np.sqrt(points))
        assert 0.6 < np.sqrt(np.mean(np.square(z))) < 1.5, off
        assert np.median(by_points) > least
        assert off or np.median(by_points) < 1.1


def test_hardly_more_points_than_parameters_determine_nothing():
    """Of 32 points nine parameters: 3.8 degrees of freedom are left, or 0.6."""
    more, less = (
        fit_flanks(few(2, 2), tan_guess=TAN, per_point=each).scatter for each in (0.4, 0.3)
    )
    assert more.determined and not less.determined and not less.by_flanks


def test_ridges_counted_by_a_pitch_that_is_none_determine_nothing():
    """A photo's dirt once left a pitch of 0.01 nm: its flanks would have filled all memory."""
    p = flanks(5, {})
    lost = np.where(p.ridge == p.ridge.max(), 10**11, p.ridge)
    with pytest.raises(np.linalg.LinAlgError, match="pitch that is none"):
        fit_flanks(replace(p, ridge=lost), tan_guess=TAN)


def test_points_of_no_thread_of_which_hardly_any_is_left_determine_nothing():
    """Eleven points anywhere on four ridges: six of them would lie on flanks of one thread."""
    rng = np.random.default_rng(57)
    n = int(rng.integers(10, 40))
    ridges = int(rng.integers(2, 5))
    ridge = rng.integers(0, ridges, n).astype(float)
    side, flank = rng.choice([-1.0, 1.0], n), rng.choice([-1.0, 1.0], n)
    r = rng.uniform(4, 5, n)
    off = rng.normal(0, rng.choice([0.05, 0.3, 1.0]), n)
    z = ridge + flank * 0.25 * (1 - (r - 4.5)) + off
    points = FlankPoints(z=z, r=r, side=side, flank=flank, ridge=ridge)
    rounds = int(rng.choice([2, 6]))
    with pytest.raises(np.linalg.LinAlgError, match="hardly a point"):
        fit_flanks(points, tan_guess=0.55, per_point=0.4, rounds=rounds)
