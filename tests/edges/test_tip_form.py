"""Outlines of tips against the standards' basic profiles."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.special import ndtr

from pitchcam.edges.tip_form import meeting_radius, tip_outline
from pitchcam.light import stations
from pitchcam.light.mirrored import Mirrored, light_slopes
from pitchcam.light.stations import Line, middle_line
from tests.thread.helicoid import iso_profile, whitworth_profile

PITCH, MAJOR = 1.5, 14.0


def section(half_deg, width, radius):
    tan = np.tan(np.radians(half_deg))
    return SimpleNamespace(
        seen=SimpleNamespace(
            tan_half=(tan, tan), width_mm=width, ref_radius_mm=radius, pitch_mm=PITCH
        )
    )


def at(line: Line, corner_mm: float, *, flat: bool) -> np.ndarray:
    """Return the stations of an outline, which are those of its corner."""
    return line.cornered(np.array([[corner_mm]]), flat=flat).z[0]


@pytest.mark.parametrize("blur", [0.04, 0.1])
def test_flat_crest_is_the_iso_profile(blur: float) -> None:
    # ISO 68-1: the pitch line lies 3/8 H below the crest, half a pitch wide.
    z, r, pitch_diameter = iso_profile(PITCH, MAJOR)
    flanks = section(30, PITCH / 2, pitch_diameter / 2)
    line = middle_line(np.linspace(6.2, 7.2, 30), blur)
    ours = tip_outline(line, np.array([[MAJOR / 2]]), flanks, np.array([[False]]), groove=False)
    where = at(line, PITCH / 16, flat=True)
    assert ours.y[0] == pytest.approx(np.interp(where, z, r), abs=1e-3)
    # The flat as a whole, and flanks of 30 degrees.
    assert ours.cos_b[0] == pytest.approx([1.0] + (line.count - 1) * [0.5])
    assert ours.lean[0] == pytest.approx([0.0] + (line.count - 1) * [1.0])
    share = ndtr(PITCH / 16 / blur) - ndtr(-PITCH / 16 / blur)
    assert ours.weights[0, 0] == pytest.approx(share / (ndtr(3) - ndtr(-3)), abs=1e-6)
    assert ours.weights.sum() == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("groove", [False, True])
def test_round_tips_are_whitworths(groove: bool) -> None:
    # BS 84: both roundings have the radius 0.137329 P and touch the flanks.
    z, r, pitch_diameter = whitworth_profile(PITCH, MAJOR)
    flanks = section(27.5, PITCH / 2, pitch_diameter / 2)
    end = float(r.min() if groove else r.max())
    off = np.abs(PITCH / 2 - np.abs(z)) if groove else np.abs(z)
    order = np.argsort(off)
    line = middle_line(np.linspace(6.2, 7.2, 30), 0.1)
    ours = tip_outline(line, np.array([[end]]), flanks, np.array([[True]]), groove=groove)
    touch = 0.137329 * PITCH * np.cos(np.radians(27.5))
    where = at(line, touch, flat=False)
    assert ours.y[0] == pytest.approx(np.interp(where, off[order], r[order]), abs=2e-3)
    assert (meeting_radius(flanks, groove=groove) < end) == groove
    # On the circle the sine of the slope grows evenly, up to the flanks.
    on = where < touch
    assert 2 <= on.sum() < len(on)
    assert ours.lean[0, on] == pytest.approx(where[on] / touch, abs=1e-3)
    assert ours.lean[0, ~on] == pytest.approx(1.0)
    assert ours.cos_b[0, ~on] == pytest.approx(np.sin(np.radians(27.5)))


def lit(
    ends: np.ndarray, is_round: bool, groove: bool = False, swept_mm: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Return the light along a line into tips, and its changes by their ends, (p, n) each."""
    one = np.ones((len(ends), 1))
    line = middle_line(np.linspace(6.2, 7.2, 30), 0.06, swept_mm=swept_mm)
    form = np.full(one.shape, is_round)
    ours = tip_outline(line, ends[:, None], section(30, PITCH / 2, 6.5), form, groove=groove)
    mirror = Mirrored(
        loss=0.4 * one, angles_rad=[[0.1, 0.15, 0.25]] * one, roughness=0.1 * one, share=0.9 * one
    )
    light, slopes = light_slopes(line, ours, mirror)
    return light, slopes[..., 0]


@pytest.mark.parametrize("swept_mm", [0.0, 0.1])
@pytest.mark.parametrize("is_round", [False, True])
@pytest.mark.parametrize("groove", [False, True])
def test_the_light_of_a_tip_moves_evenly_with_its_end(
    groove: bool, is_round: bool, swept_mm: float
) -> None:
    """Nowhere a jump or a kink: every step changes the light by its derivative, to second order.

    A flat whose corner passed stations one by one had jumped by 0.05 and more at each of them.
    """
    meet = meeting_radius(section(30, PITCH / 2, 6.5), groove=groove)
    ends = meet + (1 if groove else -1) * np.arange(0.02, 0.5, 2e-4)
    light, slopes = lit(ends, is_round, groove, swept_mm)
    moved = np.diff(ends)[:, None]
    rest = np.diff(light, axis=0) - moved * (slopes[1:] + slopes[:-1]) / 2
    assert np.abs(slopes).max() > 1.0
    assert np.abs(rest).max() < 2e-5
    # Nor does the derivative itself jump, by more than a hundredth of what a blur's width changes.
    assert np.abs(np.diff(slopes, axis=0)).max() < 0.03 * np.abs(slopes).max()


@pytest.mark.parametrize("is_round", [False, True])
def test_few_stations_tell_the_light_as_many_do(monkeypatch, is_round: bool) -> None:
    """To an eighth of what the model agrees to."""
    ends = np.linspace(6.7, 7.1, 9)
    few, _ = lit(ends, is_round)
    monkeypatch.setattr(stations, "STATIONS", 60)
    monkeypatch.setattr(stations, "CELLS", 24)
    many, _ = lit(ends, is_round)
    assert 1e-5 < np.abs(few - many).max() < 0.0025
