"""What repeats along a part: in any size, from either end, mirrored, worn, sides shifted."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pitchcam.objects import turned
from pitchcam.objects.regions import SPACING_TOLERANCE, Region, few_crests, find_regions

S = np.arange(0.0, 1000.0)


def ridges(
    spacing=40.0, first=300.0, count=9, *, depth=24.0, radius=160.0, slope=0.0, flat=0.12
) -> np.ndarray:
    """A side of trapezoid ridges at even places, on a body that is as low as their roots."""
    out = np.full(len(S), radius - depth)
    for k in range(count):
        u = np.abs(S - first - k * spacing) / spacing
        out = np.maximum(out, radius - depth * np.clip((u - flat / 2) / (0.5 - flat), 0, 1))
    return out + slope * (S - 500)


def look(upper: np.ndarray, lower: np.ndarray, shift=(0.0, 0.0)):
    return find_regions(S, upper, -lower, shift)


def only(upper: np.ndarray, lower: np.ndarray, shift=(0.0, 0.0)) -> Region:
    threads, others = look(upper, lower, shift)
    assert len(threads) == 1 and not others
    return threads[0]


UPPER, LOWER = ridges(), ridges(first=320.0)


@pytest.mark.parametrize("spacing", [14.0, 25.0, 40.0, 70.0])
@pytest.mark.parametrize("count", [5, 8])
def test_a_single_start_of_any_pitch(spacing: float, count: int) -> None:
    depth = 0.6 * spacing
    found = only(
        ridges(spacing, 200.0, count, depth=depth),
        ridges(spacing, 200 + spacing / 2, count, depth=depth),
    )
    assert found.spacing_px == pytest.approx(spacing, rel=0.01)
    assert found.depth_px == pytest.approx(depth, rel=0.12)
    assert abs(found.lag) == pytest.approx(0.5, abs=0.03)
    assert found.turns == pytest.approx(count - 0.5)
    assert found.skew == pytest.approx(0.0, abs=0.05)
    for crests, first in zip(found.crests, (200.0, 200 + spacing / 2), strict=True):
        assert crests == pytest.approx(first + spacing * np.arange(count), abs=0.4)


@pytest.mark.parametrize("lag", [0.0, 0.5, 0.1, -0.3])
def test_the_lag_is_how_far_the_other_side_lies_behind(lag: float) -> None:
    found = only(UPPER, ridges(first=300.0 + 40 * lag))
    off = (found.lag - lag + 0.5) % 1 - 0.5
    assert off == pytest.approx(0.0, abs=0.03)


def test_from_the_other_end_it_is_the_same_thread() -> None:
    one, other = only(UPPER, LOWER), only(UPPER[::-1], LOWER[::-1])
    assert other.spacing_px == pytest.approx(one.spacing_px, abs=0.05)
    assert other.turns == one.turns
    assert (999 - other.end_px, 999 - other.start_px) == pytest.approx(
        (one.start_px, one.end_px), abs=1.0
    )
    assert abs(abs(other.lag) - abs(one.lag)) < 0.02


def test_with_its_sides_exchanged_the_lag_turns() -> None:
    lower = ridges(first=310.0)
    one, other = only(UPPER, lower), only(lower, UPPER)
    assert other.lag == pytest.approx(-one.lag, abs=0.02)
    assert other.crests[0] == pytest.approx(one.crests[1])


@pytest.mark.parametrize("move", [-120.0, 150.0])
def test_moved_along_the_axis_it_moves(move: float) -> None:
    one, other = only(UPPER, LOWER), only(ridges(first=300 + move), ridges(first=320 + move))
    assert other.start_px - one.start_px == pytest.approx(move, abs=0.1)
    assert other.spacing_px == pytest.approx(one.spacing_px, abs=0.02)


@pytest.mark.parametrize("radius", [80.0, 300.0])
def test_its_radius_is_not_asked(radius: float) -> None:
    one, other = only(UPPER, LOWER), only(ridges(radius=radius), ridges(first=320.0, radius=radius))
    assert other.spacing_px == pytest.approx(one.spacing_px)
    assert other.depth_px == pytest.approx(one.depth_px)


@pytest.mark.parametrize("slope", [1 / 32, -1 / 32])
def test_a_taper_repeats_as_a_parallel_thread_does(slope: float) -> None:
    found = only(ridges(slope=slope), ridges(first=320.0, slope=slope))
    assert found.spacing_px == pytest.approx(40.0, rel=0.01)
    assert abs(found.lag) == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("deg", [-1.0, 1.5])
def test_an_axis_a_degree_off_moves_no_lag(deg: float) -> None:
    """Both crest lines tell how far it is off."""
    tilt = math.tan(math.radians(deg))
    # Turned about the middle, crests at a radius of 160 move along by as much, each side its way.
    upper = ridges(first=300 - 160 * tilt, slope=tilt)
    found = only(upper, ridges(first=320 + 160 * tilt, slope=-tilt))
    assert abs(found.lag) == pytest.approx(0.5, abs=0.12)


@pytest.mark.parametrize("shift", [0.1, -0.05])
def test_sides_that_are_seen_shifted_are_put_back(shift: float) -> None:
    """Per pixel across: crests at a radius of 160 stand that many pixels along."""
    away = 160 * shift
    found = only(ridges(first=300 + away), ridges(first=320 - away), (shift, shift))
    assert abs(found.lag) == pytest.approx(0.5, abs=0.03)
    assert found.start_px == pytest.approx(only(UPPER, LOWER).start_px, abs=1.0)


def test_noise_moves_no_crest_by_a_pixel() -> None:
    rng = np.random.default_rng(3)
    plain = only(UPPER, LOWER)
    rough = only(UPPER + rng.normal(0, 0.3, len(S)), LOWER + rng.normal(0, 0.3, len(S)))
    assert rough.turns == plain.turns
    for a, b in zip(rough.crests, plain.crests, strict=True):
        assert a == pytest.approx(b, abs=0.8)


@pytest.mark.parametrize("height", [0.5, 0.75])
def test_worn_crests_are_crests(height: float) -> None:
    """Cut off, they leave flats, whose middles they are."""
    worn = only(np.minimum(UPPER, 136 + 24 * height), np.minimum(LOWER, 136 + 24 * height))
    assert worn.turns == only(UPPER, LOWER).turns
    assert worn.spacing_px == pytest.approx(40.0, abs=0.1)
    assert worn.depth_px == pytest.approx(24 * height, abs=1.5)


@pytest.mark.parametrize("ratio", [0.15, 1.3])
def test_grooves_too_shallow_or_too_deep_in_step_are_no_thread(ratio: float) -> None:
    threads, others = look(ridges(depth=40 * ratio, flat=0.3), ridges(depth=40 * ratio, flat=0.3))
    assert not threads
    assert others


def test_one_side_alone_is_no_thread() -> None:
    assert look(UPPER, np.full(len(S), 160.0)) == ([], [])


@pytest.mark.parametrize("other", [40 * (1 + 1.3 * SPACING_TOLERANCE), 30.0])
def test_sides_of_unlike_spacing_are_none(other: float) -> None:
    assert look(UPPER, ridges(other, 320.0))[0] == []


def test_two_threads_on_one_part_in_their_order() -> None:
    near, far = ridges(20.0, 100.0, 8, depth=12.0), ridges(45.0, 500.0, 8, depth=27.0)
    lower = np.maximum(ridges(20.0, 110.0, 8, depth=12.0), ridges(45.0, 522.5, 8, depth=27.0))
    body = np.where(S < 380, 148.0, 133.0)
    upper = np.where(S < 380, near, far)
    lower = np.where(
        S < 380, ridges(20.0, 110.0, 8, depth=12.0), ridges(45.0, 522.5, 8, depth=27.0)
    )
    threads, _ = look(np.maximum(upper, body), np.maximum(lower, body))
    assert [t.spacing_px for t in threads] == pytest.approx([20.0, 45.0], rel=0.03)
    assert threads[0].end_px < threads[1].start_px


def test_two_crests_alone_are_told_as_few() -> None:
    pair = ridges(count=2), ridges(first=320.0, count=2)
    assert look(*pair) == ([], [])
    assert few_crests(S, pair[0], -pair[1])
    assert not few_crests(S, np.full(len(S), 150.0), np.full(len(S), -150.0))
    apart = ridges(count=2), ridges(first=700.0, count=2)
    assert not few_crests(S, apart[0], -apart[1]), "not at the same place"


def region(count: int, other: int, ends: int = 0) -> Region:
    crests = (100 + 20.0 * np.arange(count), 110 + 20.0 * np.arange(other))
    return Region(
        start_px=90,
        end_px=300,
        spacing_px=20.0,
        depth_px=12,
        lag=0.5,
        crests=crests,
        skew=0,
        ends=ends,
    )


@pytest.mark.parametrize(
    ("seen", "turns"),
    [(region(5, 5), 4.5), (region(5, 4), 4.0), (region(6, 6, ends=2), 6.5), (region(3, 3), 2.5)],
)
def test_turns_are_counted_over_both_sides(seen: Region, turns: float) -> None:
    assert seen.turns == turns


def test_a_crest_that_is_missing_has_its_turn() -> None:
    whole = region(8, 8)
    gap = (np.delete(whole.crests[0], 3), whole.crests[1])
    damaged = Region(
        **{**{f: getattr(whole, f) for f in whole.__dataclass_fields__}, "crests": gap}
    )
    assert damaged.turns == whole.turns


def test_a_turn_by_many_crests_is_believed_and_one_by_three_hardly(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Weighed against the axis of the whole outline, half a degree if nothing misleads it."""
    monkeypatch.setattr(turned, "ASTRAY", 0.0)
    share = {}
    for count in (3, 6, 20):
        crests = 20.0 * np.arange(count)
        level = np.full(count, 50.0)
        none, own = turned.crests_turn((crests, level), (crests + 10, level))
        assert none == 0.0
        share[count], u = turned.believed_turn(0.0, own)
        assert 0 < u < turned.U_AXIS_RAD
        own = (turned.U_AXIS_RAD**-2 - u**-2) / -1
        assert own > 0, "both together know more than either"
        assert share[count] == pytest.approx(1 - u**2 * turned.U_AXIS_RAD**-2, rel=1e-6)
    assert share[3] < share[6] < share[20]
    assert share[20] > 0.95
