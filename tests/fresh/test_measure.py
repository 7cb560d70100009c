"""What an answer is worth where no true thread stands for it; which way a taper is wrong."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from tests.fresh.measure import beside, grows

SPECIAL = {"threads": [], "render": {"special": [{"designation": "special 14.3x1.91"}]}}
SPRING = {"threads": [], "render": {}}
BOLT = {"threads": [{"designation": "M8x1.25"}], "render": {}}


@pytest.mark.parametrize(
    ("status", "truth", "outcome"),
    [
        ("named", SPECIAL, "wrong"),
        ("named", SPRING, "wrong"),
        ("named", BOLT, "extra"),
        ("off-series", SPECIAL, "refused"),
        ("off-series", SPRING, "extra"),
        ("ambiguous", SPECIAL, "extra"),
        ("unreadable", SPRING, "extra"),
    ],
)
def test_a_thread_of_no_series_is_told_rightly_by_none(status, truth, outcome) -> None:
    assert beside(status, truth) == outcome


@pytest.mark.parametrize(("sign", "end", "way"), [(1, 0, 1.0), (-1, 0, -1.0), (1, 180, -1.0)])
def test_a_parallel_thread_grows_toward_its_part_or_its_free_end(sign, end, way) -> None:
    """A thread from x = 10 to 30 of a part that goes on to 100, or comes from -80."""
    thread = SimpleNamespace(span_px=((10.0, 5.0), (30.0, 5.0)), taper_sign=sign)
    truth = {"box_px": [10, 0, 30, 10]}
    part = {"box_px": [-80, 0, 30, 10] if end else [10, 0, 100, 10]}
    assert grows(truth, [part], thread) == way
    elsewhere, whole = {"box_px": [200, 0, 300, 10]}, {"box_px": [8, 0, 32, 10]}
    assert grows(truth, [elsewhere, whole], thread) == grows(truth, [], thread) == 1.0
    # Drawn photos say no boxes.
    assert grows({}, [part], thread) == grows(truth, [{"kind": "stud"}], thread) == 1.0
