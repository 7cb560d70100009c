"""Lines through crests whose ends may be low: by construction."""

import numpy as np
import pytest

from pitchcam.errors import OutlineError
from pitchcam.thread.low_crests import lines_of_crests

PITCH, MM = 2.0, 0.06


def crests(count, taper=0.0, seed=None, scatter_px=0.06):
    """Crests of both sides, half a pitch apart: z, radius, and which are above."""
    z = np.concatenate([np.arange(count) * PITCH, (np.arange(count) + 0.5) * PITCH])
    z -= z.mean()
    radius = 15.0 + taper / 2 * z
    if seed is not None:
        radius += np.random.default_rng(seed).normal(0, scatter_px * MM, len(z))
    return z, radius, np.arange(2 * count) < count


@pytest.mark.parametrize("taper", [0.0, 0.0625, -0.0625])
@pytest.mark.parametrize("count", [3, 5, 12])
def test_sound_crests_give_their_taper_and_an_honest_u(count, taper):
    z = []
    for seed in range(150):
        at, radius, above = crests(count, taper, seed)
        lines = lines_of_crests(at, radius, above, (PITCH, MM))
        z.append((lines.taper - taper) / lines.u_taper)
    # Few crests may have been low, and their scatter is hardly known: u is wider then.
    assert 0.3 < np.sqrt(np.mean(np.square(z))) < 1.1


@pytest.mark.parametrize("end", [0, 2, 3, 5])
@pytest.mark.parametrize("low_mm", [0.08, 0.16, 0.3])
def test_one_low_end_of_three_crests_makes_no_sure_taper(end, low_mm):
    """A chamfered crest on one side drew a taper of 0.047 at u 0.008."""
    at, radius, above = crests(3, seed=end)
    radius[end] -= low_mm
    lines = lines_of_crests(at, radius, above, (PITCH, MM))
    assert abs(lines.taper) < 2 * lines.u_taper
    assert abs(abs(lines.taper) - 0.0625) > lines.u_taper or lines.u_taper > 0.015


def test_a_low_crest_of_three_is_told_by_the_axis_rather_than_not_at_all():
    at, radius, above = crests(3)
    radius[5] -= 0.16
    lines = lines_of_crests(at, radius, above, (PITCH, MM))
    assert abs(lines.taper) < 0.005 and 0.008 < lines.u_taper < 0.015


@pytest.mark.parametrize("ends", [(0,), (0, 1), (7, 8), (0, 7, 8, 15), (6, 7, 14, 15)])
def test_low_ends_of_many_crests_are_known_for_what_they_are(ends):
    at, radius, above = crests(8, 0.0625, seed=3)
    radius[list(ends)] -= 0.12
    lines = lines_of_crests(at, radius, above, (PITCH, MM))
    assert lines.taper == pytest.approx(0.0625, abs=0.002)
    assert lines.u_taper < 0.0015
    assert lines.major_mm == pytest.approx(30.0, abs=0.015) and lines.u_major_mm < 0.01


def test_dirt_on_an_inner_crest_is_left_out():
    at, radius, above = crests(8, seed=4)
    radius[5] += 0.2
    lines = lines_of_crests(at, radius, above, (PITCH, MM))
    assert abs(lines.taper) < 0.002 and lines.u_taper < 0.0015


def test_worn_crests_scatter_more_and_u_says_so():
    sound = lines_of_crests(*crests(12, seed=5), (PITCH, MM))
    worn = lines_of_crests(*crests(12, seed=5, scatter_px=0.3), (PITCH, MM))
    assert worn.u_taper > 3 * sound.u_taper


def test_an_end_crest_that_is_high_is_not_one_that_is_low():
    """Left out as the low ones are, it would leave the others on a line, sure of themselves."""
    at, radius, above = crests(3)
    radius[5] += 0.16
    high = lines_of_crests(at, radius, above, (PITCH, MM))
    radius[5] -= 0.32
    assert high.u_taper > 1.5 * lines_of_crests(at, radius, above, (PITCH, MM)).u_taper


def test_lengths_change_nothing_but_lengths():
    at, radius, above = crests(4, seed=6)
    here, there = (
        lines_of_crests(k * at, k * radius, above, (k * PITCH, k * MM)) for k in (1.0, 0.5)
    )
    assert there.taper == pytest.approx(here.taper, abs=1e-9)
    assert there.u_taper == pytest.approx(here.u_taper, rel=1e-9)
    assert there.u_major_mm == pytest.approx(here.u_major_mm / 2, rel=1e-9)


def test_what_is_none_of_a_thread_is_refused():
    with pytest.raises(OutlineError, match="none of a thread"):
        lines_of_crests(*crests(5, 0.3, seed=7), (PITCH, MM))
    at, radius, above = crests(2)
    with pytest.raises(OutlineError, match="fewer than two"):
        lines_of_crests(at[:3], radius[:3], above[:3], (PITCH, MM))
