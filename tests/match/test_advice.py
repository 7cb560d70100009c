"""The next measurement is computed from the candidates, and tells them apart."""

import numpy as np
import pytest

from pitchcam.match import advice as module
from pitchcam.match import name_thread
from pitchcam.match.advice import best_measurement, real_range, tell_apart, tell_twins
from pitchcam.match.confusable import confusables, confused_pairs
from pitchcam.records import Gender, Quantity, ThreadReading
from pitchcam.series import find, load_series


def advice(*designations: str, reading: ThreadReading | None = None) -> str:
    sizes = [find(d) for d in designations]
    share = [1 / len(sizes)] * len(sizes)
    return best_measurement(sizes, share, reading or ThreadReading())


@pytest.mark.parametrize(
    ("pair", "word"),
    [
        (("R 1/2", "1/2-14 NPT"), "form gauge"),
        (("G 1/2", "R 1/2"), "two places"),
        (("M14x1.5", "M14x1.5 taper"), "two places"),
        (("M16x1.5", "5/8-18 UNF"), "pitch"),
        (("M12x1.25", "1/2-20 UNF"), "over the crests at the small end"),
        (("M4x0.7", "#8-36 UNF"), "over the crests"),
        (("1/4-20 BSW", "1/4-20 UNC"), "form gauge"),
        (("M5x0.8", "#10-32 UNF"), "photo"),
    ],
)
def test_what_settles_a_pair(pair: tuple[str, str], word: str) -> None:
    text = advice(*pair)
    assert word in text
    assert all(d in text for d in pair)


def test_what_was_read_well_is_not_asked_again() -> None:
    read = ThreadReading(angle_deg=Quantity(value=57.5, u=0.3))
    assert "form gauge" not in advice("R 1/2", "1/2-14 NPT", reading=read)
    poor = ThreadReading(angle_deg=Quantity(value=57.5, u=4.0))
    assert "form gauge" in advice("R 1/2", "1/2-14 NPT", reading=poor)


def test_four_candidates_take_two_measurements() -> None:
    text = advice("G 1/2", "R 1/2", "1/2-14 NPT", "1/2-14 NPSM")
    first, second = text.split(" Then: ")
    assert {"two places" in first, "two places" in second} == {True, False}
    assert "form gauge" in text


def test_inside_the_advice_is_for_a_hole() -> None:
    text = advice("Rc 1/2", "G 1/2", reading=ThreadReading(gender="internal"))
    assert "at the mouth and 9 mm deep" in text and "caliper" not in text
    angle = advice("Rc 1/2", "1/2-14 NPT", reading=ThreadReading(gender="internal"))
    assert angle.index("known plug") < angle.index("Make a cast")


def test_with_a_cast_at_hand_none_is_asked_for() -> None:
    sizes, reading = [find("Rc 1/2"), find("1/2-14 NPT")], ThreadReading(gender="internal")
    text = best_measurement(sizes, [0.5, 0.5], reading, cast=True)
    assert "Make a cast" not in text and "cast's flanks" in text


def test_values_that_the_measurement_gives() -> None:
    name, a, b = tell_apart(find("G 1/2"), find("R 1/2"), "external")
    assert "two diameters" in name and a == "stays equal" and "0.56" in b


@pytest.mark.parametrize(
    ("designation", "low", "high"),
    # Ranges of the lowest usual class to basic: ISO 965-1 8g to 6h, ISO 7-1, ASME B1.20.1.
    [("M14x1.5", 13.593, 14.0), ("R 1/2", 20.33, 20.555), ("1/2-14 NPT", 20.44, 20.83)],
)
def test_real_range(designation: str, low: float, high: float) -> None:
    assert real_range(find(designation), "external") == pytest.approx((low, high), abs=0.006)


def test_twins_are_told_by_their_seat() -> None:
    text = tell_twins(find("7/16-20 UNF"), "external")
    assert text is not None and "37 degree cone" in text and "O-ring" in text
    assert tell_twins(find("R 1/2"), "external") is None


@pytest.mark.parametrize(
    ("designation", "expected"),
    # Pairs that garages confuse: common practice, no source.
    [
        ("M16x1.5", "5/8-18 UNF"),
        ("M10x1", "1/8-27 NPT"),
        ("G 1/2", "1/2-14 NPT"),
        ("M5x0.8", "#10-32 UNF"),
        ("M6x1", "0 BA"),
        ("1/4-18 NPT", "G 1/4"),
    ],
)
def test_known_confusions_are_found(designation: str, expected: str) -> None:
    found = {c.second.designation for c in confusables(find(designation))}
    assert expected in found


def test_pairs_stand_once_and_not_with_their_twins() -> None:
    sizes = [s for s in load_series() if s.commonness != "rare" and "external" in s.genders]
    pairs = confused_pairs(sizes)
    keys = [frozenset((p.first.geometry, p.second.geometry)) for p in pairs]
    assert len(keys) == len(set(keys)) > 20
    assert all(len(k) == 2 for k in keys)
    gender: Gender = "internal"
    assert confusables(find("R 1/2"), gender) == ()


def test_sizes_that_a_measurement_leaves_equal_are_said_together() -> None:
    # Only the diameter was read: four pitches and a taper thread are open.
    diameter, station = Quantity(value=13.8, u=0.03), Quantity(value=1.5, u=1.5)
    step = name_thread(ThreadReading(major_mm=diameter, diameter_station_mm=station)).next_step
    assert step is not None and step.count("stay equal") == 1
    assert "M14x1.5 taper changes by" in step


def test_of_two_measurements_that_leave_some_open_the_more_telling_is_first() -> None:
    """By themselves one tells pairs 0.9 deviations apart, the other 1.2; none of both tells all."""
    distance = {"weak": np.array([0.9, 0.9]), "strong": np.array([1.2, 1.2])}
    assert module._choose(distance, np.ones(2)) == ("strong", "weak")
