"""Outlines of tips against the standards' basic profiles."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.edges.tip_form import meeting_radius, tip_outline
from tests.thread.helicoid import iso_profile, whitworth_profile

PITCH, MAJOR = 1.5, 14.0


def section(half_deg, width, radius):
    tan = np.tan(np.radians(half_deg))
    return SimpleNamespace(
        seen=SimpleNamespace(
            tan_half=(tan, tan), width_mm=width, ref_radius_mm=radius, pitch_mm=PITCH
        )
    )


def test_flat_crest_is_the_iso_profile() -> None:
    # ISO 68-1: the pitch line lies 3/8 H below the crest, half a pitch wide.
    z, r, pitch_diameter = iso_profile(PITCH, MAJOR)
    flanks = section(30, PITCH / 2, pitch_diameter / 2)
    ridge = np.abs(z) < 0.25 * PITCH
    ours, cos_b = tip_outline(
        z[ridge], np.array([[MAJOR / 2]]), flanks, np.array([[False]]), groove=False
    )
    assert ours[0] == pytest.approx(r[ridge], abs=1e-3)
    assert cos_b[0].max() == 1.0
    assert cos_b[0].min() == pytest.approx(0.5)


@pytest.mark.parametrize("groove", [False, True])
def test_round_tips_are_whitworths(groove: bool) -> None:
    # BS 84: both roundings have the radius 0.137329 P and touch the flanks.
    z, r, pitch_diameter = whitworth_profile(PITCH, MAJOR)
    flanks = section(27.5, PITCH / 2, pitch_diameter / 2)
    end = float(r.min() if groove else r.max())
    off = PITCH / 2 - np.abs(z) if groove else z
    near = np.abs(off) < 0.25 * PITCH
    ours, _ = tip_outline(off[near], np.array([[end]]), flanks, np.array([[True]]), groove=groove)
    assert ours[0] == pytest.approx(r[near], abs=2e-3)
    assert (meeting_radius(flanks, groove=groove) < end) == groove
