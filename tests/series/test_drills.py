"""Tapping drills and what they leave."""

import pytest

from pitchcam.errors import UsageError
from pitchcam.series import find, load_series
from pitchcam.series.drills import INCH, METRIC, engagement, tapping_drill


@pytest.mark.parametrize(
    ("designation", "drill"),
    [
        # ASME B94.9 table, tapped without reaming (Machinery's Handbook 31, p. 1005).
        ("1/8-27 NPT", "Q"),
        ("1/4-18 NPT", "7/16"),
        ("3/8-18 NPT", "9/16"),
        ("1/2-14 NPT", "45/64"),
        ("3/4-14 NPT", "29/32"),
        ("1-11.5 NPT", "1-9/64"),
        # Common practice, no source.
        ("1/4-20 UNC", "#7"),
        ("1/2-13 UNC", "27/64"),
        ("1/4-20 BSW", "#7"),
    ],
)
def test_inch_drills(designation: str, drill: str) -> None:
    assert tapping_drill(find(designation), INCH).drill.name == drill


@pytest.mark.parametrize(
    ("designation", "mm"),
    # Common practice for G and BA, no source; ISO 2306 for metric, from memory.
    [
        ("M3x0.5", 2.5),
        ("M4x0.7", 3.3),
        ("M5x0.8", 4.2),
        ("M6x1", 5.0),
        ("M8x1.25", 6.8),
        ("M10x1.5", 8.5),
        ("M12x1.75", 10.2),
        ("M14x2", 12.0),
        ("M16x2", 14.0),
        ("M18x2.5", 15.5),
        ("M20x2.5", 17.5),
        ("M24x3", 21.0),
        ("M8x1", 7.0),
        ("M10x1.25", 8.8),
        ("M10x1", 9.0),
        ("M12x1.25", 10.8),
        ("M12x1.5", 10.5),
        ("M14x1.25", 12.8),
        ("M14x1.5", 12.5),
        ("M18x1.5", 16.5),
        ("M22x1.5", 20.5),
        ("G 1/8", 8.8),
        ("G 1/4", 11.8),
        ("G 3/8", 15.25),
        ("G 1/2", 19.0),
        ("2 BA", 4.0),
        ("Rc 1/8", 8.4),
    ],
)
def test_metric_drills(designation: str, mm: float) -> None:
    assert tapping_drill(find(designation), METRIC).drill.diameter_mm == pytest.approx(mm)


def test_every_metric_drill_is_the_major_less_the_pitch() -> None:
    """ISO 2306: D - P, to the rack's step; tabulated figures lie within 0.05 mm of it."""
    for size in load_series():
        if size.family == "M" and size.internal and size.basic_major_mm <= 36.0:
            try:
                drill = tapping_drill(size, METRIC)
            except UsageError:
                continue  # finer than the rack's smallest steps
            apart = drill.drill.diameter_mm - (size.basic_major_mm - size.pitch_mm)
            assert abs(apart) < 0.13, size.designation


def test_engagement_is_the_share_of_the_full_thread() -> None:
    # 1/2-13 with 27/64: (0.5 - 0.421875) * 13 / 1.299038 = 78 percent.
    assert engagement(find("1/2-13 UNC"), 27 / 64 * 25.4) == pytest.approx(0.782, abs=0.001)
    assert engagement(find("M10x1.5"), 10.0) == 0.0


def test_a_flagged_hole_is_outside_the_limits() -> None:
    for size in load_series():
        if size.taper or "internal" not in size.genders:
            continue
        try:
            drill = tapping_drill(size, METRIC)
        except UsageError:
            continue  # finer than the rack's smallest steps
        low, high = size.internal[0].minor_mm
        inside = low - 1e-6 <= drill.drill.diameter_mm <= high + 1e-6
        assert drill.in_limits == inside, size.designation


def test_a_thread_that_is_never_tapped_says_so() -> None:
    with pytest.raises(UsageError, match="never tapped"):
        tapping_drill(find("R 1/2"))
