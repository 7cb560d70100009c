"""Drills, leaves and drawn forms: each choice, its words, and what is asked back."""

import math

import numpy as np
import pytest

from pitchcam.errors import ReadingError, UsageError
from pitchcam.series import find, load_series
from pitchcam.series.drills import (
    INCH,
    METRIC,
    Kind,
    engagement,
    full_depth_mm,
    load_drills,
    tapping_drill,
)
from pitchcam.series.gauges import parse_leaf
from pitchcam.series.profile import axial_profile, depth_of, form_of


@pytest.mark.parametrize(
    ("typed", "message", "advice"),
    [
        ("x", "the gauge 'x' is no leaf.", "Write 1.5mm, 18tpi or 2ba."),
        ("-1mm", "the gauge '-1mm' is no leaf.", "Write 1.5mm, 18tpi or 2ba."),
        ("99ba", "no gauge set has a leaf 99 BA.", "BA leaves run from 0 to 10."),
        ("0mm", "the gauge '0mm' is not above 0.", "Read the leaf's mark again."),
        ("5", "the gauge '5' has no unit.", "Sets have both: write 5mm or 5tpi."),
        ("17", "no gauge set has a leaf 17, in mm or TPI.", "Write 1.5mm, 18tpi or 2ba."),
        ("1.37mm", "no gauge set has a leaf of 1.37 mm.", "Near it are: 1.25mm, 1.5mm, 1.75mm."),
        ("17tpi", "no gauge set has a leaf of 17 tpi.", "Near it are: 18tpi, 16tpi, 19tpi."),
        (
            "18mm",
            "no gauge set has a leaf of 18 mm.",
            " If the leaf is marked 18 tpi, write 18tpi.",
        ),
        (
            "1.5tpi",
            "no gauge set has a leaf of 1.5 tpi.",
            " If the leaf is marked 1.5 mm, write 1.5mm.",
        ),
    ],
)
def test_a_leaf_that_is_none_says_what_is(typed: str, message: str, advice: str) -> None:
    with pytest.raises(ReadingError) as caught:
        parse_leaf(typed)
    assert caught.value.message == message
    if advice.startswith("Near"):
        assert sorted(advice[13:-1].split(", ")) == sorted(caught.value.advice[13:-1].split(", "))
    else:
        assert caught.value.advice.endswith(advice)


@pytest.mark.parametrize(
    ("typed", "mark"),
    [("1.5 mm", "1.5mm"), ("18 TPI", "18tpi"), ("0.75", "0.75mm"), ("11", "11tpi"), ("0BA", "0ba")],
)
def test_a_leaf_may_be_typed_loosely(typed: str, mark: str) -> None:
    assert parse_leaf(f" {typed} ").mark == mark


@pytest.mark.parametrize(
    ("designation", "depth_of_pitch"),
    # Twice the addendum: 1.299 P at 60 degrees, 1.281 P of Whitworth's form, as charts reckon.
    [("M14x1.5", 1.299), ("1/2-13 UNC", 1.299), ("1/2-12 BSW", 1.281), ("G 1/2", 1.281)],
)
def test_full_depth(designation: str, depth_of_pitch: float) -> None:
    size = find(designation)
    assert full_depth_mm(size) / size.pitch_mm == pytest.approx(depth_of_pitch, abs=5e-4)
    assert engagement(size, size.basic_major_mm) == 0.0
    assert engagement(size, size.basic_major_mm - full_depth_mm(size)) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("designation", "drill_mm", "percent"),
    # Percent of thread by drill: common practice, no source.
    [("M10x1.5", 8.5, 77), ("M6x1", 5.0, 77), ("M20x2.5", 17.5, 77), ("1/4-20 UNC", 5.106, 75)],
)
def test_percent_of_thread(designation: str, drill_mm: float, percent: float) -> None:
    assert 100 * engagement(find(designation), drill_mm) == pytest.approx(percent, abs=0.7)


@pytest.mark.parametrize(
    ("designation", "kinds", "drill", "source"),
    [
        ("M14x1.5", METRIC, "12.5 mm", "ISO 2306"),
        ("G 1/2", METRIC, "19 mm", "nearest to 75 % engagement within the limits of the bore"),
        ("1/2-13 UNC", INCH, "27/64", "nearest to 75 % engagement within the limits of the bore"),
        ("M10x1.5", INCH, "R", "nearest to 75 % engagement within the limits of the bore"),
        ("1/2-14 NPT", INCH, "45/64", "Machinery's Handbook 31, p. 1005"),
        ("1/2-14 NPTF", INCH, "45/64", "Machinery's Handbook 31, p. 1005"),
        # Never smaller than the tabulated drill: 45/64 in is 17.86 mm, 7/16 in 11.11 mm.
        ("1/2-14 NPT", METRIC, "18 mm", "nearest drill to 45/64"),
        ("1/4-18 NPT", METRIC, "11.2 mm", "nearest drill to 7/16"),
        ("1/8-27 NPT", METRIC, "8.5 mm", "nearest drill to Q"),
    ],
)
def test_a_drill_and_its_reason(
    designation: str, kinds: tuple[Kind, ...], drill: str, source: str
) -> None:
    found = tapping_drill(find(designation), kinds)
    assert found.drill.kind in kinds
    assert found.drill.name.startswith(drill.split()[0]) and source in found.source
    if find(designation).taper:
        assert found.engagement is None and found.in_limits
    else:
        expected = engagement(find(designation), found.drill.diameter_mm)
        assert found.engagement == pytest.approx(expected)
    # Only a drill of another rack is told as such.
    assert ("nearest drill to" in found.source) == (kinds is METRIC and "NPT" in designation)


@pytest.mark.parametrize("designation", ["R 1/2", "M14x1.5 taper"])
def test_what_is_never_tapped(designation: str) -> None:
    with pytest.raises(UsageError) as caught:
        tapping_drill(find(designation))
    assert caught.value.message == f"{designation} is never tapped."
    assert caught.value.advice == "Its mate is: see pitchcam mate."


def test_a_rack_without_a_near_drill_says_to_bore() -> None:
    large = max(
        (s for s in load_series() if s.family == "M"), key=lambda s: s.basic_major_mm - s.pitch_mm
    )
    with pytest.raises(UsageError) as caught:
        tapping_drill(large, ("number",))
    target = large.basic_major_mm - 0.75 * full_depth_mm(large)
    assert caught.value.message == f"no drill here is near {target:.2f} mm."
    assert caught.value.advice == "Bore the hole to size."


@pytest.mark.parametrize(
    ("name", "inch"),
    # ASME B94.11M, from memory.
    [
        ("#80", 0.0135),
        ("#60", 0.0400),
        ("#43", 0.0890),
        ("#36", 0.1065),
        ("#29", 0.1360),
        ("#25", 0.1495),
        ("#21", 0.1590),
        ("#7", 0.2010),
        ("#3", 0.2130),
        ("#1", 0.2280),
        ("A", 0.2340),
        ("E", 0.2500),
        ("F", 0.2570),
        ("I", 0.2720),
        ("Q", 0.3320),
        ("U", 0.3680),
        ("Z", 0.4130),
        ("1/16", 0.0625),
        ("29/64", 0.453125),
        ("1-9/64", 1.140625),
    ],
)
def test_inch_drills_of_the_rack(name: str, inch: float) -> None:
    held = next(d for d in load_drills() if d.name == name)
    assert held.diameter_mm == pytest.approx(inch * 25.4, abs=0.003)
    kind = "number" if "#" in name else "fraction" if "/" in name else "letter"
    assert held.kind == kind


def test_the_rack_is_sorted_and_each_drill_stands_once() -> None:
    drills = load_drills()
    assert [d.diameter_mm for d in drills] == sorted(d.diameter_mm for d in drills)
    assert len({d.name for d in drills}) == len(drills)
    assert {d.kind for d in drills} == {"metric", "number", "letter", "fraction"}


@pytest.mark.parametrize(
    ("designation", "crest", "root", "round_crest", "round_root"),
    [
        # H = 0.866 P: crest cut by H/8, root by H/6 and round (ISO 68-1, ISO 965-1).
        ("M14x1.5", 0.866025 / 8, 0.866025 / 6, False, True),
        ("1/2-13 UNC", 0.866025 / 8, 0.866025 / 6, False, True),
        # ASME B1.20.1: 0.033 P off crest and root, flat.
        ("1/2-14 NPT", 0.033, 0.033, False, False),
        # H = 0.960491 P: a sixth of it off either end (BS 84).
        ("1/2-12 BSW", 0.960491 / 6, 0.960491 / 6, True, True),
        ("G 1/2", 0.960491 / 6, 0.960491 / 6, True, True),
        # BS 93: H = 1.1363 P, depth 0.6 P.
        ("2 BA", (1.1363365 - 0.6) / 2, (1.1363365 - 0.6) / 2, True, True),
        # DIN 40430: 80 degrees, H = 0.59588 P, a tenth of it off either end.
        ("Pg 16", 0.0595877, 0.0595877, True, True),
    ],
)
def test_forms(
    designation: str, crest: float, root: float, round_crest: bool, round_root: bool
) -> None:
    form = form_of(find(designation))
    assert (form.crest, form.root) == pytest.approx((crest, root), abs=2e-5)
    assert (form.crest_round, form.root_round) == (round_crest, round_root)


@pytest.mark.parametrize("designation", ["M14x1.5", "G 1/2", "2 BA", "1/2-14 NPT", "Pg 16"])
def test_a_drawn_profile_spans_its_depth_and_repeats(designation: str) -> None:
    size = find(designation)
    points = axial_profile(size, 2.0)
    level = points[:, 1] - points[:, 0] * size.taper / 2
    assert level.max() == pytest.approx(0.0, abs=1e-9)
    assert level.min() == pytest.approx(-depth_of(size), abs=1e-9)
    assert np.all(np.diff(points[:, 0]) >= -1e-12)
    assert points[-1, 0] == pytest.approx(2 * size.pitch_mm, abs=0.35 * size.pitch_mm)
    grid = np.linspace(0.05, 0.95, 91) * size.pitch_mm
    one = np.interp(grid, points[:, 0], level)
    two = np.interp(grid + size.pitch_mm, points[:, 0], level)
    assert two == pytest.approx(one, abs=1e-6 * size.pitch_mm + 1e-9)
    # A ridge is as steep on one side as on the other.
    mirrored = np.interp(size.pitch_mm - grid, points[:, 0], level)
    assert mirrored == pytest.approx(one, abs=2e-3 * size.pitch_mm)


def test_a_round_root_is_tangent_to_its_flanks() -> None:
    size = find("G 1/2")
    points = axial_profile(size, 1.0, points_per_arc=200) / size.pitch_mm
    slope = np.abs(np.diff(points[:, 1]) / np.maximum(np.diff(points[:, 0]), 1e-12))
    steep = 1 / math.tan(math.radians(27.5))
    assert slope.max() == pytest.approx(steep, rel=1e-6)
    # From level in the middle of the crest to the flank without a kink.
    assert slope[0] < 0.02 and np.max(np.abs(np.diff(slope))) < 0.05
    radius = 0.137329  # BS 84
    arc = points[points[:, 0] < radius * math.cos(math.radians(27.5))]
    centre = -radius
    assert np.hypot(arc[:, 0], arc[:, 1] - centre) == pytest.approx(radius, abs=2e-4)
