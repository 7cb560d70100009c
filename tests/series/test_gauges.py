"""Leaves of gauge sets as they are typed."""

import pytest

from pitchcam.errors import ReadingError
from pitchcam.series.gauges import load_leaves, parse_leaf


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("1.5mm", 1.5),
        ("1,5 MM", 1.5),
        ("1.5", 1.5),
        ("18", 25.4 / 18),
        ("18tpi", 25.4 / 18),
        ("11.5 TPI", 25.4 / 11.5),
        ("2ba", 0.81),
        (".75mm", 0.75),
    ],
)
def test_leaves(typed: str, mm: float) -> None:
    assert parse_leaf(typed).pitch_mm == pytest.approx(mm, rel=1e-6)


@pytest.mark.parametrize("typed", ["", "mm", "1.37mm", "17tpi", "0tpi", "-1mm", "99ba", "x"])
def test_a_leaf_of_no_set_gets_one_line(typed: str) -> None:
    with pytest.raises(ReadingError) as caught:
        parse_leaf(typed)
    assert "\n" not in str(caught.value)


def test_a_swapped_unit_is_noticed() -> None:
    with pytest.raises(ReadingError, match="18tpi"):
        parse_leaf("18mm")
    with pytest.raises(ReadingError, match=r"write 1\.5mm"):
        parse_leaf("1.5tpi")


def test_one_leaf_per_mark_with_its_angles() -> None:
    marks = [leaf.mark for leaf in load_leaves()]
    assert len(marks) == len(set(marks))
    assert parse_leaf("20tpi").angles_deg == (60.0, 55.0)


def test_a_number_of_both_sets_is_asked_back() -> None:
    with pytest.raises(ReadingError, match="5mm or 5tpi"):
        parse_leaf("5")
    with pytest.raises(ReadingError, match="mm or TPI"):
        parse_leaf("17")
