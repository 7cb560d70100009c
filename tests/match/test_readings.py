"""Typed readings: what they become, and what cannot be."""

import math
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pitchcam.calibration import calibration_path
from pitchcam.errors import InputError, ReadingError
from pitchcam.match.by_hand import name_readings
from pitchcam.match.readings import Typed, to_reading
from pitchcam.match.slips import slip_shares
from pitchcam.series.gauges import parse_leaf


def typed(gauge: str | None = None, **values: Any) -> Typed:
    return Typed(leaf=None if gauge is None else parse_leaf(gauge), **values)


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        (typed("1.25mm", diameter_mm=11.85, form="parallel"), "M12x1.25"),
        (typed("1.5mm", diameter_mm=13.8, form="parallel"), "M14x1.5"),
        (typed("20tpi", diameter_mm=12.6), "1/2-20 UNF"),
        (typed("14tpi", diameter_mm=22.1), "7/8-14 UNF"),
        (typed("18tpi", diameter_mm=15.75, angle_deg=60.0), "5/8-18 UNF"),
        (typed("14tpi", diameter_mm=20.4, second_mm=20.9, apart_mm=8.0, angle_deg=55.0), "R 1/2"),
        (
            typed("14tpi", diameter_mm=20.7, second_mm=21.2, apart_mm=8.0, angle_deg=60.0),
            "1/2-14 NPT",
        ),
        (typed("14tpi", diameter_mm=20.8, second_mm=20.81, apart_mm=10.0, angle_deg=55.0), "G 1/2"),
        (typed("1.5mm", diameter_mm=13.8, second_mm=13.8, apart_mm=10.0), "M14x1.5"),
        (typed("1.5mm", bore_mm=12.5), "M14x1.5"),
        (typed("1.5mm", diameter_mm=14.1, cast=True), "M14x1.5"),
        # The large end first: the printed taper is negative, the thread is the same.
        (typed("19tpi", diameter_mm=16.69, second_mm=16.34, apart_mm=6.0, angle_deg=55.0), "R 3/8"),
        (typed("14tpi", bore_mm=18.3, second_mm=18.8, apart_mm=8.0, angle_deg=55.0), "Rc 1/2"),
    ],
)
def test_readings_that_name(reading: Typed, expected: str) -> None:
    verdict = name_readings(reading)
    assert verdict.designation == expected
    assert verdict.probability is not None and verdict.probability >= 0.95


@pytest.mark.parametrize(
    ("reading", "among", "asks"),
    [
        (typed("14tpi", diameter_mm=20.7), {"1/2-14 NPT", "G 1/2", "R 1/2"}, "two places"),
        (
            typed("14tpi", diameter_mm=20.4, second_mm=20.9, apart_mm=8.0),
            {"R 1/2", "1/2-14 NPT"},
            "form gauge",
        ),
        (
            typed("14tpi", bore_mm=18.3, second_mm=18.8, apart_mm=8.0),
            {"Rc 1/2", "1/2-14 NPT"},
            "55 deg",
        ),
        (typed("28tpi", diameter_mm=9.55), {"G 1/8", "R 1/8"}, "two places"),
        (typed("20tpi", diameter_mm=6.28), {"1/4-20 BSW", "1/4-20 UNC"}, "form gauge"),
        (typed("1mm", diameter_mm=5.9), {"M6x1", "0 BA"}, "form gauge"),
        (typed("14tpi", bore_mm=18.8), {"Rc 1/2", "G 1/2"}, "at the mouth"),
        (typed(None, diameter_mm=13.8), {"M14x1.5", "M14x2", "M14x1.25"}, "gauge leaf"),
        (typed("18tpi"), {"5/8-18 UNF", "1/4-18 NPT", "9/16-18 UNF"}, "caliper"),
        # One diameter without its place says nothing about where on a taper it was read.
        (typed("14tpi", diameter_mm=20.95, angle_deg=55.0), {"G 1/2", "R 1/2"}, "two places"),
        (
            typed("14tpi", diameter_mm=26.6, angle_deg=60.0),
            {"3/4-14 NPT", "1-1/16-14 UNS"},
            "two places",
        ),
        (
            typed("18tpi", diameter_mm=13.85, angle_deg=60.0),
            {"1/4-18 NPT", "9/16-18 UNF"},
            "two places",
        ),
        (typed("18tpi", diameter_mm=13.8), {"1/4-18 NPT", "9/16-18 UNF"}, "two places"),
        # M8 by an inch leaf; one leaf farther is 5/16-18 UNC.
        (
            typed("20tpi", diameter_mm=7.77),
            {"M8x1.25", "5/16-20 UN"},
            "Hold 1.25mm, 18tpi and 20tpi",
        ),
        (typed("0.5mm", diameter_mm=13.8), {"M14x1.5", "M14x2"}, "Read the leaf again"),
        (
            typed("1.5mm", diameter_mm=13.0, second_mm=14.0, apart_mm=5.0),
            {"M14x1.5"},
            "both diameters and their distance",
        ),
    ],
)
def test_readings_that_leave_several(reading: Typed, among: set[str], asks: str) -> None:
    verdict = name_readings(reading)
    assert verdict.status == "ambiguous"
    assert among <= {c.designation for c in verdict.candidates}
    assert verdict.next_step is not None and asks in verdict.next_step


@pytest.mark.parametrize(
    "reading",
    [
        typed("1.5mm", diameter_mm=13.27),  # 0.33 mm under the lowest class of M14x1.5
        typed("1.5mm", diameter_mm=13.27, form="parallel"),
        typed("19tpi", diameter_mm=12.6, form="parallel"),  # 0.3 mm under G 1/4
        typed("1.5mm", diameter_mm=13.8, second_mm=14.8, apart_mm=5.0, form="taper"),  # 1:5
        typed("1.5mm", diameter_mm=13.85, second_mm=13.85, apart_mm=10.0, angle_deg=75.0),
        typed("1.75mm", diameter_mm=13.8, form="parallel"),
        typed("0.25mm", diameter_mm=1.0),  # 14 BA has 0.23 mm
    ],
)
def test_what_no_thread_has_is_never_a_name(reading: Typed) -> None:
    verdict = name_readings(reading)
    assert verdict.status != "named" and verdict.next_step


@pytest.mark.parametrize(
    ("slip", "name"),
    [
        (
            typed("1.5mm", diameter_mm=13.85, second_mm=13.85, apart_mm=10.0, angle_deg=75.0),
            "form gauge again",
        ),
        (typed("8tpi", diameter_mm=2.5), "write 2.5in"),
        (typed("18tpi", diameter_mm=13.7, form="parallel"), "called parallel"),
        (typed("1.5mm", diameter_mm=13.38, second_mm=13.38, apart_mm=8.0), "crests are whole"),
        (typed("1.5mm", diameter_mm=13.85, second_mm=14.7, apart_mm=8.0), "taper of no thread"),
        (typed("0.5mm", diameter_mm=13.8), "Read the leaf again"),
        (typed("20tpi", diameter_mm=7.9), "whose leaf is 1.25mm"),
    ],
)
def test_a_slip_that_wins_is_said_with_what_to_repeat(slip: Typed, name: str) -> None:
    try:
        said = name_readings(slip).next_step or ""
    except ReadingError as error:
        said = str(error)
    assert name in said


def test_shares_of_slips_may_be_replaced(tmp_path: Path) -> None:
    folder = tmp_path / "series"
    shutil.copytree(calibration_path("series"), folder)
    table = (folder / "slips.csv").read_text()
    (folder / "slips.csv").write_text(table.replace("form-parallel,0.02", "form-parallel,0.3"))
    reading = typed("28tpi", diameter_mm=9.6, form="parallel")
    assert name_readings(reading).designation == "G 1/8"
    assert name_readings(reading, folder=folder).status == "ambiguous"
    (folder / "slips.csv").write_text(table.replace("worn,", "tired,"))
    slip_shares.cache_clear()
    with pytest.raises(InputError, match="slips.csv line"):
        name_readings(reading, folder=folder)


def test_the_order_of_two_diameters_does_not_matter() -> None:
    one = typed("18tpi", diameter_mm=13.2, second_mm=13.6, apart_mm=7.0)
    other = replace(one, diameter_mm=13.6, second_mm=13.2)
    a, b = name_readings(one), name_readings(other)
    assert a.designation == b.designation == "1/4-18 NPT"
    assert a.notes == () and any("large end" in note for note in b.notes)


def test_a_stated_place_is_used() -> None:
    # 20.9 mm is R 1/2 some 7 mm from its small end; at the small end R 1/2 has 20.55 at most.
    reading = typed("14tpi", diameter_mm=20.9, angle_deg=55.0)
    assert name_readings(reading).status == "ambiguous"
    assert name_readings(replace(reading, station_mm=0.5)).designation == "G 1/2"


def test_the_eyes_word_counts_with_its_error() -> None:
    reading = typed("28tpi", diameter_mm=9.6)
    plain = name_readings(reading)
    unsure = name_readings(replace(reading, form="unsure"))
    assert plain.candidates == unsure.candidates
    for form, name in (("parallel", "G 1/8"), ("taper", "R 1/8")):
        said = name_readings(replace(reading, form=form))
        assert said.candidates[0].designation == name
        assert 0.9 < said.candidates[0].probability < 0.999


@pytest.mark.parametrize("cast", [True, False])
def test_a_cast_is_asked_for_only_where_there_is_none(cast: bool) -> None:
    reading = typed("14tpi", diameter_mm=20.9, cast=True) if cast else typed("14tpi", bore_mm=18.6)
    step = name_readings(reading).next_step or ""
    assert ("Make a cast" in step) is not cast
    if not cast:
        assert step.index("at the mouth") < step.index("known plug") < step.index("Make a cast")


@pytest.mark.parametrize(
    ("reading", "says"),
    [
        (typed(diameter_mm=0.54), "0.54in"),
        (typed(diameter_mm=500.0), r"Read the caliper again\.$"),
        (typed(diameter_mm=350.52), "write 13.8"),
        (typed(diameter_mm=-3.0), "not a diameter"),
        (typed(diameter_mm=0.0), "not a diameter"),
        (typed(diameter_mm=math.nan), "not a diameter"),
        (typed("14tpi", diameter_mm=0.875), "0.875in"),
        (typed(diameter_mm=13.8, bore_mm=12.0), "not both"),
        (typed(angle_deg=55.0), "neither"),
        (typed(diameter_mm=13.8, second_mm=14.0), "--apart"),
        (typed(diameter_mm=13.8, second_mm=14.0, apart_mm=0.2), "tells no taper"),
        (typed(diameter_mm=13.8, second_mm=20.0, apart_mm=5.0), "steeper"),
        (typed("1.5mm", diameter_mm=13.8, angle_deg=200.0), "angle"),
    ],
)
def test_nonsense_gets_one_line(reading: Typed, says: str) -> None:
    with pytest.raises(ReadingError, match=says) as caught:
        to_reading(reading)
    assert "\n" not in str(caught.value)


def test_two_diameters_give_a_taper_that_leans_on_the_first() -> None:
    # Against simulation: the covariance of the first diameter and the taper (JCGM 101).
    base = typed("14tpi", diameter_mm=20.4, second_mm=20.9, apart_mm=8.0)
    reading = to_reading(base)
    assert reading.taper is not None and reading.major_mm is not None
    rng = np.random.default_rng(3)
    u = reading.major_mm.u
    first = 20.4 + u * rng.standard_normal(200_000)
    second = 20.9 + u * rng.standard_normal(200_000)
    apart = 8.0 + 0.5 * rng.standard_normal(200_000)
    taper = (second - first) / apart
    assert reading.taper.u == pytest.approx(np.std(taper), rel=0.02)
    assert reading.correlation["major_mm", "taper"] == pytest.approx(
        np.corrcoef(first, taper)[0, 1], abs=0.01
    )


def test_inside_the_second_bore_lies_deeper_and_smaller() -> None:
    reading = to_reading(typed("14tpi", bore_mm=18.6, second_mm=18.1, apart_mm=8.0))
    assert reading.taper is not None and reading.taper.value == pytest.approx(0.0625)


def test_stated_uncertainties_are_used() -> None:
    base = typed("1.5mm", diameter_mm=13.8, angle_deg=60.0)
    own = to_reading(replace(base, u_diameter_mm=0.1, u_gauge=0.01, u_angle_deg=2.0))
    assert own.major_mm is not None and own.pitch_mm is not None and own.angle_deg is not None
    assert (own.major_mm.u, own.pitch_mm.u, own.angle_deg.u) == pytest.approx((0.1, 0.015, 2.0))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("worn,0.", "worn,1.", "write a share below 0.5"),
        ("worn,", "tired,", "slips.csv line"),
        ("worn,", "#", "slips.csv"),
    ],
)
def test_a_table_of_slips_that_cannot_be_is_refused(tmp_path: Path, old, new, says) -> None:
    folder = tmp_path / "series"
    shutil.copytree(calibration_path("series"), folder)
    table = (folder / "slips.csv").read_text()
    assert f"\n{old}" in table
    (folder / "slips.csv").write_text(table.replace(f"\n{old}", f"\n{new}"))
    slip_shares.cache_clear()
    with pytest.raises(InputError, match=says):
        slip_shares(folder)


def test_a_slip_without_a_share_is_missed(tmp_path: Path) -> None:
    folder = tmp_path / "series"
    shutil.copytree(calibration_path("series"), folder)
    lines = (folder / "slips.csv").read_text().splitlines(keepends=True)
    (folder / "slips.csv").write_text("".join(x for x in lines if not x.startswith("angle-any,")))
    slip_shares.cache_clear()
    with pytest.raises(InputError, match="no row 'angle-any'"):
        slip_shares(folder)
