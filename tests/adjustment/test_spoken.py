"""The table of photos whose threads tell each other's scale."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import pitchcam
from tests.accuracy import scale_of
from tests.adjustment import spoken


def made(rng, common: float, own: float = 0.001):
    def lengths(by: float):
        return {name: (by + float(rng.normal(0, own)), 0.003) for name in ("pitch_mm", "major_mm")}

    return {
        "reference": "pin",
        "truth": "M12x1.75",
        "before": {"name": None, "lengths": lengths(float(rng.normal(0, common)))},
        "after": {"name": "M12x1.75", "lengths": lengths(0.0)},
    }


def test_the_scale_that_lengths_share_goes_and_what_each_errs_by_stays():
    rng = np.random.default_rng(4)
    rows = [made(rng, 0.003) for _ in range(3000)]
    before = spoken.common([r["before"]["lengths"] for r in rows])
    after = spoken.common([r["after"]["lengths"] for r in rows])
    assert before == pytest.approx(0.003, rel=0.05) and abs(after) < 0.0003
    said = spoken.table(rows).splitlines()
    assert said[1].split()[:2] == ["all", "pitch_mm"]
    n, rms = said[1].split()[2], [float(said[1].split()[i]) for i in (6, 8)]
    assert n == "3000" and rms == pytest.approx([100 * np.hypot(0.003, 0.001), 0.1], rel=0.05)
    assert said[-2].startswith("before: 0 named right, 0 wrong")
    assert said[-1].startswith("after: 3000 named right, 0 wrong")


def test_a_thread_whose_scale_nothing_tells_is_left_out():
    rng = np.random.default_rng(4)
    lost = made(rng, 0.003)
    lost["before"]["lengths"]["pitch_mm"] = (0.05, 0.06)
    assert "all       pitch_mm" not in spoken.table([lost])


def test_a_photo_of_two_threads_has_what_was_measured_before_they_told_each_other():
    """The second reading is the answer's own; the first has the wider scale."""
    truth = Path("samples/p16-nipple-disc.json")
    told = json.loads(truth.read_text(encoding="utf-8"))
    rows = list(spoken.of_photo(told, truth.with_name(told["file"])))
    answer = pitchcam.identify(truth.with_name(told["file"]), scale_of(told), plots=False)
    final = {t.verdict.designation: t for p in answer.parts for t in p.threads}
    assert {r["truth"] for r in rows} == {"G 1/4", "1/4-18 NPT"}
    for row in rows:
        was, now = (row[when]["lengths"]["pitch_mm"] for when in ("before", "after"))
        q = final[row["truth"]].reading.pitch_mm
        assert now[1] == pytest.approx(q.u / (q.value / (1 + now[0])))
        assert now[1] < was[1]
