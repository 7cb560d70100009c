"""Each case of the fault table once, and that the table would tell a loss."""

import random

import pytest

from pitchcam.store.store import Store
from tests.faults import cases


@pytest.mark.parametrize(
    "name",
    [
        "bytes of the record changed",
        "a row of the record changed",
        "two imports of stock at once",
        "uploads stall under a watch",
    ],
)
def test_no_loss(tmp_path, name):
    case, share = cases.CASES[name]
    score = case(tmp_path / "case", max(1, round(share)), random.Random(name))
    assert score.losses == 0
    assert score.trials >= 1


def test_the_table_would_tell_a_loss(tmp_path, monkeypatch):
    monkeypatch.setattr(Store, "entries", lambda self: iter(()))
    score = cases.damaged_rows(tmp_path / "case", 2, random.Random(1))
    assert score.losses == 2
