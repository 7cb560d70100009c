"""The adjustment by itself: its estimate, what two photos share, what each tells of scale."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from pitchcam.adjust.copies import TURNS
from pitchcam.adjust.disagree import Gap, agreeing, gap, log_upper, reason
from pitchcam.adjust.matching import apart, match
from pitchcam.adjust.observed import TAPER, UNMOVED, Observation, Term, layings, observe
from pitchcam.adjust.sharing import (
    ANGLE_AGAIN,
    ANY_OBJECT,
    SHARING,
    U_DISC,
    U_FOCAL_AGAIN,
    UNFILED,
    Sharing,
    reference_again,
    sharing_of,
)
from pitchcam.adjust.system import UNITS, adjust, effect, repeats, shared, stacked
from pitchcam.adjust.told import (
    IS_LENGTH,
    LENGTHS,
    covariance_of,
    peaks,
    scale_share,
    with_covariance,
    with_scale_left,
)
from pitchcam.records import NAMING_QUANTITIES, BudgetLine, Quantity, ThreadReading
from pitchcam.scale import disc
from pitchcam.thread.reading import _stated, crest_reading
from tests.adjust import made

VALUES = np.array([1.5, 13.85, 12.93, 12.1, 60.0, 0.01])
U = np.array([0.002, 0.02, 0.03, 0.05, 0.5, 0.002])
NOISE = Sharing(owner="photo", lasting=0.0)
WHOLE = Sharing(owner="part", lasting=1.0)


def term(
    source="noise", key="photo 0", shares=U, *, together=False, sharing=NOISE, kind="B"
) -> Term:
    return Term(
        source=source,
        key=key,
        shares=np.asarray(shares, float),
        together=together,
        sharing=sharing,
        kind=kind,
    )


def seen(photo: int, *terms: Term, values=VALUES, laying=None) -> Observation:
    """One observation of its own laying."""
    span = SimpleNamespace(span_px=((100.0, 100.0), (500.0, 100.0)))
    laid = photo if laying is None else laying
    return Observation(
        photo=photo,
        part=None,
        thread=span,
        values=np.asarray(values, float),
        terms=terms,
        laying=laid,
    )


def noisy(photo: int, by: float = 1.0, values=VALUES) -> Observation:
    return seen(photo, term(key=f"photo {photo}", shares=by * U), values=values)


# The estimate.


def test_one_photo_is_its_own_answer() -> None:
    found = adjust([noisy(0)])
    assert found.values == pytest.approx(VALUES)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(U, rel=1e-5)
    assert found.gain[:, 0] == pytest.approx(np.eye(6), abs=1e-9)


@pytest.mark.parametrize("count", [2, 3, 9])
def test_independent_photos_average_and_u_falls_with_their_root(count: int) -> None:
    rng = np.random.default_rng(3)
    values = VALUES + U * rng.normal(size=(count, 6))
    found = adjust([noisy(i, values=v) for i, v in enumerate(values)])
    assert found.values == pytest.approx(values.mean(axis=0))
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(U / math.sqrt(count), rel=1e-5)


def test_a_surer_photo_counts_by_its_inverse_square() -> None:
    found = adjust([noisy(0), noisy(1, 2.0, VALUES + 5 * U)])
    assert found.values == pytest.approx(VALUES + U)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(U / math.sqrt(1 + 1 / 4), rel=1e-5)
    assert np.diagonal(found.gain[:, 1]) == pytest.approx(np.full(6, 0.2), rel=1e-4)


def test_what_both_share_does_not_average() -> None:
    """u^2 = shared^2 + own^2 / n."""
    lengths = np.array([0.003, 0.03, 0.03, 0.02, 0, 0])
    scale = Sharing(owner="reference", lasting=1.0)
    many = [
        seen(
            i, term("scale", "pin 8", lengths, together=True, sharing=scale), term(key=f"photo {i}")
        )
        for i in range(4)
    ]
    found = adjust(many)
    assert np.diag(found.covariance) == pytest.approx(lengths**2 + U**2 / 4, rel=1e-4)
    assert found.covariance[0, 1] == pytest.approx(lengths[0] * lengths[1], rel=1e-3)


def test_weights_are_aitkens_written_out() -> None:
    """(H' C^-1 H)^-1 H' C^-1 y with the covariance as it stands."""
    scale = Sharing(owner="reference", lasting=0.6)
    rng = np.random.default_rng(5)
    many = [
        seen(
            i,
            term(
                "scale", "pin 8", (i + 1) * 0.001 * VALUES * IS_LENGTH, together=True, sharing=scale
            ),
            term(key=f"photo {i}", shares=U * (1 + 0.5 * i)),
            values=VALUES + U * rng.normal(size=6),
        )
        for i in range(3)
    ]
    y, c = stacked(many)
    h = np.tile(np.eye(6), (3, 1))
    inverse = np.linalg.inv(c)
    covariance = np.linalg.inv(h.T @ inverse @ h)
    found = adjust(many)
    assert found.values == pytest.approx(covariance @ h.T @ inverse @ y, rel=1e-5)
    assert found.covariance == pytest.approx(covariance, rel=1e-4, abs=1e-9)
    assert c == pytest.approx(c.T)


def test_what_no_photo_measured_stays_unknown() -> None:
    values = VALUES.copy()
    values[3] = np.nan
    found = adjust([noisy(0, values=values), noisy(1, values=values)])
    assert np.isnan(found.values[3]) and not np.isnan(np.delete(found.values, 3)).any()
    assert (found.covariance[3] == 0).all() and (found.covariance[:, 3] == 0).all()
    one = adjust([noisy(0, values=values), noisy(1)])
    assert one.values[3] == pytest.approx(VALUES[3])
    assert math.sqrt(one.covariance[3, 3]) == pytest.approx(U[3], rel=1e-5)


def test_the_order_of_photos_does_not_matter() -> None:
    many = [noisy(i, 1 + i, VALUES + i * U) for i in range(3)]
    one, other = adjust(many), adjust(many[::-1])
    assert other.values == pytest.approx(one.values)
    assert other.covariance == pytest.approx(one.covariance)


def test_without_a_photo_there_is_no_answer() -> None:
    with pytest.raises(ValueError, match="nothing was observed"):
        adjust([])


def test_each_sources_effect_adds_up_to_the_answers_covariance() -> None:
    scale = Sharing(owner="reference", lasting=1.0)
    many = [
        seen(
            i,
            term("scale", "pin 8", 0.002 * VALUES * IS_LENGTH, together=True, sharing=scale),
            term(key=f"photo {i}"),
        )
        for i in range(3)
    ]
    found = adjust(many)
    parts = {s: effect(many, found, s) for s in ("scale", "noise", "none of both")}
    assert parts["scale"] + parts["noise"] == pytest.approx(found.covariance, rel=1e-4, abs=1e-12)
    assert parts["none of both"] == pytest.approx(np.zeros((6, 6)))


def test_one_quantity_taken_away_takes_its_share_of_every_term() -> None:
    one = seen(0, term(), term("scale", "pin", U, together=True, sharing=WHOLE)).without(2)
    assert np.isnan(one.values[2])
    assert one.measured.tolist() == [True, True, False, True, True, True]
    assert (one.covariance()[2] == 0).all()
    assert one.covariance()[0, 0] == pytest.approx(2 * U[0] ** 2)


def test_a_term_together_correlates_and_one_apart_does_not() -> None:
    together = seen(0, term(together=True)).covariance()
    alone = seen(0, term()).covariance()
    assert together == pytest.approx(np.outer(U, U))
    assert alone == pytest.approx(np.diag(U**2))


# What comes again.


@pytest.mark.parametrize(("a", "b"), [(1.0, 1.0), (0.25, 1.0), (0.36, 0.49), (0.0, 1.0)])
def test_an_input_comes_again_by_the_mean_of_both_shares(a: float, b: float) -> None:
    one, other = (term(sharing=Sharing(owner="part", lasting=x)) for x in (a, b))
    assert repeats(one, other, unmoved=False) == pytest.approx(math.sqrt(a * b))
    assert repeats(one, other, unmoved=True) == pytest.approx(1.0), "nothing was moved"


def test_of_two_sizes_the_smaller_is_common_unless_the_input_is_followed() -> None:
    small, large = term(shares=U, sharing=WHOLE), term(shares=3 * U, sharing=WHOLE)
    assert repeats(small, large, unmoved=False) == pytest.approx(1 / 3)
    assert repeats(large, small, unmoved=False) == pytest.approx(1 / 3)
    followed = Sharing(owner="camera", lasting=0.81, followed=True)
    a, b = term(shares=U, sharing=followed), term(shares=3 * U, sharing=followed)
    assert repeats(a, b, unmoved=False) == pytest.approx(0.81)
    # Where nothing was moved it works alike, and what differs is not the geometry's.
    assert repeats(a, b, unmoved=True) == pytest.approx(1 / 3)


def test_sizes_in_unlike_units_are_compared_by_the_u_of_a_photo() -> None:
    """5 um of pitch, 30 um of a diameter, a degree and 0.002 of taper are alike."""
    assert UNITS.tolist() == [0.005, 0.03, 0.03, 0.03, 1.0, 0.002]
    of_pitch = term(shares=[0.005, 0, 0, 0, 0, 0], sharing=WHOLE)
    of_angle = term(shares=[0, 0, 0, 0, 1.0, 0], sharing=WHOLE)
    assert repeats(of_pitch, of_angle, unmoved=False) == pytest.approx(1.0)
    half = term(shares=[0, 0.015, 0, 0, 0, 0], sharing=WHOLE)
    assert repeats(of_pitch, half, unmoved=False) == pytest.approx(0.5)


def test_what_two_share_is_told_from_either_side() -> None:
    one = seen(0, term("x", "part", U, together=True, sharing=WHOLE))
    other = seen(1, term("x", "part", U[::-1], together=True, sharing=WHOLE))
    assert shared(one, other) == pytest.approx(shared(other, one).T)
    assert np.abs(shared(one, other) - shared(one, other).T).max() > 1e-6
    y, c = stacked([one, other])
    assert c[:6, 6:] == pytest.approx(shared(one, other))
    assert c[6:, :6] == pytest.approx(shared(one, other).T)
    assert y == pytest.approx(np.tile(VALUES, 2))


def test_noise_never_comes_again() -> None:
    a = term(kind="A", sharing=WHOLE)
    assert repeats(a, a, unmoved=True) == 0.0
    assert (
        repeats(term(shares=0 * U, sharing=WHOLE), term(shares=0 * U, sharing=WHOLE), unmoved=False)
        == 0.0
    )


@pytest.mark.parametrize("together", [True, False])
def test_two_photos_share_what_has_one_key(together: bool) -> None:
    one = seen(0, term("x", "part", U, together=together, sharing=WHOLE))
    other = seen(1, term("x", "part", 2 * U, together=together, sharing=WHOLE))
    expected = np.outer(U, 2 * U) if together else np.diag(2 * U**2)
    assert shared(one, other) == pytest.approx(expected / 2), "and the larger by its half"
    strange = seen(1, term("x", "another part", 2 * U, together=together, sharing=WHOLE))
    assert shared(one, strange) == pytest.approx(np.zeros((6, 6)))
    another = seen(1, term("y", "part", 2 * U, together=together, sharing=WHOLE))
    assert shared(one, another) == pytest.approx(np.zeros((6, 6)))


def test_photos_of_one_laying_share_what_belongs_to_the_photo() -> None:
    one, other = (seen(i, term("tilt", f"photo {i}", U, together=True), laying=0) for i in (0, 1))
    assert shared(one, other) == pytest.approx(np.outer(U, U))
    moved = replace(other, laying=1)
    assert shared(one, moved) == pytest.approx(np.zeros((6, 6)))


def test_of_one_laying_only_what_is_the_photos_own_is_looked_for_in_the_other() -> None:
    one = seen(0, term("x", "part", U, together=True), laying=0)
    other = seen(1, term("x", "photo 1", U, together=True), laying=0)
    assert shared(one, other) == pytest.approx(np.zeros((6, 6)))


@pytest.mark.parametrize("source", SHARING)
def test_every_term_is_some_ones_and_comes_again_by_a_share(source: str) -> None:
    filed = SHARING[source]
    assert 0 <= filed.lasting <= 1
    assert filed.owner in ("photo", "camera", "reference", "part")
    if filed.owner == "photo":
        assert filed.lasting == 0.0, "what is new with each photo averages"


@pytest.mark.parametrize("kind", ANY_OBJECT)
@pytest.mark.parametrize("u", [1e-4, 1e-3, 1e-2])
def test_a_kind_of_reference_repeats_no_more_than_the_object_itself(kind: str, u: float) -> None:
    again, any_of_it = reference_again(kind, 20.0, u)
    assert 0 <= any_of_it <= again <= 1
    assert sharing_of("scale of the reference", None).owner == "reference"


@pytest.mark.parametrize(
    ("kind", "mm", "u", "again"),
    [
        # (0.008 / 8)^2 of 0.001^2 and 0.002^2 is size, and of the rest a fifth the same edges'.
        ("pin", 8.0, 0.001, 1.0),
        ("pin", 8.0, 0.002, 0.25 + 0.2 * 0.75),
        ("pin", 4.0, 0.002, 1.0),
        ("jaws", 15.0, 0.004, 0.0625 + 0.2 * 0.9375),
        ("disc", 23.25, 0.0008, 0.25 + 0.2 * 0.75),
        ("pin", 8.0, 1.0, 0.2),
        # Less than its size's u: others told what it is.
        ("pin", 8.0, 0.0005, 1.0),
        ("pin", 8.0, 0.0, 1.0),
        ("a new kind", 8.0, 0.002, 1.0),
        ("card", 85.6, 0.002, 0.7),
        ("major", 13.8, 0.002, 1.0),
    ],
)
def test_a_references_size_comes_again_and_of_its_edges_a_fifth(kind, mm, u, again) -> None:
    assert reference_again(kind, mm, u)[0] == pytest.approx(again, abs=1e-4)


def test_a_disc_is_known_as_its_module_says() -> None:
    assert U_DISC == disc.U_LEFT_OPEN


@pytest.mark.parametrize(
    ("u", "lasting"), [(0.02, 0.75), (0.04, 0.9375), (0.01, 0.0), (0.005, 0.0)]
)
def test_a_focal_length_repeats_to_a_percent(u: float, lasting: float) -> None:
    """1 - (0.01 / u)^2: what differs from shot to shot is a percent, whatever its u is."""
    assert U_FOCAL_AGAIN == 0.01
    told = sharing_of("focal length", u)
    assert told.lasting == pytest.approx(lasting)
    assert told.followed and told.owner == "camera"


def test_what_nobody_filed_comes_again_whole() -> None:
    assert sharing_of("a term of tomorrow", 0.03) == UNFILED
    assert UNFILED.lasting == 1.0


# From a measurement to an observation and back.


def test_an_observation_has_the_readings_u() -> None:
    budget = made.lines()
    m = made.measurement(made.true_values(), budget)
    one = observe(m, 0, m.parts[0], m.parts[0].threads[0])
    read = m.parts[0].threads[0].reading
    stated = np.array([getattr(read, k).u for k in NAMING_QUANTITIES])
    assert np.sqrt(np.diag(one.covariance())) == pytest.approx(stated, rel=1e-6)
    assert one.values == pytest.approx(made.true_values())
    assert one.covariance() == pytest.approx(covariance_of(read), rel=2e-3, abs=1e-10)


def test_a_reference_is_one_of_its_kind_itself_and_this_photos_sight_of_it() -> None:
    m = made.measurement(made.true_values(), made.lines())
    one = observe(m, 3, m.parts[0], m.parts[0].threads[0])
    own = {t.key: t for t in one.terms if t.source == "scale of the reference"}
    assert set(own) == {"any pin", "pin 8.0", "photo 3, pin 8.0"}
    again, any_of_it = reference_again("pin", 8.0, 0.002)
    whole = made.lines()[0].contributions["pitch_mm"]
    shares = {k: (t.shares[0] / whole) ** 2 for k, t in own.items()}
    assert shares == pytest.approx(
        {"any pin": any_of_it, "pin 8.0": again - any_of_it, "photo 3, pin 8.0": 1 - again}
    )
    assert own["photo 3, pin 8.0"].sharing.lasting == 0.0


def test_the_light_along_a_thread_is_its_own_in_the_taper_and_not_in_the_pitch() -> None:
    """A body that screens the light at one end makes a taper of it in every photo alike."""
    line = BudgetLine(
        source="rim along the thread", contributions={"pitch_mm": 0.001, "taper": 0.0008}
    )
    many = []
    for i in range(20):
        m = made.measurement(made.true_values(), (*made.lines(), line), i)
        many.append(replace(observe(m, i, m.parts[0], m.parts[0].threads[0]), laying=i))
    left = effect(many, adjust(many), line.source)
    assert math.sqrt(left[TAPER, TAPER]) == pytest.approx(0.0008, rel=0.01)
    again = 0.1 + 0.9 / 20
    assert math.sqrt(left[0, 0]) == pytest.approx(0.001 * math.sqrt(again), rel=0.05)


@pytest.mark.parametrize(
    ("source", "left"),
    [("ridges at the ends", 1.0), ("rim along the thread", 1.0), ("focal length", 0.236)],
)
def test_turned_end_for_end_a_part_keeps_its_end_and_the_camera_its_lens(source, left) -> None:
    """A chamfered end is the same end however the part lies: turning it takes nothing away."""
    line = BudgetLine(source=source, contributions={"taper": 0.0014})
    pair = []
    for i in range(2):
        budget = (*made.lines(focal=0.0), line)
        m = made.measurement(made.true_values(), budget, i, turned=bool(i))
        pair.append(replace(observe(m, i, m.parts[0], m.parts[0].threads[0]), laying=i))
    u = math.sqrt(effect(pair, adjust(pair), source)[TAPER, TAPER])
    assert u == pytest.approx(0.0014 * left, rel=0.1)


def test_of_the_angles_noise_a_part_is_the_metals_light_and_comes_again() -> None:
    m = made.measurement(made.true_values(), made.lines())
    one = observe(m, 0, m.parts[0], m.parts[0].threads[0])
    light, noise = [t for t in one.terms if t.source == "edge noise"]
    stated = np.array([made.lines()[-1].contributions[k] for k in NAMING_QUANTITIES])
    assert light.shares == pytest.approx(np.sqrt(ANGLE_AGAIN) * stated * (np.arange(6) == 4))
    assert np.hypot(light.shares, noise.shares) == pytest.approx(stated)
    other = replace(light, key="part")
    assert repeats(light, other, unmoved=False) == 1.0
    assert repeats(noise, noise, unmoved=False) == 0.0


@pytest.mark.parametrize(
    ("gender", "source"), [("internal", "shrinkage"), ("external", "beside the budget")]
)
def test_what_a_reading_knows_less_than_its_budget_is_a_term_of_its_own(gender, source) -> None:
    """Of a cast it is the compound's shrinkage; a part that was no cast has none."""
    m = made.measurement(made.true_values(), made.lines())
    thread = m.parts[0].threads[0]
    wider = replace(thread.reading, major_mm=replace(thread.reading.major_mm, u=0.2), gender=gender)
    one = observe(m, 0, m.parts[0], replace(thread, reading=wider))
    (rest,) = [t for t in one.terms if t.source == source]
    assert rest.shares[1] == pytest.approx(math.sqrt(0.2**2 - thread.reading.major_mm.u**2))
    assert np.delete(rest.shares, 1) == pytest.approx(np.zeros(5), abs=1e-6)
    assert math.sqrt(one.covariance()[1, 1]) == pytest.approx(0.2)


def taper_thread(turned: bool, length: float = 16.0):
    """A photo of a taper thread, its diameters stated at the large end, and its own covariance."""
    values, sign = made.true_values(), -1 if turned else 1
    values[TAPER] = 1 / 16
    lens = {k: 0.002 * made.M14[k] for k in LENGTHS} | {"taper": -0.0018 * sign}
    budget = (*made.lines(), BudgetLine(source="principal point along", contributions=lens))
    u, correlation = _stated(budget, sign / 16, length / 2)
    m = made.measurement(values, budget, turned=turned)
    thread = m.parts[0].threads[0]
    reading = replace(
        thread.reading,
        correlation=correlation,
        diameter_station_mm=Quantity(value=length, u=0.5),
        **{k: replace(getattr(thread.reading, k), u=x) for k, x in u.items()},
    )
    return m, replace(thread, reading=reading)


@pytest.mark.parametrize("turned", [False, True])
def test_a_taper_is_observed_at_its_large_end(turned: bool) -> None:
    """What moves its taper moves its diameters there, lens and noise alike."""
    m, thread = taper_thread(turned)
    one = observe(m, 0, m.parts[0], thread)
    assert one.covariance() == pytest.approx(covariance_of(thread.reading), rel=1e-6, abs=1e-12)
    assert not [t for t in one.terms if t.source == "beside the budget"]


@pytest.mark.parametrize("span", [(-5.0, 5.0), (-9.0, 7.0), (-3.0, 3.0)])
@pytest.mark.parametrize("turned", [False, True])
def test_a_taper_read_by_its_crests_is_observed_at_its_large_end(turned: bool, span) -> None:
    """The way to the large end is half the station's for all, whatever end the frame lies at."""
    sign = -1 if turned else 1
    values = made.true_values()
    values[TAPER] = 1 / 16
    lens = {k: 0.002 * made.M14[k] for k in LENGTHS} | {"taper": -0.0018 * sign}
    whole = (*made.lines(), BudgetLine(source="principal point along", contributions=lens))
    hidden = ("pitch_diameter_mm", "minor_mm")
    budget = tuple(
        replace(b, contributions={k: c for k, c in b.contributions.items() if k not in hidden})
        for b in whole
    )
    size = {k: made.M14[k] for k in ("pitch_mm", "major_mm", "angle_deg")} | {"taper": sign / 16}
    shape = SimpleNamespace(span_mm=span, pitch_mm=size["pitch_mm"], quantities=lambda: size)
    m = made.measurement(values, whole, turned=turned)
    reading = crest_reading(shape, budget)
    one = observe(m, 0, m.parts[0], replace(m.parts[0].threads[0], reading=reading, budget=budget))
    assert one.covariance() == pytest.approx(covariance_of(reading), rel=1e-6, abs=1e-12)
    assert not [t for t in one.terms if t.source == "beside the budget"]


def test_two_photos_halve_what_noise_makes_of_a_tapers_large_end() -> None:
    """The way to it had been taken for the part's own, which no photo takes away."""
    pair = []
    for i in range(2):
        m, thread = taper_thread(bool(i))
        pair.append(replace(observe(m, i, m.parts[0], thread), laying=i))
    noise = made.lines()[-1].contributions
    alone = math.hypot(noise["major_mm"], 8.0 * noise["taper"])
    left = effect(pair, adjust(pair), "edge noise")
    assert math.sqrt(left[1, 1]) == pytest.approx(alone / math.sqrt(2), rel=0.05)


@pytest.mark.parametrize("turned", [False, True])
def test_a_taper_counts_from_the_free_end(turned: bool) -> None:
    values = made.true_values()
    values[TAPER] = 1 / 16
    m = made.measurement(values, made.lines(), turned=turned)
    one = observe(m, 0, m.parts[0], m.parts[0].threads[0])
    assert one.values[TAPER] == pytest.approx(1 / 16)
    assert one.oriented


def test_layings_are_told_by_where_the_thread_lies() -> None:
    def at(photo: int, dx: float) -> Observation:
        span = SimpleNamespace(span_px=((100.0 + dx, 100.0), (500.0 + dx, 100.0)))
        return replace(noisy(photo), thread=span)

    near, far = 0.5 * UNMOVED * 400, 2 * UNMOVED * 400
    sizes = [(4000, 3000)] * 4
    found = layings([at(0, 0.0), at(1, near), at(2, far + near), at(3, 0.0)], sizes)
    assert [o.laying for o in found] == [0, 0, 2, 0]
    other = layings([at(0, 0.0), at(1, 0.0)], [(4000, 3000), (2000, 1500)])
    assert [o.laying for o in other] == [0, 1], "another size is another picture"
    unseen = replace(at(1, 0.0), thread=SimpleNamespace(span_px=None))
    assert [o.laying for o in layings([at(0, 0.0), unseen], sizes)] == [0, 1]


# Which is which, and what contradicts.


@pytest.mark.parametrize("gaps", [0.0, 1.0, 4.0])
def test_apart_is_the_mean_square_of_the_gaps_in_u(gaps: float) -> None:
    other = VALUES + gaps * math.sqrt(2) * U
    assert apart(noisy(0), noisy(1, values=other)) == pytest.approx(gaps**2, rel=1e-4, abs=1e-9)


def test_tapers_are_compared_without_their_sign() -> None:
    turned = VALUES.copy()
    turned[TAPER] *= -1
    assert apart(noisy(0), noisy(1, values=turned)) == pytest.approx(0.0, abs=1e-9)


def test_what_measured_nothing_in_common_is_infinitely_apart() -> None:
    first, second = VALUES.copy(), VALUES.copy()
    first[:3], second[3:] = np.nan, np.nan
    assert apart(noisy(0, values=first), noisy(1, values=second)) == np.inf


def test_parts_in_any_order_are_put_to_their_likes() -> None:
    sizes = [VALUES, VALUES * [1.2, 1.3, 1.3, 1.3, 1, 1], VALUES * [0.8, 0.7, 0.7, 0.7, 1, 1]]
    photos = [
        [(noisy(0, values=v),) for v in sizes],
        [(noisy(1, values=sizes[i]),) for i in (2, 0, 1)],
    ]
    parts = match(photos)
    assert len(parts) == 3
    for part in parts:
        (thread,) = part
        assert [o.photo for o in thread] == [0, 1]
        assert thread[0].values == pytest.approx(thread[1].values)


def test_a_part_that_is_not_in_the_other_photo_stays_alone() -> None:
    photos = [
        [(noisy(0),), (noisy(0, values=VALUES * 2),)],
        [(noisy(1),), (noisy(1, values=VALUES * 5),)],
    ]
    assert sorted(len(part[0]) for part in match(photos)) == [1, 2]


def test_a_single_part_is_the_part_however_much_it_differs() -> None:
    ((thread,),) = match([[(noisy(0),)], [(noisy(1, values=VALUES * 2),)]])
    assert len(thread) == 2


@given(st.floats(0.01, 900), st.integers(1, 6))
def test_the_tail_of_chi_square_is_scipys(x: float, freedom: int) -> None:
    assert log_upper(x, freedom) == pytest.approx(float(chi2.logsf(x, freedom)), rel=0.01, abs=0.01)


@pytest.mark.parametrize("freedom", [1, 2, 5])
def test_far_out_the_tail_goes_on_falling(freedom: int) -> None:
    """exp(-x / 2) leads: a hundred more are fifty less."""
    assert log_upper(5000.0, freedom) - log_upper(5100.0, freedom) == pytest.approx(50.0, rel=0.02)


def test_a_gap_is_to_what_the_others_say() -> None:
    found = gap(noisy(0, values=VALUES + 3 * U), [noisy(1), noisy(2)])
    assert found.values == pytest.approx(3 * U)
    assert np.diag(found.covariance) == pytest.approx(U**2 * 1.5, rel=1e-4)
    assert found.log_chance() == pytest.approx(float(chi2.logsf(6 * 9 / 1.5, 6)), rel=1e-3)


def test_what_both_share_is_no_gap_between_them() -> None:
    share = term("size", "pin", 5 * U, together=True, sharing=WHOLE)
    one, other = (seen(i, share, term(key=f"photo {i}")) for i in (0, 1))
    assert np.diag(gap(one, [other]).covariance) == pytest.approx(2 * U**2, rel=1e-3)


def test_one_that_contradicts_three_is_left_out() -> None:
    bad = noisy(2, values=VALUES + 40 * U * np.eye(6)[1])
    found = agreeing([noisy(0), noisy(1), bad, noisy(3)])
    assert [o.photo for o in found.kept] == [0, 1, 3]
    assert not found.open
    ((left, words),) = found.left_out
    assert left.photo == 2
    assert words.startswith("its major diameter is 0.800 mm off the others', ")


def test_two_that_contradict_each_other_accuse_nobody() -> None:
    found = agreeing([noisy(0), noisy(1, values=VALUES + 40 * U)])
    assert found.open
    assert len(found.kept) == 2


def test_photos_that_agree_are_all_kept() -> None:
    rng = np.random.default_rng(4)
    found = agreeing([noisy(i, values=VALUES + U * rng.normal(size=6)) for i in range(5)])
    assert len(found.kept) == 5 and not found.left_out and not found.open


@pytest.mark.parametrize(("share", "word"), [(0.03, "larger"), (-0.03, "smaller")])
def test_a_wrong_scale_is_said_to_be_one(share: float, word: str) -> None:
    one = noisy(0, values=VALUES * np.where(IS_LENGTH, 1 + share, 1.0))
    words = reason(gap(one, [noisy(1), noisy(2)]), one)
    assert words.startswith(f"all its lengths are 3.0 % {word} than by the others")
    assert "its reference has another size than stated" in words


@pytest.mark.parametrize(
    ("place", "said"),
    [
        (2, "its pitch diameter is 0.900 mm off the others'"),
        (4, "its thread angle is 15.0 degrees off the others'"),
        (5, "its taper is 0.0600 off the others'"),
    ],
)
def test_one_quantity_that_contradicts_is_named_with_its_unit(place: int, said: str) -> None:
    one = noisy(0, values=VALUES + 30 * U * np.eye(6)[place])
    assert reason(gap(one, [noisy(1), noisy(2)]), one).startswith(said)


def test_an_unknown_quantity_is_no_gap() -> None:
    found = Gap(values=np.where(np.arange(6) == 3, np.nan, 0.0), covariance=np.diag(U**2))
    assert found.known.tolist() == [0, 1, 2, 4, 5]
    assert found.log_chance() == pytest.approx(0.0)


def test_turns_of_a_picture_are_the_eight_of_a_square() -> None:
    every = {np.array(t).tobytes() for t in TURNS}
    assert len(every) == 8
    for t in TURNS:
        assert abs(np.linalg.det(np.array(t))) == pytest.approx(1.0)
        assert np.abs(np.array(t)).sum() == 2


# What a thread tells of its scale.


def reading() -> ThreadReading:
    q = [Quantity(value=float(v), u=float(u)) for v, u in zip(VALUES, U, strict=True)]
    return ThreadReading(
        correlation={("pitch_mm", "major_mm"): 0.4, ("angle_deg", "taper"): -0.2},
        **dict(zip(NAMING_QUANTITIES, q, strict=True)),
    )


def test_a_readings_covariance_there_and_back() -> None:
    c = covariance_of(reading())
    assert np.sqrt(np.diag(c)) == pytest.approx(U)
    assert c[0, 1] == pytest.approx(0.4 * U[0] * U[1])
    assert c[5, 4] == pytest.approx(-0.2 * U[4] * U[5])
    again = with_covariance(reading(), c, 1.0)
    assert covariance_of(again) == pytest.approx(c, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize("factor", [0.98, 1.05])
def test_a_factor_makes_lengths_longer_and_no_angle(factor: float) -> None:
    longer = with_covariance(reading(), covariance_of(reading()), factor)
    for k, is_length in zip(NAMING_QUANTITIES, IS_LENGTH, strict=True):
        by = factor if is_length else 1.0
        before = getattr(reading(), k)
        after = getattr(longer, k)
        assert (after.value, after.u) == pytest.approx((before.value * by, before.u * by))
    assert longer.correlation[("pitch_mm", "major_mm")] == pytest.approx(0.4)


def left_of(line, left):
    return with_scale_left(line, dict.fromkeys(LENGTHS, left))


@pytest.mark.parametrize("left", [0.0, 0.5, 1.0])
def test_less_doubt_of_the_scale_takes_its_square_away(left: float) -> None:
    own = {
        k: 0.002 * v for k, v in zip(NAMING_QUANTITIES, VALUES, strict=True) if k.endswith("_mm")
    }
    line = BudgetLine(source="x", contributions=own, of_scale=True)
    both = [line, replace(line, of_scale=False)]
    taken = scale_share(both, [left_of(one, left) for one in both], 1, reading())
    c = 0.002 * VALUES * IS_LENGTH
    assert taken == pytest.approx((left**2 - 1) * np.outer(c, c))


def test_a_turned_taper_turns_its_correlation() -> None:
    line = BudgetLine(source="x", contributions={"pitch_mm": 0.01, "taper": 0.002}, of_scale=True)
    one, other = (scale_share([line], [left_of(line, 0.0)], s, reading()) for s in (1, -1))
    assert other[5, 5] == one[5, 5] == pytest.approx(0.0), "a taper keeps its share"
    assert other[0, 5] == -one[0, 5] == pytest.approx(-0.01 * 0.002 + 2 * 0.01 * 0.002)


def test_peaks_of_a_density_are_its_normal_distributions() -> None:
    s = np.linspace(-0.02, 0.02, 401)
    density = 0.7 * np.exp(-0.5 * ((s + 0.008) / 0.001) ** 2) + 0.3 * np.exp(
        -0.5 * ((s - 0.006) / 0.002) ** 2
    )
    found = peaks(s, density, 0.01)
    assert found is not None and found.floor == 0.01
    assert found.mean == pytest.approx([-0.008, 0.006], abs=1e-4)
    assert found.u == pytest.approx([0.001, 0.002], rel=0.02)
    root = math.sqrt(2 * math.pi)
    assert found.weight == pytest.approx([0.7 * 0.001 * root, 0.3 * 0.002 * root], rel=0.01)
    assert peaks(s, 0 * s, 0.01) is None
