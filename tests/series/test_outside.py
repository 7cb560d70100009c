"""Our limits, formulas and drills against tables that others wrote; origins in data/README.md."""

import csv
from collections.abc import Iterator
from pathlib import Path

import pytest

from pitchcam.records import MM_PER_INCH
from pitchcam.series import Limits, find, load_series
from pitchcam.series.drills import INCH, METRIC, load_drills, tapping_drill

DATA = Path(__file__).parent / "data"

# Rows where the origin contradicts its standard, with the reason.
FREECAD_ERRORS = {
    ("M33x3.5", "6g"): "all its diameters lie 0.021 mm high",
    ("M5.5x0.5", "6g"): "took the pitch tolerance of the step above 5.6 mm",
    ("M52x5", "6g"): "its pitch tolerance is 236 um where M48x5 of the same step has 250",
    ("M35x1.5", "6g"): "its smallest minor diameter is 1 mm above its pitch line",
    ("9/16-14 UNS", "2A"): "its largest major is 0.5510 where 0.5625 less the allowance is 0.5610",
    ("2-6 UN", "2A"): "its pitch diameters do not follow from 6 threads per inch",
    ("9/16-12 UNC", "3A"): "its largest major is not the basic 0.5625",
    ("1/4-20 UNC", "2B"): "its largest pitch diameter is 0.2248; B1.1-2019 has 0.2224",
    ("1/4-20 UNC", "3B"): "its largest pitch diameter is 0.2223; B1.1 has 0.2211",
}


def rows(name: str) -> Iterator[dict[str, str]]:
    with (DATA / name).open(newline="") as f:
        yield from csv.DictReader(f)


def limits_of(designation: str, gender: str, thread_class: str) -> Limits:
    return next(x for x in find(designation).limits(gender) if x.thread_class == thread_class)


@pytest.mark.parametrize("thread_class", ["6g", "6H", "2A", "3A", "2B", "3B"])
def test_limits_agree_with_freecad(thread_class: str) -> None:
    # The origin is rounded to 0.001 mm or 0.0001 in; half a unit more for our own rounding.
    checked = 0
    for row in rows("limits_freecad.csv"):
        if row["class"] != thread_class or (row["designation"], thread_class) in FREECAD_ERRORS:
            continue
        ours = limits_of(row["designation"], row["gender"], thread_class)
        unit = MM_PER_INCH if row["unit"] == "in" else 1.0
        tolerance = 0.00011 if row["unit"] == "in" else 0.0011
        pairs = {"pitch": ours.pitch_diameter_mm}
        if row["gender"] == "external":
            pairs["major"] = ours.major_mm
        elif thread_class != "3B":
            pairs["minor"] = ours.minor_mm  # 3B: see the test below
            # Inch bores are rounded to 0.001 in in the standard itself.
            tolerance = 0.00056 if row["unit"] == "in" else tolerance
        for name, (low, high) in pairs.items():
            assert low / unit == pytest.approx(float(row[f"{name}_min"]), abs=tolerance), row
            assert high / unit == pytest.approx(float(row[f"{name}_max"]), abs=tolerance), row
        checked += 1
    assert checked >= {"6g": 125, "6H": 55, "2A": 48, "3A": 38, "2B": 40, "3B": 32}[thread_class]


def test_class_3b_bore_agrees_with_freecad_within_its_rounding() -> None:
    for row in rows("limits_freecad.csv"):
        if row["class"] == "3B" and (row["designation"], "3B") not in FREECAD_ERRORS:
            low, high = limits_of(row["designation"], "internal", "3B").minor_mm
            assert low / MM_PER_INCH == pytest.approx(float(row["minor_min"]), abs=0.0006)
            assert high / MM_PER_INCH == pytest.approx(float(row["minor_max"]), abs=0.0006)


def test_metric_minor_diameters_agree_with_freecad() -> None:
    for row in rows("limits_freecad.csv"):
        if row["class"] == "6g" and (row["designation"], "6g") not in FREECAD_ERRORS:
            low, high = limits_of(row["designation"], "external", "6g").minor_mm
            assert low == pytest.approx(float(row["minor_min"]), abs=0.0012), row
            assert high == pytest.approx(float(row["minor_max"]), abs=0.0012), row


@pytest.mark.parametrize(("key", "reason"), FREECAD_ERRORS.items())
def test_a_listed_error_is_one(key: tuple[str, str], reason: str) -> None:
    # A listed row must really differ, or the list hides nothing and is wrong itself.
    row = next(r for r in rows("limits_freecad.csv") if (r["designation"], r["class"]) == key)
    ours = limits_of(key[0], row["gender"], key[1])
    unit = MM_PER_INCH if row["unit"] == "in" else 1.0
    theirs = [
        float(row[f"{n}_{e}"]) * unit for n in ("major", "pitch", "minor") for e in ("min", "max")
    ]
    mine = [*ours.major_mm, *ours.pitch_diameter_mm, *ours.minor_mm]
    assert max(abs(a - b) for a, b in zip(mine, theirs, strict=True)) > 0.009, reason


# The origin's M12 pitch diameter 6g spans 0.155 mm; ISO 965-1 and the FreeCAD table have 0.150.
SCREW_THREAD_LIB_ERRORS = {("M12x1.75", "pitch_min")}


def test_limits_agree_with_b1_1_and_b1_13m_values() -> None:
    # screw-thread-lib, values of ASME B1.1-2019 (2A, 2B) and B1.13M-2005 (6g, 6H), inch.
    checked = 0
    for row in rows("limits_screw_thread_lib.csv"):
        size = find(row["designation"])
        external, internal = size.external[0], size.internal[0]
        for name, (low, high), tolerance in (
            ("major", external.major_mm, 0.00011),
            ("pitch", external.pitch_diameter_mm, 0.00011),
            ("internal_pitch", internal.pitch_diameter_mm, 0.00011),
            ("bore", internal.minor_mm, 0.00056),  # rounded to 0.001 in by the standard
        ):
            for end, value in (("min", low), ("max", high)):
                if (row["designation"], f"{name}_{end}") not in SCREW_THREAD_LIB_ERRORS:
                    theirs = float(row[f"{name}_{end}"])
                    assert value / MM_PER_INCH == pytest.approx(theirs, abs=tolerance), row
        checked += 1
    assert checked == 15


def test_unified_root_agrees_with_b1_1_values() -> None:
    for row in rows("limits_screw_thread_lib.csv"):
        if "UN" in row["designation"]:
            low, high = find(row["designation"]).external[0].minor_mm
            assert low / MM_PER_INCH == pytest.approx(float(row["minor_min"]), abs=0.00015), row
            assert high / MM_PER_INCH == pytest.approx(float(row["minor_max"]), abs=0.00015), row


def test_r_and_rc_agree_with_bd_warehouse_at_the_gauge_plane() -> None:
    """ISO 228-1 takes its diameters from ISO 7-1, where they hold at the gauge plane."""
    ours, compared = {size.designation for size in load_series()}, 0
    for row in rows("iso228_bd_warehouse.csv"):
        number = row["designation"].removeprefix("G ")
        for name in (f"R {number}", f"Rc {number}"):
            if name not in ours:
                continue
            size, compared = find(name), compared + 1
            assert size.basic_major_mm == pytest.approx(float(row["major_mm"]), abs=1e-6)
            pitch_diameter = float(row["pitch_diameter_mm"])
            assert size.basic_pitch_diameter_mm == pytest.approx(pitch_diameter, abs=0.0012)
            assert size.basic_minor_mm == pytest.approx(float(row["minor_mm"]), abs=0.0012)
    assert compared == 26


def test_g_agrees_with_bd_warehouse() -> None:
    checked = 0
    for row in rows("iso228_bd_warehouse.csv"):
        size = find(row["designation"])
        a, inside = size.external[0], size.internal[0]
        assert size.basic_major_mm == pytest.approx(float(row["major_mm"]), abs=1e-6)
        # The origin rounds to 0.001 mm, from a pitch rounded to 0.001 mm.
        assert size.basic_pitch_diameter_mm == pytest.approx(
            float(row["pitch_diameter_mm"]), abs=0.0012
        )
        assert size.basic_minor_mm == pytest.approx(float(row["minor_mm"]), abs=0.0012)
        spans = {
            "pitch_tolerance_mm": (a.pitch_diameter_mm, inside.pitch_diameter_mm),
            "bore_tolerance_mm": (inside.minor_mm,),
            "major_tolerance_mm": (a.major_mm,),
        }
        for name, pairs in spans.items():
            for low, high in pairs:
                assert high - low == pytest.approx(float(row[name]), abs=1e-6), row
        checked += 1
    assert checked == 20


def test_root_diameter_follows_iso_68_1() -> None:
    # mechforge: d3 = d - 1.226869 P; our profile's depth is half of that below the major radius.
    from pitchcam.series.profile import depth_of

    for row in rows("root_mechforge.csv"):
        size = find(row["designation"])
        assert size.basic_major_mm - 2 * depth_of(size) == pytest.approx(
            float(row["d3_mm"]), abs=0.0011
        )


# Rows where the origin's drill lies outside the limits of the bore.
TAP_DRILL_ERRORS = {
    "M22x2.5": "18.5 mm is under the smallest 6H bore, 19.294 mm",
    "1-12 UNF": "15/16 in is over the largest 2B bore, 0.928 in",
}


#: Rows where the origin follows 75 % of the thread, and we the standard: ISO 2306 gives D - P.
TAP_DRILL_75_PERCENT = {"M12x1.75": (10.3, 10.2), "M14x2": (12.1, 12.0)}


def test_tapping_drills_agree_with_bd_warehouse() -> None:
    checked = 0
    for row in rows("tap_drills_bd_warehouse.csv"):
        size = find(row["designation"])
        metric = size.family == "M"
        ours = tapping_drill(size, METRIC if metric else INCH).drill
        if size.designation in TAP_DRILL_ERRORS:
            low, high = size.internal[0].minor_mm
            theirs = (
                float(row["drill"])
                if metric
                else next(d.diameter_mm for d in load_drills() if d.name == row["drill"])
            )
            assert not low <= theirs <= high
        elif size.designation in TAP_DRILL_75_PERCENT:
            stated = TAP_DRILL_75_PERCENT[size.designation]
            assert (float(row["drill"]), ours.diameter_mm) == stated
        elif metric:
            # Racks step by 0.05 or 0.1 mm: the neighbour is as good.
            assert ours.diameter_mm == pytest.approx(float(row["drill"]), abs=0.051), row
            checked += 1
        else:
            assert ours.name == row["drill"], row
            checked += 1
    assert checked == 86


def test_drill_sizes_agree_with_bd_warehouse() -> None:
    # The origin rounds number drills to 0.001 in in places (#5 0.205 for 0.2055).
    drills = {d.name: d.diameter_mm / MM_PER_INCH for d in load_drills()}
    checked = 0
    for row in rows("drill_sizes_bd_warehouse.csv"):
        assert drills[row["drill"]] == pytest.approx(float(row["diameter_in"]), abs=0.0006), row
        checked += 1
    assert checked == 106
