"""One adjustment of a picture: against a general solver, in pictures of numbers, and in photos."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import lsq_linear

import pitchcam
from pitchcam.adjust import picture
from pitchcam.adjust.picture import Placed, adjusted, rescaled, seen_of, strains
from pitchcam.adjust.told import LENGTHS, Telling, covariance_of, peaks, thread_tells
from pitchcam.adjust.whole import Seen, told_by_all, told_by_others
from pitchcam.match import name_thread
from pitchcam.match.reference import size_belief
from pitchcam.records import (
    NAMING_QUANTITIES,
    BudgetLine,
    Quantity,
    ScaleSpec,
    ThreadReading,
    ThreadResult,
)
from pitchcam.records.quantities import LostTermError
from pitchcam.thread.budget import combined
from pitchcam.thread.budget.read import READ
from pitchcam.thread.budget.read import SOURCE as CRESTS
from pitchcam.thread.reading import _stated, crest_reading
from tests.adjust import made

#: Pitch, major, pitch and minor diameter, angle, by ISO 965-1 and ASME B1.1, in the middle of their
#: tolerances (from the series, which other tests hold against other sources).
M14 = (1.5, 13.85, 12.93, 12.10, 60.0)
M10 = (1.5, 9.85, 8.93, 8.10, 60.0)
UNF = (25.4 / 20, 12.58, 11.79, 11.10, 60.0)
OWN = {"pitch_mm": 0.0010, "major_mm": 0.02, "pitch_diameter_mm": 0.03, "minor_mm": 0.05}


def normal(mean, u, floor=0.0):
    return Telling(weight=np.ones(1), mean=np.array([mean]), u=np.array([u]), floor=floor)


def test_against_a_general_solver():
    """With one explanation each it is least squares: scipy's solver gives the same inputs."""
    rng = np.random.default_rng(5)
    names = ("reference", "focal length", "tilt x", "tilt y", "distortion", "height of part 1")
    rows = rng.normal(0, 0.004, (5, len(names)))
    means, us = rng.normal(0, 0.004, 5), rng.uniform(0.001, 0.003, 5)
    objects = [
        Seen(shares=dict(zip(names, row, strict=True)), tells=normal(m, u))
        for row, m, u in zip(rows, means, us, strict=True)
    ]
    a = np.concatenate([rows / us[:, None], np.eye(len(names))])
    solved = lsq_linear(a, np.concatenate([means / us, np.zeros(len(names))])).x
    told = told_by_all(objects)
    np.testing.assert_allclose([told.inputs[n] for n in names], solved, atol=1e-9)
    covariance = np.linalg.inv(a.T @ a)
    assert told.shift == pytest.approx(rows[0] @ solved, abs=1e-12)
    assert told.u == pytest.approx(math.sqrt(rows[0] @ covariance @ rows[0]), rel=1e-9)


def test_what_an_object_tells_of_itself_does_not_count():
    objects = [
        Seen(shares={"reference": 0.01}, tells=normal(0.02, 1e-4)),
        Seen(shares={"reference": 0.01}, tells=normal(-0.005, 1e-3)),
    ]
    assert told_by_others(objects, 0).shift == pytest.approx(-0.005, rel=0.05)
    alone = told_by_others(objects[:1], 0)
    assert (alone.shift, alone.u) == (0.0, pytest.approx(0.01))


def test_two_parts_share_the_reference_and_not_the_height():
    """Of a wrong reference two parts tell each other; of the height of one the other knows not."""
    same = {"reference": 0.003, "height of part 1": 0.004}
    other = {"reference": 0.003, "height of part 2": 0.004}
    spoke = Seen(shares=same, tells=normal(0.004, 1e-5))
    near = told_by_others([spoke, Seen(shares=same, tells=None)], 1)
    far = told_by_others([spoke, Seen(shares=other, tells=None)], 1)
    assert near.shift == pytest.approx(0.004, rel=1e-3)
    assert near.u < 1e-4
    # The reference is wrong by 0.009 / 0.025 of what was seen.
    assert far.shift == pytest.approx(0.004 * 9 / 25, rel=1e-3)
    assert far.u == pytest.approx(math.sqrt(0.003**2 * 16 / 25 + 0.004**2), rel=1e-3)


def test_explanations_compete():
    """Two sizes fit the first thread; which of them is right the second tells."""
    two = Telling(
        weight=np.array([0.5, 0.5]),
        mean=np.array([-0.008, 0.008]),
        u=np.array([1e-3, 1e-3]),
        floor=1e-3,
    )
    shares = {"reference": 0.006}
    both = [Seen(shares=shares, tells=two), Seen(shares=shares, tells=None)]
    open_ = told_by_others(both, 1)
    assert open_.shift == pytest.approx(0.0, abs=1e-9)
    assert open_.u > 0.007
    third = Seen(shares=shares, tells=normal(0.0075, 2e-3))
    told = told_by_others([*both, third], 1)
    assert told.shift == pytest.approx(0.008, abs=5e-4)
    assert told.u < 1.2e-3


def test_a_thread_of_no_series_is_silent():
    tells = Telling(weight=np.array([1.0]), mean=np.array([0.05]), u=np.array([1e-3]), floor=5.0)
    shares = {"reference": 0.003}
    told = told_by_others([Seen(shares=shares, tells=tells), Seen(shares=shares, tells=None)], 1)
    assert told.silent == (0,)
    assert told.shift == pytest.approx(0.0, abs=1e-4)
    assert told.u == pytest.approx(0.003, rel=0.02)


def test_peaks_hold_the_whole_density():
    s = np.linspace(-0.03, 0.03, 601)

    def bell(mean, u):
        return np.exp(-0.5 * ((s - mean) / u) ** 2) / (u * math.sqrt(2 * math.pi))

    found = peaks(s, 0.3 * bell(-0.01, 0.001) + 0.7 * bell(0.012, 0.002), 0.1)
    np.testing.assert_allclose(found.weight, [0.3, 0.7], atol=2e-3)
    np.testing.assert_allclose(found.mean, [-0.01, 0.012], atol=2e-5)
    np.testing.assert_allclose(found.u, [0.001, 0.002], rtol=2e-2)
    assert peaks(s, np.zeros(len(s)), 0.1) is None


def lines(size, shares):
    """Return a budget with one line for each input of the scale, and the thread's own errors."""
    length = dict(zip(LENGTHS, size[:4], strict=True))
    scale = tuple(
        BudgetLine(source=name, of_scale=True, contributions={k: v * a for k, v in length.items()})
        for name, a in shares.items()
    )
    own = OWN | {"pitch_mm": OWN["pitch_mm"] * size[0], "angle_deg": 1.0, "taper": 0.002}
    return (*scale, BudgetLine(source="own", correlated=False, contributions=own))


def thread(size, shares, error, rng):
    """Return a thread of a size, its scale wrong by an error and its own errors drawn."""
    budget = lines(size, shares)
    u, correlation = combined(budget)
    own = budget[-1].contributions
    # Lengths of commercial threads: lead within 0.1 %, diameters anywhere in half their tolerance.
    made_of = [
        size[0] * (1 + rng.normal(0, 0.001)),
        *(d + rng.uniform(-0.04, 0.04) for d in size[1:4]),
    ]
    truth = dict(zip(NAMING_QUANTITIES, (*made_of, size[4], 0.0), strict=True))
    by = {k: math.exp(-error) if k in LENGTHS else 1.0 for k in truth}
    read = {k: v * by[k] + rng.normal(0, own[k]) for k, v in truth.items()}
    read["taper"] = abs(read["taper"])
    reading = ThreadReading(
        correlation=correlation, **{k: Quantity(value=v, u=u[k]) for k, v in read.items()}
    )
    result = ThreadResult(
        reading=reading,
        half_angles_deg=(None, None),
        turns=8.0,
        span_px=None,
        budget=budget,
        verdict=name_thread(reading),
    )
    return Placed(thread=result, called="it", shares=shares), truth


def test_pictures_of_numbers_gain_and_stay_honest():
    """Three threads on two parts, drawn by the inputs' errors: what others tell halves the error of
    a pitch, and its u holds."""
    rng = np.random.default_rng(17)
    first = {"reference": 0.004, "focal length": 0.002, "height of part 1": 0.001}
    second = {"reference": 0.004, "focal length": 0.003, "height of part 2": 0.001}
    before, after, z, angle = [], [], [], []
    for _ in range(60):
        x = {name: rng.normal() for name in first | second}
        made_up = [
            thread(size, shares, sum(a * x[k] for k, a in shares.items()), rng)
            for size, shares in ((M14, first), (UNF, first), (M10, second))
        ]
        told = adjusted([p for p, _ in made_up])
        for (placed, truth), (result, _, _) in zip(made_up, told, strict=True):
            was, now = placed.thread.reading.pitch_mm, result.reading.pitch_mm
            before.append(was.value / truth["pitch_mm"] - 1)
            after.append(now.value / truth["pitch_mm"] - 1)
            z.append((now.value - truth["pitch_mm"]) / now.u)
            angle.append(result.reading.angle_deg == placed.thread.reading.angle_deg)
    assert np.sqrt(np.mean(np.square(after))) < 0.5 * np.sqrt(np.mean(np.square(before)))
    assert 0.85 < np.sqrt(np.mean(np.square(z))) < 1.15
    assert all(angle)


def test_a_thread_alone_is_as_it_was():
    rng = np.random.default_rng(3)
    placed, _ = thread(M14, {"reference": 0.01}, 0.008, rng)
    assert adjusted([placed]) == [(placed.thread, 1.0, 1.0)]


def test_little_told_changes_nothing():
    """Where the scale is known as well as a pitch is, nobody speaks."""
    rng = np.random.default_rng(4)
    two = [thread(size, {"reference": 0.0008}, 0.0005, rng)[0] for size in (M14, UNF)]
    assert [t for t, _, _ in adjusted(two)] == [p.thread for p in two]


def test_a_thread_s_telling_holds_its_scale():
    rng = np.random.default_rng(6)
    shares = {"reference": 0.005}
    placed, _ = thread(UNF, shares, 0.006, rng)
    t = placed.thread
    tells = thread_tells(t.reading, t.budget, 1, 0.005)
    best = int(np.argmax(tells.weight))
    assert tells.mean[best] == pytest.approx(0.006, abs=3 * tells.u[best])
    assert 0.001 < tells.u[best] < 0.002
    assert thread_tells(replace(t.reading, pitch_mm=None), t.budget, 1, 0.005) is None
    assert thread_tells(replace(t.reading, starts=2), t.budget, 1, 0.005) is None
    assert thread_tells(t.reading, t.budget, 1, 0.0) is None


def test_the_budget_still_adds_up_to_u():
    rng = np.random.default_rng(8)
    shares = {"reference": 0.006}
    two = [thread(size, shares, 0.004, rng)[0] for size in (M14, UNF)]
    (result, factor, left), _ = adjusted(two)
    assert left < 0.5
    u, _ = combined(result.budget)
    read = result.reading
    for name in NAMING_QUANTITIES:
        assert getattr(read, name).u == pytest.approx(u[name], rel=1e-6)
    was = two[0].thread.reading
    assert read.major_mm.value == pytest.approx(was.major_mm.value * factor)
    assert read.taper.value == was.taper.value
    assert np.all(np.linalg.eigvalsh(covariance_of(read)) > 0)
    assert "told by it as well" in result.verdict.notes[-1]


def read_thread(size, u_reading, u_crests, error, rng):
    """A thread whose crests a caliper read, wrong by ``error`` of reading and crests."""
    shares = {READ: u_reading, CRESTS: -u_crests}
    placed, truth = thread(size, {READ: u_reading}, error[0], rng)
    crests = {k: -u_crests * truth[k] for k in LENGTHS if k != "major_mm"}
    own = {k: c for k, c in placed.thread.budget[-1].contributions.items() if k != "major_mm"}
    budget = (
        placed.thread.budget[0],
        BudgetLine(source=CRESTS, of_scale=True, contributions=crests),
        replace(placed.thread.budget[-1], contributions=own),
    )
    u, correlation = combined(budget)
    values = {k: getattr(placed.thread.reading, k).value for k in NAMING_QUANTITIES}
    values |= {k: values[k] * math.exp(-error[1]) for k in crests}
    values["major_mm"] = truth["major_mm"] * math.exp(-error[0])
    reading = ThreadReading(
        correlation=correlation, **{k: Quantity(value=v, u=u[k]) for k, v in values.items()}
    )
    result = replace(placed.thread, reading=reading, budget=budget, verdict=name_thread(reading))
    return Placed(thread=result, called="it", shares=shares), truth


def test_what_a_caliper_read_is_wrong_by_the_reading_alone():
    """Others tell reading and crests together; of the diameter that was read only the first counts:
    it had been corrected by all of it, and its u with it."""
    rng = np.random.default_rng(23)
    u_reading, u_crests = 0.002, 0.004
    z, moved, related = {"pitch_mm": [], "major_mm": []}, [], []
    for _ in range(80):
        error = rng.normal(0, u_reading), rng.normal(0, u_crests)
        placed, truth = read_thread(M14, u_reading, u_crests, error, rng)
        other, _ = thread(UNF, {READ: u_reading, CRESTS: -u_crests}, sum(error), rng)
        (result, factor, left), _ = adjusted([placed, other])
        assert left < 0.75
        for k, some in z.items():
            q = getattr(result.reading, k)
            some.append((q.value - truth[k]) / q.u)
        was = placed.thread.reading.major_mm
        moved.append(math.log(result.reading.major_mm.value / was.value) / math.log(factor))
        u, correlation = combined(result.budget)
        assert result.reading.major_mm.u == pytest.approx(u["major_mm"], rel=1e-6)
        both = result.reading.pitch_mm.value * result.reading.major_mm.value
        common = correlation["pitch_mm", "major_mm"] * u["pitch_mm"] * u["major_mm"] / both
        related.append(common / (u_reading * left) ** 2)
    assert "but the diameter that was read" in result.verdict.notes[-1]
    assert all(0.85 < np.sqrt(np.mean(np.square(some))) < 1.15 for some in z.values())
    assert np.median(moved) == pytest.approx(0.2, abs=0.01)  # the reading's share of both squares
    # Of r and r + c, of which the sum is told: cov(r, r + c | told) = left^2 u_r^2.
    assert np.median(related) == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("slope", [0.0625, -0.0625])
def test_a_taper_is_known_at_its_large_end_as_its_budget_says(slope):
    """A focal length turns the taper too, against the diameter: at the large end hardly anything
    was left of it to take away, and what was taken left diameters without any u."""
    size, length = (25.4 / 14, 26.95, 25.5, 24.0, 60.0), 16.0
    placed, _ = thread(size, {"reference": 0.003}, 0.0, np.random.default_rng(1))
    grows = 0.0054 * np.sign(slope)  # what 0.3 % of the diameter takes away over 15 mm
    lens = {k: 0.003 * v for k, v in zip(LENGTHS, size, strict=False)} | {"taper": -grows}
    budget = (*placed.thread.budget, BudgetLine(source="lens", contributions=lens, of_scale=True))

    def stated(lines):
        return _stated(lines, slope, length / 2)

    u, correlation = stated(budget)
    read = {k: replace(getattr(placed.thread.reading, k), u=x) for k, x in u.items()}
    station = Quantity(value=length, u=0.5)
    reading = replace(
        placed.thread.reading, correlation=correlation, diameter_station_mm=station, **read
    )
    sign = int(np.sign(slope))
    whole = replace(placed.thread, reading=reading, budget=budget, taper_sign=sign)
    for left in (0.15, 0.5, 1.0):
        after = rescaled(whole, 1.0, left)
        expected, related = stated(after.budget)
        for k, x in expected.items():
            assert getattr(after.reading, k).u == pytest.approx(x, rel=1e-6)
        for pair, r in related.items():
            assert after.reading.correlation[pair] == pytest.approx(r, abs=1e-6)


@pytest.mark.parametrize("slope", [0.0625, -0.0625])
@pytest.mark.parametrize("span", [(-3.0, 3.0), (-9.0, 7.0)])
def test_a_taper_read_by_its_crests_is_known_there_as_its_budget_says(span, slope):
    """By what the frame's origin left to its end, a taper of few turns came to no u at all."""
    size = {"pitch_mm": 25.4 / 14, "major_mm": 21.1, "angle_deg": 60.0, "taper": slope}
    sign = int(np.sign(slope))
    noise = {"pitch_mm": 0.002, "major_mm": 0.02, "taper": 0.001, "angle_deg": 0.5}
    lens = {k: 0.02 * size[k] for k in ("pitch_mm", "major_mm")} | {"taper": 0.005 * sign}
    budget = (
        BudgetLine(source="edge noise", contributions=noise, correlated=False),
        BudgetLine(source="focal length", contributions=lens, of_scale=True),
    )
    shape = SimpleNamespace(span_mm=span, pitch_mm=size["pitch_mm"], quantities=lambda: size)
    placed, _ = thread(M14, {"reference": 0.003}, 0.0, np.random.default_rng(1))
    whole = replace(
        placed.thread, reading=crest_reading(shape, budget), budget=budget, taper_sign=sign
    )
    for left in (0.1, 0.03, 1.0):
        after = rescaled(whole, 1.0, left)
        expected = crest_reading(shape, after.budget)
        assert covariance_of(after.reading) == pytest.approx(covariance_of(expected), abs=1e-12)


def a_thread_without_doubt():
    """A thread whose budget holds more of the scale than its reading: a term was lost."""
    rng = np.random.default_rng(8)
    placed, other = (thread(size, {"reference": 0.006}, 0.004, rng)[0] for size in (M14, UNF))
    doubled = tuple(
        replace(b, contributions={k: 3 * c for k, c in b.contributions.items()})
        for b in placed.thread.budget
    )
    return replace(placed, thread=replace(placed.thread, budget=doubled)), other


def test_a_thread_whose_budget_lost_a_term_stays_as_it_was_measured():
    """It was a fault of the whole photo."""
    lost, other = a_thread_without_doubt()
    with pytest.raises(LostTermError, match="no photo measures"):
        rescaled(lost.thread, 1.0, 0.05)
    (kept, factor, left), _ = adjusted([lost, other])
    assert (kept, factor, left) == (lost.thread, 1.0, 1.0)


def test_such_a_thread_tells_nothing(monkeypatch):
    def lost(*_):
        raise LostTermError("no photo measures 1.5 to 0")

    placed, other = a_thread_without_doubt()
    monkeypatch.setattr(picture, "thread_tells", lost)
    assert [seen.tells for seen in seen_of([placed, other])] == [None, None]
    assert [t for t, _, _ in adjusted([placed, other])] == [placed.thread, other.thread]


def test_what_the_threads_contradict_is_said():
    """The pin is 1.6 % larger than stated: 4 u, and both parts say so; of the height of one part
    only its own threads can."""
    rng = np.random.default_rng(12)
    first = {"reference": 0.004, "height of part 1": 0.001}
    second = {"reference": 0.004, "height of part 2": 0.001}

    def picture(at_first, at_second):
        return [
            thread(M14, first, at_first, rng)[0],
            thread(UNF, first, at_first, rng)[0],
            thread(M10, second, at_second, rng)[0],
        ]

    strained = strains(seen_of(picture(0.016, 0.016)))
    assert list(strained) == ["reference"]
    assert strained["reference"] == pytest.approx(3.9, abs=0.4)
    assert strains(seen_of(picture(0.006, 0.005))) == {}
    assert strains(seen_of(picture(0.016, 0.016)[:1])) == {}


def test_a_contradiction_has_words(monkeypatch):
    from pitchcam.pipeline import together

    off = {"reference": 3.4, "height of part 2": -4.2, "tilt x": 3.1, "distortion": 5.0}
    monkeypatch.setattr(together, "strains", lambda _: off)
    flags = []
    pin = ScaleSpec(source="pin", mm=8.0)
    # A lone thread is not asked: two are there, of which nothing else is looked at.
    read = made.measurement(made.true_values(), made.lines()).parts[0]
    two = [read, replace(read, id=2)]
    together.as_the_picture_tells(two, [[None], [None]], (pin, size_belief([], pin)), flags)
    assert [f.code for f in flags] == ["reference-size", "height", "tilt"]
    assert flags[0].message == (
        "by the threads together the pin would be larger than stated, by 3 times its uncertainty"
    )
    assert flags[1].part == 2
    assert "lower, by 4 times" in flags[1].message


@pytest.fixture(scope="module")
def nipple():
    return pitchcam.identify(
        "samples/p16-nipple-disc.jpg", ScaleSpec(source="disc", mm=20.0), plots=False
    )


def test_two_threads_of_a_photo_tell_each_other(nipple):
    """The sample's truth: G 1/4 and 1/4-18 NPT, both in every respect that is compared."""
    threads = nipple.parts[0].threads
    assert [t.verdict.designation for t in threads] == ["G 1/4", "1/4-18 NPT"]
    for t, pitch in zip(threads, (25.4 / 19, 25.4 / 18), strict=True):
        scale = [line.contributions["pitch_mm"] for line in t.budget if line.of_scale]
        assert np.linalg.norm(scale) / pitch < 0.0015
        assert abs(t.reading.pitch_mm.value - pitch) < 2 * t.reading.pitch_mm.u
        assert "the part's other thread" in t.verdict.notes[-1]
    assert nipple.scale.mm_per_px.u / nipple.scale.mm_per_px.value < 0.0015


def test_shares_add_up_to_the_budget(monkeypatch):
    """What a thread's scale hangs on is what its budget says, input by input."""
    from pitchcam.pipeline import together

    seen = []

    def kept(placed, *_):
        seen.extend(placed)
        return [(p.thread, 1.0, 1.0) for p in placed]

    monkeypatch.setattr(together, "adjusted", kept)
    pitchcam.identify("samples/p16-nipple-disc.jpg", ScaleSpec(source="disc", mm=20.0), plots=False)
    for placed in seen:
        pitch = placed.thread.reading.pitch_mm.value
        own = {
            b.source: b.contributions["pitch_mm"] / pitch
            for b in placed.thread.budget
            if b.of_scale
        }
        shares = placed.shares
        assert shares["reference"] == pytest.approx(own["scale of the reference"])
        assert math.hypot(shares["tilt x"], shares["tilt y"]) == pytest.approx(
            own["tilt of the camera"]
        )
        assert abs(shares["distortion"]) == pytest.approx(abs(own["lens distortion"]))
        assert np.linalg.norm(list(shares.values())) == pytest.approx(
            np.linalg.norm(list(own.values()))
        )
    # One part: all inputs are the same, and its height has one sign.
    assert seen[0].shares.keys() == seen[1].shares.keys()


def test_nobody_speaks_where_the_reference_is_doubted(monkeypatch, nipple):
    """Threads that fit at another size of the reference as well vouch for no scale."""
    from pitchcam.pipeline import answer

    believed = answer.belief_of

    def doubtful(*given):
        belief = believed(*given)
        weight = belief.scales.weight.copy()
        weight[0] = 0.0
        weight *= 0.05 / weight.sum()
        weight[0] = 0.95
        return replace(belief, scales=replace(belief.scales, weight=weight))

    monkeypatch.setattr(answer, "belief_of", doubtful)
    alone = pitchcam.identify(
        "samples/p16-nipple-disc.jpg", ScaleSpec(source="disc", mm=20.0), plots=False
    )
    for mine, together in zip(alone.parts[0].threads, nipple.parts[0].threads, strict=True):
        assert mine.reading.pitch_mm.u > 1.3 * together.reading.pitch_mm.u
        assert not any("as well" in note for note in mine.verdict.notes)
