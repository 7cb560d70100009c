"""What is said of a slip: its figures against the standards' own, by which a fitter checks them."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pitchcam.match.hand import HandReadings
from pitchcam.match.hand_posterior import HARMLESS
from pitchcam.match.slip_words import _WORDS, Slip, slip_words
from pitchcam.match.slips import SLIPS
from pitchcam.series import find

RANKED: Any = SimpleNamespace(
    sizes=[find(n) for n in ("M14x1.5", "M14x1.25", "G 1/4", "M16x1.5")],
    probability=[0.9, 0.05, 0.03, 0.02],
)


def said(slip: str, size: str, ranked: Any = RANKED, **read: Any) -> str:
    arrays = {k: np.array([v]) if isinstance(v, float) else v for k, v in read.items()}
    arrays |= {k: read[k] for k in ("apart_mm",) if k in read}
    return slip_words(Slip(name=slip, chance=0.9, size=find(size)), HandReadings(**arrays), ranked)


def test_every_slip_of_a_hand_has_words() -> None:
    of_hands = {name for name in SLIPS if not name.startswith("reference-")}
    assert of_hands - set(HARMLESS) == set(_WORDS)


@pytest.mark.parametrize(
    ("size", "held_mm", "right", "held"),
    [
        ("M10x1.25", 1.5, "1.25mm", "1.5mm"),  # ISO 261
        ("G 1/4", 1.25, "19tpi", "1.25mm"),  # ISO 228-1: 1.337 mm
        ("1/4-20 UNC", 1.25, "20tpi", "1.25mm"),  # ASME B1.1: 1.27 mm
        ("1/2-14 NPT", 25.4 / 11.5, "14tpi", "11.5tpi"),  # ASME B1.20.1
    ],
)
def test_a_leaf_a_step_off_is_told_by_the_gap_it_shows(size, held_mm, right, held) -> None:
    alone = SimpleNamespace(sizes=[find(size)], probability=[1.0])
    words = said("leaf-step", size, alone, pitch_mm=held_mm)
    assert f"whose leaf is {right}" in words
    assert f"Hold {right} and {held} in turn" in words
    turns, gap = (float(re.search(p, words)[1]) for p in (r"over (\d+) turns", r"gap of ([\d.]+)"))
    # Laid with its middle teeth in, a wrong leaf is off by half of the drift at either end.
    off = turns * abs(find(size).pitch_mm - held_mm) / 2
    assert off >= gap - held_mm * 0.02
    assert said("leaf-other", size, alone, pitch_mm=held_mm) == words


@pytest.mark.parametrize(
    ("second", "fits"),
    [
        (0.466, "M14x1.5, whose leaf is 1.5mm, or M14x2, whose leaf is 2mm. Hold 1.5mm, 2mm and "),
        (0.1, "M14x1.5, whose leaf is 1.5mm. Hold 1.5mm and "),
    ],
)
def test_between_two_leaves_both_are_held(second: float, fits: str) -> None:
    """A leaf of 1.75 mm on 13.8 mm: the coarse thread is nearly as likely as the fine one."""
    sizes = [find(n) for n in ("M14x1.5", "M14x2")]
    ranked = SimpleNamespace(sizes=sizes, probability=[0.525, second])
    words = said("leaf-step", "M14x1.5", ranked, pitch_mm=1.75)
    assert f"the rest fits {fits}1.75mm in turn" in words


@pytest.mark.parametrize(
    ("sizes", "held_mm", "turns"),
    [
        # By hand, a gap of 0.1 mm at both ends: 1.5 and 1.25 mm lie 0.25 mm a turn apart, and
        # 1.25 mm and 20 TPI (1.27 mm) 0.02.
        (("M16x1.5", "5/8-20 UN"), 1.25, "10"),
        (("M14x1.5", "M14x2"), 1.75, "2"),
    ],
)
def test_the_two_leaves_most_alike_say_over_how_many_turns(sizes, held_mm, turns) -> None:
    ranked = SimpleNamespace(sizes=[find(n) for n in sizes], probability=[0.5, 0.4])
    assert f"over {turns} turns a wrong one" in said(
        "leaf-step", sizes[0], ranked, pitch_mm=held_mm
    )


def test_a_leaf_of_the_pitch_that_was_held_is_no_other_leaf() -> None:
    """0 BA has 1 mm (BS 93): its leaf cannot be told from that of 1 mm."""
    ranked = SimpleNamespace(sizes=[find("M6x0.75"), find("0 BA")], probability=[0.5, 0.4])
    assert "Hold 0.75mm and " in said("leaf-step", "M6x0.75", ranked, pitch_mm=1.0)


def test_a_leaf_of_the_other_unit_and_any_other_leaf() -> None:
    assert said("leaf-unit", "3/8-16 UNC", pitch_mm=1.6).endswith(
        "the rest fits 3/8-16 UNC, whose leaf is 16tpi."
    )
    words = said("leaf-any", "M14x1.5", pitch_mm=25.4 / 28)
    assert words.startswith("Read the leaf again: 28tpi does not go")
    assert words.endswith("fits M14x1.5, M14x1.25, G 1/4.")  # three, and no more


def test_a_caliper_on_inches_is_told_by_what_it_would_be_in_mm() -> None:
    words = said("diameter-unit", "M14x1.5", diameter_mm=0.543)
    assert "0.543 in is 13.79 mm, which fits M14x1.5: write 0.543in." in words  # 0.543 x 25.4


@pytest.mark.parametrize(("gender", "what"), [("external", "diameter"), ("internal", "bore")])
def test_a_diameter_that_does_not_go_with_the_rest(gender, what) -> None:
    words = said("diameter-any", "M14x1.5", diameter_mm=19.0, gender=gender)
    assert words.startswith(f"Read the {what} again")
    assert words.endswith("M14x1.5, M14x1.25, G 1/4.")


@pytest.mark.parametrize(
    ("size", "gender", "reading", "low", "high", "where"),
    [
        # ISO 965-1, M14x1.5, the widest of its classes: major diameter from 8g (-0.032 - 0.375) to
        # 6h (0), minor diameter 12.376 with the 0.375 of 7H.
        ("M14x1.5", "external", 13.39, 13.593, 14.0, "0.20 mm below its range"),
        ("M14x1.5", "external", 13.80, 13.593, 14.0, "among its smallest"),
        ("M14x1.5", "internal", 12.87, 12.376, 12.751, "0.12 mm above its range"),
        ("M14x1.5", "internal", 12.60, 12.376, 12.751, "among its largest"),
    ],
)
def test_worn_crests_are_told_beside_the_limits(size, gender, reading, low, high, where) -> None:
    words = said("worn", size, diameter_mm=reading, gender=gender)
    got = [float(x) for x in re.search(r"has ([\d.]+) to ([\d.]+) mm", words).groups()]
    assert got == pytest.approx([low, high], abs=0.0051)  # rounded
    off = re.search(r"this reading is (.*?): worn crests", words)[1]
    assert re.sub(r"[\d.]+", "", off) == re.sub(r"[\d.]+", "", where)
    for mine, theirs in zip(*(re.findall(r"\d\.\d+", t) for t in (off, where)), strict=True):
        assert float(mine) == pytest.approx(float(theirs), abs=0.0051)


def test_a_taper_whose_place_is_not_stated_may_be_as_large_as_its_large_end() -> None:
    """ISO 7-1, R 1/4: 13.157 at the gauge plane; the useful thread goes on and grows by 1:16."""
    open_place, stated = (
        float(re.search(r"to ([\d.]+) mm there", said("worn", "R 1/4", **read))[1])
        for read in (
            {"diameter_mm": 12.4},
            {"diameter_mm": 12.4, "station_mm": SimpleNamespace(value=0.0, u=0.5)},
        )
    )
    assert open_place - stated == pytest.approx(find("R 1/4").useful_length_mm / 16, abs=0.01)


def test_two_diameters_that_make_the_taper_of_no_thread() -> None:
    words = said("second-any", "R 3/8", diameter_mm=16.5, change_mm=-0.9, apart_mm=8.0)
    assert "0.90 mm over 8 mm is the taper of no thread" in words
    assert words.endswith("1:16 makes 0.50 mm.")


def test_a_form_gauge_and_the_eyes_word() -> None:
    words = said("angle-any", "3/8-16 BSW", angle_deg=60.0)
    assert "60 degrees does not go" in words and words.endswith("3/8-16 BSW (55 degrees).")
    taper = said("form-parallel", "R 1/4", form="parallel")
    assert "called parallel, but R 1/4, which is taper" in taper
    parallel = said("form-taper", "G 1/4", form="taper")
    assert "called taper, but G 1/4, which is parallel" in parallel
