"""The bound of an angle with what else is not known free."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from tests.adjustment import bound, freedom


def test_with_its_place_alone_free_a_ridge_tells_what_its_flanks_do():
    """The formula's straight lines of points, against pixels: crests and roots hold their ends."""
    found = {group: u["angle_deg"] for group, u in freedom.freed(45.0, 8).items()}
    known = bound.known_bounds(45.0, 8)["angle_deg"]
    assert found["place"] == pytest.approx(known, rel=0.1)
    values = list(found.values())
    assert values == sorted(values)
    # Light that may rise up the flanks costs a third at least, whatever the blur tells of it.
    assert values[-1] > 1.3 * values[-2]


def test_the_bound_goes_with_the_turns():
    """But for the priors, which come once for every thread and tell a thousandth of it."""
    few, many = (freedom.freed(20.0, turns) for turns in (4, 16))
    for group in freedom.FREE:
        assert few[group]["angle_deg"] == pytest.approx(2 * many[group]["angle_deg"], rel=2e-3)


def test_light_that_is_known_costs_nothing(monkeypatch):
    """The rise up a flank known exactly: of four numbers a flank three stay free."""
    usual = freedom.freed(20.0, 8)["mirrored light"]["angle_deg"]
    monkeypatch.setattr(freedom, "U_TRACE_PX", 1e-6)
    told = freedom.freed(20.0, 8)
    assert told["mirrored light"]["angle_deg"] < 0.9 * usual
    assert told["mirrored light"]["angle_deg"] > told["blur and levels"]["angle_deg"]


def test_light_moves_the_level_as_a_drawn_edge_says():
    """One edge and its light, sampled finely and blurred by SciPy."""
    step, depths = 0.01, freedom.DEPTHS_PX
    x = np.arange(-30, 30, step) + step / 2
    for depth, found in zip(depths, freedom.level_shifts(), strict=True):
        at = []
        for light in (0.0, 0.01):
            drawn = np.where(x > 0, 1.0, light * np.exp(np.minimum(x, 0) / depth))
            seen = gaussian_filter1d(drawn, bound.BLUR_PX / step)
            at.append(float(np.interp(freedom.LIT_LEVEL, seen, x)))
        # Light inside moves the level inward, so that the edge lies outward of it by as much more.
        assert (at[0] - at[1]) / 0.01 == pytest.approx(found, rel=0.03)


@pytest.mark.parametrize("name", bound.FORMS)
def test_a_ridge_is_that_of_its_form(name):
    """Against the outline that photos are rendered with, which is made of arcs and lines."""
    form = bound.FORMS[name][0]
    z = np.linspace(-0.5, 0.5, 2001)
    assert freedom.ridge_of(form).radius(z) == pytest.approx(form.height(z), abs=2e-5)


def test_more_that_is_free_leaves_more_open():
    for form, _ in bound.FORMS.values():
        found = freedom.freed(20.0, 8, freedom.ridge_of(form))
        for name in ("angle_deg", "crest"):
            told = [u[name] for u in found.values() if name in u]
            assert told == sorted(told)
            assert told[0] > 0


def test_round_corners_meet_flats_and_flanks():
    sharp = freedom.Ridge()
    z = np.linspace(-0.5, 0.5, 4001)
    for name in ("crest_round", "root_round"):
        round_one = replace(sharp, **{name: 0.5})
        off = round_one.radius(z) - sharp.radius(z)
        moved = np.abs(off) > 1e-9
        assert 0.02 < moved.mean() < 0.3
        assert (off[moved] < 0).all() if name == "crest_round" else (off[moved] > 0).all()
        # No step where the circle begins and ends.
        assert (
            np.abs(np.diff(round_one.radius(z))).max()
            < 1.01 * np.abs(np.diff(sharp.radius(z))).max()
        )
