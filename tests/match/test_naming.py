"""Naming by probability: the pairs that matter, and what must never happen."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pitchcam.calibration import calibration_path
from pitchcam.errors import ReadingError, UsageError
from pitchcam.match import name_thread, posterior
from pitchcam.match.likelihood import log_likelihood, log_off_series
from pitchcam.match.naming import NAMED, Posterior, candidates, leading
from pitchcam.match.population import population
from pitchcam.match.priors import PHOTO_TEMPER, prior_weights
from pitchcam.match.scales import Scales
from pitchcam.records import NAMING_QUANTITIES, Gender, ThreadReading
from pitchcam.series import find, load_series
from tests.confusion.parts import draw_parts, read_parts, to_reading
from tests.quantities import q


def reading_of(
    designation: str,
    *,
    station_mm: float = 0.0,
    low_mm: float = 0.15,
    share: float = 1.0,
    gender: Gender = "external",
) -> ThreadReading:
    """Return a photo-grade reading of a part ``low_mm`` under its basic size, u scaled."""
    size = find(designation)
    shift = size.taper * (station_mm - (size.gauge_length_mm or 0.0)) if gender == "external" else 0
    side = -low_mm if gender == "external" else low_mm
    return ThreadReading(
        gender=gender,
        pitch_mm=q(size.pitch_mm, 0.0015 * size.pitch_mm * share),
        major_mm=q(size.basic_major_mm + shift + side, 0.05 * share),
        pitch_diameter_mm=q(size.basic_pitch_diameter_mm + shift + side / 2, 0.05 * share),
        minor_mm=q(size.basic_minor_mm + shift + side / 2, 0.1 * share),
        angle_deg=q(size.angle_deg, 0.75 * share),
        taper=q(size.taper, 0.006 * share),
        diameter_station_mm=q(station_mm, 0.2),
    )


USUAL = [
    "M14x1.5",
    "M10x1",
    "G 1/4",
    "R 1/4",
    "R 1/8",
    "5/8-18 UNF",
    "M18x1.5",
    "M12x1.5",
    "1/8-27 NPT",
    "1/4-18 NPT",
    "1/2-14 NPT",
    "G 1/2",
    "R 1/2",
    "M12x1.25",
    "3/8-20 BSF",
    "G 1/8",
    "1/4-20 BSW",
    "1/4-20 UNC",
    "0 BA",
    "M6x1",
    "M10x1 taper",
    "M14x1.5 taper",
    "1/2-14 NPSM",
    "Pg 16",
    "M22x1.5",
    "7/8-14 UNF",
    "3/4-16 UNF",
]


@pytest.mark.parametrize("designation", USUAL)
def test_a_photo_grade_reading_is_named(designation: str) -> None:
    size = find(designation)
    low = 0.1 if size.pitch_mm <= 1 else 0.15
    station = 9.0 if size.taper else 0.0
    verdict = name_thread(reading_of(designation, station_mm=station, low_mm=low))
    assert verdict.status == "named"
    assert verdict.designation == designation
    assert verdict.standard == size.standard
    assert verdict.probability is not None and verdict.probability >= NAMED


@pytest.mark.parametrize("station", [0.0, 4.0, 9.0, 14.0])
def test_the_station_of_a_taper_thread_is_undone(station: float) -> None:
    verdict = name_thread(reading_of("1/4-18 NPT", station_mm=station, low_mm=0.1))
    assert verdict.designation == "1/4-18 NPT"


def test_a_wrong_station_is_not_silently_named_right() -> None:
    # Diameters of the large end said to be those of the small end: 0.56 mm too large.
    reading = replace(reading_of("R 1/4", station_mm=9.0), diameter_station_mm=q(0.0, 0.05))
    right = name_thread(reading_of("R 1/4", station_mm=9.0))
    assert right.designation == "R 1/4"
    assert posterior(reading).off_series > posterior(reading_of("R 1/4")).off_series


@pytest.mark.parametrize(
    ("a", "b"),
    [
        ("1/2-14 NPT", "R 1/2"),
        ("1/4-20 BSW", "1/4-20 UNC"),
        ("3/4-14 NPT", "R 3/4"),
        ("G 1/2", "1/2-14 NPSM"),
    ],
)
def test_without_the_angle_55_and_60_stay_open(a: str, b: str) -> None:
    for name in (a, b):
        reading = replace(reading_of(name), angle_deg=None, pitch_diameter_mm=None, minor_mm=None)
        verdict = name_thread(reading)
        if verdict.status == "named":
            # Only where the diameter alone excludes the other (gauge positions differ).
            assert verdict.designation == name
        else:
            assert {a, b} <= {c.designation for c in verdict.candidates}
            assert verdict.next_step is not None and "form gauge" in verdict.next_step


def test_a_large_uncertainty_is_ambiguous_with_the_truth_listed() -> None:
    for designation in USUAL:
        verdict = name_thread(reading_of(designation, share=12.0))
        assert verdict.status == "ambiguous", designation
        assert verdict.designation is None
        assert designation in {c.designation for c in verdict.candidates}
        assert verdict.next_step


def test_a_thread_of_no_series() -> None:
    reading = replace(reading_of("M14x1.5"), pitch_mm=q(1.7, 0.0025))
    verdict = name_thread(reading)
    assert verdict.status == "off-series"
    assert verdict.designation is None and verdict.next_step


def test_several_starts_are_no_single_start_thread() -> None:
    verdict = name_thread(replace(reading_of("M14x1.5"), starts=2))
    assert verdict.status == "off-series" and verdict.designation is None
    assert any("2 starts" in note for note in verdict.notes)


def test_an_internal_reading_is_judged_by_internal_limits() -> None:
    for designation in ("M14x1.5", "1/2-14 NPT", "Rc 1/2", "G 1/4", "5/8-18 UNF"):
        verdict = name_thread(reading_of(designation, gender="internal", low_mm=0.05))
        assert verdict.designation == designation
    # External-only sizes never stand among internal candidates.
    verdict = name_thread(reading_of("M14x1.5", gender="internal", share=10.0))
    assert not {c.designation for c in verdict.candidates} & {"R 1/4", "M14x1.5 taper"}


def test_one_geometry_is_one_name_with_its_twins() -> None:
    verdict = name_thread(reading_of("1/2-14 NPT", low_mm=0.1))
    assert verdict.designation == "1/2-14 NPT"
    assert verdict.same_geometry == ("1/2-14 NPTF",)
    assert verdict.next_step is not None and "NPTF" in verdict.next_step
    brass = name_thread(reading_of("1/4-26 BSF", low_mm=0.1))
    assert brass.designation == "1/4-26 BSF" and "1/4-26 BS Brass" in brass.same_geometry


def test_the_scale_error_moves_pitch_and_diameters_together() -> None:
    # A scale 2 percent high on M5x0.8 (u 1.2 percent, common to all lengths): pitch over diameter
    # is right, so the diameter's excess excuses the pitch's. Taken as independent it may not.
    size = find("M5x0.8")
    factor, u = 1.02, 0.012
    lengths = ("pitch_mm", "major_mm")
    reading = ThreadReading(
        pitch_mm=q(size.pitch_mm * factor, size.pitch_mm * u),
        major_mm=q(4.9 * factor, 4.9 * u),
        angle_deg=q(60.0, 0.75),
        taper=q(0.0, 0.006),
        diameter_station_mm=q(0.0, 0.1),
        correlation={lengths: 0.999},
    )

    def ratio(r: ThreadReading) -> float:
        found = posterior(r, priors={})
        names = [s.designation for s in found.sizes]
        p = found.probability
        return float(p[names.index("M5x0.8")] / p[names.index("#12-32 UNEF")])

    assert ratio(reading) > 3 * ratio(replace(reading, correlation={}))


def test_a_prior_never_names_what_cannot_be_told_apart() -> None:
    reading = replace(
        reading_of("1/4-20 UNC"), angle_deg=None, minor_mm=None, pitch_diameter_mm=None
    )
    verdict = name_thread(reading, priors={"UNC": 1e6})
    assert verdict.status == "ambiguous"
    assert any("how common" in note for note in verdict.notes)


def test_the_prior_is_told_where_it_changes_the_ranking() -> None:
    reading = replace(
        reading_of("5/8-18 UNF"), angle_deg=None, minor_mm=None, pitch_diameter_mm=None
    )
    plain = name_thread(reading, priors={})
    assert plain.notes == () and plain.candidates[0].designation == "5/8-18 BS Conduit"
    verdict = name_thread(reading, priors={"BS Conduit": 0.5})
    assert verdict.candidates[0].designation == "5/8-18 UNF"
    assert any("5/8-18 BS Conduit leads" in note for note in verdict.notes)


def test_a_prior_counts_less_for_what_is_photographed() -> None:
    sizes = (find("M8x1.25"), find("1/2-14 NPSM"))
    met, photo = prior_weights(sizes, None), prior_weights(sizes, None, temper=PHOTO_TEMPER)
    assert met[0] / met[1] >= 100
    assert 2 < photo[0] / photo[1] < 10
    own = prior_weights(sizes, {"NPSM": 7.0}, temper=PHOTO_TEMPER)
    assert own[1] == 7.0


@pytest.mark.parametrize("priors", [{"UNF": 0.0}, {"UNF": -1.0}, {"UNF": float("nan")}, {"X": 1.0}])
def test_bad_priors_get_one_line(priors: dict[str, float]) -> None:
    with pytest.raises(UsageError):
        name_thread(reading_of("M14x1.5"), priors=priors)


@pytest.mark.parametrize(
    "reading",
    [
        ThreadReading(),
        *(
            ThreadReading(pitch_mm=q(pitch, 0.01), major_mm=major)
            for pitch in (-1.5, 0.0)
            for major in (None, q(14.0, 0.02))
        ),
    ],
)
def test_an_impossible_reading_is_refused(reading: ThreadReading) -> None:
    with pytest.raises(ReadingError):
        name_thread(reading)


@pytest.mark.parametrize(
    ("value", "u"), [(float("nan"), 0.01), (14.0, -0.1), (float("inf"), 0.01), (14, float("inf"))]
)
def test_a_quantity_that_is_none_cannot_be_made(value: float, u: float) -> None:
    with pytest.raises(ValueError, match="no quantity"):
        q(value, u)


def test_probabilities_are_a_distribution() -> None:
    after = posterior(reading_of("G 1/2", share=5.0))
    assert float(after.probability.sum()) + after.off_series == pytest.approx(1.0)
    assert np.all(np.diff(after.probability) <= 1e-12)
    geometries = [s.geometry for s in after.sizes]
    assert len(geometries) == len(set(geometries))


def test_an_incoherent_correlation_is_survived() -> None:
    pairs = {
        (a, b): 0.99 if (i + j) % 2 else -0.99
        for i, a in enumerate(NAMING_QUANTITIES)
        for j, b in enumerate(NAMING_QUANTITIES)
        if i < j
    }
    verdict = name_thread(replace(reading_of("M14x1.5"), correlation=pairs))
    assert verdict.status in ("named", "ambiguous", "off-series")


def test_the_stated_probability_is_kept() -> None:
    # Over parts drawn from the limits by the confusion study's own generator, readings that are
    # named are right at least as often as the threshold says.
    sizes = [s for s in load_series() if s.commonness == "common" and "external" in s.genders]
    named = right = 0
    for k, size in enumerate(sizes):
        rng = np.random.default_rng([20, k])
        for values in read_parts(draw_parts(size, "external", rng, 6), "a", rng):
            verdict = name_thread(to_reading(values, "a", "external"))
            named += verdict.status == "named"
            right += verdict.designation == size.designation
            assert size.designation in {c.designation for c in verdict.candidates}
    assert named > 0.98 * 6 * len(sizes)
    assert right >= 0.99 * named


def test_the_roots_of_a_poor_photo_do_not_decide() -> None:
    # A blurred photo of G 1/2: roots filled by 0.3 mm, angle 2.8 u off; the scale's error makes
    # major and minor move together, so their difference looks better known than it is.
    size = find("G 1/2")
    pitch = size.pitch_mm
    reading = ThreadReading(
        pitch_mm=q(pitch * 1.009, 0.013),
        major_mm=q(20.90, 0.14),
        minor_mm=q(18.93, 0.15),
        angle_deg=q(61.3, 2.25),
        taper=q(0.001, 0.0066),
        correlation={("pitch_mm", "major_mm"): 0.8, ("major_mm", "minor_mm"): 0.91},
    )
    verdict = name_thread(reading)
    assert verdict.status == "ambiguous"
    assert "G 1/2" in {c.designation for c in verdict.candidates}
    sharp = replace(reading, angle_deg=q(55.0, 0.75))
    assert posterior(sharp).sizes[0] is size


@pytest.mark.parametrize("loss_mm", [0.0, 0.4, 0.7])
def test_badly_worn_crests_do_not_tell_55_from_60(loss_mm: float) -> None:
    """Far below both threads' limits, the lower limit of the two says nothing of which it is.

    The other figures lie between those of both threads, which they leave open.
    """
    reading = ThreadReading(
        pitch_mm=q(1.586, 0.006), major_mm=q(9.4 - loss_mm, 0.05), angle_deg=q(57.5, 1.9)
    )
    parts = population("external")
    log = log_likelihood(reading, parts)
    unc, bsw = (log[parts.sizes.index(find(f"3/8-16 {name}"))] for name in ("UNC", "BSW"))
    assert abs(unc - bsw) < 1.0


def test_a_workshop_may_bring_its_own_tables(tmp_path: Path) -> None:
    folder = tmp_path / "series"
    shutil.copytree(calibration_path("series"), folder)
    with (folder / "metric.csv").open("a") as f:
        f.write("13,1.5,fine,usual,a workshop's own,\n")
    base = reading_of("M14x1.5")
    own = replace(
        base, major_mm=q(12.85, 0.05), pitch_diameter_mm=q(11.95, 0.05), minor_mm=q(11.3, 0.1)
    )
    assert name_thread(own, folder=folder).designation == "M13x1.5"
    assert name_thread(own).designation != "M13x1.5"
    vague = replace(own, pitch_mm=q(1.5, 0.2), major_mm=q(12.85, 1.0), minor_mm=None)
    vague = replace(vague, pitch_diameter_mm=None, angle_deg=None)
    verdict = name_thread(vague, folder=folder)
    assert "M13x1.5" in {c.designation for c in verdict.candidates} and verdict.next_step


@pytest.mark.parametrize("pitch_mm", [1.5, 1.506, 1.51])
def test_one_thread_in_a_hundred_is_of_no_series(pitch_mm: float) -> None:
    """Bayes' theorem by hand: prior odds of 1 to 99, times the densities of both."""
    reading = replace(reading_of("M14x1.5"), pitch_mm=q(pitch_mm, 0.0025))
    parts = population("external")
    leaders = list(parts.leaders)
    weight = prior_weights(parts.sizes, {})[leaders]
    series = np.sum(np.exp(log_likelihood(reading, parts)[leaders]) * weight / weight.sum())
    odds = np.exp(log_off_series(reading)[0]) / series / 99
    after = posterior(reading, priors={})
    assert after.off_series == pytest.approx(odds / (1 + odds), rel=1e-9)


def after(*probability: float, off_series: float = 0.0) -> Posterior:
    """A posterior over the first sizes of the catalogue."""
    return Posterior(
        sizes=tuple(load_series()[: len(probability)]),
        probability=np.array(probability),
        off_series=off_series,
    )


def test_what_is_listed_holds_nearly_all_and_whatever_has_a_share() -> None:
    def listed(*p: float, off: float = 0.0) -> list[float]:
        return [c.probability for c in candidates(after(*p, off_series=off))]

    # Until 0.999 of what some series has are held.
    assert listed(0.6, 0.3, 0.0995, 0.0004, 0.0001) == [0.6, 0.3, 0.0995]
    assert listed(0.6, 0.3, 0.09, 0.0095, 0.0004) == [0.6, 0.3, 0.09, 0.0095]
    # Five in a thousand are listed all the same, one in a thousand is not.
    assert listed(0.994, 0.0055, 0.0004) == [0.994, 0.0055]
    assert listed(0.9985, 0.0025, 0.0005, off=0.5) == [0.9985, 0.0025]
    # Many that have little each: nine tenths are not nearly all.
    many = listed(0.9, *[0.0016] * 62)
    assert len(many) == 63 and sum(many[:-1]) < 0.999 <= sum(many)
    # Of what no series explains nothing is asked.
    assert listed(0.4995, 0.0004, 0.0001, off=0.5) == [0.4995]
    assert listed(0.0001, off=0.9999) == [0.0001]


def test_the_next_measurement_tells_apart_what_has_two_in_a_hundred() -> None:
    assert len(leading(after(0.7, 0.15, 0.12, 0.03))) == 4
    assert len(leading(after(0.7, 0.27, 0.015, 0.015))) == 2
    # There is nothing to tell apart of one.
    assert len(leading(after(0.99, 0.01))) == 2


@pytest.mark.parametrize("weight", [0.2, 0.5, 0.9])
def test_explanations_of_the_scale_are_weighed(weight: float) -> None:
    """A mixture: what each gives by itself, by its weight; the whole is still one."""
    reading = reading_of("M10x1", share=2.0)
    ratio, spread = np.array([1.0, 1.27]), np.full(2, 1e-6)

    def told(*weights: float) -> dict[str, float]:
        scales = Scales(ratio=ratio, spread=spread, weight=np.array(weights))
        found = posterior(reading, scales=scales)
        names = [size.designation for size in found.sizes]
        return dict(zip(names, found.probability.tolist(), strict=True)) | {
            "none": found.off_series
        }

    mixed, one, other = told(weight, 1 - weight), told(1.0, 0.0), told(0.0, 1.0)
    assert sum(mixed.values()) == pytest.approx(1.0)
    for name, p in mixed.items():
        expected = weight * one[name] + (1 - weight) * other[name]
        assert p == pytest.approx(expected, abs=1e-9)
    assert max(one, key=one.__getitem__) != max(other, key=other.__getitem__)


def test_the_most_special_word_of_the_priors_wins() -> None:
    """A designation over its family, a family over how common it is; the rest keeps its own."""
    sizes = load_series()
    place = {size.designation: i for i, size in enumerate(sizes)}
    plain = prior_weights(sizes, None)
    own = prior_weights(sizes, {"M14x1.5": 5.0, "M": 0.25})
    assert own[place["M14x1.5"]] == 5.0 and own[place["M12x1.25"]] == 0.25
    assert own[place["G 1/4"]] == plain[place["G 1/4"]]
    assert prior_weights(sizes, {"M": 0.25})[place["M14x1.5"]] == 0.25


@pytest.mark.parametrize(
    ("status", "words"),
    [("ambiguous", "fit no series well: one of them may be wrong"), ("off-series", "no series")],
)
def test_a_reading_that_hardly_fits_is_doubted_before_it_is_refused(status, words) -> None:
    """An odd pitch, read worse and worse: off, then doubted, at last one of what there is."""
    base = reading_of("M14x1.5")
    found = {}
    for u in np.geomspace(0.002, 0.05, 25):
        verdict = name_thread(replace(base, pitch_mm=q(1.56, float(u))))
        said = " ".join([*verdict.notes, str(verdict.next_step)])
        found.setdefault(verdict.status, []).append(said)
    assert any(words in text for text in found[status])
    if status == "off-series":
        assert not any("one of them may be wrong" in text for text in found[status])
