"""What the outline of hidden flanks says of each size."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.match import name_thread
from pitchcam.match.forms import ASTRAY, ASTRAY_BESIDE_ANGLE, TELLS_DEG, likest_angle, log_forms
from pitchcam.match.likelihood import log_likelihoods, log_likelihoods_near, log_off_series
from pitchcam.match.population import population
from pitchcam.records import Quantity, ThreadReading
from pitchcam.series import find
from pitchcam.series.ridges import RIDGES, SHARINGS, ridge_shares
from tests.match.test_naming import reading_of

PARTS = population("external")
ROUND = {"round55": 0.0, "flat60": -9.0, "worn60": -9.0, "rolled60": -9.0}
FLAT = {"round55": -9.0, "flat60": 0.0, "worn60": -1.0, "rolled60": -6.0}


def by_crests(name: str) -> ThreadReading:
    """Return a reading without what hidden flanks hide."""
    return replace(reading_of(name), angle_deg=None, pitch_diameter_mm=None, minor_mm=None)


def of(logs: np.ndarray, name: str) -> float:
    """Return a size's entry."""
    return float(logs[PARTS.sizes.index(find(name))])


@pytest.mark.parametrize(
    ("name", "twin", "forms"),
    [("1/4-20 BSW", "1/4-20 UNC", ROUND), ("1/4-20 UNC", "1/4-20 BSW", FLAT)],
)
def test_twins_are_told_by_the_form_of_hidden_flanks(name, twin, forms):
    reading = by_crests(name)
    assert name_thread(reading).status == "ambiguous"
    assert name_thread(replace(reading, forms=forms)).designation == name
    assert name_thread(replace(reading, forms={k: 0.0 for k in forms})).status == "ambiguous"
    assert {name, twin} <= {c.designation for c in name_thread(reading).candidates}


def test_a_name_by_the_outline_says_so():
    """The reader sees no angle, and must know what told the twins apart."""
    reading = by_crests("1/4-20 BSW")
    assert not any("outline" in note for note in name_thread(reading).notes)
    assert "a thread of 55 degrees" in name_thread(replace(reading, forms=ROUND)).notes[0]
    assert "a thread of 60 degrees" in name_thread(replace(reading, forms=FLAT)).notes[0]


def test_a_name_whose_outline_is_likest_no_listed_angle_says_so():
    """There is no thread of 55 degrees as an M14x1.5: the outline is odd, and the note is plain."""
    unlike = "a thread of 55 degrees; no size that fits the rest of the reading has that angle."
    told = name_thread(replace(by_crests("M14x1.5"), forms=ROUND))
    assert told.designation == "M14x1.5" and told.notes[0].endswith(unlike)
    twin = name_thread(replace(by_crests("1/4-20 BSW"), forms=ROUND))
    assert twin.notes[0].endswith("most like that of a thread of 55 degrees.")


def test_an_outline_is_likest_the_angle_whose_forms_fit_on_the_mean():
    """One of three forms of 60 degrees is a little likelier than the one of 55; then all three."""
    plain, forms = by_crests("G 3/4"), {"rolled60": 0.0, "round55": -0.6}
    assert likest_angle(replace(plain, forms=forms | {"flat60": -17.0, "worn60": -5.0})) == 55.0
    assert likest_angle(replace(plain, forms=forms | {"flat60": -0.1, "worn60": -1.0})) == 60.0
    # A taper pipe thread has one form of its own, whatever other threads of 60 degrees have.
    taper = forms | {"flat60": -17.0, "worn60": -5.0, "pipe60": -0.5}
    assert likest_angle(replace(plain, forms=taper)) == 60.0
    assert likest_angle(plain) is None
    assert {frozenset(s) for s in SHARINGS} == {frozenset(ridge_shares(s)) for s in PARTS.sizes}


def test_the_form_multiplies_what_the_rest_says():
    """By Bayes: independent of the lengths, so the logarithms add up, at every scale."""
    reading, factors = by_crests("1/4-20 UNC"), np.array([0.99, 1.0])
    bare = log_likelihoods(reading, factors, PARTS)
    weighed = log_likelihoods(replace(reading, forms=FLAT), factors, PARTS)
    assert np.allclose(weighed - bare, log_forms(FLAT, PARTS))


def test_sizes_are_mixtures_of_their_forms():
    logs = log_forms({"flat60": 0.0, "worn60": -50.0, "rolled60": -50.0, "round55": -50.0}, PARTS)
    # A third and a half of theirs have the form that fits: two to three, but for outlines astray.
    assert of(logs, "M14x1.5") == pytest.approx(np.log((2 + ASTRAY) / 3))
    assert of(logs, "1/2-14 NPSM") == pytest.approx(0.0)
    assert of(logs, "G 1/2") == pytest.approx(np.log(ASTRAY))


@pytest.mark.parametrize(("name", "twin"), [("M8x1.25", "G 1/2"), ("G 1/2", "M8x1.25")])
def test_no_outline_says_more_for_one_angle_than_for_another(name, twin):
    """Of three forms of 60 degrees one fits: an outline astray would not fit that one alone."""
    forms = {"flat60": -50.0, "worn60": -50.0, "rolled60": -50.0, "round55": -50.0}
    logs = log_forms(forms | {"rolled60" if name[0] == "M" else "round55": 0.0}, PARTS)
    assert of(logs, name) - of(logs, twin) == pytest.approx(-np.log(ASTRAY))


def test_what_was_not_weighed_is_not_held_against_a_size():
    logs = log_forms({"flat60": 0.0, "worn60": 0.0, "rolled60": 0.0, "round55": -3.0}, PARTS)
    assert of(logs, "0 BA") == of(logs, "1/2-14 NPT") == of(logs, "M6x1") == pytest.approx(0.0)


@pytest.mark.parametrize(
    "forms",
    [
        {"round55": -800.0},
        {"flat60": 0.0, "round55": -800.0},
        {"flat60": -802.0, "worn60": -802.0, "rolled60": -802.0, "round55": -800.0},
    ],
)
def test_forms_that_all_fit_badly_tell_by_how_they_differ(forms):
    """Of a document; their exponentials are nothing, and nothing over nothing was no number."""
    logs = log_forms(forms, PARTS)
    assert np.isfinite(logs).all()
    assert of(logs, "G 1/2") == pytest.approx(0.0)
    odds = 1.0 if len(forms) < 3 else (1 - ASTRAY) * np.exp(-2.0) + ASTRAY
    assert of(logs, "M8x1.25") == pytest.approx(np.log(odds))
    assert likest_angle(replace(by_crests("G 3/4"), forms=forms)) == 55.0


def test_no_outline_puts_a_form_out_of_the_question():
    """However bad the fit: a nick or a neighbour may have made it."""
    logs = log_forms(dict.fromkeys(RIDGES, -1e6) | {"round55": 0.0}, PARTS)
    assert logs.min() == pytest.approx(np.log(ASTRAY))
    assert logs.max() == pytest.approx(0.0)


def test_a_poor_angle_beside_weighed_forms_does_not_speak_twice():
    """What is seen of flanks is a part of the outline: no size, nor none, is told by it again."""
    bare = replace(by_crests("1/4-20 UNC"), forms=FLAT)
    angled = replace(bare, angle_deg=Quantity(value=60.1, u=1.01 * TELLS_DEG))
    one = np.ones(1)
    assert np.array_equal(log_likelihoods(angled, one, PARTS), log_likelihoods(bare, one, PARTS))
    near, far = (log_likelihoods_near(r, one, PARTS, 5.0) for r in (bare, angled))
    assert np.array_equal(near, far) and np.isfinite(near).any()
    assert log_off_series(angled) == log_off_series(bare)
    assert log_off_series(replace(angled, forms={})) != log_off_series(bare)


def test_an_angle_that_tells_and_the_forms_each_count_by_two_thirds():
    """Of the log odds of twins whose parts and lengths are alike: by both readings alone."""
    none = by_crests("1/4-20 UNC")
    angle = Quantity(value=57.9, u=1.9)
    a, b = "1/4-20 UNC", "1/4-20 BSW"

    def odds(reading):
        logs = log_likelihoods(reading, np.ones(1), PARTS)[0]
        return of(logs, a) - of(logs, b)

    wide = replace(angle, u=angle.u * 1.5**0.5)
    by_angle = odds(replace(none, angle_deg=wide)) - odds(none)
    both = odds(replace(none, angle_deg=angle, forms=ROUND)) - odds(none)
    told = log_forms(ROUND, PARTS, ASTRAY_BESIDE_ANGLE)
    by_form = of(told, a) - of(told, b)
    assert both == pytest.approx(by_angle + 2 / 3 * by_form)
    assert 2 < -by_form < 3  # where the angle leaves a thread open an outline is trusted at 10 to 1


def test_an_outline_undoes_a_name_that_the_angle_gave_and_not_a_sure_one():
    """Flanks of two pixels read 62 degrees off a 55 degree thread at times; all of it seldom."""
    reading = replace(by_crests("3/8-16 BSW"), forms=ROUND)
    poor, good = (
        replace(reading, angle_deg=Quantity(value=62.0, u=u), forms=forms)
        for u, forms in ((2.2, {}), (0.6, ROUND))
    )
    assert name_thread(poor).designation == "3/8-16 UNC"
    doubted = name_thread(replace(poor, forms=ROUND))
    assert doubted.status == "ambiguous"
    assert {c.designation for c in doubted.candidates} >= {"3/8-16 UNC", "3/8-16 BSW"}
    assert "hidden" not in doubted.notes[0] and "a thread of 55 deg" in doubted.notes[0]
    assert name_thread(good).designation == "3/8-16 UNC"
