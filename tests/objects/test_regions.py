"""What repeats like a thread, and what does not."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.objects import regions, turned
from pitchcam.objects.crest_runs import Run, side_runs
from pitchcam.objects.regions import Region, few_crests, find_regions

S = np.arange(0.0, 900.0)


def wave(spacing, depth, phase=0.0, fall=0.5, start=200, end=700, radius=150.0):
    """A toothed side: each spacing rises over 1 - fall of it and falls over the rest."""
    share = np.mod((S - start) / spacing - phase, 1.0)
    tooth = np.where(share < 1 - fall, share / (1 - fall), (1 - share) / fall)
    return np.where((start <= S) & (end >= S), radius - depth * (1 - tooth), radius - depth)


def look(spacing=30.0, depth=18.0, lag=0.5, **more):
    return find_regions(S, wave(spacing, depth, **more), -wave(spacing, depth, phase=lag, **more))


@pytest.mark.parametrize("lag", [0.5, 0.0])
def test_one_and_two_starts(lag):
    threads, others = look(lag=lag)
    assert len(threads) == 1 and not others
    (region,) = threads
    assert region.spacing_px == pytest.approx(30.0, rel=0.03)
    assert region.depth_px == pytest.approx(18.0, rel=0.12)
    assert abs(region.lag) == pytest.approx(lag, abs=0.06)
    assert region.start_px == pytest.approx(200, abs=40)
    assert region.end_px == pytest.approx(700, abs=40)


def test_barbs_are_none():
    """Rings in step that rise slowly and fall steeply."""
    threads, others = look(spacing=70.0, depth=25.0, lag=0.0, fall=0.1)
    assert not threads
    assert others


def test_shallow_rings_and_knurls_are_none():
    for spacing, depth in ((40.0, 5.0), (12.0, 2.5)):
        threads, _ = look(spacing=spacing, depth=depth, lag=0.0)
        assert not threads


def test_a_spline_is_too_deep():
    assert not look(spacing=20.0, depth=30.0)[0]


def test_a_smooth_shank_repeats_nothing():
    noise = np.random.default_rng(4).normal(0, 0.15, (2, len(S)))
    assert look_at(150 + noise[0], -150 + noise[1]) == ([], [])


def look_at(upper, lower):
    return find_regions(S, upper, lower)


def test_few_turns_are_counted_as_few():
    threads, _ = look(start=400, end=505)
    assert len(threads) == 1
    assert threads[0].turns < 4.2


def test_sides_of_different_spacing_are_no_thread():
    assert find_regions(S, wave(30.0, 18.0), -wave(40.0, 18.0)) == ([], [])


def test_two_threads_on_one_part():
    upper = np.maximum(wave(30, 18, start=50, end=350), wave(45, 27, start=500, end=850))
    lower = np.maximum(wave(30, 18, 0.5, start=50, end=350), wave(45, 27, 0.5, start=500, end=850))
    threads, _ = find_regions(S, upper, -lower)
    assert [t.spacing_px for t in threads] == [
        pytest.approx(30, rel=0.03),
        pytest.approx(45, rel=0.03),
    ]


def test_dirt_in_a_groove_keeps_what_is_whole():
    upper = wave(30.0, 18.0)
    upper[(S > 318) & (S < 345)] = 148.0
    threads, _ = find_regions(S, upper, -wave(30.0, 18.0, phase=0.5))
    assert threads
    longest = max(threads, key=lambda t: t.turns)
    assert longest.turns > 8
    assert longest.spacing_px == pytest.approx(30.0, rel=0.03)


def test_two_crests_beside_each_other_are_a_threads_beginning():
    def two(depth):
        return [wave(30.0, depth, phase=lag, start=300, end=365) for lag in (0.5, 0.0)]

    upper, lower = two(18.0)
    assert find_regions(S, upper, -lower) == ([], [])
    assert few_crests(S, upper, -lower)
    # Too shallow a groove, or one on one side only, is none.
    upper, shallow = two(18.0)[0], two(5.0)[1]
    assert not few_crests(S, upper, -shallow)
    assert not few_crests(S, upper, np.full_like(S, -150.0))


def test_a_missing_crest_does_not_part_a_thread():
    """A crest broken off on one side: one thread, with all its turns."""
    upper = wave(30.0, 18.0)
    upper[(S > 432) & (S < 468)] = 132.0
    threads, _ = find_regions(S, upper, -wave(30.0, 18.0, phase=0.5))
    whole, _ = look()
    assert len(threads) == 1
    assert threads[0].turns == pytest.approx(whole[0].turns, abs=0.5)


def test_shallow_grooves_that_alternate_are_a_thread_seen_aslant():
    """Under a slant the ridges hide most of their grooves; rings so shallow lie in step."""
    assert len(look(spacing=30.0, depth=5.0, lag=0.5)[0]) == 1
    assert not look(spacing=30.0, depth=5.0, lag=0.0)[0]


def test_sides_seen_shifted_are_compared_where_they_belong():
    """Far from the picture's middle one side of a ring stands farther along than the other."""
    shift = 0.05
    upper = np.interp(S - shift * 150.0, S, wave(30.0, 5.0))
    lower = np.interp(S + shift * 150.0, S, wave(30.0, 5.0, phase=0.5))
    assert abs(find_regions(S, upper, -lower, (shift, shift))[0][0].lag) > 0.45
    assert not find_regions(S, upper, -lower)[0]


def test_a_hexagon_between_two_threads_is_no_crest_of_either():
    """Thread, hexagon, thread: three crests as far apart, and the two threads besides."""
    left, right = (wave(30.0, 16.0, start=s, end=s + 240) for s in (60, 540))
    hexagon = np.where(np.abs(S - 420) < 80, 300.0 - 0.5 * np.abs(S - 420), 0.0)
    upper = np.maximum(np.maximum(left, right), hexagon)
    left, right = (wave(30.0, 16.0, 0.5, start=s, end=s + 240) for s in (60, 540))
    lower = np.maximum(np.maximum(left, right), hexagon)
    threads, _ = look_at(upper, -lower)
    assert [t.spacing_px for t in threads] == pytest.approx([30.0, 30.0], rel=0.05)


@pytest.mark.parametrize("collar", [160.0, 165.0])
@pytest.mark.parametrize("hexagon", [220.0, 260.0])
def test_a_hexagon_between_two_collars_is_no_thread_of_three_crests(collar, hexagon):
    """As even, as deep and as symmetric as a thread, but the middle is far higher than its ends."""
    places = [0, 240, 300, 360, 420, 480, 540, 600, 900]
    side = np.interp(S, places, [150, 150, collar, 150, hexagon, 150, collar, 150, 150])
    assert look_at(side, -side) == ([], [])
    # Crests as high as each other, with the same grooves, are one.
    even = np.interp(S, places, [150, 150, hexagon, 150, hexagon, 150, hexagon, 150, 150])
    (region,), others = look_at(even, -even)
    assert not others
    assert region.spacing_px == pytest.approx(120.0, rel=0.01)
    assert region.depth_px == pytest.approx(hexagon - 150.0, rel=0.06)


def test_of_two_runs_in_one_place_more_crests_count():
    region = Region(
        start_px=0.0,
        end_px=120.0,
        spacing_px=30.0,
        depth_px=18.0,
        lag=0.5,
        crests=(np.arange(4) * 30.0, np.arange(4) * 30.0),
        skew=0.0,
    )
    longer = replace(region, end_px=400.0, spacing_px=200.0, crests=(np.arange(3) * 200.0,) * 2)
    sides = [tuple(run_of(c) for c in r.crests) for r in (longer, region)]
    assert regions._distinct(list(zip((longer, region), sides, strict=True))) == [region]


def run_of(crests, height=300.0, depth=18.0):
    spacing = float(np.diff(crests).mean())
    heights = np.full(len(crests), height)
    return Run(crests=crests, heights=heights, spacing=spacing, depth=depth, skew=0.0)


def told(*pairs):
    """The regions that are told of pairs of runs, by how many crests they have."""
    found = [(regions.pair(*pair, 0.0), pair) for pair in pairs]
    return [sum(map(len, region.crests)) for region in regions._distinct(found)]


def test_a_thread_that_damage_parts_on_one_side_is_told_once():
    """Eleven crests above; below a filled groove parts eight from three."""
    above = run_of(np.arange(11) * 50.0)
    eight, three = (run_of(25.0 + np.arange(*of) * 50.0) for of in ((0, 8), (8, 11)))
    assert told((above, eight), (above, three)) == [19]


def test_a_thread_that_damage_parts_on_both_sides_is_told_once_though_grooves_differ():
    many = [run_of(at + np.arange(10) * 60.0) for at in (0.0, 30.0)]
    few = [run_of(at + np.arange(11, 15) * 60.0, depth=7.0) for at in (0.0, 30.0)]
    assert told(many, few) == [20]


@pytest.mark.parametrize(
    "other", [{"height": 330.0}, {"at": 20.0}, {"spacing": 70.0}, {"first": 14}]
)
def test_two_threads_on_one_part_are_told_both(other):
    """Of another diameter, out of step, of another pitch, or farther off than damage reaches."""
    many = [run_of(at + np.arange(10) * 60.0) for at in (0.0, 30.0)]
    spacing, first = other.get("spacing", 60.0), other.get("first", 11)
    at = first * 60.0 + other.get("at", 0.0) + np.arange(5) * spacing
    few = [run_of(at + half, height=other.get("height", 300.0)) for half in (0.0, spacing / 2)]
    assert told(many, few) == [20, 10]


def believed(crests, turn):
    """Crests on straight lines that turn their part's axis: the share that is believed, its u."""
    sides = [(crests, 50.0 + way * turn * crests) for way in (1.0, -1.0)]
    found = turned.crests_turn(*sides)
    assert found[0] == pytest.approx(turn)
    return turned.believed_turn(*found)


def test_three_crests_do_not_turn_an_axis():
    """Crests 20 px apart, one worn down by a pixel: the part's axis stands; ten of them tell."""
    few, many = (np.arange(n) * 20.0 for n in (3, 12))
    assert believed(few, 0.003)[0] < 0.3
    share, u = believed(many, 0.003)
    assert share > 0.9
    # A line through n points h apart: u = s / sqrt(sum x^2), two sides averaged.
    alone = turned.U_HEIGHT_PX / np.sqrt(2 * np.sum((many - many.mean()) ** 2))
    assert u == pytest.approx(alone, rel=0.05)


def test_a_turn_that_no_middle_line_explains_is_believed():
    """A plug seen aslant: its head and collar had led the axis four degrees astray."""
    few = np.arange(4) * 29.0
    small, large = (believed(few, np.radians(deg)) for deg in (0.5, 4.0))
    assert small[0] < 0.65 < 0.9 < large[0]
    # What is believed is as uncertain as the crests that tell it.
    alone = turned.U_HEIGHT_PX / np.sqrt(2 * np.sum((few - few.mean()) ** 2))
    assert large[1] == pytest.approx(alone, rel=0.2)


def test_crests_that_stand_off_their_line_turn_no_axis():
    """A hexagon's corner was taken for a third crest: heights as a photo of M8x1 shows them."""
    stations = 34.0 * np.arange(3)
    even = stations, np.array([137.0, 136.0, 135.0])
    odd = stations + 7.0, np.array([133.2, 137.3, 132.9])
    turn, u = turned.crests_turn(even, odd)
    # By hand: 4.3 and 4.0 px below the middle one, 8.3 squared over six, by two free heights.
    scatter = np.sqrt((4.1 + 4.4) ** 2 / 6 / 2)
    assert u == pytest.approx(scatter / np.sqrt(2 * np.sum((stations - 34.0) ** 2)), rel=1e-6)
    plain = turned.crests_turn(even, (odd[0], even[1]))[1]
    assert u > 3 * plain == pytest.approx(3 * turned.U_HEIGHT_PX / np.sqrt(4 * 34.0**2))
    off = np.radians(2.0)
    assert turned.believed_turn(off, u)[0] < 0.5 < turned.believed_turn(off, plain)[0]
    # Of many the ends are left out, and what is off between them is wear, which is known.
    worn = 20.0 * np.arange(12), 90.0 + 2.0 * (np.arange(12) % 2)
    spread = np.sum((worn[0] - worn[0].mean()) ** 2)
    assert turned.crests_turn(worn, worn)[1] == pytest.approx(
        turned.U_HEIGHT_PX / np.sqrt(2 * spread)
    )
    region = regions.pair(*(run_of(*side) for side in (even, odd)), 0.0)
    assert (region.turn_rad, region.u_turn_rad) == (turn, u)


def test_a_turn_beyond_all_likelihood_is_a_number_still():
    """Radians that neither an axis nor one led astray comes to: both are too rare to be numbers."""
    many = np.arange(40) * 29.0
    share, u = believed(many, np.pi)
    assert 0.99 < share <= 1.0
    assert 0 < u < 0.1


def test_a_worn_end_crest_leaves_the_sides_alternating():
    """A fine thread on a thick part: a pixel off one of three crests is no turn of the axis."""
    upper = wave(21.0, 8.0, start=200, end=260, radius=320.0)
    upper = np.where(np.abs(S - 205) < 9, upper - 1.2, upper)
    lower = wave(21.0, 8.0, 0.5, start=200, end=260, radius=320.0)
    (region, *_), others = look_at(upper, -lower)
    assert not others and abs(region.lag) > 0.3


def short_thread(low=25.0, along=6.0, groove=0.0, bottom=60.0):
    """Between a shoulder and a chamfer: three crests below; above two and one that is turned down.

    Spacing 28 px; the third crest is ``low`` and lies so far back, the groove before it elsewhere.
    """
    radius = 80.0
    above = [(100, 200), (132, bottom), (146, radius), (160, 60), (174, radius), (188 + groove, 60)]
    above += [(202 - along, radius - low + 12), (216, 30), (300, 30)]
    below = [(100, 200), (118, 60), (132, radius), (146, 60), (160, radius), (174, 60)]
    below += [(188, radius), (202, 60), (216, 30), (300, 30)]
    return (np.interp(S, *np.array(side, float).T) for side in (above, below))


@pytest.mark.parametrize("along", [5.0, 7.0, 9.0])
def test_a_crest_turned_down_by_a_chamfer_hides_no_thread(along):
    """Its top lies a fourth of a spacing off, its groove in place: two whole crests are enough."""
    above, below = short_thread(along=along)
    (region,), others = find_regions(S, above, -below)
    assert not others
    assert [len(c) for c in region.crests] == [2, 3]
    assert region.spacing_px == pytest.approx(28.0, rel=0.02)
    assert abs(region.lag) == pytest.approx(0.5, abs=0.05)
    assert region.turns == 2.5


def test_two_crests_may_stand_a_twentieth_nearer_than_the_other_side_s():
    """Their spacing is known no better, and both sides share less than two of the mean then."""
    above, below = short_thread()
    nearer = np.interp(160 + (S - 160) * 1.04, S, above)
    (region,), _ = find_regions(S, nearer, -below)
    assert [len(c) for c in region.crests] == [2, 3]


def test_two_crests_of_a_longer_run_are_no_run_besides():
    """A thread was told twice, over all its turns and over two."""
    runs, pairs = side_runs(S, wave(30.0, 18.0))
    assert [len(r.crests) > 10 for r in runs] == [True] and not pairs


def test_two_crests_with_uneven_grooves_are_none():
    above, below = short_thread(along=10.0, groove=-9.0)
    assert find_regions(S, above, -below)[0] == []


def test_two_crests_beside_a_nick_are_none():
    above, below = short_thread(along=9.0, bottom=72.0)
    assert find_regions(S, above, -below)[0] == []


def test_two_crests_on_both_sides_are_none():
    """Two collars of a handle with a groove on either side of both."""
    above, _ = short_thread()
    assert find_regions(S, above, -above) == ([], [])
    assert find_regions(S, above, -np.interp(S - 14, S, above)) == ([], [])


def test_two_crests_opposite_those_of_three_rings_are_none():
    above, below = short_thread()
    assert find_regions(S, above, -np.interp(S - 14, S, below)) == ([], [])
