"""The adjustment of several photos, by trials whose inputs err as the budget says."""

from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest

from pitchcam.adjust import combine as combining
from pitchcam.adjust.combine import STATION, combine
from pitchcam.adjust.sharing import ANGLE_AGAIN, SHARING, reference_again, sharing_of
from pitchcam.records import NAMING_QUANTITIES, BudgetLine, Verdict
from pitchcam.thread.budget import CREST_TERMS, TERMS
from pitchcam.thread.budget.read import SOURCE, by_own_crests
from tests.adjust import made

PHOTOS, TRIALS = 3, 200


def lasting(source="pin", mm=8.0, scale=0.002):
    out = {line.source: sharing_of(line.source, 0.03).lasting for line in made.lines()}
    again, _ = reference_again(source, mm, scale)
    light = np.where(np.arange(6) == 4, ANGLE_AGAIN, 0.0)
    return out | {"scale of the reference": again, "edge noise": light}


def one(*measurements):
    return combine(measurements).parts[0].threads[0]


def trial(seed, photos=PHOTOS):
    inputs, budget = made.Inputs(np.random.default_rng(seed)), made.lines()
    return one(
        *(
            made.measurement(
                made.true_values() + made.errors(budget, i, inputs, lasting=lasting()),
                budget,
                i,
                turned=bool(i % 2),
            )
            for i in range(photos)
        )
    )


@contextmanager
def unnamed():
    """Give no names: they take most of the time of a trial, and say nothing of its u."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(combining, "name_thread", lambda reading: Verdict(status="ambiguous"))
        yield


@pytest.fixture(scope="module")
def in_u():
    """Errors in units of u, (TRIALS, 6), of three photos together."""
    with unnamed():
        readings = [trial(seed).reading for seed in range(TRIALS)]
    rows = []
    for reading in readings:
        read = [getattr(reading, k) for k in NAMING_QUANTITIES]
        rows.append(
            [(q.value - made.M14[k]) / q.u for k, q in zip(NAMING_QUANTITIES, read, strict=True)]
        )
    return np.array(rows)


def test_u_holds_over_trials(in_u):
    """rms(error/u) of 200 trials lies within 10 % of 1 (chi-square, 95 %), of six within 14 %."""
    rms = np.sqrt(np.mean(in_u**2, axis=0))
    assert np.all(np.abs(rms - 1) < 0.14), rms


def test_correlations_of_the_answer_are_those_of_its_errors(in_u):
    correlation = trial(0).reading.correlation[("pitch_mm", "major_mm")]
    found = np.corrcoef(in_u[:, 0], in_u[:, 1])[0, 1]
    assert found == pytest.approx(correlation, abs=0.08)


def test_what_photos_share_does_not_shrink():
    """A hundred photos leave the reference's size, the lens and the form as they are."""
    budget = made.lines()
    u = {}
    for n in (1, 4, 25):
        told = one(*(made.measurement(made.true_values(), budget, i) for i in range(n)))
        u[n] = {k: getattr(told.reading, k).u for k in NAMING_QUANTITIES}
    share = {line.source: line.contributions for line in budget}
    again = lasting()
    floor = np.sqrt(
        sum(
            again[s] * share[s]["pitch_mm"] ** 2
            for s in ("scale of the reference", "focal length", "form of the model")
        )
    )
    assert u[25]["pitch_mm"] > 0.999 * floor
    assert u[25]["pitch_mm"] == pytest.approx(floor, rel=0.1)
    assert u[25]["minor_mm"] > share["form of the model"]["minor_mm"]
    assert u[25]["angle_deg"] > share["form of the model"]["angle_deg"]
    assert u[4]["pitch_mm"] < 0.97 * u[1]["pitch_mm"]


def test_another_reference_takes_from_what_one_leaves():
    """A misread caliper on jaws 5 mm apart is much of their scale's 0.4 %."""
    budget, narrow = made.lines(scale=0.004), {"source": "jaws", "mm": 5.0}
    same = one(*(made.measurement(made.true_values(), budget, i, **narrow) for i in range(2)))
    other = one(
        made.measurement(made.true_values(), budget, 0, **narrow),
        made.measurement(made.true_values(), budget, 1, source="card", mm=None),
    )
    assert other.reading.pitch_mm.u < 0.9 * same.reading.pitch_mm.u


def test_another_pin_takes_away_the_size_and_not_how_pins_are_seen():
    """How a pin's edge mirrors and is placed comes again with any pin under the same light."""
    budget = made.lines(scale=0.004)

    def u(**second):
        return one(
            made.measurement(made.true_values(), budget, 0),
            made.measurement(made.true_values(), budget, 1, **second),
        ).reading.pitch_mm.u

    # A tenth of the variance is any pin's, and 0.15 this pin's: its size and its edges.
    assert u(source="card", mm=None) < 0.985 * u(mm=6.0)
    assert u(mm=6.0) < 0.97 * u()


def test_a_nearer_photo_tells_of_the_focal_length():
    """The rise over the reference is a larger share of a shorter way: both photos together tell
    the focal length, which neither does."""
    far, near = made.lines(focal=0.0015), made.lines(focal=0.006)
    off = 2.0
    values = [
        made.true_values() * np.where(np.arange(6) < 4, 1 + off * f, 1.0) for f in (0.0015, 0.006)
    ]
    told = one(made.measurement(values[0], far, 0), made.measurement(values[1], near, 1))
    assert abs(told.reading.pitch_mm.value - 1.5) < 0.8 * abs(values[0][0] - 1.5)
    assert (
        told.reading.pitch_mm.u
        < made.measurement(values[0], far, 0).parts[0].threads[0].reading.pitch_mm.u
    )


def maybe(measurement, told, doubt="in_step"):
    """The same photo, its thread doubted by a probability."""
    (part,) = measurement.parts
    (thread,) = part.threads
    return replace(measurement, parts=(replace(part, threads=(replace(thread, **{doubt: told}),)),))


def test_of_a_thread_the_turns_that_are_seen_in_any_photo_are_told():
    photos = [made.measurement(made.true_values(), made.lines(), i) for i in range(2)]
    [part] = photos[1].parts
    few = replace(part, threads=(replace(part.threads[0], turns=3.0),))
    for order in ((photos[0], replace(photos[1], parts=(few,))), photos):
        told = combine(list(order))
        assert told.parts[0].threads[0].turns == 8.0


def test_sides_in_step_are_weighed_by_every_laying():
    """Two corners that leave rings open make them likelier; a photo that tells makes them none."""
    budget, true = made.lines(), made.true_values()
    corner = maybe(made.measurement(true, budget, 0), 0.3)
    another = maybe(made.measurement(true, budget, 1), 0.3)
    assert one(corner, another).in_step == pytest.approx(0.777, abs=0.001)
    assert one(corner, made.measurement(true, budget, 1)).in_step == 0.0
    # Nothing was moved: the second photo tells what the first did.
    again = maybe(made.measurement(true, budget, 0), 0.3)
    assert one(corner, again).in_step == pytest.approx(0.3)
    gears = [maybe(made.measurement(true, budget, i), 0.3, "no_thread") for i in range(2)]
    assert one(*gears).no_thread == pytest.approx(0.777, abs=0.001)
    assert one(*gears).in_step == 0.0


def test_nothing_moved_nothing_gained():
    """Two photos of one laying share all but their noise."""
    budget = made.lines()
    first = made.measurement(made.true_values(), budget, 0)
    again = replace(
        made.measurement(made.true_values(), budget, 0), photo=replace(first.photo, sha256="b")
    )
    told = combine([first, again])
    assert told.unmoved
    alone = first.parts[0].threads[0].reading.major_mm.u
    together = told.parts[0].threads[0].reading.major_mm.u
    moved = one(first, made.measurement(made.true_values(), budget, 1)).reading.major_mm.u
    assert moved < together < alone
    # Of 25 um squared in the noise, half is left.
    noise = 0.005
    assert together == pytest.approx(np.sqrt(alone**2 - noise**2 / 2), rel=0.005)
    assert not combine([first, made.measurement(made.true_values(), budget, 1)]).unmoved


def test_a_photo_with_another_pin_than_stated_is_left_out():
    budget = made.lines()
    values = made.true_values()
    wrong = values * np.where(np.arange(6) < 4, 1.025, 1.0)
    told = combine(
        [
            made.measurement(values, budget, 0),
            made.measurement(wrong, budget, 1),
            made.measurement(values, budget, 2),
        ]
    )
    assert list(told.left_out) == [1]
    assert "2.5 % larger" in told.left_out[1]
    assert "reference" in told.left_out[1]
    thread = told.parts[0].threads[0]
    assert thread.verdict.designation == "M14x1.5"
    assert thread.reading.pitch_mm.value == pytest.approx(1.5, abs=1e-9)


def test_a_photo_of_another_part_is_left_out_for_its_pitch():
    budget = made.lines()
    fine = made.true_values() * [1.25 / 1.5, 1, 1, 1, 1, 1]
    values = (made.true_values(), made.true_values(), fine)
    told = combine([made.measurement(v, budget, i) for i, v in enumerate(values)])
    assert list(told.left_out) == [2]
    assert "its pitch is 0.250 mm off" in told.left_out[2]


def test_two_photos_that_contradict_give_no_name():
    budget = made.lines()
    fine = made.true_values() * [1.25 / 1.5, 1, 1.01, 1.02, 1, 1]
    told = combine(
        [
            made.measurement(made.true_values(), budget, 0, named=True),
            made.measurement(fine, budget, 1, named=True),
        ]
    )
    thread = told.parts[0].threads[0]
    assert told.open
    assert not told.left_out
    assert thread.verdict.status == "ambiguous"
    assert thread.verdict.designation is None
    names = {c.designation for c in thread.verdict.candidates}
    assert {"M14x1.5", "M14x1.25"} <= names
    # The figures are one photo's, never the mean of both.
    assert thread.reading.pitch_mm.value in (1.5, 1.25)


def test_two_against_two_give_no_name():
    budget = made.lines()
    fine = made.true_values() * [1.25 / 1.5, 1, 1.01, 1.02, 1, 1]
    values = (made.true_values(), made.true_values(), fine, fine)
    told = combine([made.measurement(v, budget, i) for i, v in enumerate(values)])
    assert told.open
    assert told.parts[0].threads[0].verdict.status == "ambiguous"


def test_true_photos_are_seldom_left_out():
    """At the level of one in a thousand, 200 trials of three photos lose no more than a few."""
    lost = 0
    for seed in range(TRIALS):
        inputs, budget = made.Inputs(np.random.default_rng([seed, 9])), made.lines()
        photos = [
            made.measurement(
                made.true_values() + made.errors(budget, i, inputs, lasting=lasting()), budget, i
            )
            for i in range(PHOTOS)
        ]
        with unnamed():
            told = combine(photos)
        lost += bool(told.left_out or told.open)
    assert lost <= 3


def test_a_taper_is_counted_from_the_free_end():
    """Turned end for end, what an inclination makes of a parallel thread's taper changes sign."""
    budget = made.lines()
    up, down = made.true_values(), made.true_values()
    up[5], down[5] = 0.003, -0.003
    told = one(made.measurement(up, budget, 0), made.measurement(down, budget, 1, turned=True))
    assert told.reading.taper.value == pytest.approx(0.0, abs=1e-9)


def test_a_taper_whose_end_is_not_told_is_not_averaged():
    budget = made.lines()
    up, down = made.true_values(), made.true_values()
    up[5], down[5] = 0.003, -0.003
    first, second = made.measurement(up, budget, 0), made.measurement(down, budget, 1)
    middle = replace(second.parts[0], box_px=(937.0, 350.0, 1537.0, 650.0))
    told = one(first, replace(second, parts=(middle,)))
    assert told.reading.taper.value == pytest.approx(0.003)
    assert told.reading.taper.u >= first.parts[0].threads[0].reading.taper.u * 0.999


def test_the_best_taper_of_a_photo_that_is_left_out_does_not_count():
    budget = made.lines()
    better = made.lines(noise=(0.0005, 0.005, 0.006, 0.01, 0.3, 0.0001))
    wrong = made.true_values() * np.where(np.arange(6) < 4, 1.025, 1.0)
    centred = []
    for i, (value, lines) in enumerate(
        ((made.true_values(), budget), (made.true_values(), budget), (wrong, better))
    ):
        m = made.measurement(value, lines, i)
        part = replace(m.parts[0], box_px=(900.0 + 37 * i, 350.0, 1500.0 + 37 * i, 650.0))
        centred.append(replace(m, parts=(part,)))
    told = combine(centred)
    assert list(told.left_out) == [2]
    assert told.parts[0].threads[0].reading.taper is not None


def test_the_budget_s_lines_add_up_to_u():
    thread = trial(3)
    for name in NAMING_QUANTITIES:
        squares = sum(line.contributions.get(name, 0.0) ** 2 for line in thread.budget)
        assert np.sqrt(squares) == pytest.approx(getattr(thread.reading, name).u, rel=1e-3)


def test_every_line_of_a_budget_is_filed():
    """A term without a place in the table would count as coming again whole, unnoticed."""
    names = {t.__name__ for t in (*TERMS, *CREST_TERMS, by_own_crests)}
    told = {
        "reference": "scale of the reference",
        "axis_height": "height of the axis",
        "focal_length": "focal length",
        "principal_along": "principal point along",
        "principal_across": "principal point across",
        "principal_along_either": "principal point along, either way",
        "principal_across_either": "principal point across, either way",
        "tilt": "tilt of the camera",
        "distortion": "lens distortion",
        "inclination": "inclination of the part",
        "moved_rows": "rows of the picture",
        "edge_and_rim": "edge and rim",
        "edges": "edge and rim",
        "light_beside": "light beside the part",
        "rim_along": "rim along the thread",
        "end_ridges": "ridges at the ends",
        "slanted_view": "view along the thread",
        "bent_flanks": "bent flanks",
        "flank_light": "light on the flanks",
        "blurred_roots": "blur in the roots",
        "motion": "motion along the thread",
        "near_panel": "panel close behind the part",
        "edge_noise": "edge noise",
        "scatter": "edge noise",
        "form": "form of the model",
        "by_own_crests": SOURCE,
    }
    assert names == set(told)
    # One line is made where photos are put together.
    assert {*told.values(), STATION} == set(SHARING)


def test_a_cast_s_shrinkage_stays_however_many_photos_there_are():
    """What a reading's u has beside its budget is common to all photos."""
    budget = made.lines()
    photos = []
    for i in range(9):
        m = made.measurement(made.true_values(), budget, i)
        thread = m.parts[0].threads[0]
        major = replace(thread.reading.major_mm, u=0.2)
        thread = replace(thread, reading=replace(thread.reading, major_mm=major))
        photos.append(replace(m, parts=(replace(m.parts[0], threads=(thread,)),)))
    had = np.sqrt(sum(b.contributions["major_mm"] ** 2 for b in budget))
    assert one(*photos).reading.major_mm.u > np.sqrt(0.2**2 - had**2)


def test_threads_of_a_part_are_matched_by_what_they_measure():
    budget = made.lines()
    coarse, fine = made.true_values(), made.true_values() * [1 / 1.5, 0.7, 0.72, 0.74, 1, 1]

    def nipple(photo, first, second):
        a = made.measurement(first, budget, photo)
        b = made.measurement(second, budget, photo)
        threads = (a.parts[0].threads[0], b.parts[0].threads[0])
        return replace(a, parts=(replace(a.parts[0], threads=threads),))

    told = combine([nipple(0, coarse, fine), nipple(1, fine, coarse)])
    pitches = [t.reading.pitch_mm.value for t in told.parts[0].threads]
    assert pitches == pytest.approx([1.5, 1.0])
    assert not told.left_out


def test_a_photo_of_none_of_the_parts_does_not_count():
    """In a box of several parts, what is none of them is another part, not a contradiction."""
    budget = made.lines()
    one_mm = made.true_values() * [1 / 1.5, 0.7, 0.72, 0.74, 1, 1]
    two_mm = made.true_values() * [2 / 1.5, 1.4, 1.38, 1.36, 1, 1]

    def box(photo, *values):
        seen = [made.measurement(v, budget, photo) for v in values]
        return replace(
            seen[0], parts=tuple(replace(m.parts[0], id=i) for i, m in enumerate(seen, 1))
        )

    told = combine(
        [box(0, made.true_values(), one_mm), box(1, one_mm, made.true_values()), box(2, two_mm)]
    )
    assert told.left_out == {2: "it shows none of the threads that the others show"}
    assert [p.threads[0].reading.pitch_mm.value for p in told.parts] == pytest.approx([1.5, 1.0])


def test_a_photo_without_a_thread_has_no_span():
    budget = made.lines()
    told = one(
        made.measurement(made.true_values(), budget, 0),
        None,
        made.measurement(made.true_values(), budget, 2),
    )
    assert told.spans_px[1] is None
    assert told.spans_px[0] != told.spans_px[2]


def test_an_unknown_line_is_taken_to_come_again():
    line = BudgetLine(source="of tomorrow", contributions={"major_mm": 0.05})
    budget = (*made.lines(), line)
    told = one(*(made.measurement(made.true_values(), budget, i) for i in range(9)))
    assert told.reading.major_mm.u > 0.05


def test_what_one_photo_says_of_hidden_flanks_counts_for_all():
    budget = made.lines()
    photos = [made.measurement(made.true_values(), budget, i) for i in range(2)]
    forms = {"flat60": 0.0, "round55": -3.0}
    part = photos[1].parts[0]
    thread = part.threads[0]
    told = replace(thread, reading=replace(thread.reading, forms=forms))
    photos[1] = replace(photos[1], parts=(replace(part, threads=(told,)),))
    assert one(*photos).reading.forms == forms
    assert one(photos[0], made.measurement(made.true_values(), budget, 1)).reading.forms == {}
