"""A panel close behind the part, and flanks that are not straight: how far they count."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from pitchcam.edges.flank_place import FAR, NEAR, Surface
from pitchcam.edges.flanks import moved_px
from pitchcam.edges.section import fit_section
from pitchcam.light.metal import UNSEEN
from pitchcam.thread import as_laid
from pitchcam.thread.as_laid import MOST_WORSE, measure_as_laid
from pitchcam.thread.bent import LIGHT_BENDS, U_LIGHT_BENDS, bend
from pitchcam.thread.budget import edges
from pitchcam.thread.measure import _nearness, _straight
from tests.thread.drawn_shape import PITCH, drawn_shape


@pytest.fixture(scope="module")
def shape():
    return drawn_shape()


def surface(panel, share=0.9):
    metal = replace(UNSEEN, share=replace(UNSEEN.share, value=share))
    return Surface(metal=metal, panel=panel, background=1.0, u_background=0.002, misfit=0.0)


def test_a_panel_counts_the_more_the_nearer_it_is(shape):
    def near(panel, **more):
        return _nearness(shape.section, surface(panel, **more), shape.mm_per_px, True)

    assert near(FAR) == near(1.2) == 0.0
    assert near(NEAR) == near(0.02) == 1.0
    assert near((NEAR + FAR) / 2) == pytest.approx(0.5)
    # What mirrors nothing shows no panel.
    assert near(0.02, share=0.05) == pytest.approx(0.1)


def test_scattered_flanks_are_as_bad_but_under_a_slant(shape):
    fit = replace(shape.section.fit, rms_mm=0.02 * 1.5)
    rough = replace(shape.section, fit=fit)
    assert _nearness(rough, surface(1.2), shape.mm_per_px, True) == 1.0
    assert _nearness(rough, surface(1.2), shape.mm_per_px, False) == 0.0


def test_nearness_scales_the_term(shape):
    half, whole = (edges.near_panel(replace(shape, nearness=n), None) for n in (0.5, 1.0))
    for name, u in whole.contributions.items():
        assert half.contributions[name] == pytest.approx(u / 2)
    assert edges.near_panel(replace(shape, nearness=0.0), None) is None


def test_a_bend_s_width_and_what_is_open_of_the_edge_s_rise_are_left_open(shape):
    bent = edges.bent_flanks(replace(shape, bend_deg=-2.0), None)
    assert bent.contributions["angle_deg"] == pytest.approx(2.0 / np.sqrt(12))
    steep = replace(shape, edges=tuple(replace(e, u_by_height_px=0.4) for e in shape.edges))
    # From foot to top: what was used is a part of the flank's height.
    part = np.std(shape.flanks.height[shape.section.fit.used]) * np.sqrt(12)
    whole_px = edges.flank_px(shape) / part
    assert edges.bent_flanks(steep, None).contributions["angle_deg"] == pytest.approx(
        np.degrees(0.4 / whole_px)
    )
    assert edges.bent_flanks(replace(shape, bend_deg=0.0), None) is None


def test_a_worn_crest_bends_the_flanks(shape):
    """The outer third of every flank laid back by a little: it opens, the rest does not."""
    f, frame = shape.flanks, shape.frame
    straight = bend(f, shape.section, frame, shape.pitch_mm, 0.0)
    middle = np.median(f.below)
    worn = np.clip(middle - f.below, 0.0, None) * shape.spacing_px * 0.4
    along = np.stack([f.flank, np.zeros_like(f.flank)], axis=1)
    laid = replace(f, xy=f.xy - along * worn[:, None])
    assert abs(straight) < 0.5
    assert bend(laid, shape.section, frame, shape.pitch_mm, 0.0) > 5.0


def shaded(shape, px):
    """The thread with the feet of its flanks seen so much less inside than half way up, pixels.

    Up the inner half an edge moves inside; in the outer half it stays where it is then.
    """
    f, section = shape.flanks, shape.section
    middle = np.median(f.below)
    height = f.height - np.median(f.height)
    up = np.where(f.below > middle, height - height.min(), -height.min())
    # So that the inner half's edge moves by px more, per height, than the outer half's.
    along = np.stack([f.flank, np.zeros_like(f.flank)], axis=1) / np.cos(np.radians(30.0))
    moved = replace(f, xy=f.xy - px * up[:, None] * along)
    return moved, fit_section(moved, shape.frame, shape.pitch_mm, section.winding)


def test_feet_that_the_next_ridge_shades_are_no_bend(shape):
    """Black oxide is as straight as it is; bright metal seems to open at its feet."""
    px = 1.0
    laid, section = shaded(shape, LIGHT_BENDS * px)
    seen = bend(laid, section, shape.frame, shape.pitch_mm, 0.0)
    assert seen < -1.0
    assert abs(bend(laid, section, shape.frame, shape.pitch_mm, px)) < 0.3 * abs(seen)
    # Twice as much is less than three of its u from what is expected; four times is a bend.
    much, section = shaded(shape, 4 * LIGHT_BENDS * px)
    left = bend(much, section, shape.frame, shape.pitch_mm, px)
    share = np.sqrt(3**2 - (2 * U_LIGHT_BENDS / LIGHT_BENDS) ** 2) / 4
    whole = bend(much, section, shape.frame, shape.pitch_mm, 0.0)
    assert left / whole == pytest.approx(share, abs=0.03)


def test_flanks_without_edges_are_moved_by_no_light():
    edges = drawn_shape().edges
    assert moved_px((), 1.0) == 0.0
    black = [replace(e, shift_px=-norm.ppf(0.85) * 1.2) for e in edges]
    assert moved_px(black, 1.2) == pytest.approx(0.0, abs=1e-3)
    bright = [replace(e, shift_px=e.shift_px + 0.6) for e in black]
    assert moved_px(bright, 1.2) == pytest.approx(0.6, abs=1e-3)
    assert moved_px([replace(e, shift_px=-3.0) for e in edges], 1.2) == 0.0


@pytest.mark.parametrize("worse, kept", [(0.5, False), (1.1, False), (2.0, True)])
def test_a_second_look_that_goes_astray_leaves_the_first(shape, monkeypatch, worse, kept):
    """As it lies, a thread's flanks scatter no more: a fit that makes them has lost sound ones."""
    fit = replace(shape.section.fit, rms_mm=0.004)
    laid = replace(shape, section=replace(shape.section, fit=fit))
    fit = replace(fit, rms_mm=0.004 * worse)
    again = replace(shape, section=replace(shape.section, fit=fit))
    monkeypatch.setattr(as_laid, "measure_thread", lambda sight, starts: again)
    assert 1.1 < MOST_WORSE < 2.0
    assert measure_as_laid(laid, None) is (laid if kept else again)


def test_flanks_are_kept_as_far_as_they_are_said_to_be_straight():
    """A level thread: the depths of its section are those of the picture to 0.03 P."""
    shape = drawn_shape()
    for within in ((0.2, 0.5), (0.1, 0.3)):
        kept, straight = _straight(shape.flanks, shape.section, shape.frame, PITCH, within)
        assert straight
        inside = (shape.flanks.below > within[0]) & (shape.flanks.below < within[1])
        assert len(kept.xy) == pytest.approx(np.count_nonzero(inside), rel=0.05)
        assert within[0] - 0.03 < kept.below.min()
        assert kept.below.max() < within[1] + 0.03
