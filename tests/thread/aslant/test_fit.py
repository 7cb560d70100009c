"""How far off a drawn outline points lie by their light: by construction, and by differences."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.normal import normal_cdf
from pitchcam.series.ridges import RIDGES
from pitchcam.thread.aslant import fit
from pitchcam.thread.aslant.contour import NODES, WEIGHTS, Beside
from pitchcam.thread.aslant.ridge import ridge_outline
from pitchcam.thread.aslant.rise import flank_height, moved_by_light
from tests.thread.helicoid import iso_profile
from tests.thread.test_crest_lines import seen

BLUR = 0.05


def beside(y, heights, rise):
    """The light at points ``y`` (n,) beside outlines of ``heights`` (m, n), as a blur makes it."""
    off = (y - heights) / BLUR
    below = normal_cdf(off)
    weights = np.exp(-0.5 * off**2) * (WEIGHTS / (np.sqrt(2 * np.pi) * BLUR))[:, None]
    return Beside(
        light=WEIGHTS @ below,
        along=(NODES * WEIGHTS / BLUR) @ below,
        across=weights.sum(axis=0),
        weights=weights,
        off=off,
        rise=rise,
        moved=np.zeros((0, *heights.shape)),
    )


def straight(y, slope):
    """Points above z = 0 beside an edge that rises by ``slope``."""
    heights = slope * BLUR * NODES[:, None] * np.ones(len(y))
    return heights, np.full(heights.shape, slope)


def notch(y, wide):
    """Points in a notch between two ridges, which the blur all but fills: nodes within ``wide``."""
    heights = np.where(np.abs(NODES)[:, None] < wide, -1.0, 1.0) * np.ones(len(y))
    return heights, np.zeros(heights.shape)


@pytest.mark.parametrize("slope", [0.0, 0.6, -1.7])
def test_beside_a_straight_edge_points_lie_as_far_off_as_they_do(slope):
    """Along the edge's normal, from where the outline's level of the light lies."""
    y = np.linspace(-0.02, 0.09, 12)
    rest, _ = fit._distance(beside(y, *straight(y, slope)), BLUR)
    true = y / np.hypot(1.0, slope)
    level = 1.0364 * BLUR  # 85 % of the normal distribution
    assert rest == pytest.approx(true - level, abs=0.06 * BLUR)


@pytest.mark.parametrize("wide", [0.3, 0.9])
def test_in_a_notch_that_fills_no_point_is_far_off_for_a_slope_that_is_none(wide):
    """Its light changes nowhere. An edge of a straight one's slope would have it so far inside."""
    y = np.zeros(1)
    light = beside(y, *notch(y, wide))
    assert np.hypot(light.along, light.across)[0] < 1e-6
    rest, pull = fit._distance(light, BLUR)
    place = np.interp(light.light, fit.BELOW, fit.DEVIATIONS)
    plain = (place[0] - 1.0364) * BLUR
    assert plain / 0.2 < rest[0] < 2 * plain < 0.0
    # And nothing that is drawn there moves it.
    assert np.abs(pull).max() < 1e-6


def notched(y):
    """Points in a narrow notch: deep in it, the light falls by a fifth of a straight edge's."""
    heights = (6.0 * np.abs(NODES)[:, None] - 1.5) * BLUR * np.ones(len(y))
    return heights, np.sign(NODES)[:, None] * 6.0 * np.ones(len(y))


@pytest.mark.parametrize("drawn", [lambda y: straight(y, 0.6), notched])
def test_what_a_distance_goes_with_is_its_differences(drawn):
    """Of straight edges and in notches, where the least slope stands for the light's own."""
    y = np.array([-1.0, -0.4, 0.1, 0.6, 1.1]) * BLUR
    heights, rise = drawn(y)
    _, pull = fit._distance(beside(y, heights, rise), BLUR)
    h = 1e-6
    for k in range(len(NODES)):
        step = np.zeros(heights.shape)
        step[k] = h
        up, down = (fit._distance(beside(y, heights + s, rise), BLUR)[0] for s in (step, -step))
        assert pull[k] == pytest.approx((up - down) / (2 * h), abs=0.01)


@pytest.fixture
def all_whole(monkeypatch):
    """No ridge lies off by itself."""
    monkeypatch.setattr(fit, "_whole", lambda seen, found, scatter: np.ones(len(found.rest_px)))


def test_dirt_counts_less_and_then_not_at_all(all_whole):
    """By the scatter of sound points, 1.4826 median deviations of a normal distribution."""
    rest = np.random.default_rng(3).normal(0, 0.2, 2000)
    rest[:3] = 0.0, 0.8, 2.0
    scatter, weight = fit.trusted(None, SimpleNamespace(rest_px=rest))
    assert scatter == pytest.approx(0.2, rel=0.05)
    assert weight[0] == 1.0 and 0.5 < weight[1] < 0.75 and weight[2] == 0.0
    assert np.mean(weight) > 0.99


def test_points_that_lie_exactly_on_a_drawing_are_no_surer_than_pixels_let_them(all_whole):
    scatter, weight = fit.trusted(None, SimpleNamespace(rest_px=np.zeros(50)))
    assert scatter > 0.01 and np.all(weight == 1.0)


def test_how_strange_an_outline_is_goes_by_the_blur():
    """What lies off by noise alone in a blurred photo is a form of its own in a sharp one."""
    off, weight = SimpleNamespace(rest_px=np.full(8, 0.3)), np.ones(8)
    sharp, blurred = (fit.strangeness(SimpleNamespace(blur_px=b), off, weight) for b in (0.5, 2.0))
    assert (sharp, blurred) == pytest.approx((0.6, 0.15))


@pytest.fixture(scope="module")
def drawn():
    """A thread's outline seen aslant, a fit's beginning of it, and a plain form."""
    shape = seen(iso_profile(1.5, 14.0), 1.5, 28.0)
    points, start = fit.outline_of(shape, 0.01)
    points = replace(points, blur_px=1.0)
    along = start[[fit.PITCH, fit.RADIUS, fit.TAPER]]
    start = fit.begin(points, start[fit.FIRST : fit.FIRST + 2], along)
    start[[fit.CREST, fit.TAN]] = 0.3 * 1.5, np.tan(np.radians(30))
    form = SimpleNamespace(
        ridge=lambda q: ridge_outline(RIDGES["flat60"], q[fit.PITCH], q[fit.CREST], q[fit.TAN]),
        places=fit.DRAWN_BY,
    )
    return points, start, form


def test_a_thread_moved_with_all_that_sees_it_is_drawn_as_it_was(drawn):
    """Its points, its axis and the camera lie 3 mm aside: none of it is farther off."""
    points, start, form = drawn
    aside = replace(
        points,
        zy=points.zy + np.array([0.0, 3.0]),
        pinhole=points.pinhole + np.array([0.0, 3.0, 0.0]),
    )
    moved = start.copy()
    moved[fit.OFFSET] = 3.0
    here, there = (
        fit.rest_and_slopes(of, form, q)[0] for of, q in ((points, start), (aside, moved))
    )
    assert there == pytest.approx(here, abs=1e-9)
    # The camera alone sees it from elsewhere.
    stayed = fit.rest_and_slopes(replace(aside, pinhole=points.pinhole), form, moved)[0]
    assert np.abs(stayed - here).max() > 1e-3


def test_a_fit_begins_where_the_outline_is_expected(drawn):
    """Within a dark part's by 0.43 blurs, as the form's own prior has it."""
    points, start, _ = drawn
    assert start[fit.OUT] == pytest.approx(-0.43 * points.blur_px)


def test_an_outline_is_asked_half_a_pitch_beyond_its_crests():
    """There the grooves of the end ridges lie, as whole as the others."""
    shape = seen(iso_profile(1.5, 14.0), 1.5, 28.0)
    every = shape.crests
    inner = (every.number > 0) & (every.number < every.number.max() - 1)
    few = {k: getattr(every, k)[inner] for k in ("xy", "side", "number")}
    shape = replace(shape, crests=replace(every, **few))
    points, _ = fit.outline_of(shape, 0.01)
    crests = shape.sight.to_frame(shape.crests.xy)
    for side in (1.0, -1.0):
        z, own = points.zy[points.side == side, 0], crests[np.sign(crests[:, 1]) == side, 0]
        beyond = np.array([own.min() - z.min(), z.max() - own.max()]) / shape.pitch_mm
        assert np.all((beyond > 0.4) & (beyond < 0.51))


def test_how_far_up_a_flank_a_point_lies_is_counted_from_its_own_crest():
    """At the large end of a taper a crest's top is as much a top as at its small end."""
    at = np.array([-8.0, 0.0, 8.0])
    start = np.zeros(fit.COUNT)
    start[[fit.PITCH, fit.RADIUS, fit.TAPER]] = 1.5, 7.0, 1 / 32
    tops = SimpleNamespace(zy=np.stack([at, 7.0 + at / 32], axis=1))
    feet = SimpleNamespace(zy=np.stack([at, -(7.0 + at / 32 - 0.58 * 1.5)], axis=1))
    assert flank_height(tops, start) == pytest.approx(np.full(3, 0.5))
    assert flank_height(feet, start) == pytest.approx(np.full(3, -0.5))
    with pytest.raises(np.linalg.LinAlgError, match="no flanks"):
        moved_by_light(None, tops, flank_height(tops, start))
