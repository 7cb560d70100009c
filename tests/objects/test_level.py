"""Where a part is level on both sides: crests with their grooves filled, collars, shanks."""

import numpy as np
import pytest

from pitchcam.objects.level import FILLED, level_stretches

S = np.arange(0.0, 600.0)


def falls(first, *levels):
    """A side that goes from one level to the next by slopes of 45 degrees from given stations."""
    side = np.full(len(S), first, float)
    for station, level in levels:
        step = np.clip(S - station, 0.0, abs(level - side[-1])) * np.sign(level - side[-1])
        side = side + step
    return side


def grooved(side, grooves, depth=10.0, half=15.0):
    """The side with V grooves at stations."""
    for at in grooves:
        side = side - np.maximum(depth * (1 - np.abs(S - at) / half), 0.0)
    return side


def test_a_collar_and_a_shank_are_level_and_what_falls_between_them_is_not():
    side = falls(200.0, (200, 120))
    collar, shank = level_stretches((S, side, -side))
    assert (collar.radii_px, shank.radii_px) == ((200.0, 200.0), (120.0, 120.0))
    assert collar.end_px == pytest.approx(200, abs=12)
    assert shank.start_px == pytest.approx(280, abs=12)
    assert not collar.ridged and not shank.ridged
    cone = 100 + S / 8
    assert not level_stretches((S, cone, -cone))


def test_a_taper_is_level():
    side = 100 + S / 32
    assert len(level_stretches((S, side, -side))) == 1


def test_two_crests_beside_a_shoulder_are_crests():
    """Two grooves on one side and one on the other: no region of three crests."""
    side = falls(200.0, (200, 120), (365, 40))
    upper, lower = grooved(side, [300, 340]), grooved(side, [320])
    collar, crests, _ = level_stretches((S, upper, -lower))
    assert crests.radii_px == (120.0, 120.0) and crests.ridged
    assert crests.start_px < 300 and crests.end_px > 340
    assert not collar.ridged


def test_an_undercut_makes_no_crests_of_a_shank():
    """It is a groove, but what it parts is wide on one side, and on the other the foot of more."""
    side = grooved(falls(120.0, (335, 150)), [320])
    shank = level_stretches((S, side, -side))[0]
    assert shank.radii_px == (120.0, 120.0) and not shank.ridged


def test_a_narrow_collar_beside_an_undercut_is_as_a_crest():
    """One crest and one groove on either side: nothing tells it from a thread's first turn."""
    side = grooved(falls(60.0, (280, 120), (380, 40)), [355])
    assert level_stretches((S, side, -side))[1].ridged


def test_the_grooves_of_a_thread_are_none_of_the_collar_beside_it():
    side = grooved(np.where(S < 300, 120.0, 200.0), [195, 225, 255, 285])
    thread, collar = level_stretches((S, side, -side))
    assert thread.ridged and not collar.ridged
    side = np.where(S < 300, grooved(np.full(len(S), 120.0), [204, 234, 264, 294]), 200.0)
    narrow = np.where(S < 335, side, 60.0)
    thread, collar, _ = level_stretches((S, narrow, -narrow))
    assert thread.ridged and not collar.ridged


def test_crests_at_the_other_end_are_none_of_a_shank_as_wide():
    """A bolt whose thread is as wide as the shank beyond its collar."""
    plain = np.where((S > 200) & (S < 380), 200.0, 120.0)
    side = np.where(S < 380, plain, grooved(plain, [435, 465, 495, 525, 555]))
    shank, collar, thread = level_stretches((S, side, -side))
    assert shank.end_px < 205 and thread.start_px > 375
    assert thread.ridged and not shank.ridged and not collar.ridged


def test_a_groove_may_lie_beside_where_both_sides_are_level_at_once():
    """One turn at a part's end: one side falls to the undercut where the other's groove begins."""
    upper = grooved(falls(120.0, (52, 60)), [35], half=12.0)
    lower = grooved(falls(120.0, (30, 60)), [17], half=11.0)
    turn = level_stretches((S, upper, -lower))[0]
    assert turn.end_px < 24 and turn.ridged


def test_a_taper_of_ridges_is_level_to_its_large_end():
    side = grooved(100 + S / 32, range(30, 580, 30))
    places = level_stretches((S, side, -side))
    longest = max(places, key=lambda p: p.end_px - p.start_px)
    assert longest.ridged and longest.end_px - longest.start_px > 500
    assert longest.radii_px[0] == pytest.approx(side.max(), abs=1.5)


def test_nicks_on_one_side_make_no_crests():
    side = falls(200.0, (200, 120))
    assert not any(p.ridged for p in level_stretches((S, grooved(side, [430, 470]), -side)))


def test_nothing_is_filled_beyond_the_end():
    """A step at the end is no groove, however narrow the part is there."""
    side = falls(120.0, (580, 90))
    (shank,) = level_stretches((S, side, -side))
    assert shank.end_px == pytest.approx(580, abs=12) and not shank.ridged


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_step_is_filled_by_nothing(mirrored):
    """A kernel of an even 22 stations has no middle: it left a pixel of the step as a groove."""
    side = np.where(S < 300, 93.0, 60.0)
    side = side[::-1] if mirrored else side
    assert round(FILLED * 2 * side.max()) == 22
    assert not any(p.ridged for p in level_stretches((S, side, -side)))
