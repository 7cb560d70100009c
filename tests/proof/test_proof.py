"""The accuracy page: what became worse is told, wrong names come first, shares have intervals."""

import copy

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.stats import binomtest

from tests.proof.__main__ import main
from tests.proof.compare import worse
from tests.proof.figures import calibration, document, interval, refusal
from tests.proof.page import page


def row(number, **changes):
    rng = np.random.default_rng(number)
    u = {"pitch_mm": 0.002, "major_mm": 0.03, "angle_deg": 0.5}
    return {
        "photo": f"photo{number}",
        "folder": "here",
        "quality": "clean",
        "set": "good",
        "reference": "pin",
        "truth": "M14x1.5",
        "outcome": "right",
        "answer": "M14x1.5",
        "probability": 0.97,
        "candidates": [["M14x1.5", 0.97]],
        "u": u,
        "series": "M",
        "errors": {k: float(rng.normal(0, v)) for k, v in u.items()},
        "tilt_deg": 1.5,
        "blur_px": 0.7,
        "px_per_pitch": 25.0,
        "turns": 8.0,
        "material": "brass",
    } | changes


@pytest.fixture
def rows():
    return [row(i) for i in range(24)]


def test_interval_is_clopper_and_pearson_s():
    for hits, n in ((0, 5), (3, 10), (10, 10), (297, 300)):
        known = binomtest(hits, n).proportion_ci(0.95, "exact")
        assert interval(hits, n) == pytest.approx((known.low, known.high), abs=1e-12)


def test_a_run_is_not_worse_than_itself(rows):
    assert worse(document(rows), document(copy.deepcopy(rows))) == []


def test_a_name_that_became_wrong_comes_first(rows):
    now = copy.deepcopy(rows)
    now[3] |= {"outcome": "open", "answer": "M14x1.5 | 9/16-18 UNF"}
    now[7] |= {"outcome": "wrong", "answer": "9/16-18 UNF"}
    told = worse(document(rows), document(now))
    assert told[0].startswith("photo7: M14x1.5 was right (M14x1.5), is wrong (9/16-18 UNF)")
    assert any(line.startswith("photo3: M14x1.5 was right") for line in told)
    assert not worse(document(now), document(rows))  # it is better the other way round


def test_errors_that_grow_a_little_everywhere_are_told(rows):
    now = copy.deepcopy(rows)
    for r in now:
        r["errors"]["pitch_mm"] *= 1.1
    assert any(
        line.startswith("pitch_mm: errors have grown on 24 of 24")
        for line in worse(document(rows), document(now))
    )


def test_one_error_that_leaves_its_interval_is_told(rows):
    now = copy.deepcopy(rows)
    now[5]["errors"]["major_mm"] = 0.2
    told = worse(document(rows), document(now))
    assert any(line.startswith("photo5: M14x1.5 major_mm is off by +0.2") for line in told)


def test_what_is_no_longer_read_is_told(rows):
    now = copy.deepcopy(rows)
    del now[2]["errors"]["angle_deg"], now[2]["u"]["angle_deg"]
    assert "angle_deg: read on 1 fewer threads" in worse(document(rows), document(now))


def test_u_that_is_too_small_is_told(rows):
    now = copy.deepcopy(rows)
    for r in now:
        r["u"] = {k: v / 3 for k, v in r["u"].items()}
    assert any("rms(error/u)" in line for line in worse(document(rows), document(now)))


def test_what_refusal_costs_and_saves():
    rows = [
        row(0, outcome="open", candidates=[["M14x1.5", 0.6], ["9/16-18 UNF", 0.4]]),
        row(1, outcome="open", candidates=[["M14x1.5", 0.3], ["9/16-18 UNF", 0.7]]),
        row(2, outcome="none", answer="blurred: too soft", candidates=None, errors={}, u={}),
    ]
    found = refusal(rows)
    assert (found["first_right"], found["first_wrong"], found["unread"]) == (1, 1, 1)
    assert found["why"] == {"blurred": 1}


def test_calibration_counts_the_first_name(rows):
    (one,) = calibration(rows)
    assert (one["from"], one["n"], one["right"]) == (0.95, 24, 24)
    assert one["stated"] == pytest.approx(0.97)


def test_the_page_says_wrong_names_first(rows):
    rows[4] |= {"outcome": "wrong", "answer": "9/16-18 UNF", "probability": 0.99}
    text = page("Trial <1>", rows, document(rows), ["photo4 is worse"])
    assert "Trial &lt;1&gt;" in text
    assert text.index("Named wrongly") < text.index("photo4") < text.index("photo4 is worse")
    assert text.index("photo4 is worse") < text.index("named right")
    for name in ("reference", "px per pitch", "turns", "tilt, deg", "blur, px", "metal", "series"):
        assert f"<h3>{name}</h3>" in text
    # calibration, rms, coverage, a scatter for each of three quantities, bars for each split
    assert text.count("<svg") == 3 + 3 + text.count("<summary>Figures</summary>")


def test_one_command_measures_a_folder_and_compares_it(tmp_path):
    arguments = ["samples", "--only", "p10-bsw38", "-o", str(tmp_path)]
    first = CliRunner().invoke(main, arguments, catch_exceptions=False)
    assert first.exit_code == 0
    assert "1 photos, 1 threads, 0 named wrongly" in first.stdout
    again = [*arguments, "--against", str(tmp_path / "proof.json")]
    second = CliRunner().invoke(main, again, catch_exceptions=False)
    assert second.exit_code == 0
    assert "nothing is worse" in second.stdout
    empty = CliRunner().invoke(main, [str(tmp_path), "-o", str(tmp_path / "x")])
    assert empty.exit_code == 2
    assert "no truth files" in empty.stderr
