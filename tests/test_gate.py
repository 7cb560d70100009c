"""The gate over the samples: no wrong name, bands of error in units of u, and figures that stay.

The truth is from the meshes that were rendered, not from the measuring code.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from tests import gate
from tests.accuracy import SAMPLES, Row, measure_all, right_reason


@pytest.fixture(scope="module")
def rows():
    return measure_all([SAMPLES])


def test_every_sample_is_within_the_gate(rows):
    assert gate.outside(rows) == []


def test_every_sample_passes_by_its_quality(rows):
    assert len({r.photo for r in rows}) >= 28
    assert [r.photo for r in rows if not r.passed] == []


def test_every_refusal_gives_the_true_reason(rows):
    refused = [r for r in rows if r.quality == "refuse"]
    assert len(refused) >= 5
    assert [r.photo for r in refused if not right_reason(r)] == []


def test_no_figure_has_moved(rows):
    """Where a change means to move figures, say so and why, and store the table anew."""
    assert gate.moved(rows) == []


def drawn(scale: float = 1.0, n: int = 28) -> list[Row]:
    """Rows of a measurement whose errors are normal, ``scale`` times its u."""
    z = scale * norm.ppf((np.arange(n) + 0.5) / n)
    return [
        Row(f"d{i}", "clean", "M8", "named", "M8", in_u=dict.fromkeys(gate.BANDS, float(x)))
        for i, x in enumerate(z)
    ]


def test_a_right_budget_is_within_the_gate():
    assert gate.outside(drawn()) == []


@pytest.mark.parametrize("scale", [0.3, 2.4])
def test_a_budget_too_wide_or_too_narrow_is_outside_in_every_quantity(scale):
    told = "\n".join(gate.outside(drawn(scale)))
    assert all(f"{name}: rms" in told for name in gate.BANDS)


def test_errors_beyond_2u_are_outside_even_where_their_rms_is_not():
    rows = drawn()
    for row in rows[:5]:
        row.in_u["taper"] = 2.1
    for row in rows[5:]:
        row.in_u["taper"] = 0.5
    assert [line.partition(":")[0] for line in gate.outside(rows)] == ["taper"]


def test_a_wrong_name_and_a_crash_are_outside():
    rows = drawn()
    rows[0] = replace(rows[0], outcome="WRONG", answer="M7")
    rows[1] = replace(rows[1], outcome="CRASH", answer="TypeError: x")
    assert gate.outside(rows) == ["d0: M8 is named M7", "d1: TypeError: x"]


def test_the_stored_table_tells_what_moved_and_only_that(tmp_path):
    kept = [
        Row(
            "a",
            "clean",
            "M8",
            "named",
            "M8",
            errors={"pitch_mm": 0.0},
            read={"pitch_mm": (1.25, 0.002), "major_mm": (7.9, 0.03)},
        ),
        Row("b", "refuse", "blurred", "refused", "blurred: by 2.0 pixels"),
        Row("c", "clean", "M6", "named", "M6"),
    ]
    store = tmp_path / "table.json"
    gate.keep(kept, store)
    assert gate.moved(kept, store) == []
    little = {"pitch_mm": (1.25009, 0.00203), "major_mm": (7.9014, 0.03)}
    words = replace(kept[1], answer="blurred: by 2.1 pixels")
    assert gate.moved([replace(kept[0], read=little), words, kept[2]], store) == []
    much = {"pitch_mm": (1.25, 0.0021), "major_mm": (7.88, 0.03)}
    told = gate.moved([replace(kept[0], read=much, answer="M9"), words], store)
    assert told == [
        "a M8: named M8 -> named M9",
        "a M8: pitch_mm u 0.002 -> 0.0021 (+5 %)",
        "a M8: major_mm 7.9 -> 7.88 (-0.67 u)",
        "c M6: no longer there",
    ]
