"""What an answer is worth where no true thread stands for it."""

from __future__ import annotations

import pytest

from tests.fresh.measure import beside

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
