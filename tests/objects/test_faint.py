"""Threads that are a ripple on both sides, and what only looks like one."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.camera.pinhole import Camera
from pitchcam.objects.axis import envelope, find_axis
from pitchcam.objects.crest_runs import Run
from pitchcam.objects.faint import _one, _runs, _told_once, faint_regions, sheared
from pitchcam.objects.regions import find_regions, pair
from pitchcam.objects.shapes import _rippled

S = np.arange(0.0, 900.0)
NONE = (0.0, 0.0)


def ridges(spacing=18.0, depth=0.9, phase=0.0, start=300, end=500, seed=1, taper=0.0):
    """A side in which parabolas run side by side, as the crests of a slanted thread do."""
    place = (S - start) / spacing - phase
    off = place - np.round(place)
    drop = np.where((start <= S) & (end >= S), depth * (2 * off) ** 2, 0.0)
    noise = np.random.default_rng(seed).normal(0, 0.12, len(S))
    return 300.0 + taper * S - drop + noise


def looked_at(upper, lower, known=(), repeats=()):
    return faint_regions((S, upper, -lower), NONE, known, repeats)


@pytest.mark.parametrize("spacing", [9.0, 18.0, 31.0])
@pytest.mark.parametrize("taper", [0.0, 0.04])
def test_a_ripple_of_a_pixel_on_both_sides_is_a_thread(spacing, taper):
    """With the slope of a taper: no crest of it stands out of the noise by itself."""
    sides = [
        ridges(spacing, phase=p, seed=k, taper=taper, end=300 + 9 * spacing)
        for k, p in enumerate((0, 0.5))
    ]
    assert find_regions(S, sides[0], -sides[1])[0] == []
    (region,) = looked_at(*sides)
    assert region.faint
    assert region.spacing_px == pytest.approx(spacing, rel=0.01)
    assert region.turns == pytest.approx(9, abs=1)
    assert abs(region.lag) == pytest.approx(0.5, abs=0.1)
    first = (region.crests[0] - 300) / spacing
    assert np.abs(first - np.round(first)).max() < 0.15


def test_noise_alone_is_none():
    for seed in range(40):
        sides = [ridges(depth=0.0, seed=2 * seed + k) for k in (0, 1)]
        assert looked_at(*sides) == []


def test_a_ripple_on_one_side_is_none():
    assert looked_at(ridges(), ridges(depth=0.0, seed=2)) == []
    assert looked_at(ridges(18.0), ridges(24.0, seed=2)) == []


def test_a_wave_along_one_side_does_not_hide_that_of_both():
    """A knurl or a burr on one side, more of a wave than the thread beside it."""
    own, other = (ridges(18.0, phase=p, start=640, end=800, seed=k) for k, p in ((1, 0), (2, 0.5)))
    burr = ridges(24.0, depth=9.0, start=20, end=600, seed=3) - 300.0
    (region,) = looked_at(own + burr, other)
    assert region.spacing_px == pytest.approx(18.0, rel=0.02)


def test_a_ripple_below_a_quarter_of_a_pixel_is_none():
    """What is so low is the light's, not the part's."""
    quiet = [ridges(depth=0.9, phase=p) - ridges(depth=0.0) + 300 for p in (0.0, 0.5)]
    assert looked_at(*quiet)
    low = [ridges(depth=0.4, phase=p) - ridges(depth=0.0) + 300 for p in (0.0, 0.5)]
    assert looked_at(*low) == []


def test_low_barbs_are_none():
    place = (S - 300) / 30.0
    saw = np.where((S > 300) & (S < 560), 1.6 * (place - np.floor(place)), 0.0)
    sides = [saw + ridges(depth=0.0, seed=k) for k in (1, 2)]
    assert looked_at(*sides) == []


def test_a_wave_like_the_barbs_of_the_other_end_is_of_these():
    """A hose joiner: seen aslant, the barbs of one end may look even."""
    sides = [ridges(phase=p, seed=k) for k, p in enumerate((0, 0.5))]
    (wave,) = looked_at(*sides)
    barbs = replace(wave, start_px=10.0, end_px=110.0, skew=0.3, faint=False)
    assert looked_at(*sides, repeats=[replace(barbs, spacing_px=18.4)]) == []
    assert len(looked_at(*sides, repeats=[replace(barbs, spacing_px=20.0)])) == 1
    there = replace(barbs, start_px=290.0, end_px=390.0)
    assert len(looked_at(*sides, repeats=[there])) == 1
    assert looked_at(*sides, repeats=[replace(there, depth_px=0.38 * there.spacing_px)]) == []
    half = replace(there, depth_px=0.2 * there.spacing_px)
    assert looked_at(*sides, repeats=[half]) == []
    assert len(looked_at(*sides, repeats=[replace(half, skew=0.2)])) == 1


def test_a_steep_side_steps_from_station_to_station_without_being_a_thread():
    """A chamfer seen aslant: of several points at a station the outermost counts."""
    t = np.linspace(0, 1, 4000)
    rise = np.stack([300 + 60 * t, 150 + 2.1 * 60 * t + 0.1 * np.sin(2 * np.pi * 6 * t)], axis=1)
    level = np.stack([np.linspace(0, 300, 3000), np.full(3000, 150.0)], axis=1)
    high = np.stack([np.linspace(360, 660, 3000), np.full(3000, 276.0)], axis=1)
    side = np.concatenate([level, rise, high])
    noise = np.random.default_rng(3).normal(0, 0.02, (len(side), 2))
    upper, lower = side + noise, (side + noise[::-1]) * (1, -1)
    stepped = np.where((S > 300) & (S < 400), 0.6 * np.abs(np.mod(S, 9) - 4.5), 0.0)
    slope = 150.0 + 0.5 * np.clip(S - 300, 0, 100)
    assert faint_regions(envelope(np.concatenate([upper, lower])), NONE, (), ()) == []
    assert looked_at(slope + stepped, slope + stepped) == []


def plug(shift=0.0, lean=0.0):
    """Four turns between an end and a head: an outline whose sides lie apart along the axis.

    The head's middle lies off the axis by ``lean``.
    """
    upper, lower = (
        ridges(18.0, depth=1.4, phase=p, start=300, end=372, seed=k)[290:380] - 200
        for k, p in enumerate((0.0, 0.5))
    )
    z = S[290:380]
    head = np.linspace(0, np.pi, 600)
    round_head = np.stack([290 - 150 * np.sin(head), 160 * np.cos(head) + lean], axis=1)
    top, bottom = np.stack([z, upper], axis=1), np.stack([z, -lower], axis=1)
    end = np.linspace(upper[-1], -lower[-1], 200)
    face = np.stack([np.full(200, 380.0), end], axis=1)
    out = np.concatenate([round_head, bottom, face[::-1], top[::-1]])
    out[:, 0] += shift * out[:, 1]
    return out


@pytest.mark.parametrize("shift", [0.0, 0.15, -0.15])
def test_four_turns_are_found_whose_sides_lie_apart(shift):
    """By 30 pixels, nearly two spacings, as they do 24 degrees aside; a head right beside them."""
    points = plug(shift)
    (region,) = faint_regions(envelope(sheared(points, (shift, shift))), (shift, shift), (), ())
    assert region.spacing_px == pytest.approx(18.0, rel=0.04)
    assert abs(region.lag) == pytest.approx(0.5, abs=0.1)
    if shift:
        assert faint_regions(envelope(points), NONE, (), ()) == []


def test_the_axis_of_a_short_thread_is_that_of_its_ripple():
    """The middle line of the whole part follows its head, which seen aslant lies beside it."""
    turn = np.radians(37.0)
    c, s = np.cos(turn), np.sin(turn)
    points = plug(lean=60.0) @ np.array([[c, s], [-s, c]])
    camera = Camera(f_px=4000.0, u_f_px=1.0, centre_px=tuple(points.mean(axis=0)))
    own = np.array([c, s])

    def off_deg(axis):
        return float(np.degrees(np.arccos(min(1.0, abs(own @ np.array(axis.direction))))))

    assert off_deg(find_axis(points)) > 4.0
    assert min(map(off_deg, _rippled(points, camera))) < 1.0


def test_a_thread_at_either_end_is_found_and_a_known_one_left():
    def side(phase, seed):
        one = ridges(18.0, phase=phase, seed=seed, start=100, end=260)
        two = ridges(27.0, phase=phase, seed=seed, start=500, end=760)
        return one + two - ridges(depth=0.0, seed=seed)

    sides = side(0.0, 1), side(0.5, 2)
    first, second = looked_at(*sides)
    assert (first.spacing_px, second.spacing_px) == pytest.approx((18.0, 27.0), rel=0.02)
    assert [r.spacing_px for r in looked_at(*sides, known=[second])] == [first.spacing_px]


def test_what_repeats_evenly_and_low_is_a_thread_whatever_its_lag():
    """Its sides' lag hangs on the part's pose, which is not known yet; three crests are too few."""
    sides = [300.0 + ridges(30.0, depth=5.0, phase=p, end=450) - 300.0 for p in (0.0, 0.25)]
    threads, others = find_regions(S, sides[0], -sides[1])
    assert not threads and others
    assert [r.faint for r in looked_at(*sides, repeats=others)] == [True]
    few = replace(others[0], crests=tuple(crests[:3] for crests in others[0].crests))
    quiet = [ridges(depth=0.0, seed=k) for k in (1, 2)]
    assert looked_at(*quiet, repeats=[few]) == []


def parted():
    """Both sides of twenty turns; the light hides a crest in the middle of one of them."""
    whole = ridges(18.0, start=200, end=560, seed=1)
    other = ridges(18.0, phase=0.5, start=200, end=560, seed=2)
    hidden = (S > 372) & (S < 396)
    return whole, np.where(hidden, ridges(depth=0.0, seed=3), other)


def test_a_side_that_is_parted_leaves_one_thread():
    """The other side's ridges run on: named twice, one thread would be two of the part's."""
    (region,) = looked_at(*parted())
    assert region.turns == pytest.approx(19, abs=1.6)
    assert region.spacing_px == pytest.approx(18.0, rel=0.005)
    above, below = (np.ptp(crests) for crests in region.crests)
    assert above > 17 * 18 and below > 15 * 18


def followed(numbers, off=0.0, depth=1.0, spacing=18.0):
    """One side's run over crests of those numbers."""
    crests = 200.0 + spacing * np.asarray(numbers, float) + off
    heights = np.full(len(crests), 300.0)
    return Run(crests=crests, heights=heights, spacing=spacing, depth=depth, skew=0.0)


@pytest.mark.parametrize(
    ("first", "second", "off"),
    [
        (range(8), range(5, 14), 1.5),
        (range(5), range(5, 9), 0.0),
        (range(5), range(4, 9), 6.0),
        (range(9), range(2, 6), 0.0),
        (range(5), range(7, 10), -2.0),
        ([0, 1, 2, 3, 5, 6], range(5, 9), 0.0),
        (range(4), [5, 6, 8, 9], 1.0),
    ],
)
def test_two_halves_of_a_side_keep_every_crest_once(first, second, off):
    """Whether they overlap, touch, leave crests out between them, or one lies within the other."""
    one = _one(followed(first), followed(second, off))
    numbers = np.union1d(first, second)
    assert len(one.crests) == len(one.heights) == len(numbers)
    assert np.array_equal(np.round((one.crests - 200.0) / 18.0), numbers)
    assert one.spacing == pytest.approx(18.0, rel=0.06 if off else 1e-9)


def test_a_spacing_that_is_a_little_off_numbers_no_crest_wrong():
    """Over twelve steps of overlap 6 % come to most of a step: the nearest crests tell it."""
    first, second = (followed(at) for at in (range(14), range(2, 16)))
    one = _one(replace(first, spacing=19.1), replace(second, spacing=19.1))
    assert len(one.crests) == 16
    assert one.spacing == pytest.approx(18.0)


def test_what_is_no_ripple_together_is_none():
    """What two stretches make up is asked what each was asked; else the longer one is told."""
    halves = [(followed(at), followed(at, 9.0)) for at in (range(6), range(3, 10))]
    regions = [(pair(*runs, 0.0), runs) for runs in halves]
    (told,) = _told_once(regions, lambda _: 0.0)
    assert told.turns > max(region.turns for region, _ in regions)
    lean = [(region, tuple(replace(run, skew=0.3) for run in runs)) for region, runs in regions]
    (told,) = _told_once(lean, lambda _: 0.0)
    assert told is max((region for region, _ in regions), key=lambda region: region.turns)


def test_ridges_of_a_known_thread_are_no_other():
    (region,) = looked_at(*parted())
    above, below = region.crests
    known = replace(region, end_px=375.0, crests=(above, below[below < 375]))
    assert looked_at(*parted(), known=[known]) == []


def test_a_side_of_even_crests_that_is_parted_leaves_one_thread_as_well():
    """Its crests stand out by themselves on one side, and as far as the parting on the other."""
    (whole,) = looked_at(*parted())
    above, below = whole.crests
    crests = above, below[below < 375]
    first = replace(whole, end_px=375.0, crests=crests, lag=0.1, faint=False)
    (region,) = looked_at(*parted(), repeats=[first])
    assert [len(c) for c in region.crests] == pytest.approx([len(above), len(below)], abs=1)
    assert region.spacing_px == pytest.approx(18.0, rel=0.005)
    assert abs(region.lag) == pytest.approx(0.5, abs=0.1)
    assert region.end_px == pytest.approx(whole.end_px, abs=2)
    assert region.faint


def test_crests_of_both_sides_that_lie_apart_are_as_high_as_they_are():
    """300 pixels from the axis a slant of 0.1 moves them by 30 along it: a turn and two thirds."""
    sides = [ridges(depth=6.0, phase=p, taper=0.04) for p in (0.0, 0.5)]
    tops = [300.0 + 18.0 * (np.arange(2, 9) + p) for p in (0.0, 0.5)]
    high = [300.0 + 0.04 * at for at in tops]
    crests = tuple(at + way * 0.1 * h for at, h, way in zip(tops, high, (1, -1), strict=True))
    (region,) = looked_at(*(ridges(phase=p) for p in (0.0, 0.5)))
    runs = _runs(replace(region, crests=crests), (S, sides[0], -sides[1]), 0.1)
    for run, at in zip(runs, high, strict=True):
        assert np.abs(run.heights - at).max() < 0.7
