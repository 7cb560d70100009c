"""The documents' own rules: exit codes, strict JSON."""

import json
from dataclasses import replace

import pytest

from pitchcam.records import BudgetLine, Verdict
from tests.report import invented


@pytest.mark.parametrize(
    ("statuses", "code"),
    [
        ((), 4),
        (("named",), 0),
        (("named", "named"), 0),
        (("named", "ambiguous"), 3),
        (("off-series", "named"), 3),
        (("named", "unreadable"), 4),
        (("ambiguous", "unreadable", "named"), 4),
    ],
)
def test_the_exit_code_is_the_largest_of_the_threads(statuses, code):
    measurement, _ = invented.single(plots=False)
    part = measurement.parts[0]
    threads = tuple(replace(part.threads[0], verdict=Verdict(status=s)) for s in statuses)
    assert replace(measurement, parts=(replace(part, threads=threads),)).exit_code == code
    apart = tuple(replace(part, threads=(t,)) for t in threads)
    assert replace(measurement, parts=apart).exit_code == code


def test_a_budget_s_line_is_strict_json():
    line = BudgetLine(source="a", contributions={"pitch_mm": 0.1}, correlated=False)
    told = json.loads(json.dumps(line.to_json(), allow_nan=False))
    assert told["degrees_of_freedom"] is None
    assert (told["correlated"], told["of_scale"], told["pitch_mm"]) == (False, False, 0.1)
    known = replace(line, degrees_of_freedom=4.0, distribution="t")
    assert known.to_json()["degrees_of_freedom"] == 4.0
