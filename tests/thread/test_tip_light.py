"""The light on a tip's middle line against sums over a picture in two dimensions."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.thread.tip_light import tip_light

BLUR, PITCH, TAN = 0.06, 1.5, np.tan(np.radians(30))
#: A ridge half a pitch wide at radius 6.5: its flanks meet 0.65 above.
SEEN = SimpleNamespace(tan_half=(TAN, TAN), width_mm=PITCH / 2, ref_radius_mm=6.5, pitch_mm=PITCH)
MEET = 6.5 + PITCH / 4 / TAN
Y = 6.2 + 0.03 * np.arange(30)


def model(*, groove=False):
    low, high = (5.6, 6.4) if groove else (6.6, 7.4)
    return tip_light(SimpleNamespace(seen=SEEN), Y, BLUR, low, high, groove=groove)


def half_width(r, end, is_round, groove):
    """Half the width of the ridge (or groove) at radii, drawn by hand."""
    meet = 6.5 - PITCH / 4 / TAN if groove else MEET
    up = -1 if groove else 1
    width = np.where(up * (end - r) > 0, up * (meet - r) * TAN, 0.0)
    if not is_round:
        return width
    half = np.arctan(TAN)
    radius = up * (meet - end) / (1 / np.sin(half) - 1)
    middle = end - up * radius
    circle = np.sqrt(np.maximum(radius**2 - (r - middle) ** 2, 0.0))
    above = up * (r - middle) > radius * np.sin(half)
    return np.where(above, circle, width)


@pytest.mark.parametrize("groove, end", [(False, 6.9), (False, 7.05), (True, 6.1), (True, 5.95)])
@pytest.mark.parametrize("is_round", [True, False])
def test_share_is_that_of_a_drawn_tip(groove, end, is_round):
    step = 0.002
    x, r = np.arange(-0.8, 0.8, step) + step / 2, np.arange(5.0, 8.0, step) + step / 2
    inside = np.abs(x[:, None]) < half_width(r, end, is_round, groove)
    dark = ~inside if groove else inside
    across = np.exp(-0.5 * (x / BLUR) ** 2)
    along = np.exp(-0.5 * ((Y[:, None] - r) / BLUR) ** 2)
    weight = step**2 / (2 * np.pi * BLUR**2)
    # Beyond the picture a groove's walls go on.
    expected = weight * along @ (across @ dark)
    got, _ = model(groove=groove).dark(np.array([[end]]), np.array([[float(is_round)]]))
    use = (Y > 5.6) & (Y < 6.5) if groove else np.ones(len(Y), bool)
    assert got[0, 0][use] == pytest.approx(expected[use], abs=0.006)


@pytest.mark.parametrize("groove", [True, False])
@pytest.mark.parametrize("is_round", [0.0, 1.0])
def test_slope_is_the_change_with_the_end(groove, is_round):
    light, form = model(groove=groove), np.array([[is_round]])
    ends = np.array([[5.95, 6.1, 6.3]]) if groove else np.array([[6.7, 6.9, 7.1]])
    _, slope = light.dark(ends, form)
    above, below = (light.dark(ends + d, form)[0] for d in (1e-5, -1e-5))
    assert slope == pytest.approx((above - below) / 2e-5, abs=1e-5 * np.abs(slope).max())


def test_nothing_lies_beyond_the_flanks_meeting_point():
    light, form = model(), np.array([[0.0]])
    dark, slope = light.dark(np.array([[MEET, MEET + 0.1]]), form)
    assert dark[0, 0] == pytest.approx(dark[0, 1])
    assert not slope[0, 1].any()
