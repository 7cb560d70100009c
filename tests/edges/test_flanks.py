"""Flank points of a drawn dull thread, moved onto its edge, and what the move leaves alone."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.edges import flanks as module
from pitchcam.edges.flank_place import place_asking_blur
from pitchcam.edges.flank_points import flank_points
from pitchcam.edges.flanks import (
    HALVES_TRUE,
    MOST_SLOPE_PX,
    NEAR_PANEL,
    U_PANEL,
    FlankEdge,
    _along,
    _by_height,
    _first_least,
    move_to_edges,
    panel_behind,
)
from pitchcam.edges.section import fit_section
from pitchcam.edges.sight import Sight
from pitchcam.light.esf import Spread
from pitchcam.objects.axis import ImageAxis, envelope
from pitchcam.objects.contour import LIT_LEVEL, outline
from pitchcam.objects.regions import find_regions
from tests.edges.test_crests import drawn
from tests.thread.helicoid import iso_profile

PITCH, MAJOR = 1.5, 14.0
WINDOW = np.array([(1000, 700), (3200, 700), (3200, 2300), (1000, 2300)], float)


def found(blur_px=1.0):
    """Return the points on the level, the first fit, and all that moving them asks for."""
    crop, frame, _ = drawn(PITCH, iso_profile(PITCH, MAJOR), blur_px)
    points = outline(crop, LIT_LEVEL)
    axis = ImageAxis(point_px=(2045.5, float(np.mean(points[:, 1]))), direction=(1.0, 0.0))
    region = find_regions(*envelope(axis.to_axis(points)))[0][0]
    flanks = flank_points(points, axis, region, frame)
    first = fit_section(flanks, frame, PITCH)
    rims = SimpleNamespace(
        common=True,
        panel=0.55,
        u_panel=0.1,
        # A pixel's own width, and reading between pixels.
        spread=Spread(
            blur_px=float(np.hypot(blur_px, 0.5)), gain=0.0, radius_px=1.6, u_blur_px=0.03
        ),
    )
    field = SimpleNamespace(window_px=WINDOW)
    sight = Sight(
        crop=crop, field=field, rims=rims, region=region, outline_px=points, axis=axis, frame=frame
    )
    return flanks, sight, first


@pytest.mark.parametrize("blur_px", [0.9, 1.2])
def test_dull_threads_flanks_end_at_their_edge(blur_px: float) -> None:
    flanks, sight, first = found(blur_px)
    moved, edges, surface = move_to_edges(flanks, sight, first)
    fit = fit_section(moved, sight.frame, PITCH).fit
    # ISO 68-1: d2 = d - 3/8 sqrt 3 P.
    assert 2 * fit.pitch_radius_mm == pytest.approx(MAJOR - 0.6495 * PITCH, abs=0.015)
    assert abs(2 * first.fit.pitch_radius_mm - (MAJOR - 0.6495 * PITCH)) > 0.1
    assert abs(fit.pitch_mm) == pytest.approx(PITCH, rel=3e-4)
    assert fit.angle_deg == pytest.approx(60.0, abs=0.4)
    assert surface.metal.share.value < 0.15
    assert len(edges) == 8
    assert all(abs(e.by_height_px) < 0.05 and e.u_px < 0.1 for e in edges)


def test_a_flank_with_points_in_one_half_only_moves_as_a_whole() -> None:
    flanks, sight, first = found()
    one = (flanks.side > 0) & (flanks.flank > 0)
    ridge = flanks.ridge[one]
    # All but four of this flank's points on one ridge.
    few = np.flatnonzero(one)[ridge == np.min(ridge)]
    rest = np.flatnonzero(one)[ridge == np.max(ridge)][:4]
    keep = ~one
    keep[few] = keep[rest] = True
    points = first.points
    narrow = replace(
        first,
        points=replace(
            points, **{k: getattr(points, k)[keep] for k in ("z", "r", "side", "flank", "ridge")}
        ),
        fit=replace(first.fit, used=first.fit.used[keep]),
    )
    some = flanks.only(keep)
    moved, edges, _ = move_to_edges(some, sight, narrow)
    own = (some.side > 0) & (some.flank > 0)
    assert sum(e.side > 0 and e.flank > 0 for e in edges) == 1
    step = np.linalg.norm(moved.xy - some.xy, axis=1)
    assert step[own].min() > 0.3


def test_what_the_fit_leaves_out_says_nothing_of_the_edge() -> None:
    """A shoulder's wall beside the last ridge: its light is not mixed with the flanks'."""
    flanks, sight, first = found()
    wall = (flanks.side > 0) & (flanks.flank > 0)
    wall &= flanks.ridge == flanks.ridge[wall].max()
    assert wall.sum() > 5
    xy = flanks.xy.copy()
    xy[wall] += 3.0 * flanks.normal[wall]
    told = replace(first, fit=replace(first.fit, used=first.fit.used & ~wall))
    walled = replace(flanks, xy=xy)
    moved, edges, surface = move_to_edges(walled, sight, told)
    # By construction: as if the wall were not there.
    points = {k: getattr(first.points, k)[~wall] for k in ("z", "r", "side", "flank", "ridge")}
    bare = replace(
        first,
        points=replace(first.points, **points),
        fit=replace(first.fit, used=first.fit.used[~wall]),
    )
    alone, own, plain = move_to_edges(walled.only(~wall), sight, bare)
    assert [e.shift_px for e in edges] == pytest.approx([e.shift_px for e in own], abs=2e-3)
    np.testing.assert_allclose(moved.xy[~wall], alone.xy, atol=2e-3)
    assert surface.misfit == pytest.approx(plain.misfit, rel=0.05)
    # Where the fit did not know it, the wall would spoil the light and move the others.
    spoiled = move_to_edges(walled, sight, first)
    assert spoiled[2].misfit > 2 * surface.misfit
    assert np.abs(spoiled[0].xy[~wall] - moved.xy[~wall]).max() > 0.02


def test_what_edges_do_not_tell_of_the_panel_stays_open() -> None:
    def known(**of) -> tuple[float, float]:
        return panel_behind(SimpleNamespace(**{"common": True, "panel": 0.5, "u_panel": 0.02} | of))

    assert known() == (pytest.approx(1.0), pytest.approx(np.hypot(U_PANEL, 0.04)))
    assert known(u_panel=0.35)[1] > 0.7
    # Bands that share no panel, or one at no distance at all: it may be near.
    assert known(common=False) == known(panel=0.97) == NEAR_PANEL


def test_profiles_that_reach_into_the_next_flank_are_not_asked_for_a_blur_of_their_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """At 8 pixels a pitch or fewer 3 pixels are farther than the flank is alone."""
    asked = []

    def ask(*what):
        asked.append(what)
        return place_asking_blur(*what)

    monkeypatch.setattr(module, "place_asking_blur", ask)
    flanks, sight, first = found()
    move_to_edges(flanks, sight, first)
    # The same flanks as if their spacing were 8 pixels.
    spacing_px = PITCH / np.linalg.norm(sight.frame.origin) * sight.camera.f_px
    monkeypatch.setattr(module, "WINDOW", module.WINDOW * 8 / spacing_px)
    move_to_edges(flanks, sight, first)
    assert len(asked) == 1


def test_no_flank_no_edge() -> None:
    flanks, sight, first = found()
    none = flanks.only(np.zeros(len(flanks.side), bool))
    moved, edges, surface = move_to_edges(none, sight, first)
    assert (len(moved.side), edges, surface.background) == (0, (), 1.0)


def test_slope_by_height_is_shrunk_by_what_is_not_known() -> None:
    height = np.array([0.2, 0.4, 0.6, 0.8])
    sure = np.stack([-0.5 * height] * 3)
    bounded = -0.5 / (1 + (0.5 / MOST_SLOPE_PX) ** 2)
    unsure = sure + np.array([0.0, -1.0, 1.0])[:, None] * height
    assert _by_height(height, sure) == pytest.approx(bounded)
    assert 0 > _by_height(height, unsure) > -0.05


def half(shift_px, u_px):
    return FlankEdge(
        side=1.0, flank=1.0, shift_px=shift_px, u_px=u_px, by_height_px=0.0, u_by_height_px=0.0
    )


def test_a_half_that_is_hardly_known_neither_moves_nor_turns_a_flank():
    """Beside a shoulder the last half reads half a pixel farther out, and says how little it
    knows; two that are known make the slope that is so of what lies between them."""
    ridge = np.arange(8.0)
    spoiled = _along([1.5, 5.5], [half(-1.05, 0.08), half(-1.60, 0.46)], ridge)
    np.testing.assert_allclose(spoiled, -1.05, atol=0.15)
    assert abs(spoiled[-1] - spoiled[0]) < 0.2 * 0.55 * 7 / 4
    known = _along([1.5, 5.5], [half(-1.0, 0.03), half(-0.9, 0.03)], ridge)
    assert known[-1] - known[0] == pytest.approx(HALVES_TRUE * 0.1 * 7 / 4, rel=0.1)
    assert known.mean() == pytest.approx(-0.95, abs=1e-3)
    np.testing.assert_allclose(_along([3.5], [half(-1.0, 0.1)], ridge), -1.0)


def test_of_points_that_are_typical_alike_the_first_is_taken():
    """Half way between two heights both are as near: rounding must not choose."""
    score = np.array([2.0, 1.0 + 4e-16, 1.0, 3.0])
    assert _first_least(score) == _first_least(score[[0, 2, 1, 3]]) == 1


def test_how_near_the_panel_is_goes_with_the_light(monkeypatch: pytest.MonkeyPatch) -> None:
    """A flank's rise is expected by its surface's own nearness, whatever that is."""
    seen = []
    own = module.traced_rise
    monkeypatch.setattr(module.Surface, "near", property(lambda _: 0.37), raising=True)
    monkeypatch.setattr(
        module, "traced_rise", lambda px, flank: seen.append(flank) or own(px, flank)
    )
    flanks, sight, first = found()
    move_to_edges(flanks, sight, first)
    assert seen and {flank.near for flank in seen} == {0.37}
