"""From what was typed to a verdict: what each field becomes, and what is said when."""

import dataclasses
from typing import Any

import numpy as np
import pytest

from pitchcam.errors import ReadingError
from pitchcam.match.by_hand import (
    LISTED,
    SAID,
    U_STATION_MM,
    _ranked,
    _slip,
    name_readings,
    to_hand,
)
from pitchcam.match.hand import HandReadings, factors, off_series
from pitchcam.match.hand_posterior import SOUND, HandPosterior, hand_posterior
from pitchcam.match.naming import NAMED, NAMED_BY_READING
from pitchcam.match.population import MAJOR, MINOR, population
from pitchcam.match.readings import Typed, gender_of, to_reading, u_diameter
from pitchcam.match.slips import slip_shares
from pitchcam.series import find
from pitchcam.series.gauges import parse_leaf


def typed(gauge: str | None = None, **values: Any) -> Typed:
    return Typed(leaf=None if gauge is None else parse_leaf(gauge), **values)


def test_one_diameter_is_the_one_that_was_typed() -> None:
    read = to_hand(typed("1.5mm", diameter_mm=13.8))
    assert (read.gender, read.quantity) == ("external", MAJOR)
    assert read.diameter_mm == pytest.approx([13.8]) and read.pitch_mm == pytest.approx([1.5])
    assert read.change_mm is None and read.apart_mm == 0.0
    assert read.angle_deg is None and read.form is None and read.station_mm is None
    # A hand's own uncertainties: caliper 0.03 mm, leaf half a percent, form gauge 0.85 degree.
    assert (read.u_diameter_mm, read.u_gauge, read.u_angle_deg) == (0.03, 0.005, 0.85)


def test_a_bore_is_the_minor_diameter_of_a_port() -> None:
    read = to_hand(typed("1.5mm", bore_mm=12.5))
    assert (read.gender, read.quantity, read.u_diameter_mm) == ("internal", MINOR, 0.05)


def test_a_cast_is_the_major_diameter_of_a_port() -> None:
    read = to_hand(typed("1.5mm", diameter_mm=14.1, cast=True))
    assert (read.gender, read.quantity, read.u_diameter_mm) == ("internal", MAJOR, 0.03)


def test_a_leaf_alone_leaves_the_diameter_out() -> None:
    read = to_hand(typed("19tpi"))
    assert read.diameter_mm is None and read.change_mm is None


@pytest.mark.parametrize(
    ("first", "second", "middle", "change"), [(20.4, 20.9, 20.65, 0.5), (20.9, 20.4, 20.65, -0.5)]
)
def test_two_diameters_are_their_mean_and_their_change(
    first: float, second: float, middle: float, change: float
) -> None:
    read = to_hand(typed("14tpi", diameter_mm=first, second_mm=second, apart_mm=8.0))
    assert read.diameter_mm == pytest.approx([middle])
    assert read.change_mm == pytest.approx([change]) and read.apart_mm == 8.0


@pytest.mark.parametrize(
    ("second", "station", "place"),
    # The mean lies half the distance on, toward the larger; never before the small end.
    [(20.9, 2.0, 6.0), (20.1, 9.0, 5.0), (20.1, 2.0, 4.0)],
)
def test_a_stated_place_moves_to_the_mean(second: float, station: float, place: float) -> None:
    read = to_hand(
        typed("14tpi", diameter_mm=20.4, second_mm=second, apart_mm=8.0, station_mm=station)
    )
    assert read.station_mm is not None
    assert (read.station_mm.value, read.station_mm.u) == pytest.approx((place, U_STATION_MM))


def test_a_stated_place_of_one_diameter_stays() -> None:
    read = to_hand(typed("14tpi", diameter_mm=20.4, station_mm=2.0))
    assert read.station_mm is not None and read.station_mm.value == 2.0


def test_stated_uncertainties_go_before_a_hands_own() -> None:
    own = {"u_diameter_mm": 0.1, "u_gauge": 0.01, "u_angle_deg": 2.0}
    read = to_hand(typed("1.5mm", diameter_mm=13.8, angle_deg=60.0, **own))
    assert (read.u_diameter_mm, read.u_gauge, read.u_angle_deg) == (0.1, 0.01, 2.0)
    assert read.angle_deg == pytest.approx([60.0])


@pytest.mark.parametrize(
    ("values", "gender", "u"),
    [
        ({"diameter_mm": 13.8}, "external", 0.03),
        ({"bore_mm": 12.5}, "internal", 0.05),
        ({"diameter_mm": 14.0, "cast": True}, "internal", 0.03),
        ({"bore_mm": 12.5, "u_diameter_mm": 0.2}, "internal", 0.2),
    ],
)
def test_gender_and_instrument(values: dict[str, Any], gender: str, u: float) -> None:
    assert gender_of(typed(**values)) == gender and u_diameter(typed(**values)) == u


def refused(reading: Typed) -> tuple[str, str]:
    with pytest.raises(ReadingError) as caught:
        to_reading(reading)
    return caught.value.message, caught.value.advice


@pytest.mark.parametrize(
    ("reading", "message", "advice"),
    [
        (
            typed(diameter_mm=13.8, bore_mm=12.0),
            "a thread is read outside or inside, not both.",
            "Give --diameter, or --bore.",
        ),
        (
            typed(angle_deg=55.0),
            "neither a diameter nor a pitch was given.",
            "Give --diameter or --bore, and --gauge.",
        ),
        (
            typed("1.5mm", second_mm=14.0, apart_mm=5.0),
            "two diameters need their distance.",
            "Give it with --apart.",
        ),
        (
            typed(diameter_mm=13.8, second_mm=14.0, apart_mm=0.9),
            "0.9 mm between two diameters tells no taper.",
            "Measure at places at least three turns apart.",
        ),
        (
            typed(diameter_mm=13.8, second_mm=15.2, apart_mm=5.0),
            "13.8 and 15.2 mm, 5 mm apart, are steeper than any taper thread.",
            "Read both diameters and their distance again.",
        ),
        (
            typed("5mm", diameter_mm=13.8),
            "a pitch of 5 mm cannot be on a diameter of 13.8 mm.",
            "Read both again.",
        ),
        (
            typed("14tpi", diameter_mm=0.875),
            "a pitch of 1.81 mm cannot be on a diameter of 0.875 mm.",
            "Read both again. If the diameter is in inches write 0.875in.",
        ),
        (
            typed(diameter_mm=0.5),
            "0.5 mm is smaller than any thread here.",
            "If the reading is in inches write 0.5in.",
        ),
        (
            typed("14tpi", diameter_mm=1.5),
            "a pitch of 1.81 mm cannot be on a diameter of 1.5 mm.",
            "Read both again. If the diameter is in inches write 1.5in.",
        ),
        (
            typed("1.5mm", diameter_mm=13.8, angle_deg=15.0),
            "15 is not the angle between a thread's flanks.",
            "Form gauges have 47.5, 55, 60 or 80 degrees.",
        ),
        (
            typed("1.5mm", diameter_mm=13.8, angle_deg=121.0),
            "121 is not the angle between a thread's flanks.",
            "Form gauges have 47.5, 55, 60 or 80 degrees.",
        ),
        (typed(diameter_mm=float("inf")), "inf is not a diameter.", "Read the caliper again."),
        (
            typed(diameter_mm=13.8, second_mm=-1.0, apart_mm=5.0),
            "-1 is not a diameter.",
            "Read the caliper again.",
        ),
    ],
    ids=lambda v: v[:30] if isinstance(v, str) else "",
)
def test_what_cannot_be_says_what_to_do(reading: Typed, message: str, advice: str) -> None:
    assert refused(reading) == (message, advice)


def test_a_diameter_too_large_may_be_mm_typed_as_inches() -> None:
    message, advice = refused(typed(diameter_mm=13.8 * 25.4))
    assert "is larger than any thread here (" in message
    assert advice == "Read the caliper again. If 13.8 mm was meant write 13.8mm."
    # 400 mm is no round number of inches.
    assert refused(typed(diameter_mm=400.0))[1] == "Read the caliper again."


@pytest.mark.parametrize(
    ("reading", "ok"),
    [
        # Limits themselves are allowed.
        (typed("1.5mm", diameter_mm=13.8, angle_deg=20.0), True),
        (typed("1.5mm", diameter_mm=13.8, angle_deg=120.0), True),
        (typed(diameter_mm=13.8, second_mm=13.8, apart_mm=1.0), True),
        (typed(diameter_mm=13.0, second_mm=14.25, apart_mm=5.0), True),
        (typed("1.5mm", diameter_mm=5.0), True),
        (typed("1.5mm", diameter_mm=4.99), False),
    ],
    ids=["20 deg", "120 deg", "1 mm apart", "1 in 4", "0.3 d", "over 0.3 d"],
)
def test_the_bounds_of_what_can_be(reading: Typed, ok: bool) -> None:
    if ok:
        assert to_reading(reading).gender == "external"
    else:
        refused(reading)


def test_a_reading_is_as_good_as_its_instruments() -> None:
    reading = to_reading(typed("1.5mm", diameter_mm=13.8, angle_deg=60.0, station_mm=3.0))
    held = reading.pitch_mm, reading.major_mm, reading.angle_deg, reading.diameter_station_mm
    assert [(q.value, q.u) for q in held if q is not None] == [
        (1.5, 0.0075),
        (13.8, 0.03),
        (60.0, 0.85),
        (3.0, 0.5),
    ]
    assert reading.minor_mm is None and reading.taper is None


def test_inside_a_taper_leans_the_other_way() -> None:
    outside = to_reading(typed(diameter_mm=20.4, second_mm=20.9, apart_mm=8.0))
    inside = to_reading(typed(bore_mm=18.9, second_mm=18.4, apart_mm=8.0))
    assert outside.correlation["major_mm", "taper"] < 0 < inside.correlation["minor_mm", "taper"]
    assert outside.taper is not None and inside.taper is not None
    assert outside.taper.value == pytest.approx(inside.taper.value) == pytest.approx(1 / 16)


# The model of a hand: each factor by itself.


def shares_of(read: HandReadings, designation: str) -> list[dict[str, float]]:
    """Return of each factor the density of a careful hand and of each slip for one size."""
    parts = population(read.gender)
    at = parts.sizes.index(find(designation))
    held = []
    for f in factors(read, parts):
        rows = {"careful": f.careful, **f.slips}
        held.append({k: float(np.broadcast_to(v, f.total.shape)[0, at]) for k, v in rows.items()})
    return held


def test_each_kind_of_reading_is_one_factor() -> None:
    full = to_hand(
        typed("14tpi", diameter_mm=20.4, second_mm=20.9, apart_mm=8.0, angle_deg=55.0, form="taper")
    )
    assert len(factors(full, population("external"))) == 5
    for n, values in (
        (1, {}),
        (2, {"diameter_mm": 20.4}),
        (2, {"form": "unsure", "diameter_mm": 20}),
    ):
        assert len(factors(to_hand(typed("14tpi", **values)), population("external"))) == n


@pytest.mark.parametrize(
    ("form", "designation", "careful", "slip"),
    # Shares of slips.csv: a taper thread is called parallel twice in a hundred, the reverse once.
    [
        ("parallel", "G 1/2", 0.99, 0.0),
        ("parallel", "R 1/2", 0.0, 0.02),
        ("taper", "R 1/2", 0.98, 0.0),
        ("taper", "G 1/2", 0.0, 0.01),
    ],
)
def test_the_eyes_word_for_the_form(
    form: str, designation: str, careful: float, slip: float
) -> None:
    read = to_hand(typed("14tpi", form=form))
    *_, held = shares_of(read, designation)
    assert held == {"careful": careful, f"form-{form}": slip}


def test_a_change_is_that_of_the_taper_or_of_the_taper_turned() -> None:
    read = to_hand(typed("14tpi", diameter_mm=20.4, second_mm=20.9, apart_mm=8.0))
    *_, taper = shares_of(read, "R 1/2")
    *_, parallel = shares_of(read, "G 1/2")
    assert taper["careful"] > 50 * taper["order"] and taper["careful"] > 50 * parallel["careful"]
    turned = dataclasses.replace(read, change_mm=-read.change_mm)
    *_, back = shares_of(turned, "R 1/2")
    order, any_ = slip_shares()["order"], slip_shares()["second-any"]
    ratio = order / (1 - order - any_)
    assert back["order"] == pytest.approx(ratio * taper["careful"])
    assert back["careful"] == pytest.approx(taper["order"] / ratio)
    # A second diameter that was misread lies anywhere within 2 mm.
    assert taper["second-any"] == back["second-any"] == pytest.approx(any_ / 4)


def test_inside_the_first_bore_is_the_larger() -> None:
    deep = to_hand(typed("14tpi", bore_mm=18.9, second_mm=18.4, apart_mm=8.0))
    *_, held = shares_of(deep, "Rc 1/2")
    assert held["careful"] > 50 * held["order"]


def test_a_diameter_may_be_in_inches_where_it_is_small() -> None:
    small = to_hand(typed("14tpi", diameter_mm=0.875 * 1.4))
    assert "diameter-unit" in shares_of(dataclasses.replace(small), "7/8-14 UNF")[1]
    large = to_hand(typed("14tpi", diameter_mm=5.0))
    assert "diameter-unit" not in shares_of(large, "7/8-14 UNF")[1]
    # 0.87 in read as mm speaks for 7/8-14 with the density of the inch.
    inch = dataclasses.replace(small, diameter_mm=np.array([0.87]))
    held = shares_of(inch, "7/8-14 UNF")[1]
    assert held["diameter-unit"] > 0 and held["careful"] == 0.0


def test_an_angle_that_slipped_is_that_of_another_gauge() -> None:
    at = {
        d: shares_of(to_hand(typed("14tpi", angle_deg=d)), "G 1/2")[1] for d in (55.0, 60.0, 70.0)
    }
    share = slip_shares()["angle-any"]
    assert at[55.0]["careful"] > 100 * at[60.0]["careful"]
    assert at[60.0]["angle-any"] == pytest.approx(at[55.0]["angle-any"], rel=1e-6)
    # Off all gauges one slip in ten is left, even over 20 to 120 degrees.
    assert at[70.0]["angle-any"] == pytest.approx(share * 0.1 / 100, rel=1e-6)


def test_careful_and_slipped_make_up_the_whole_of_a_diameter() -> None:
    shares = slip_shares()
    grid = np.linspace(13.0, 14.3, 261)
    read = dataclasses.replace(to_hand(typed(diameter_mm=14.0)), diameter_mm=grid)
    parts = population("external")
    [factor] = factors(read, parts)
    at = parts.sizes.index(find("M14x1.5"))
    step = grid[1] - grid[0]
    assert factor.slips["worn"][:, at].sum() * step == pytest.approx(shares["worn"], rel=0.02)
    careful = float(factor.careful[:, at].sum() * step)
    assert careful == pytest.approx(1 - sum(shares[k] for k in factor.slips), rel=0.01)
    # Any other diameter: even by its logarithm between 0.7 and 120 mm.
    any_ = factor.slips["diameter-any"][:, at]
    assert any_ == pytest.approx(shares["diameter-any"] / (grid * np.log(120 / 0.7)))


@pytest.mark.parametrize(
    ("mm", "worn"),
    # ISO 965-2, M14x1.5: 13.593 in the widest class; crests worn by up to a quarter of the pitch.
    [(13.85, False), (13.40, True), (13.30, True)],
)
def test_low_crests_speak_for_wear(mm: float, worn: bool) -> None:
    held = shares_of(to_hand(typed("1.5mm", diameter_mm=mm)), "M14x1.5")[1]
    share = slip_shares()["worn"]
    assert (held["worn"] / share > 3 * held["careful"]) == worn


def test_a_thread_of_no_series_has_any_reading() -> None:
    base = to_hand(typed("1.5mm", diameter_mm=14.0))
    alone = off_series(dataclasses.replace(base, pitch_mm=None))
    # Even by its logarithm between 0.7 and 120 mm.
    assert alone == pytest.approx([1 / (14.0 * np.log(120 / 0.7))])
    assert off_series(base)[0] < alone[0]
    for form, share in (("parallel", 0.5), ("taper", 0.5), ("unsure", 1.0)):
        said = off_series(dataclasses.replace(base, form=form))
        assert said == pytest.approx(share * off_series(base))
    two = dataclasses.replace(base, change_mm=np.array([0.3]), apart_mm=8.0)
    assert off_series(two) == pytest.approx(off_series(base) / 4)
    near, far = (
        off_series(dataclasses.replace(base, angle_deg=np.array([a])))[0] for a in (57.0, 90.0)
    )
    assert near > 10 * far


def made(probability: float, flat: float, sound: float) -> HandPosterior:
    sizes = (find("M14x1.5"), find("M14x1.25"))
    rest = np.array([[probability, 1 - probability]])
    return HandPosterior(
        sizes=sizes,
        probability=rest,
        flat=np.array([[flat, 1 - flat]]),
        sound=np.array([[sound, 1.0]]),
        slips={},
        off_series=np.zeros(1),
    )


@pytest.mark.parametrize(
    ("probability", "flat", "sound", "named"),
    [
        (NAMED, NAMED_BY_READING, SOUND, 0),
        (NAMED - 1e-6, 1.0, 1.0, -1),
        (1.0, NAMED_BY_READING - 1e-6, 1.0, -1),
        (1.0, 1.0, SOUND - 1e-6, -1),
        (0.02, 0.02, 0.0, 1),
    ],
)
def test_a_name_wants_all_three(probability: float, flat: float, sound: float, named: int) -> None:
    assert made(probability, flat, sound).names().tolist() == [named]


def test_a_posterior_is_whole() -> None:
    after = hand_posterior(to_hand(typed("14tpi", diameter_mm=20.7)))
    assert after.probability.sum() + after.off_series[0] == pytest.approx(1.0)
    assert len({s.geometry for s in after.sizes}) == len(after.sizes)
    for share in after.slips.values():
        assert np.all((share >= 0) & (share <= 1))
    assert np.all((after.sound >= 0) & (after.sound <= 1 + 1e-12))


# What is said.


def test_a_name_has_its_standard_twins_and_seat() -> None:
    verdict = name_readings(typed("20tpi", diameter_mm=12.62, form="parallel", angle_deg=60.0))
    assert (verdict.status, verdict.designation) == ("named", "1/2-20 UNF")
    assert verdict.standard == "ASME B1.1"
    assert "1/2-20 BSC" in verdict.same_geometry
    assert (verdict.next_step or "").startswith("One size serves several uses")
    assert verdict.candidates[0].designation == "1/2-20 UNF"
    assert verdict.candidates[0].probability == pytest.approx(verdict.probability)


def test_candidates_are_listed_until_nearly_all_is_held() -> None:
    verdict = name_readings(typed("14tpi", diameter_mm=20.7))
    listed = [c.probability for c in verdict.candidates]
    assert listed == sorted(listed, reverse=True)
    assert sum(listed) >= LISTED * 0.9
    assert sum(listed[:-1]) < LISTED or listed[-1] >= 0.002


def test_no_series_says_what_is_nearest() -> None:
    # 90 degrees, 27 threads to the inch and a taper of 1 in 4: each reading betrays no thread here.
    verdict = name_readings(
        typed("27tpi", diameter_mm=100.0, second_mm=101.9, apart_mm=8.0, angle_deg=90.0)
    )
    assert verdict.status == "off-series" and verdict.designation is None
    assert verdict.next_step == (
        "Read it all once more. If the readings stand, no series here has this thread: nearest are "
        + ", ".join(c.designation for c in verdict.candidates[:3])
        + "."
    )


def test_readings_of_no_series_are_first_read_again() -> None:
    # 27 threads to the inch on 52 mm: careful readings of no thread, or one of several slips.
    verdict = name_readings(typed("27tpi", diameter_mm=52.0))
    assert verdict.status == "ambiguous" and sum(c.probability for c in verdict.candidates) < 0.5
    assert verdict.next_step == (
        "Read it all once more: together the readings are those of no series here."
    )


def test_a_pair_read_from_the_large_end_says_which_is_smaller() -> None:
    outside = name_readings(
        typed("19tpi", diameter_mm=16.69, second_mm=16.34, apart_mm=6.0, angle_deg=55.0)
    )
    assert outside.notes == (
        "Taken as read from the large end: the second diameter is the smaller.",
    )
    inside = name_readings(typed("14tpi", bore_mm=18.3, second_mm=18.8, apart_mm=8.0))
    assert inside.notes == ("Taken as read from the large end: the first diameter is the smaller.",)
    right = name_readings(
        typed("19tpi", diameter_mm=16.34, second_mm=16.69, apart_mm=6.0, angle_deg=55.0)
    )
    assert right.notes == () and right.designation == outside.designation == "R 3/8"


def test_what_leads_by_the_prior_alone_is_no_name_and_says_so() -> None:
    read = typed("14tpi", diameter_mm=20.8, second_mm=20.81, apart_mm=10.0)
    verdict = name_readings(read, priors={"G 1/2": 1e6})
    assert verdict.status == "ambiguous"
    assert any(n.startswith("G 1/2 leads by how common it is said to be") for n in verdict.notes)
    assert any(n.endswith(", which is no name.") for n in verdict.notes)
    # Without that prior it is as open, and nothing is said of priors.
    plain = name_readings(read, priors={})
    assert plain.status == "ambiguous"
    assert not any("how common" in n for n in plain.notes)


def test_a_slip_that_competes_is_asked_for() -> None:
    # A leaf of 1.75 mm on 14 mm: every other reading is of M14x1.5.
    verdict = name_readings(typed("1.75mm", diameter_mm=13.85, angle_deg=60.0, form="parallel"))
    assert verdict.status == "ambiguous"
    assert (verdict.next_step or "").startswith("Hold the leaf again: the rest fits M14x")
    # A word of the eye that two diameters and the gauge contradict is no reason to ask.
    against = typed(
        "14tpi", diameter_mm=20.8, second_mm=20.8, apart_mm=10.0, angle_deg=55.0, form="taper"
    )
    said = name_readings(against)
    assert "it is called taper, but G 1/2, which is parallel" in (said.next_step or "")


def test_of_several_slips_the_one_with_most_is_said_and_a_turned_pair_is_none() -> None:
    after = dataclasses.replace(
        made(0.6, 0.6, 0.5),
        slips={
            "worn": np.array([[0.3, 0.2]]),
            "leaf-any": np.array([[0.1, 0.9]]),
            "second-any": np.array([[0.05, 0.1]]),
            "order": np.array([[0.95, 0.95]]),
        },
    )
    found = _slip(after)
    assert found is not None and found.name == "leaf-any"
    assert found.chance == pytest.approx(0.6 * 0.1 + 0.4 * 0.9)
    # It speaks for the size to which it gives most.
    assert found.size is after.sizes[1]
    few = {"worn": np.array([[SAID - 0.01, SAID - 0.01]])}
    assert _slip(dataclasses.replace(after, slips=few)) is None
    ranked = _ranked(dataclasses.replace(after, probability=np.array([[0.3, 0.7]])))
    assert ranked.sizes == after.sizes[::-1] and ranked.probability.tolist() == [0.7, 0.3]


@pytest.mark.parametrize(
    ("gauge", "values", "says"),
    [
        (
            "27tpi",
            {"diameter_mm": 52.0, "second_mm": 52.0, "apart_mm": 8.0, "angle_deg": 80.0},
            "Hold the form gauge again: 80 degrees does not go with the rest, which fits M52x1.5 "
            "(60 degrees).",
        ),
        (
            "4tpi",
            {"diameter_mm": 30.0, "angle_deg": 60.0, "form": "parallel"},
            "Read the leaf again: 4tpi does not go with the rest, which fits M30x2, M30x1, "
            "M30x1.5.",
        ),
    ],
)
def test_the_slip_that_explains_most_is_said(gauge: str, values: dict[str, Any], says: str) -> None:
    read = typed(gauge, **values)
    assert name_readings(read).next_step == says
    after = hand_posterior(to_hand(read))
    shares = {k: float((after.probability[0] * v[0]).sum()) for k, v in after.slips.items()}
    word = {"Hold": "angle-any", "Read": "leaf-any"}[says[:4]]
    shares.pop("order", None)
    assert max(shares, key=lambda k: shares[k]) == word and shares[word] >= SAID
