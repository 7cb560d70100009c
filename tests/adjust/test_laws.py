"""Several photos' adjustment by its laws: signs, stations, sorts and tails, by construction."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import chi2

from pitchcam.adjust.combine import _reading, at_one_station, combine, oriented
from pitchcam.adjust.disagree import agreeing, gap, log_upper
from pitchcam.adjust.observed import _at_large_end, _term, layings
from pitchcam.adjust.out_of_round import note
from pitchcam.adjust.system import Adjusted, adjust
from pitchcam.adjust.told import peaks, thread_tells
from pitchcam.records import BudgetLine, Quantity, ThreadReading
from tests.adjust import made
from tests.adjust.test_system import VALUES, U, noisy, seen, term

PITCH, MAJOR, TAPER = 0, 1, 5


def test_a_taper_that_loses_its_sign_turns_its_correlations() -> None:
    """What makes the pitch larger and a taper of -0.003 less steep makes its size smaller."""
    covariance = np.diag(U**2)
    covariance[PITCH, TAPER] = covariance[TAPER, PITCH] = 0.6 * U[PITCH] * U[TAPER]
    values = VALUES.copy()
    kept = [replace(noisy(0), thread=SimpleNamespace(reading=ThreadReading()))]
    for taper, r in ((0.003, 0.6), (-0.003, -0.6)):
        values[TAPER] = taper
        adjusted = Adjusted(values=values, covariance=covariance, gain=np.zeros((6, 1, 6)))
        told = _reading(adjusted, kept)
        assert told.taper is not None and told.taper.value == 0.003
        assert told.correlation[("pitch_mm", "taper")] == pytest.approx(r)
        assert told.correlation[("pitch_mm", "major_mm")] == pytest.approx(0.0)


def at_station(photo: int, values: np.ndarray, station: float | None, u: float = 0.1):
    held = None if station is None else Quantity(value=station, u=u)
    reading = ThreadReading(diameter_station_mm=held)
    own = term(key=f"photo {photo}", shares=0.1 * U)
    share = 0.005 * (1 + photo)
    scale = term("scale", f"photo {photo}", share * VALUES * (np.arange(6) < 4), together=True)
    one = replace(seen(photo, own, scale, values=values), exposure=photo)
    return replace(one, thread=SimpleNamespace(reading=reading))


def test_a_tapers_photos_are_compared_at_one_place_of_it() -> None:
    """1 : 16, seen 6 mm farther up in one: its diameters are larger there by 0.375 mm."""
    values = np.array([1.814, 20.0, 19.0, 18.0, 60.0, 1 / 16])
    farther = values + 6.0 / 16 * np.array([0.0, 1.0, 1.0, 1.0, 0.0, 0.0])
    one, other = at_one_station([at_station(0, values, 10.0), at_station(1, farther, 16.0)])
    assert one.values == pytest.approx(values)
    assert other.values == pytest.approx(values)
    # Where a station is not known nothing is moved.
    still = at_one_station([at_station(0, values, 10.0), at_station(1, farther, None)])
    assert still[1].values == pytest.approx(farther)


def test_of_tapers_whose_end_is_not_told_the_best_known_is_kept() -> None:
    poor, good = (replace(noisy(i, by), oriented=False) for i, by in ((0, 3.0), (1, 1.0)))
    kept = oriented([poor, good])
    assert [bool(o.measured[TAPER]) for o in kept] == [False, True]


def test_what_moves_two_quantities_against_each_other_does_so_in_the_answer() -> None:
    line = BudgetLine(
        source="inclination of the part", contributions={"pitch_mm": 0.002, "angle_deg": -0.3}
    )
    budget = (*made.lines(), line)
    told = combine([made.measurement(made.true_values(), budget, i) for i in range(2)])
    (left,) = [x for x in told.parts[0].threads[0].budget if x.source == line.source]
    assert left.contributions["pitch_mm"] * left.contributions["angle_deg"] < 0
    # Half of its variance comes again with the part, half is each photo's own.
    assert abs(left.contributions["pitch_mm"]) == pytest.approx(0.002 * math.sqrt(0.75), rel=0.01)


def test_photos_that_contradict_list_their_candidates_by_what_all_of_them_say() -> None:
    """Each photo has one voice: all together hold no more than one."""
    wrong = made.true_values() * np.where(np.arange(6) < 4, 1.25 / 1.5, 1.0)
    photos = [made.measurement(made.true_values(), made.lines(), 0, named=True)]
    photos.append(made.measurement(wrong, made.lines(), 1, named=True))
    together = combine(photos)
    assert together.open
    told = [c.probability for c in together.parts[0].threads[0].verdict.candidates]
    assert len(told) >= 2 and told == sorted(told, reverse=True)
    assert sum(told) <= 1.0 + 1e-9


@pytest.mark.parametrize("taper", [1 / 16, -1 / 16])
def test_a_tapers_error_moves_its_large_end_out_wherever_that_lies(taper: float) -> None:
    """Diameters are known in mid-thread: at the large end of 12 mm, half of it away.

    A taper of less than none that errs by more is less steep, and its large end is smaller.
    """
    only = term(shares=0.001 * np.eye(6)[TAPER], together=True)
    reading = ThreadReading(diameter_station_mm=Quantity(value=12.0, u=0.1))
    (moved,) = _at_large_end(only, reading, taper)
    expected = np.sign(taper) * 0.001 * 6.0
    assert moved.shares == pytest.approx([0, expected, expected, expected, 0, 0.001])


def test_an_input_that_turns_with_the_part_leaves_the_taper_and_turns_all_else() -> None:
    measured = made.measurement(made.true_values(), made.lines(), 0)
    line = BudgetLine(
        source="inclination of the part", contributions={"pitch_mm": 0.002, "taper": 0.001}
    )
    there, back = (_term(measured, 0, line, out).shares for out in (1.0, -1.0))
    assert there[[PITCH, TAPER]] == pytest.approx([0.002, 0.001])
    assert back[[PITCH, TAPER]] == pytest.approx([-0.002, 0.001])


def test_a_span_told_from_its_other_end_is_the_same_laying() -> None:
    one, other = noisy(0), noisy(1)
    back = SimpleNamespace(span_px=other.thread.span_px[::-1])
    laid = layings([one, replace(other, thread=back)], ["size", "size"])
    assert laid[0].laying == laid[1].laying


def test_two_sides_differ_by_twice_what_one_is_off() -> None:
    assert "by about 0.10 mm" in note(0.05)


@pytest.mark.parametrize(("chance", "kept"), [(5e-4, 5), (5e-5, 4)])
def test_of_many_photos_the_worst_may_be_as_rare_as_their_number_makes_it(chance, kept) -> None:
    """One in a thousand is met in five photos five times as often."""
    # The others' mean has a fourth of a photo's variance.
    off = math.sqrt(float(chi2.isf(chance, 6)) * 1.25)
    bad = noisy(4, values=VALUES + off * U * np.eye(6)[MAJOR])
    assert len(agreeing([*(noisy(i) for i in range(4)), bad]).kept) == kept


def test_a_gap_of_which_one_share_was_fitted_has_one_freedom_less() -> None:
    found = gap(noisy(0, values=VALUES + 3 * U), [noisy(1), noisy(2)])
    square = 6 * 9 / 1.5
    assert found.log_chance(lost=1) == pytest.approx(float(chi2.logsf(square, 5)), rel=1e-3)


@pytest.mark.parametrize(
    ("freedom", "exact"), [(2, lambda h: -h), (4, lambda h: math.log1p(h) - h)]
)
def test_the_tail_of_an_even_number_of_freedoms_is_a_sum(freedom, exact) -> None:
    """e^(-x/2) times the sum of (x/2)^k / k! (Abramowitz and Stegun, 26.4.21)."""
    for x in (1200.0, 6000.0):
        assert log_upper(x, freedom) == pytest.approx(exact(x / 2), abs=0.01)


def test_a_peak_of_one_step_is_as_wide_as_the_step() -> None:
    """All that is known of its place: an even distribution, by root 12."""
    s = np.linspace(-0.02, 0.02, 41)
    density = np.zeros(41)
    density[17] = 1.0
    told = peaks(s, density, 0.0)
    assert told is not None
    assert told.u == pytest.approx([0.001 / math.sqrt(12)])


def test_a_thread_that_no_series_has_at_any_scale_tells_nothing_of_it() -> None:
    """Lengths of no series are as likely at every scale: what is left of all is none."""
    odd = ThreadReading(
        pitch_mm=Quantity(value=3.0, u=0.003),
        major_mm=Quantity(value=10.0, u=0.01),
        angle_deg=Quantity(value=75.0, u=0.3),
    )
    line = BudgetLine(
        source="scale of the reference",
        of_scale=True,
        contributions={"pitch_mm": 0.0001, "major_mm": 0.0003},
    )
    told = thread_tells(odd, (line,), 1, 0.05)
    assert told is None or told.weight.sum() < 1e-3 * told.floor


def test_which_crest_is_a_tapers_first_is_not_known_to_the_same_place_in_every_photo() -> None:
    """A station read 3 mm off moves a taper's diameters, not the scale of its photo with them.

    Scale is most of each photo's u, so that pitch and diameters err together.
    """
    values = np.array([1.814, 20.0, 19.0, 18.0, 60.0, 1 / 16])
    misplaced = values - 3.0 / 16 * np.array([0.0, 1.0, 1.0, 1.0, 0.0, 0.0])
    photos = [at_station(0, values, 10.0, u=2.0), at_station(1, misplaced, 10.0, u=2.0)]
    assert adjust(at_one_station(photos)).values[PITCH] == pytest.approx(1.814, abs=0.0001)
    # With the stations' own u left out the pitch goes with the diameters, farther than either.
    assert adjust(photos).values[PITCH] > 1.814 + 0.003


def test_diameters_are_stated_where_the_best_known_station_lies() -> None:
    """Whatever photo comes first, and whichever is left out."""
    values = np.array([1.814, 20.0, 19.0, 18.0, 60.0, 1 / 16])
    photos = [at_station(0, values, 10.0, u=2.0), at_station(1, values, 12.0, u=0.5)]
    moved = at_one_station(photos)
    assert moved[0].values[1] == pytest.approx(20.0 + 2.0 / 16)
    assert moved[1].values == pytest.approx(values) and moved[1].terms == photos[1].terms
    own = moved[0].covariance() - photos[0].covariance()
    assert own[1, 1] == pytest.approx((2.0**2 + 0.5**2) / 16**2)
    assert own[1, 2] == pytest.approx(own[1, 1]) and own[PITCH, PITCH] == 0.0
    reading = _reading(adjust(moved), moved)
    assert reading.diameter_station_mm == Quantity(value=12.0, u=0.5)


def test_two_references_of_one_exposure_misplace_a_tapers_diameters_alike() -> None:
    """The same crest is the first whichever scale it is seen in: nothing is new in the second."""
    values = np.array([1.814, 20.0, 19.0, 18.0, 60.0, 1 / 16])
    photos = [at_station(i, values, 10.0, u=2.0) for i in range(2)]
    one, other = at_one_station([replace(o, exposure=0) for o in photos])
    assert one.terms == photos[0].terms and other.terms == photos[1].terms
