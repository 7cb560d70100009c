"""When the outline of hidden flanks is asked for its form."""

import numpy as np
import pytest

from pitchcam.pipeline import by_form
from pitchcam.records import Candidate, ThreadReading, Verdict


@pytest.mark.parametrize(
    ("names", "asked"),
    [
        (("1/4-20 UNC", "1/4-20 BSW"), ["flat60", "rolled60", "round55", "worn60"]),
        (("1/2-14 NPT", "R 1/2"), ["pipe60", "round55"]),
        (("R 1/2", "G 1/2"), None),
    ],
)
def test_the_outline_is_asked_where_candidates_have_different_forms(names, asked, monkeypatch):
    seen = []

    def weigh(shape, u_slope_rad, forms):
        seen.append((u_slope_rad, forms))
        return {name: -1.0 for name in forms}

    monkeypatch.setattr(by_form, "weigh_forms", weigh)
    candidates = tuple(Candidate(designation=n, standard="", probability=0.5) for n in names)
    verdict = Verdict(status="ambiguous", candidates=candidates)
    reading = by_form.by_form(ThreadReading(), None, 0.01, verdict)
    assert seen == ([] if asked is None else [(0.01, asked)])
    assert reading.forms == ({} if asked is None else dict.fromkeys(asked, -1.0))


def test_an_outline_that_determines_no_form_leaves_the_thread_open(monkeypatch):
    def fail(*_):
        raise np.linalg.LinAlgError("a side shows no crests")

    monkeypatch.setattr(by_form, "weigh_forms", fail)
    candidates = tuple(
        Candidate(designation=n, standard="", probability=0.5) for n in ("G 1/2", "1/2-14 NPSM")
    )
    verdict = Verdict(status="ambiguous", candidates=candidates)
    assert by_form.by_form(ThreadReading(), None, 0.01, verdict) == ThreadReading()


@pytest.mark.parametrize(
    ("status", "probability", "asked"),
    [
        ("ambiguous", None, True),
        ("named", 0.96, True),
        ("named", 0.995, False),
        ("off-series", None, False),
        ("unreadable", None, False),
    ],
)
def test_a_name_that_is_not_sure_is_held_against_the_outline(status, probability, asked):
    assert by_form.hangs_on_form(Verdict(status=status, probability=probability)) is asked
