"""Which second photo is advised: the one that the budget says would tell most."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.adjust.next_photo import choices, next_photo, separation
from pitchcam.adjust.observed import observe
from pitchcam.adjust.system import adjust
from pitchcam.flags import flag
from pitchcam.match.population import population
from pitchcam.records import BudgetLine, Candidate, Verdict
from tests.adjust import made

UNF = {
    "pitch_mm": 1.27,
    "major_mm": 12.6,
    "pitch_diameter_mm": 11.8,
    "minor_mm": 11.1,
    "angle_deg": 60.0,
    "taper": 0.0,
}


def opened(measurement, *names):
    """Return the measurement with its thread left open between two names."""
    candidates = tuple(Candidate(designation=n, standard="", probability=0.5) for n in names)
    part = measurement.parts[0]
    thread = replace(part.threads[0], verdict=Verdict(status="ambiguous", candidates=candidates))
    return replace(measurement, parts=(replace(part, threads=(thread,)),))


def advice(measurement):
    part = measurement.parts[0]
    return next_photo(measurement, part, part.threads[0])


def test_a_named_thread_needs_no_further_photo():
    told = made.measurement(made.true_values(), made.lines(), named=True)
    assert told.parts[0].threads[0].verdict.status == "named"
    assert advice(told) is None


def test_another_reference_where_the_pin_is_what_is_not_known():
    """20 TPI and 1.25 mm lie 1.6 % apart: a scale of 1 % leaves them open, a card tells them."""
    read = made.measurement(made.true_values(UNF), made.lines(UNF, scale=0.01))
    assert "bank card" in advice(opened(read, "1/2-20 UNF", "M12x1.25"))


def test_beside_a_doubted_reference_a_sound_one_is_asked_for():
    """The part turned beside the same wrong pin would be as wrong."""
    noisy = made.lines(UNF, scale=0.0005, noise=(0.012, 0.3, 0.3, 0.3, 0.3, 0.001))
    read = opened(made.measurement(made.true_values(UNF), noisy), "1/2-20 UNF", "M12x1.25")
    doubted = replace(read, warnings=(flag("reference-size"),))
    assert advice(doubted) == "Or take a new photo with a bank card beside the part."
    card = replace(doubted, scale=replace(doubted.scale, source="card"))
    assert advice(card) is None


def test_noise_is_told_by_turning_the_part():
    """What is new in each photo averages: the simplest second photo does."""
    noisy = made.lines(UNF, scale=0.0005, noise=(0.012, 0.3, 0.3, 0.3, 0.3, 0.001))
    read = made.measurement(made.true_values(UNF), noisy)
    said = advice(opened(read, "1/2-20 UNF", "M12x1.25"))
    assert said is not None
    assert "turned end for end, and" in said


def test_an_angle_that_was_hidden_is_seen_from_above():
    budget = tuple(
        replace(b, contributions={k: v for k, v in b.contributions.items() if k != "angle_deg"})
        for b in made.lines()
    )
    read = made.measurement(made.true_values(), budget)
    part = read.parts[0]
    thread = replace(part.threads[0], reading=replace(part.threads[0].reading, angle_deg=None))
    read = replace(read, parts=(replace(part, threads=(thread,)),))
    assert "under the middle of the camera" in advice(opened(read, "1/2-14 NPT", "R 1/2"))


def test_what_comes_again_with_every_photo_is_no_reason_for_one():
    """Bent flanks are the part's own: no second photo helps, and none is advised."""
    worn = (*made.lines(), BudgetLine(source="bent flanks", contributions={"angle_deg": 6.0}))
    read = made.measurement(made.true_values(), worn)
    assert advice(opened(read, "1/4-20 UNC", "1/4-20 BSW")) is None


def test_what_was_promised_is_what_the_adjustment_gives():
    """The separation foreseen for a card is that of a second photo that has one."""
    budget = made.lines(scale=0.01)
    first = made.measurement(made.true_values(), budget)
    seen = observe(first, 0, first.parts[0], first.parts[0].threads[0])
    parts = population("external")
    rows = [i for i, s in enumerate(parts.sizes) if s.designation in ("M14x1.5", "M14x1.25")]
    card = next(c for c in choices(first, seen) if "card" in c.words)
    foreseen = separation(adjust([seen, replace(card.seen(seen), photo=1, laying=1)]), parts, rows)
    other = made.measurement(
        made.true_values(), made.lines(scale=0.0016), 1, source="card", mm=None, turned=True
    )
    second = replace(observe(other, 1, other.parts[0], other.parts[0].threads[0]), laying=1)
    assert foreseen == pytest.approx(separation(adjust([seen, second]), parts, rows), rel=0.02)
    assert np.isfinite(foreseen)
