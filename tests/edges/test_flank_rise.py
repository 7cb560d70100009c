"""A flank's edge from foot to top, in light drawn across it."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from pitchcam.edges.flank_place import CELLS_PX
from pitchcam.edges.flank_rise import (
    HEIGHTS,
    LEVEL_BLURS,
    MOVED_SHARE,
    NEAR_SHARE,
    PER_POINT,
    TRACED_SHARE,
    U_EDGE_PX,
    U_GROOVE,
    U_LIT,
    U_MOVED,
    U_TRACE_PX,
    U_TRACED,
    FlankLight,
    Rise,
    level_u,
    rise,
    traced_rise,
)
from pitchcam.objects.contour import LIT_LEVEL

BLUR_PX, EDGE_PX = 0.9, -0.9
ACROSS = np.arange(-6, 6.01, 0.5)
AT = np.linspace(0.1, 0.9, 5)
#: A trace that says nothing of the rise.
OPEN = Rise(px=0.0, u_px=50.0)


def flank(rise_px=0.0, inside=0.0, *, seed=1, off=(0.0, 0.0, 0.0), points=60):
    """The light of points up a flank whose edge rises, and which mirrors ``inside`` at its edge.

    ``off`` is by how much each height's edge, mirrored light and groove's light are off: pixels,
    and two shares.
    """
    rng = np.random.default_rng(seed)
    height = np.sort(rng.uniform(0.1, 0.9, points))
    own = np.repeat(
        rng.normal(0, 1, (3, HEIGHTS)) * np.array(off)[:, None], -(-points // HEIGHTS), axis=1
    )
    shift, more, groove = own[:, :points]
    depth = (CELLS_PX[1:] + CELLS_PX[:-1]) / 2
    traced = inside * np.exp(-depth / 3)[None, :] * np.ones((len(AT), 1))
    edge = EDGE_PX + rise_px * (height - 0.5) + shift
    falls = -np.diff(traced[0], prepend=0.0, append=0.0)
    deep = (edge[:, None, None] - CELLS_PX - ACROSS[:, None]) / BLUR_PX
    dark = ndtr(deep[:, :, 0])
    mirrored = (ndtr(deep) * falls).sum(axis=2) * -1
    light = (1 - dark) * (1 + groove)[:, None] + mirrored * (1 + more)[:, None]
    light += rng.normal(0, 0.01, light.shape)
    return FlankLight(
        across_px=ACROSS,
        light=light,
        height=height,
        free_px=np.full(points, 20.0),
        traced=traced,
        at=AT,
        edge_px=EDGE_PX,
        misfit=0.004,
        blur_px=BLUR_PX,
        near=0.0,
    )


@pytest.mark.parametrize("inside", [0.0, 0.4])
@pytest.mark.parametrize("rise_px", [-0.3, 0.0, 0.5])
def test_an_edge_that_rises_is_seen_to(rise_px, inside):
    found = rise(flank(rise_px, inside), OPEN)
    assert found.px == pytest.approx(rise_px, abs=0.06)
    assert abs(found.px - rise_px) < 2.5 * found.u_px


def test_a_bright_flank_tells_less_than_a_black_one():
    black, bright = (rise(flank(0.2, inside), OPEN).u_px for inside in (0.0, 0.7))
    # Of five heights that are off by U_EDGE_PX each over four fifths of a flank: 0.024.
    assert 0.024 < black < min(0.045, 0.5 * bright)


def test_what_is_not_known_of_each_height_is_in_the_uncertainty():
    """Edge, mirrored light and groove off by their u; what a depth's own light is off is not."""
    over_u = []
    for seed in range(40):
        found = rise(flank(0.2, 0.9, seed=seed, off=(U_EDGE_PX, U_TRACED, U_GROOVE)), OPEN)
        over_u.append((found.px - 0.2) / found.u_px)
    assert 0.5 < np.sqrt(np.mean(np.square(over_u))) < 1.0


def test_what_was_traced_counts_by_how_well_it_is_known():
    """Against the light's own, and beside what the level's noise makes of the points' slope."""
    seen = flank(0.4)
    alone, noise = rise(seen, OPEN), level_u(seen)
    for u in (0.01, 0.1, 1.0):
        both = rise(seen, Rise(px=0.0, u_px=u))
        share = 1 / (1 + alone.u_px**2 / (u**2 + noise**2))
        assert both.px == pytest.approx(share * alone.px, abs=1e-4)
        left = np.hypot(share * alone.u_px, (1 - share) * u)
        assert both.u_px == pytest.approx(left, rel=1e-3)


def test_a_levels_slope_is_as_noisy_as_simulated_points_say():
    """Points where a noisy fall crosses the level, two pixels apart, and NumPy's line through them.

    The noise is that of one profile's light, as a share of it by its root; PER_POINT of the points
    count as new.
    """
    seen = flank()
    rng, slopes = np.random.default_rng(3), []
    level = ndtr(LEVEL_BLURS)
    steep = (ndtr(LEVEL_BLURS + 1e-4) - ndtr(LEVEL_BLURS - 1e-4)) / 2e-4 / BLUR_PX
    sigma = U_LIT * np.sqrt(level) / steep / np.sqrt(2) / np.sqrt(PER_POINT)
    for _ in range(400):
        slopes.append(np.polyfit(seen.height, rng.normal(0, sigma, len(seen.height)), 1)[0])
    assert level_u(seen) == pytest.approx(np.std(slopes), rel=0.1)


def test_points_of_one_height_leave_what_was_traced():
    """But for what heights round to, of which the light tells a rise of any size."""
    seen, traced = flank(0.4), Rise(px=0.1, u_px=0.2)
    level = replace(seen, height=0.3 + 1e-16 * np.round(3 * seen.height))
    assert np.ptp(level.height) > 0
    found = rise(level, traced)
    assert (found.px, found.u_px) == pytest.approx((0.1, 0.2), rel=1e-6)


def test_noise_of_the_level_goes_with_the_lights_own_rise():
    """Level's points and light of one noise: their sum scatters less than with a firm trace.

    The level's crossing strays from point to point, and each profile is taken from there.
    """
    ends, sums = [], []
    for seed in range(40):
        seen, rng = flank(0.0, seed=seed), np.random.default_rng(900 + seed)
        stray = rng.normal(0, 0.08, len(seen.height))
        light = np.array(
            [np.interp(ACROSS + s, ACROSS, row) for s, row in zip(stray, seen.light, strict=True)]
        )
        slope = np.polyfit(seen.height, stray, 1)[0]
        ends.append(slope)
        sums.append(slope + rise(replace(seen, light=light), Rise(px=0.0, u_px=U_TRACE_PX)).px)
    assert np.std(sums) < 0.8 * np.std(ends)


def test_few_points_leave_what_was_traced():
    traced = Rise(px=0.17, u_px=0.3)
    assert rise(flank(0.5, points=7), traced) == traced


def test_light_that_is_drawn_badly_tells_less():
    seen = flank(0.2, 0.5)
    assert rise(replace(seen, misfit=0.02), OPEN).u_px > 1.5 * rise(seen, OPEN).u_px


def test_the_groove_s_other_flank_does_not_count():
    """A dark flank three pixels off, taken for the panel, would spoil the fall's form."""
    seen = flank(0.3)
    light = seen.light.copy()
    light[:, seen.across_px > 3.0] = 0.0
    narrow = replace(seen, light=light, free_px=np.full(len(light), 4.5))
    told = rise(narrow, OPEN)
    assert told.px == pytest.approx(0.3, abs=0.08)
    assert rise(replace(narrow, free_px=seen.free_px), OPEN).u_px > 3 * told.u_px


def test_spoiled_profiles_are_left_out():
    seen = flank(0.0)
    light = seen.light.copy()
    # A nick two pixels deep at two of the twelve points at the top.
    top = np.argsort(seen.height)[-2:]
    light[top] = np.roll(light[top], 4, axis=1)
    light[top, :4] = light[top, 4:5]
    assert abs(rise(replace(seen, light=light), OPEN).px) < 0.05


def test_the_level_s_crossing_on_a_black_flank_is_known():
    assert ndtr(LEVEL_BLURS) == pytest.approx(LIT_LEVEL, abs=1e-4)


def test_a_trace_counts_by_a_share_and_light_that_moves_the_level_besides():
    black = replace(flank(), edge_px=-LEVEL_BLURS * BLUR_PX)
    assert traced_rise(0.1, black) == Rise(px=TRACED_SHARE * 0.1, u_px=U_TRACE_PX)
    assert traced_rise(0.1, replace(black, edge_px=-2.0)) == traced_rise(0.1, black)
    bright = traced_rise(0.1, replace(black, edge_px=black.edge_px + 0.6))
    assert bright.px == pytest.approx(TRACED_SHARE * 0.1 + MOVED_SHARE * 0.6)
    assert bright.u_px == pytest.approx(np.hypot(U_TRACE_PX, U_MOVED * 0.6))
    assert bright.u_px > 2 * U_TRACE_PX


def test_a_close_panel_lights_the_top_of_a_flank_more_than_is_traced():
    far = replace(flank(), edge_px=0.6 - LEVEL_BLURS * BLUR_PX)
    near, half = (traced_rise(0.1, replace(far, near=by)) for by in (1.0, 0.5))
    assert near.px - traced_rise(0.1, far).px == pytest.approx(NEAR_SHARE * 0.6)
    assert half.px - traced_rise(0.1, far).px == pytest.approx(NEAR_SHARE * 0.3)
    black = replace(far, edge_px=-LEVEL_BLURS * BLUR_PX)
    assert traced_rise(0.1, replace(black, near=1.0)) == traced_rise(0.1, black)


def test_profiles_that_reach_no_edge_leave_what_was_traced():
    """An edge placed wholly outside of the profiles moves no light that was seen."""
    traced, seen = Rise(px=0.17, u_px=0.3), flank(0.2)
    assert rise(replace(seen, edge_px=-60.0), traced) == traced
    assert rise(replace(seen, height=np.full(len(seen.height), 0.5)), traced) == traced
