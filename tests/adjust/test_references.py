"""Several references in one photo: one scale of theirs, by trials whose inputs err as is said."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pitchcam.adjust.combine import combine
from pitchcam.adjust.copies import copies, exposures
from pitchcam.adjust.observed import PITCH, observe
from pitchcam.adjust.references import common, joined, one_scale, scale_of
from pitchcam.records import BudgetLine
from tests.adjust import made

TRIALS = 300
#: Boxes of references to either side of the axis of a made thread, which lies at y = 500.
ABOVE, BELOW, ACROSS = (0.0, 100.0, 300.0, 300.0), (0.0, 700.0, 300.0, 900.0), (0, 300, 300, 900)
LENGTHS = np.arange(6) < 4
BENT = "lens distortion"


def budget(scale, tilt=0.001, turned=0.0):
    """A budget whose pitch and diameters the lens bends unlike."""
    lines = [replace(line) for line in made.lines(scale=scale)]
    share = {k: made.M14[k] * tilt for k in made.LENGTHS}
    lines[2] = BudgetLine(source="tilt of the camera", of_scale=True, contributions=share)
    bent = {k: made.M14[k] * (0.0002 if k == "pitch_mm" else -turned) for k in made.LENGTHS}
    return (*lines, BudgetLine(source=BENT, of_scale=True, contributions=bent))


def beside(values, lines, kind, mm, box, photo=0):
    """One photo's measurement by one reference: the same bytes whatever is stated."""
    m = made.measurement(values, lines, 0, source=kind, mm=mm)
    scale = replace(m.scale, box_px=box)
    return replace(m, scale=scale, photo=replace(m.photo, sha256=f"{photo:064x}"))


def two(values=(None, None), scales=(0.002, 0.003), boxes=(ABOVE, ABOVE), **more):
    """A pin and a disc in one photo."""
    true = made.true_values()
    return [
        beside(true if v is None else v, budget(s, **more), kind, mm, box)
        for v, s, box, (kind, mm) in zip(
            values, scales, boxes, (("pin", 8.0), ("disc", 23.0)), strict=True
        )
    ]


def observations(measurements):
    return [
        replace(observe(m, i, m.parts[0], m.parts[0].threads[0]), exposure=0)
        for i, m in enumerate(measurements)
    ]


def errors(rng, scales, lean):
    """What two references of one photo make of its lengths, and all that both share."""
    lines = budget(scales[0])
    once = {line.source: rng.normal() for line in lines}
    noise = rng.normal(size=6)
    out = []
    for scale, way in zip(scales, lean, strict=True):
        e = rng.normal() * scale  # its own
        e += 0.0015 * once["focal length"] + 0.001 * way * once["tilt of the camera"]
        e += 0.0002 * once["lens distortion"]
        own = np.array([0.0005, 0.005, 0.006, 0.01, 0.3, 0.001]) * noise
        form = np.array([0.0003, 0.01, 0.015, 0.03, 0.25, 0.0008]) * once["form of the model"]
        out.append(made.true_values() * np.where(LENGTHS, 1 + e, 1.0) + own + form)
    return out


@pytest.mark.parametrize(("boxes", "lean"), [((ABOVE, ABOVE), (1, 1)), ((ABOVE, BELOW), (1, -1))])
def test_u_holds_and_is_less_than_by_either(boxes, lean):
    """rms(error/u) of 300 trials; where the tilt takes itself away u is on the safe side."""
    rng = np.random.default_rng(4)
    z, u = [], 0.0
    for _ in range(TRIALS):
        found = one_scale(observations(two(errors(rng, (0.002, 0.003), lean), boxes=boxes)))
        assert not found.open
        u = float(np.sqrt(found.kept[0].covariance()[PITCH, PITCH]))
        z.append((found.kept[0].values[PITCH] - 1.5) / u)
    rms = float(np.sqrt(np.mean(np.square(z))))
    assert 0.82 < rms < (1.1 if lean == (1, 1) else 1.05)
    alone = two()[0].parts[0].threads[0].reading.pitch_mm.u
    assert u < 0.92 * alone


def test_weights_are_those_of_least_squares():
    """Two errors of their own and one in common: by the inverse squares of what is their own."""
    scale = scale_of(observations(two()))
    a, b = 0.002**2, 0.003**2
    assert scale.weights == pytest.approx([b / (a + b), a / (a + b)], rel=1e-4)
    rest = 0.0015**2 + 0.001**2 + 0.0002**2
    assert scale.variance == pytest.approx(a * b / (a + b) + rest, rel=1e-4)


def test_what_a_photo_shows_of_the_thread_does_not_average():
    """Angle, taper and all that is no scale keep the u that they have by one reference."""
    one = two()[0].parts[0].threads[0]
    both = combine(two()).parts[0].threads[0]
    for name in ("angle_deg", "taper"):
        assert getattr(both.reading, name).u == pytest.approx(getattr(one.reading, name).u)
    sources = {line.source: line.contributions for line in one.budget}
    for line in both.budget:
        if line.source in ("edge noise", "form of the model", "focal length"):
            had = sources[line.source]["pitch_mm"]
            assert abs(line.contributions["pitch_mm"]) == pytest.approx(had, rel=1e-4)


def test_a_tilt_is_shared_to_one_side_only():
    def tilt(*boxes):
        return common(*observations(two(boxes=boxes))).get("tilt of the camera", 0.0)

    assert tilt(ABOVE, ABOVE) == tilt(BELOW, BELOW) == pytest.approx(1e-6)
    assert tilt(ABOVE, BELOW) == tilt(BELOW, ABOVE) == 0.0
    # Between the two it tells twice: a gap may be larger.
    pair = observations(two(boxes=(ABOVE, BELOW)))
    assert common(*pair, across=-1.0)["tilt of the camera"] == pytest.approx(-1e-6)
    # Where a reference lies across the axis, or a document does not say where, all is shared.
    assert tilt(ACROSS, BELOW) == tilt(None, BELOW) == pytest.approx(1e-6)


def test_diameters_keep_what_bends_them_unlike_the_pitch():
    """The scale is told by the pitch; by what a diameter differs from it it differs still."""
    first, second = observations(two(turned=0.003))
    straight = [replace(t, shares=0 * t.shares) if t.source == BENT else t for t in second.terms]
    both = [first, replace(second, terms=tuple(straight))]
    told, weight = joined(both), scale_of(both).weights[0]
    [bent] = [t for t in told.terms if t.source == BENT]
    shares = bent.shares[:4] / told.values[:4]
    assert shares[0] == pytest.approx(weight * 0.0002, rel=1e-3)
    assert shares[1:] == pytest.approx(np.full(3, -0.0032 + weight * 0.0002), rel=1e-3)


def test_lengths_move_together_and_the_budget_adds_up():
    long = made.true_values() * np.where(LENGTHS, 1.004, 1.0)
    reading = combine(two((None, long))).parts[0].threads[0].reading
    by = reading.pitch_mm.value / 1.5
    assert 1.0 < by < 1.004
    for name in ("major_mm", "pitch_diameter_mm", "minor_mm"):
        assert getattr(reading, name).value == pytest.approx(made.M14[name] * by)
    thread = combine(two((None, long))).parts[0].threads[0]
    squares = sum(line.contributions["major_mm"] ** 2 for line in thread.budget)
    assert math.sqrt(squares) == pytest.approx(thread.reading.major_mm.u, rel=1e-4)


def test_two_references_that_contradict_each_other_accuse_nobody():
    wrong = made.true_values() * np.where(LENGTHS, 1.03, 1.0)
    told = combine(two((None, wrong)))
    assert told.open == ("references-disagree",)
    verdict = told.parts[0].threads[0].verdict
    assert verdict.designation is None
    assert "3.0 %" in verdict.notes[0] and "same photo" in verdict.notes[0]
    assert verdict.notes[0].startswith("The references of the photo contradict")
    assert "with a caliper" in (verdict.next_step or "")
    # Beside another photo, by one reference, it is still not the photos that contradict.
    told = combine(
        [*two((None, wrong)), beside(made.true_values(), budget(0.002), "pin", 8.0, ABOVE, 1)]
    )
    assert told.open == ("references-disagree",)
    assert told.parts[0].threads[0].verdict.notes[0].startswith("The references of a photo")


def test_photos_that_contradict_are_not_told_by_a_reference_that_was_left_out():
    """A reference is off in one photo of two, and the photos show other threads."""
    wrong = made.true_values() * np.where(LENGTHS, 1.03, 1.0)
    fine = made.true_values() * [1.25 / 1.5, 1, 1.01, 1.02, 1, 1]
    three = [*two((None, wrong)), beside(made.true_values(), budget(0.001), "card", None, BELOW)]
    other = beside(fine, budget(0.002), "pin", 8.0, ABOVE, 1)
    told = combine([*three, other])
    assert told.open == ("photos-disagree",)
    said = told.parts[0].threads[0].verdict.notes[0]
    assert said.startswith("The photos contradict") and "reference" not in said
    assert "pitch is 0.250 mm off" in said
    # The reference is off all the same, and says so; nobody else is accused.
    assert list(told.left_out) == [1]
    assert "3.0 % larger" in told.left_out[1]


def test_a_reference_stays_left_out_where_those_of_another_photo_contradict():
    wrong = made.true_values() * np.where(LENGTHS, 1.03, 1.0)
    three = [*two((None, wrong)), beside(made.true_values(), budget(0.001), "card", None, BELOW)]
    worse = made.true_values() * np.where(LENGTHS, 0.95, 1.0)
    pair = [
        beside(made.true_values(), budget(0.002), "pin", 8.0, ABOVE, 1),
        beside(worse, budget(0.003), "disc", 23.0, ABOVE, 1),
    ]
    told = combine([*three, *pair])
    assert told.open == ("references-disagree",)
    said = told.parts[0].threads[0].verdict.notes[0]
    assert said.startswith("The references of a photo contradict") and "5." in said
    assert list(told.left_out) == [1]


@pytest.mark.parametrize("place", [0, 1, 2])
@pytest.mark.parametrize(("factor", "says"), [(1.03, "3.0 % larger"), (4 / 3, "33.3 % larger")])
def test_of_three_the_one_that_contradicts_is_left_out(place, factor, says):
    """A pin of 8 mm stated as 6 too, where the chance of it is less than any number."""
    wrong = made.true_values() * np.where(LENGTHS, factor, 1.0)
    right, off = two((None, wrong))
    three = [right, beside(made.true_values(), budget(0.001), "card", None, BELOW)]
    three.insert(place, off)
    told = combine(three)
    assert not told.open
    assert list(told.left_out) == [place]
    assert f"{says} than by the others" in told.left_out[place]
    assert told.parts[0].threads[0].reading.pitch_mm.value == pytest.approx(1.5)
    assert told.parts[0].threads[0].spans_px[1] is not None


def test_the_worse_reference_never_counts_negatively():
    """One that has the errors of two others: what it tells beyond them would be played against
    them."""
    both, _ = observations(two(scales=(0.0002, 0.0002)))

    def without(source, key):
        mm = {"scale of the reference": f"photo 0, {key}"}
        terms = [replace(t, key=mm.get(t.source, t.key)) for t in both.terms if t.source != source]
        return replace(both, terms=tuple(terms))

    three = [both, without("focal length", "disc 23.0"), without("tilt of the camera", "card")]
    weights = scale_of(three).weights
    assert weights.min() >= 0
    assert weights[0] == 0
    assert weights.sum() == pytest.approx(1.0)


def test_one_photo_under_two_references_is_one_laying_and_not_unmoved():
    told = combine(two())
    assert not told.unmoved
    assert told.left_out == {}
    pair = two()
    assert exposures([*pair, None, replace(pair[0], photo=None)]) == [0, 0, 2, 3]
    assert copies(pair) == {}
    # The same reference again tells nothing.
    assert copies([pair[0], pair[0]]) == {1: 0}


def test_a_copy_beside_another_reference_repeats_all_but_that():
    """A turned copy counted as another photo once, noise, height, tilt and all."""
    pair = two()
    span = pair[1].parts[0].threads[0].span_px
    turned = tuple((4031.0 - x, 3023.0 - y) for x, y in span)
    part = pair[1].parts[0]
    part = replace(part, threads=(replace(part.threads[0], span_px=turned),))
    info = replace(pair[1].photo, sha256="b")
    copy = replace(pair[1], parts=(part,), photo=info)
    assert exposures([pair[0], copy]) == [0, 0]
    both = combine([pair[0], copy]).parts[0].threads[0].reading
    assert both.pitch_mm.u == pytest.approx(combine(pair).parts[0].threads[0].reading.pitch_mm.u)


def test_sides_of_a_copy_are_not_known():
    pair = two(boxes=(ABOVE, BELOW))
    apart = combine(pair).parts[0].threads[0].reading.pitch_mm.u
    copy = replace(pair[1], photo=replace(pair[1].photo, sha256="b"))
    span = tuple((4031.0 - x, y) for x, y in copy.parts[0].threads[0].span_px)
    part = copy.parts[0]
    copy = replace(copy, parts=(replace(part, threads=(replace(part.threads[0], span_px=span),)),))
    assert combine([pair[0], copy]).parts[0].threads[0].reading.pitch_mm.u > 1.01 * apart


def test_another_photo_beside_one_of_them_shares_that_reference():
    """The pin's size is in both photos: the disc's part of the first is new to it."""
    other = beside(made.true_values(), budget(0.002), "pin", 8.0, ABOVE, photo=1)
    span = tuple((x + 300, y) for x, y in other.parts[0].threads[0].span_px)
    part = other.parts[0]
    other = replace(
        other, parts=(replace(part, threads=(replace(part.threads[0], span_px=span),)),)
    )
    u = {
        n: combine(some).parts[0].threads[0].reading.pitch_mm.u
        for n, some in enumerate((two(), [two()[0], other], [*two(), other]))
    }
    assert u[2] < min(u[0], u[1])


def test_the_references_of_one_laying_err_alike_in_each_exposure():
    """What only the references leave open is not told better by taking the same scene again."""
    once = two(tilt=0.0)
    again = [replace(m, photo=replace(m.photo, sha256=f"{7:064x}")) for m in two(tilt=0.0)]

    def share(some):
        (line,) = [
            x
            for x in combine(some).parts[0].threads[0].budget
            if x.source == "scale of the reference"
        ]
        return line.contributions["pitch_mm"]

    assert share([*once, *again]) == pytest.approx(share(once), rel=0.01)


def test_alone_an_observation_is_as_it_was():
    one = observations(two())[:1]
    found = one_scale(one)
    assert found.kept[0] is one[0]
    assert not found.open and found.left_out == ()
