"""A few of the hostile requests of ``python -m tests.hostile_page``, which sends a thousand."""

from __future__ import annotations

from tests.hostile_page import attack


def test_the_page_stands_and_says_nothing_it_should_not(page):
    work = attack(page, 20, seed=3)
    assert work.faults == []
    assert work.counts["good photo answered"] == 4
    assert sum(work.counts.values()) == 24
