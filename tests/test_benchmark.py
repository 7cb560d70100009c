"""What the benchmark says of two sets of figures: by construction, nothing is timed here."""

from __future__ import annotations

import pytest

from tests.benchmark.compared import Row, change, row_of, slower, table


def row(ratio: float, noise: float = 0.01) -> Row:
    return Row(ratio=ratio, noise=noise, low=ratio, high=ratio, runs=5)


def test_one_disturbed_run_changes_neither_figure_nor_noise_much() -> None:
    quiet, disturbed = row_of([4.0, 4.1, 3.9, 4.05, 3.95]), row_of([4.0, 4.1, 3.9, 4.05, 9.0])
    assert disturbed.ratio == pytest.approx(quiet.ratio, abs=0.06)
    assert disturbed.noise < 2.5 * quiet.noise
    assert disturbed.high == 9.0


def test_what_rose_by_more_than_the_noise_is_said() -> None:
    before = {"a": row(4.0), "b": row(4.0, noise=0.5), "c": row(4.0), "gain of d": row(1.9)}
    now = {"a": row(4.6), "b": row(4.6), "c": row(4.1), "gain of d": row(1.5), "e": row(9.0)}
    lines = slower(now, before)
    assert [line.split(": ")[1].split(",")[0] for line in lines] == ["a", "gain of d"]
    assert "15 %" in lines[0]


def test_what_became_quicker_is_no_matter() -> None:
    assert slower({"a": row(2.0), "gain": row(2.0)}, {"a": row(4.0), "gain": row(1.5)}) == []


def test_few_percent_are_never_a_change() -> None:
    by, noise = change(row(4.1, noise=0.0), row(4.0, noise=0.0))
    assert by == pytest.approx(0.025)
    assert noise == pytest.approx(0.05)


def test_the_table_has_stored_figures_and_aims() -> None:
    text = table({"a": row(4.6), "new": row(1.0)}, {"a": row(4.0)}, {"a": "2.5"})
    line = next(x for x in text.splitlines() if x.startswith("a "))
    assert "4.60" in line and "4.00" in line and "+15 %" in line and line.endswith("2.5")
