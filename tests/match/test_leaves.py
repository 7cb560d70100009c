"""Which leaf belongs to a thread, and which are said in its place."""

import math

import numpy as np
import pytest

from pitchcam.match.leaves import leaf_chances, leaf_sets, other_leaves, own_set, right_leaf, steps
from pitchcam.match.population import population
from pitchcam.match.slips import slip_shares
from pitchcam.series import find
from pitchcam.series.gauges import load_leaves, nearest, parse_leaf


@pytest.mark.parametrize(
    ("designation", "own"),
    [
        ("M14x1.5", "metric"),
        ("M14x1.5 taper", "metric"),
        ("2 BA", "ba"),
        ("1/2-13 UNC", "inch60"),
        ("1/8-27 NPT", "inch60"),
        ("G 1/4", "inch55"),
        ("3/8-16 BSW", "inch55"),
        ("R 1/2", "inch55"),
        ("9/16-20 BSC", "inch60"),
        # 62 threads per inch are in British sets alone, whatever the angle.
        ("0.064-62 BSC", "inch55"),
    ],
)
def test_the_set_that_a_fitter_would_open(designation: str, own: str) -> None:
    assert own_set(find(designation)) == own


def test_sets_hold_their_own_leaves() -> None:
    sets = leaf_sets()
    assert all(x.mark.endswith("mm") for x in sets["metric"])
    assert all(x.mark.endswith("ba") for x in sets["ba"])
    assert {x.mark for x in sets["ba"]} == {f"{n}ba" for n in range(11)}
    assert all(x.mark.endswith("tpi") and 60.0 in x.angles_deg for x in sets["inch60"])
    assert all(x.mark.endswith("tpi") and 55.0 in x.angles_deg for x in sets["inch55"])
    for leaves in sets.values():
        pitches = [x.pitch_mm for x in leaves]
        assert pitches == sorted(pitches)
    # 11 1/2 and 27 to the inch are of American pipe threads, 11 and 19 of British ones.
    marks = {name: {x.mark for x in leaves} for name, leaves in sets.items()}
    assert {"27tpi", "11.5tpi", "20tpi"} <= marks["inch60"]
    assert {"19tpi", "11tpi", "26tpi"} <= marks["inch55"]
    assert "11.5tpi" not in marks["inch55"] and "19tpi" not in marks["inch60"]


@pytest.mark.parametrize(
    ("designation", "mark"),
    [
        ("M14x1.5", "1.5mm"),
        ("M3x0.5", "0.5mm"),
        ("0 BA", "0ba"),
        ("10 BA", "10ba"),
        ("G 1/4", "19tpi"),
        ("1-11.5 NPT", "11.5tpi"),
        ("1/4-20 UNC", "20tpi"),
        ("1/4-20 BSW", "20tpi"),
    ],
)
def test_the_right_leaf(designation: str, mark: str) -> None:
    assert right_leaf(find(designation)).mark == mark


def test_where_the_own_set_has_none_the_nearest_of_any_set_is_right() -> None:
    # Leaves of BA end at 10; 11 BA has 0.31 mm.
    leaf = right_leaf(find("11 BA"))
    assert not leaf.mark.endswith("ba")
    best = min(load_leaves(), key=lambda x: abs(math.log(x.pitch_mm / 0.31)))
    assert leaf == best


@pytest.mark.parametrize(
    ("designation", "unit"),
    [("M14x1.5", "tpi"), ("2 BA", "tpi"), ("G 1/4", "mm"), ("1/2-13 UNC", "mm")],
)
def test_the_other_set_is_of_the_other_unit(designation: str, unit: str) -> None:
    leaves = other_leaves(find(designation))
    assert leaves and all(x.mark.endswith(unit) for x in leaves)
    assert len(set(leaves)) == len(leaves)


@pytest.mark.parametrize(
    ("designation", "marks"),
    [
        ("M14x1.5", ["1.25mm", "1.75mm"]),
        ("G 1/4", ["20tpi", "18tpi"]),
        ("0 BA", ["1ba"]),
        ("2 BA", ["3ba", "1ba"]),
    ],
)
def test_leaves_a_step_off_stand_beside_the_right_one(designation: str, marks: list[str]) -> None:
    beside = [x.mark for x in steps(find(designation))]
    assert set(marks) <= set(beside) and len(beside) <= 2
    assert right_leaf(find(designation)).mark not in beside


def test_a_set_without_the_right_leaf_offers_its_nearest_too() -> None:
    size = find("11 BA")
    beside = steps(size)
    assert all(x.mark.endswith("ba") for x in beside) and parse_leaf("10ba") in beside


@pytest.fixture(scope="module")
def chances():
    return leaf_chances("external", 0.005)


def row_of(designation: str) -> int:
    return population("external").sizes.index(find(designation))


def test_a_careful_hand_says_the_right_leaf(chances) -> None:
    for name, mark in (("M14x1.5", "1.5mm"), ("G 1/4", "19tpi"), ("1/8-27 NPT", "27tpi")):
        said = chances.careful[row_of(name)]
        [at] = chances.place(np.array([parse_leaf(mark).pitch_mm]))
        assert said.argmax() == at and said[at] > 0.9


def test_what_is_said_with_all_slips_is_at_most_certain(chances) -> None:
    total = chances.careful.sum(axis=1) + sum(x.sum(axis=1) for x in chances.slips.values())
    # A pitch that no leaf has (11 BA) is left without one by a careful hand.
    assert np.all(total < 1.0) and np.all(
        total >= sum(slip_shares()[n] for n in ("leaf-step", "leaf-other"))
    )
    # Where a leaf fits to a few tenths of a percent, hardly anyone says that none does.
    assert total[row_of("M14x1.5")] > 0.98


def test_each_slip_has_its_share(chances) -> None:
    shares = slip_shares()
    assert set(chances.slips) == {"leaf-step", "leaf-other", "leaf-unit", "leaf-any"}
    row = row_of("M14x1.5")
    for name in ("leaf-step", "leaf-other", "leaf-any"):
        assert chances.slips[name][row].sum() == pytest.approx(shares[name])
    # There is no leaf of 1.5 threads per inch: that unit cannot be mistaken.
    assert chances.slips["leaf-unit"][row].sum() == 0.0
    assert chances.slips["leaf-unit"][row_of("M30x3.5")].sum() == 0.0
    five = row_of("M48x5")
    assert chances.slips["leaf-unit"][five].sum() == pytest.approx(shares["leaf-unit"])
    [at] = chances.place(np.array([parse_leaf("5tpi").pitch_mm]))
    assert chances.slips["leaf-unit"][five, at] == pytest.approx(shares["leaf-unit"])


def test_a_step_off_is_shared_by_the_leaves_beside(chances) -> None:
    row, each = row_of("M14x1.5"), slip_shares()["leaf-step"] / 2
    places = chances.place(np.array([1.25, 1.75]))
    assert chances.slips["leaf-step"][row, places] == pytest.approx([each, each])


def test_of_the_other_set_the_nearest_is_held(chances) -> None:
    # 1.5 mm beside inch leaves: 17 to the inch is 1.494 mm, 16 is 1.5875, 18 is 1.411.
    said = chances.slips["leaf-other"][row_of("M14x1.5")]
    order = [float(chances.pitch_mm[i]) for i in np.argsort(-said)[:2]]
    assert order[0] == pytest.approx(25.4 / 17, abs=0.1)
    assert said.max() > 3 * said[chances.place(np.array([1.27]))[0]]


def test_leaves_of_one_pitch_count_once(chances) -> None:
    # 1 mm and 0 BA are one.
    near = np.abs(chances.pitch_mm - 1.0) < 1e-6
    assert near.sum() == 1
    assert np.all(np.diff(chances.pitch_mm) / chances.pitch_mm[:-1] > 0.0005)


def test_a_leaf_is_placed_by_ratio(chances) -> None:
    wanted = np.array([0.25, 1.003, 25.4 / 19, 6.0])
    found = chances.pitch_mm[chances.place(wanted)]
    assert found == pytest.approx([0.25, 1.0, 25.4 / 19, 6.0], rel=1e-4)


@pytest.mark.parametrize(
    ("pitch_mm", "marks"), [(1.37, ["19tpi", "18tpi", "17tpi"]), (1.0, ["0.9mm", "1mm", "1.25mm"])]
)
def test_nearest_leaves_by_ratio(pitch_mm: float, marks: list[str]) -> None:
    unit = marks[0].lstrip("0123456789.")
    same = [x for x in load_leaves() if x.mark.endswith(unit)]
    found = [x.mark for x in nearest(pitch_mm, same)]
    assert len(found) == 3 and found == sorted(found, key=lambda m: parse_leaf(m).pitch_mm)
    assert found[1] in marks
