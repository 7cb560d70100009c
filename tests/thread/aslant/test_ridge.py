"""Ridges whose crests are lower than the standard's, or rounder."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.series import load_series
from pitchcam.series.profile import form_of
from pitchcam.series.ridges import RIDGES, ridge_shares
from pitchcam.thread.aslant.ridge import CORNER_POINTS, ridge_outline, root_outline, roundest


@pytest.mark.parametrize("name", RIDGES)
@pytest.mark.parametrize("lower", [0.0, 0.03, 0.08])
def test_a_ridge_is_as_high_as_it_is_said_to_be_and_keeps_its_flanks(name, lower):
    form = RIDGES[name]
    outline = ridge_outline(form, 2.0, (form.crest - lower) * 2.0, form.tan_half)
    assert outline.height[0] == outline.height.max() == pytest.approx(2 * (form.crest - lower))
    assert np.all(np.diff(outline.across) >= -1e-12) and np.all(np.diff(outline.height) <= 1e-12)
    # Flanks are half a pitch apart on the pitch line.
    assert np.interp(0.0, -outline.height, outline.across) == pytest.approx(0.5)
    assert np.all(outline.fall[1:] >= 0) and outline.fall[-1] == pytest.approx(1 / form.tan_half)


def test_a_low_round_crest_is_cut_and_a_low_rolled_one_has_round_corners():
    low = {n: ridge_outline(RIDGES[n], 1.0, 0.25, RIDGES[n].tan_half) for n in RIDGES}
    at = {n: np.interp(0.1, o.across, o.height) for n, o in low.items()}
    assert at["round55"] == pytest.approx(0.25)
    assert at["flat60"] == pytest.approx(0.25, abs=1e-3)
    assert 0.2 < at["rolled60"] < at["worn60"] < 0.25


def test_a_crest_higher_than_its_form_has_a_sharper_rounding():
    full = ridge_outline(RIDGES["round55"], 1.0, 0.320164, RIDGES["round55"].tan_half)
    high = ridge_outline(RIDGES["round55"], 1.0, 0.36, RIDGES["round55"].tan_half)
    assert high.height[0] == pytest.approx(0.36)
    assert high.across[-3] < full.across[-3]


def test_every_size_has_ridges_of_its_angle_and_crest():
    for size in load_series():
        shares = ridge_shares(size)
        assert sum(shares.values()) == pytest.approx(1.0)
        assert {RIDGES[name].angle_deg for name in shares} == {size.angle_deg}
        if size.angle_deg != 60.0:
            form = form_of(size)
            assert form.crest_round and all(RIDGES[name].cut for name in shares)


def test_a_crest_s_height_is_that_of_the_tables_of_limits():
    """Half of the mean major less the mean pitch diameter of the usual class, median of sizes."""
    for name, form in RIDGES.items():
        own = [
            (sum(x.major_mm) - sum(x.pitch_diameter_mm)) / 4 / size.pitch_mm
            for size in load_series()
            if name in ridge_shares(size)
            for x in size.external[:1]
        ]
        assert abs(np.median(own) - form.crest) < 0.5 * form.u_crest, (name, np.median(own))


def _points(curve):
    return np.stack([curve.across, curve.height, curve.fall])


@pytest.mark.parametrize("name", RIDGES)
@pytest.mark.parametrize("lower", [-0.03, 0.0, 0.03, 0.08, 0.2])
def test_a_ridge_changes_as_is_said(name, lower):
    """By differences, to either side; a sharp corner's radius cannot be less."""
    form, h = RIDGES[name], 1e-7
    at = np.array([2.0, (form.crest - lower) * 2.0, 1.01 * form.tan_half, form.radius + 0.001])
    by = ridge_outline(replace(form, radius=at[3]), *at[:3]).by

    def drawn(q):
        return _points(ridge_outline(replace(form, radius=q[3]), *q[:3]))

    for step, own in zip(h * np.eye(4), by, strict=True):
        assert np.abs((drawn(at + step) - drawn(at - step)) / (2 * h) - own).max() < 1e-5


def test_a_root_and_the_roundest_corner_change_as_is_said():
    at, h = np.array([2.0, 0.5, 0.58, 0.27]), 1e-7
    by = root_outline(at[0], at[2], at[3]).by
    largest, slopes = roundest(*at[:3])
    for i, step in enumerate(h * np.eye(4)):
        up, down = at + step, at - step
        real = _points(root_outline(up[0], up[2], up[3])) - _points(
            root_outline(down[0], down[2], down[3])
        )
        assert np.abs(real / (2 * h) - by[i]).max() < 1e-6
        real = (roundest(*up[:3])[0] - roundest(*down[:3])[0]) / (2 * h)
        assert real == pytest.approx(slopes[i], abs=1e-6)
    assert roundest(2.0, 0.9, 0.58) == (0.0, pytest.approx(np.zeros(4)))


def test_a_cut_circle_ends_in_a_corner_of_all_falls():
    """And goes on from it on the circle; what is cut lies on the flank's side of none of it."""
    form = RIDGES["round55"]
    ridge = ridge_outline(form, 1.0, 0.28, form.tan_half)
    corner = ridge.across == ridge.across[1]
    assert corner.sum() == CORNER_POINTS + 1 and np.all(ridge.height[corner] == ridge.height[0])
    at = ridge.across[corner][0]
    top = 0.25 / form.tan_half - form.radius * (1 / np.sin(np.radians(27.5)) - 1)
    assert ridge.height[0] == pytest.approx(top - form.radius + np.sqrt(form.radius**2 - at**2))
    assert ridge.fall[corner].max() == pytest.approx(at / np.sqrt(form.radius**2 - at**2))
