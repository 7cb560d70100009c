"""What a roll tells of an oval or bent thread, by photos made of numbers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chi2, norm

from pitchcam.adjust.combine import combine
from pitchcam.adjust.observed import layings, observe
from pitchcam.adjust.out_of_round import SOURCE, TRIED_MM, misfit, rolled
from pitchcam.adjust.system import adjust
from tests.adjust import made
from tests.adjust.test_combine import lasting

TRIALS = 150
DIAMETERS = np.array([False, True, True, True, False, False])


def seen(values, budget=None):
    """Observations of photos whose threads lie elsewhere in each."""
    lines = budget or made.lines()
    photos = [made.measurement(v, lines, i) for i, v in enumerate(values)]
    found = [observe(m, i, m.parts[0], m.parts[0].threads[0]) for i, m in enumerate(photos)]
    return layings(found, [(4032, 3024)] * len(found))


def trial(rng, oval_mm, photos=3):
    """Photos from sides at random of a thread whose diameter is oval by an amplitude."""
    inputs, budget = made.Inputs(rng), made.lines()
    out = []
    for i in range(photos):
        off = made.errors(budget, i, inputs, lasting=lasting())
        oval = oval_mm * np.cos(2 * rng.uniform(0, np.pi))
        out.append(made.true_values() + off + DIAMETERS * oval)
    return out


def test_u_of_an_oval_thread_is_what_its_diameters_err_by():
    """The mean over all sides is what is asked."""
    rng = np.random.default_rng(8)
    z, found = [], 0
    for _ in range(TRIALS):
        told = rolled(seen(trial(rng, 0.08)))
        found += told.s_mm > 0
        if told.s_mm:
            both = adjust(told.observations)
            z.append((both.values[1] - made.M14["major_mm"]) / np.sqrt(both.covariance[1, 1]))
    assert found > 0.8 * TRIALS
    assert 0.6 < float(np.sqrt(np.mean(np.square(z)))) < 1.25


def test_round_threads_are_seldom_taken_for_oval():
    """At the level of one in a thousand: of 150 none or one."""
    rng = np.random.default_rng(9)
    assert sum(rolled(seen(trial(rng, 0.0))).s_mm > 0 for _ in range(TRIALS)) <= 1


def oval(*by):
    true = made.true_values()
    return [
        made.measurement(true + DIAMETERS * d, made.lines(), i, named=True)
        for i, d in enumerate(by)
    ]


def test_a_side_that_is_larger_is_no_other_part():
    """It had been left out as another part, or damage seen from that side."""
    told = combine(oval(0.0, 0.0, 0.12))
    thread = told.parts[0].threads[0]
    assert told.left_out == {} and not told.open
    assert thread.verdict.designation == "M14x1.5"
    assert "oval or bent" in thread.verdict.notes[-1]
    line = next(b for b in thread.budget if b.source == SOURCE)
    assert 0.02 < line.contributions["major_mm"] < 0.06
    assert line.contributions["pitch_mm"] == pytest.approx(0.0, abs=1e-9)
    assert line.contributions["angle_deg"] == pytest.approx(0.0, abs=1e-9)
    squares = sum(b.contributions["major_mm"] ** 2 for b in thread.budget)
    assert thread.reading.major_mm.u == pytest.approx(np.sqrt(squares), rel=1e-6)
    rounded = combine(oval(0.0, 0.0, 0.0)).parts[0].threads[0]
    assert not any("oval" in n for n in rounded.verdict.notes)
    assert thread.reading.pitch_mm.u == pytest.approx(rounded.reading.pitch_mm.u, rel=0.05)


def test_two_sides_that_differ_are_told_and_named():
    told = combine(oval(-0.05, 0.05))
    thread = told.parts[0].threads[0]
    assert not told.open
    assert thread.reading.major_mm.value == pytest.approx(made.M14["major_mm"], abs=1e-6)
    assert thread.reading.major_mm.u > 0.045
    assert "oval or bent" in thread.verdict.notes[-1]


def test_what_is_too_far_off_is_no_oval():
    """Half a millimetre is another part: two photos accuse nobody."""
    assert combine(oval(0.0, 0.5)).open


def test_a_wrong_scale_and_one_diameter_are_not_out_of_round():
    true, lengths = made.true_values(), np.arange(6) < 4
    assert rolled(seen([true, true * np.where(lengths, 1.008, 1.0)])).s_mm == 0
    dirt = np.array([0, 0.1, 0, 0, 0, 0])
    assert rolled(seen([true, true, true + dirt])).s_mm == 0


def test_tapers_and_what_nobody_moved_are_not_asked():
    true = made.true_values()
    taper = true + np.array([0, 0, 0, 0, 0, 1 / 16])
    assert rolled(seen([taper, taper + 0.12 * DIAMETERS, taper])).s_mm == 0
    still = [replace(o, laying=0) for o in seen([true, true + 0.12 * DIAMETERS])]
    assert rolled(still).s_mm == 0


def test_an_oval_is_believed_as_rarely_as_one_number_lies_so_far_on_one_side():
    """The ratio of likelihoods against that of a normal number's upper tail of one in 1000."""
    limit = norm.isf(1e-3) ** 2
    believed = []
    for off in np.linspace(0.028, 0.032, 9):
        pair = seen([made.true_values(), made.true_values() + off * DIAMETERS])
        gain = misfit(pair, 0.0).minus_2_ln - min(misfit(pair, s).minus_2_ln for s in TRIED_MM)
        believed.append((gain, rolled(pair).s_mm > 0))
    assert all(found == (gain > limit) for gain, found in believed)
    # Several of them lie where a limit of both sides would be another.
    assert sum(limit < gain < norm.isf(0.5e-3) ** 2 for gain, _ in believed) > 1


def test_the_likelihood_of_one_number_seen_twice():
    """With one diameter in two photos it is that of their difference d: ln v + d^2 / v."""
    pair = seen([made.true_values(), made.true_values() + 0.03 * DIAMETERS])
    bare = []
    for o in pair:
        values = np.where(np.arange(6) == 1, o.values, np.nan)
        noise = [replace(t, shares=np.full(6, 0.01)) for t in o.terms if t.kind == "A"]
        bare.append(replace(o, values=values, terms=tuple(noise)))
    s, u = 0.02, 0.01
    v = {x: 2 * u**2 + 2 * x**2 for x in (0.0, s)}
    expected = np.log(v[s] / v[0.0]) + 0.03**2 / v[s] - 0.03**2 / v[0.0]
    gain = misfit(bare, s).minus_2_ln - misfit(bare, 0.0).minus_2_ln
    assert gain == pytest.approx(expected, rel=1e-3)
    assert misfit(bare, s).chance == pytest.approx(chi2.sf(0.03**2 / v[s], 1), rel=1e-3)
