"""What is said of a reading: name, notes, next step, and which measurement would settle it."""

import dataclasses
from typing import Any

import numpy as np
import pytest

from pitchcam.errors import UsageError
from pitchcam.match.advice import (
    TOLD_APART,
    WORTH,
    _by_eye,
    _choose,
    _gain,
    _is_news,
    _plug,
    _say,
    best_measurement,
)
from pitchcam.match.means import EXTERNAL, INTERNAL
from pitchcam.match.naming import (
    DOUBTFUL,
    LISTED_EACH,
    NAMED,
    NAMED_BY_READING,
    Posterior,
    _multi_start,
    _prior_note,
    candidates,
    has_name,
    leading,
    name_thread,
    posterior,
)
from pitchcam.match.population import (
    ANGLE,
    LEADERS,
    MAJOR,
    MINOR,
    PITCH,
    PITCH_DIAMETER,
    TAPER,
    USUAL_CLASS_SHARE,
    population,
)
from pitchcam.match.priors import default_priors, prior_weights
from pitchcam.records import Gender, ThreadReading
from pitchcam.series import find, load_series
from tests.quantities import q

M14 = ThreadReading(
    pitch_mm=q(1.5, 0.002),
    major_mm=q(13.85, 0.03),
    pitch_diameter_mm=q(12.93, 0.03),
    angle_deg=q(60.0, 0.6),
    taper=q(0.0, 0.002),
)


def after(*pairs: tuple[str, float], off: float = 0.0) -> Posterior:
    return Posterior(
        sizes=tuple(find(n) for n, _ in pairs),
        probability=np.array([p for _, p in pairs]),
        off_series=off,
    )


@pytest.mark.parametrize(
    ("prior", "alone", "named"),
    [
        (NAMED, NAMED_BY_READING, True),
        (NAMED - 1e-9, 1.0, False),
        (0.99, NAMED_BY_READING - 1e-9, False),
    ],
)
def test_a_name_stands_on_all_that_is_known_and_on_the_reading_alone(
    prior: float, alone: float, named: bool
) -> None:
    known = after(("M14x1.5", prior), ("M14x1.25", 1 - prior))
    flat = after(("M14x1.5", alone), ("M14x1.25", 1 - alone))
    assert has_name(known, flat) == named
    # By the reading alone another may lead: its own share counts.
    turned = after(("M14x1.25", 0.6), ("M14x1.5", 0.4))
    assert not has_name(after(("M14x1.5", 0.99), ("M14x1.25", 0.01)), turned)


@pytest.mark.parametrize(
    ("known", "flat", "says"),
    [
        # The same order, and a name or none either way: nothing to tell.
        ((("M14x1.5", 0.97), ("M14x1.25", 0.03)), (("M14x1.5", 0.96), ("M14x1.25", 0.04)), None),
        ((("M14x1.5", 0.7), ("M14x1.25", 0.3)), (("M14x1.5", 0.6), ("M14x1.25", 0.4)), None),
        (
            (("M14x1.5", 0.97), ("M14x1.25", 0.03)),
            (("M14x1.5", 0.8), ("M14x1.25", 0.2)),
            "M14x1.5 leads by how common it is said to be; the reading alone gives it 0.80, which "
            "is no name.",
        ),
        (
            (("M14x1.5", 0.7), ("M14x1.25", 0.3)),
            (("M14x1.25", 0.6), ("M14x1.5", 0.4)),
            "How common threads are was counted: it puts M14x1.5 (0.70) first; with all equally "
            "common M14x1.25 leads with 0.60.",
        ),
        (
            (("M14x1.5", 0.97), ("M14x1.25", 0.03)),
            (("M14x1.5", 0.92), ("M14x1.25", 0.08)),
            "How common threads are was counted: it puts M14x1.5 (0.97) first; with all equally "
            "common M14x1.5 leads with 0.92.",
        ),
        (
            (("M14x1.5", 0.94), ("M14x1.25", 0.06)),
            (("M14x1.5", 0.96), ("M14x1.25", 0.04)),
            "How common threads are was counted: it puts M14x1.5 (0.94) first; with all equally "
            "common M14x1.5 leads with 0.96.",
        ),
    ],
)
def test_what_the_priors_changed_is_told(known: Any, flat: Any, says: str | None) -> None:
    said = _prior_note(after(*known), after(*flat))
    assert said == (() if says is None else (says,))


def test_candidates_hold_nearly_all_and_whatever_has_a_share() -> None:
    names = ("M14x1.5", "M14x1.25", "M14x2", "M14x1", "M16x1.5")
    given = after(*zip(names, (0.9985, 0.0007, 0.0004, 0.0003, 0.0001), strict=True))
    assert [c.designation for c in candidates(given)] == ["M14x1.5", "M14x1.25"]
    # What has two in a thousand is listed even where all is held.
    much = after(*zip(names, (0.5, 0.4, 0.0901, 0.0079, LISTED_EACH), strict=True))
    assert len(candidates(much)) == 5
    assert len(candidates(after(*zip(names, (0.9999, 0, 0, 0, 0), strict=True)))) == 1
    assert [c.standard for c in candidates(much, 0.5)][:1] == ["ISO 261"]
    # A half that belongs to no series is not waited for.
    half = after(("M14x1.5", 0.4999), ("M14x1.25", 0.0001), off=0.5)
    assert len(candidates(half)) == 1


@pytest.mark.parametrize(
    ("shares", "count"),
    [((0.98, 0.01, 0.01), 2), ((0.9, 0.05, 0.05), 3), ((0.9, 0.08, 0.02), 2), ((0.5, 0.3, 0.2), 3)],
)
def test_what_the_next_measurement_must_tell_apart(shares: Any, count: int) -> None:
    names = ("M14x1.5", "M14x1.25", "M14x2")
    assert len(leading(after(*zip(names, shares, strict=True)))) == count


def test_several_starts_are_of_no_series() -> None:
    said = _multi_start(dataclasses.replace(M14, starts=2), after(("M14x1.5", 1.0)))
    assert said.status == "off-series" and said.designation is None
    assert said.notes == (
        "The two sides show a thread of 2 starts; every series here has one start.",
    )
    assert said.next_step == (
        "Count the starts at the end face. If there is one only, retake the photo with the axis "
        "level; the nearest single-start size is M14x1.5."
    )


def test_a_photo_of_a_common_thread_is_named_with_all_that_belongs_to_it() -> None:
    verdict = name_thread(M14)
    assert (verdict.status, verdict.designation, verdict.standard) == (
        "named",
        "M14x1.5",
        "ISO 261",
    )
    assert verdict.probability is not None and verdict.probability > 0.99 and verdict.notes == ()
    assert (verdict.next_step or "").startswith("One size serves several uses")
    both = posterior(M14)
    assert both.probability.sum() + both.off_series == pytest.approx(1.0)
    assert np.all(np.diff(both.probability) <= 0)
    assert len({s.geometry for s in both.sizes}) == len(both.sizes)


def test_a_thread_of_no_series_says_what_is_nearest() -> None:
    odd = dataclasses.replace(M14, pitch_mm=q(1.37, 0.002), angle_deg=q(70.0, 0.6))
    verdict = name_thread(odd)
    assert verdict.status == "off-series" and verdict.designation is None
    assert (verdict.next_step or "").startswith(
        "Read it once more. If the readings stand, no series here has this thread: nearest are "
    )
    assert (verdict.next_step or "").count(",") == 3
    assert posterior(odd).off_series >= NAMED > DOUBTFUL


@pytest.mark.parametrize(
    ("priors", "says"),
    [
        ({"common": 0.0}, "the prior of 'common' is 0.0. Give a number above 0."),
        ({"G": float("nan")}, "the prior of 'G' is nan. Give a number above 0."),
        ({"G": float("inf")}, "the prior of 'G' is inf. Give a number above 0."),
        ({"G": -1.0}, "the prior of 'G' is -1.0. Give a number above 0."),
        (
            {"M14": 2.0},
            "the priors name 'M14', which is no designation or family here. See: pitchcam series",
        ),
    ],
)
def test_a_prior_that_cannot_be(priors: dict[str, float], says: str) -> None:
    with pytest.raises(UsageError) as caught:
        prior_weights((find("M14x1.5"),), priors)
    assert str(caught.value) == says


def test_the_most_special_prior_wins_and_temper_softens_the_catalogues_own() -> None:
    sizes = tuple(find(n) for n in ("M14x1.5", "M14x1.5 taper", "G 1/2", "16 BA", "1/2-14 NPSM"))
    held = default_priors()
    plain = prior_weights(sizes, None)
    assert plain.tolist() == [
        held["common"],
        held["M14x1.5 taper"],
        held["common"],
        held["rare"],
        held["NPSM"],
    ]
    assert prior_weights(sizes, None, temper=0.5) == pytest.approx(np.sqrt(plain))
    own = prior_weights(sizes, {"G": 7.0, "16 BA": 3.0, "rare": 5.0}, temper=0.5)
    assert own[2:4].tolist() == [7.0, 3.0]
    assert own[0] == pytest.approx(held["common"] ** 0.5)
    assert prior_weights(sizes, {}).tolist() == [1.0] * 5


# Which measurement.


def distances(**rows: list[float]) -> Any:
    by_name = {m.short: m for m in EXTERNAL}
    return {by_name[name.replace("_", " ")]: np.array(d) for name, d in rows.items()}


def chosen(weight: list[float], **rows: list[float]) -> list[str]:
    return [m.short for m in _choose(distances(**rows), np.array(weight))]


def test_the_first_that_tells_all_apart_is_chosen_though_a_later_tells_more() -> None:
    enough = TOLD_APART + 0.1
    assert chosen([1.0], diameter_over_crests=[enough], pitch_gauge=[50.0]) == [
        "diameter over crests"
    ]
    assert chosen([1.0, 1.0], diameter_over_crests=[enough, 1.0], pitch_gauge=[9.0, 9.0]) == [
        "pitch gauge"
    ]


def test_two_are_taken_where_one_is_not_enough_the_more_telling_first() -> None:
    assert chosen(
        [0.3, 0.7], diameter_over_crests=[9.0, 0.0], pitch_gauge=[0.0, 9.0], form_gauge=[0.0, 0.1]
    ) == ["pitch gauge", "diameter over crests"]
    # Their distances add in quadrature: 4 and 3 make 5.
    assert chosen([1.0], diameter_over_crests=[3.0], pitch_gauge=[4.0]) == [
        "pitch gauge",
        "diameter over crests",
    ]


def test_what_tells_hardly_anything_is_not_worth_naming() -> None:
    assert chosen([1.0], diameter_over_crests=[0.05], pitch_gauge=[0.0]) == []
    assert _gain(np.array([0.05]), np.array([1.0])) < WORTH
    # The simpler of two that are nearly as good.
    assert chosen([1.0], diameter_over_crests=[2.0], pitch_gauge=[0.2]) == ["diameter over crests"]


@pytest.mark.parametrize(
    ("distance", "gain"),
    # Shares of a normal distribution within half the distance: 68.27, 95.45 and 99.73 percent.
    [(0.0, 0.0), (2.0, 0.6827), (4.0, 0.9545), (6.0, 0.9973)],
)
def test_a_gain_is_the_share_that_falls_clear(distance: float, gain: float) -> None:
    assert _gain(np.array([distance]), np.array([0.2])) == pytest.approx(gain, abs=1e-4)
    both = _gain(np.array([distance, 0.0]), np.array([1.0, 3.0]))
    assert both == pytest.approx(gain / 4, abs=1e-4)


@pytest.mark.parametrize(
    ("short", "change", "news"),
    [
        ("pitch gauge", {}, False),
        ("pitch gauge", {"pitch_mm": None}, True),
        ("pitch gauge", {"pitch_mm": q(1.5, 0.02)}, True),
        ("pitch gauge", {"pitch_mm": q(1.5, 0.0075)}, False),
        ("diameter over crests", {}, False),
        ("diameter over crests", {"major_mm": q(13.8, 0.1)}, True),
        ("form gauge", {"angle_deg": q(60.0, 3.0)}, True),
        ("form gauge", {}, False),
        ("two diameters {apart:g} mm apart", {"taper": None}, True),
    ],
)
def test_only_a_clearly_better_reading_is_news(short: str, change: Any, news: bool) -> None:
    means = next(m for m in EXTERNAL if m.short == short)
    assert _is_news(means, dataclasses.replace(M14, **change), 8.0) == news


def test_sizes_of_one_value_are_said_together() -> None:
    gauge = next(m for m in EXTERNAL if m.short == "pitch gauge")
    some = [find(n) for n in ("M14x1.5", "M16x1.5", "M14x2")]
    assert _say(gauge, some, "external", 8.0) == (
        "Read the pitch with a gauge leaf over its full length: M14x1.5 and M16x1.5 1.500 mm "
        "(16.93 TPI); M14x2 2.000 mm (12.7 TPI)."
    )
    many = [find(f"M{d}x1.5") for d in (12, 14, 16, 18, 20)]
    assert "M12x1.5, M14x1.5, M16x1.5 and 2 more 1.500 mm" in _say(gauge, many, "external", 8.0)
    taper = next(m for m in EXTERNAL if m.quantity == TAPER)
    assert _say(taper, [find(n) for n in ("R 1/2", "G 1/2", "G 5/8")], "external", 9.0) == (
        "Measure over the crests at two places 9 mm apart: R 1/2 changes by 0.56 mm; G 1/2 and "
        "G 5/8 stay equal."
    )


def test_what_no_measurement_tells_is_left_to_the_eye() -> None:
    sizes = [find("M14x1.5"), find("M14x1.25")]
    assert _by_eye(sizes) == (
        "Size hardly tells M14x1.5, M14x1.25 apart: try a known mate by hand without force, or "
        "compare the marking and the part it came from."
    )
    assert _plug(sizes) == "Try a known plug of M14x1.5 or M14x1.25 by hand, without force."


def test_a_port_is_measured_by_what_needs_no_cast_first() -> None:
    sizes = [find("G 1/2"), find("1/2-14 NPSM")]
    reading = ThreadReading(gender="internal", pitch_mm=q(1.814, 0.009), minor_mm=q(18.9, 0.05))
    step = best_measurement(sizes, np.array([0.6, 0.4]), reading)
    assert "Try a known plug of G 1/2 or 1/2-14 NPSM by hand, without force." in step
    assert step.index("Try a known plug") < step.index("Make a cast of the thread")
    assert "55 deg" in step and "60 deg" in step
    assert all(m.needs_cast == m.tool.startswith("Make a cast") for m in INTERNAL)


# The population behind it.


def of(designation: str, gender: Gender = "external") -> tuple[Any, int]:
    parts = population(gender)
    return parts, parts.sizes.index(find(designation))


@pytest.mark.parametrize("gender", ["external", "internal"])
def test_classes_and_cells_of_a_size_make_up_its_parts(gender: Gender) -> None:
    parts, at = of("M14x1.5", gender)
    weight = np.exp(parts.log_weight[at])
    assert weight.sum() == pytest.approx(1.0)
    own = len(find("M14x1.5").limits(gender))
    assert parts.classes[at] == own
    assert weight[0].sum() == pytest.approx(USUAL_CLASS_SHARE)
    others = weight[1:own].sum(axis=1)
    assert others == pytest.approx((1 - USUAL_CLASS_SHARE) / (own - 1))
    # Sizes of fewer classes have no weight in the rest.
    assert weight[own:].sum() < 1e-12
    assert parts.external == (gender == "external")


def test_the_middle_of_the_parts_is_that_of_the_limits() -> None:
    parts, at = of("M14x1.5")
    mean = parts.mean[at, 0, 0]
    # ISO 965-2, 6g: pitch diameter 12.854 to 12.994; minor by its root.
    assert mean[PITCH_DIAMETER] == pytest.approx((12.854 + 12.994) / 2, abs=2e-3)
    assert (mean[PITCH], mean[ANGLE], mean[TAPER]) == (1.5, 60.0, 0.0)
    low, high = find("M14x1.5").external[0].minor_mm
    assert mean[MINOR] == pytest.approx((low + high) / 2)
    assert parts.low[at, MAJOR] < 13.732 and parts.high[at, MAJOR] == pytest.approx(14.0, abs=0.05)


def test_a_taper_is_kept_at_its_gauge_plane() -> None:
    parts, at = of("R 1/2")
    assert parts.gauge_length_mm[at] == 8.2 and parts.taper[at] == 1 / 16
    assert parts.useful_length_mm[at] == find("R 1/2").useful_length_mm
    inside, place = of("Rc 1/2", "internal")
    assert inside.gauge_length_mm[place] == inside.useful_length_mm[place] == 0.0
    flat, other = of("G 1/2")
    assert flat.gauge_length_mm[other] == flat.taper[other] == 0.0


def test_one_size_stands_for_each_geometry_and_it_is_the_one_people_know() -> None:
    parts = population("external")
    chosen_ = [parts.sizes[i] for i in parts.leaders]
    assert len({s.geometry for s in chosen_}) == len(chosen_)
    assert {s.geometry for s in chosen_} == {s.geometry for s in parts.sizes}
    names = {s.designation for s in chosen_}
    assert {"1/2-14 NPT", "1/4-26 BSF", "1/2-20 UNF"} <= names
    assert not {"1/2-14 NPTF", "1/4-26 BS Brass", "1/2-20 BSC"} & names
    assert set(LEADERS) <= {s.family for s in load_series()}


def test_a_prior_moves_the_odds_by_its_ratio() -> None:
    """By Bayes's rule, and a photo takes the catalogue's own by their cube root."""
    blurred = dataclasses.replace(M14, pitch_mm=q(1.375, 0.12), pitch_diameter_mm=None)
    names = ("M14x1.5", "M14x1.25")

    def odds(priors: dict[str, float] | None) -> float:
        known = posterior(blurred, priors=priors)
        one, other = (float(known.probability[known.sizes.index(find(n))]) for n in names)
        return one / other

    flat = odds({})
    assert odds({names[0]: 8.0, names[1]: 1.0}) == pytest.approx(8.0 * flat)
    assert odds({names[0]: 1.0, names[1]: 8.0}) == pytest.approx(flat / 8.0)
    held = default_priors()
    ratio = held[find(names[0]).commonness] / held[find(names[1]).commonness]
    assert odds(None) == pytest.approx(flat * ratio ** (1 / 3))


def test_a_prior_that_decides_is_told_with_the_answer() -> None:
    blurred = dataclasses.replace(M14, pitch_mm=q(1.375, 0.12), pitch_diameter_mm=None)
    verdict = name_thread(blurred, priors={"M14x1.5": 1e6})
    assert verdict.status == "ambiguous"
    assert [c.designation for c in verdict.candidates][:1] == ["M14x1.5"]
    [note] = verdict.notes
    assert note.startswith("M14x1.5 leads by how common it is said to be; the reading alone gives ")
    assert name_thread(dataclasses.replace(M14, starts=2)).notes == (
        "The two sides show a thread of 2 starts; every series here has one start.",
    )


def test_a_reading_that_hardly_fits_says_that_one_of_them_may_be_wrong() -> None:
    # The angle is 4 u from 60 and farther from all others; all else is M14x1.5.
    for angle in np.arange(62.0, 68.0, 0.25):
        verdict = name_thread(dataclasses.replace(M14, angle_deg=q(float(angle), 0.6)))
        lost = posterior(dataclasses.replace(M14, angle_deg=q(float(angle), 0.6))).off_series
        doubted = "The readings fit no series well: one of them may be wrong." in verdict.notes
        assert doubted == (DOUBTFUL < lost < NAMED), angle
        expected = "off-series" if lost >= NAMED else "named" if lost < 1 - NAMED else "ambiguous"
        assert verdict.status == expected


@pytest.mark.parametrize(
    ("pair", "says"),
    [
        (("R 1/2", "G 1/2"), "R 1/2 changes by 0.56 mm; G 1/2 stays equal."),
        (("M14x1.5", "M14x1.25"), "M14x1.5 1.500 mm (16.93 TPI); M14x1.25 1.250 mm (20.32 TPI)."),
        (("1/4-20 UNC", "1/4-20 BSW"), "1/4-20 UNC 60 deg; 1/4-20 BSW 55 deg."),
    ],
)
def test_the_next_measurement_says_what_each_would_give(pair: tuple[str, str], says: str) -> None:
    sizes = [find(n) for n in pair]
    step = best_measurement(sizes, np.array([0.6, 0.4]), ThreadReading())
    # Two measurements are asked where one leaves the pair closer than 2 x 2.33 deviations.
    assert says in step
    assert ("by hand without force" in step) <= (" Then: " in step)
