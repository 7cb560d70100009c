"""The population model against parts drawn directly from the limits."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import expon, norm

from pitchcam.match import population as module
from pitchcam.match.likelihood import log_likelihood, station_shift
from pitchcam.match.population import (
    CELLS,
    MAJOR,
    MINOR,
    PITCH_DIAMETER,
    TAPER,
    _worn_cdf,
    population,
)
from pitchcam.records import Gender, Quantity, ThreadReading
from pitchcam.series import find, load_series


@pytest.mark.parametrize("gender", ["external", "internal"])
def test_shapes_and_weights(gender: Gender) -> None:
    parts = population(gender)
    n, classes = len(parts.sizes), max(len(s.limits(gender)) for s in parts.sizes)
    assert parts.mean.shape == (n, classes, CELLS, 6)
    assert parts.covariance.shape == (n, classes, 6, 6)
    assert np.allclose(np.exp(parts.log_weight).sum(axis=(1, 2)), 1.0)
    assert np.all(np.linalg.eigvalsh(parts.covariance) > 0)


def test_the_leading_diameter_keeps_its_limits_and_wears_inward() -> None:
    for gender, lead, sign in (("external", MAJOR, 1), ("internal", MINOR, -1)):
        parts = population(gender)
        i = parts.sizes.index(find("M14x1.5"))
        values, weight = parts.mean[i, ..., lead], np.exp(parts.log_weight[i])
        zones = [
            getattr(x, "major_mm" if lead == MAJOR else "minor_mm")
            for x in find("M14x1.5").limits(gender)
        ]
        outside = max(z[1] for z in zones) if sign > 0 else min(z[0] for z in zones)
        assert np.all(sign * (values - outside) < 0)
        worn = values < min(z[0] for z in zones) if sign > 0 else values > max(z[1] for z in zones)
        assert 0.0 < weight[worn].sum() < 0.1


def test_the_density_integrates_to_one() -> None:
    # By construction: the density over one read quantity is a density.
    parts = population("external")
    grid = np.linspace(12.5, 15.0, 2501)
    i = parts.sizes.index(find("M14x1.5"))
    density = [
        np.exp(log_likelihood(ThreadReading(major_mm=Quantity(value=x, u=0.03)), parts)[i])
        for x in grid
    ]
    assert np.trapezoid(density, grid) == pytest.approx(1.0, abs=1e-3)


def test_the_station_moves_taper_sizes_only() -> None:
    parts = population("external")
    npt, metric = parts.sizes.index(find("1/4-18 NPT")), parts.sizes.index(find("M14x1.5"))
    (shift,), (u,) = station_shift(parts, Quantity(value=8.0, u=0.4))
    gauge = find("1/4-18 NPT").gauge_length_mm
    assert gauge is not None
    assert shift[npt] == pytest.approx((8.0 - gauge) / 16)
    assert u[npt] == pytest.approx(0.4 / 16)
    assert shift[metric] == 0.0 and u[metric] == 0.0


def test_an_unknown_station_may_be_anywhere_on_the_thread() -> None:
    parts = population("external")
    npt = parts.sizes.index(find("1/4-18 NPT"))
    _, (u,) = station_shift(parts, None)
    length = find("1/4-18 NPT").useful_length_mm
    assert length is not None
    assert u[npt] == pytest.approx(length / 16 / np.sqrt(12))


def test_taper_scatter_of_parallel_and_taper() -> None:
    parts = population("external")
    npt, metric = parts.sizes.index(find("1/4-18 NPT")), parts.sizes.index(find("M14x1.5"))
    # ASME B1.20.1 allows +17 and -8 percent of 1/16: two of our standard deviations hold both.
    assert 2 * np.sqrt(parts.covariance[npt, 0, TAPER, TAPER]) > 0.12 / 16
    assert np.sqrt(parts.covariance[metric, 0, TAPER, TAPER]) < 0.002


def test_inside_the_mouth_is_the_station() -> None:
    parts = population("internal")
    rc = parts.sizes.index(find("Rc 1/2"))
    (shift,), (u,) = station_shift(parts, Quantity(value=7.0, u=0.1))
    assert shift[rc] == 0.0 and u[rc] == pytest.approx(find("Rc 1/2").pitch_mm / 16)


def test_one_part_in_five_is_worn_by_a_twentieth_of_the_pitch() -> None:
    """Crests drawn as said: even over the class, one in five less an exponential of 0.05 P."""
    rng, n = np.random.default_rng(4), 400_000
    size = find("M14x1.5")
    low, high = size.external[0].major_mm
    crest = rng.uniform(low, high, n)
    crest -= (rng.random(n) < 0.2) * rng.exponential(0.05 * size.pitch_mm, n)
    parts = population("external")
    i = parts.sizes.index(size)
    weight = np.exp(parts.log_weight[i, 0])
    at = parts.mean[i, 0, :, MAJOR]
    below = weight[at < low].sum() / weight.sum()
    step = np.diff(at)[0]
    # Cells end where they end: parts below the last whole cell under the limit.
    edge = at[at < low].max() + step / 2
    assert below == pytest.approx(np.mean(crest < edge), rel=0.1)
    assert below > 0.01


@pytest.mark.parametrize("share", [0.3, 0.5, 0.58])
@pytest.mark.parametrize("size", ["1/4-20", "3/8-16", "7/16-14"])
def test_crests_worn_by_half_favour_no_form(size: str, share: float) -> None:
    """One class of UNC lies lower than any of BSW: where wear ended it took all low crests."""
    parts = population("external")
    worn = find(f"{size} BSW")
    major = worn.external[0].major_mm[0] - 2 * share * 0.64 * worn.pitch_mm
    reading = ThreadReading(
        pitch_mm=Quantity(value=worn.pitch_mm, u=0.003), major_mm=Quantity(value=major, u=0.02)
    )
    logs = log_likelihood(reading, parts)
    by_form = [logs[parts.sizes.index(find(f"{size} {form}"))] for form in ("BSW", "UNC")]
    assert abs(by_form[1] - by_form[0]) < 1.2


def test_one_reading_in_two_hundred_is_three_times_as_bad_as_it_says() -> None:
    """The density over pitch alone, near a size and eight u from it, by SciPy."""
    parts = population("external")
    i, p, u = parts.sizes.index(find("M14x1.5")), 1.5, 0.006
    spread = [np.hypot(k * u, 0.001 * p) for k in (1, 3)]
    for off in (0.0, 8.0 * u):
        reading = ThreadReading(pitch_mm=Quantity(value=p + off, u=u))
        by_scipy = 0.995 * norm.pdf(off, 0, spread[0]) + 0.005 * norm.pdf(off, 0, spread[1])
        assert log_likelihood(reading, parts)[i] == pytest.approx(np.log(by_scipy), abs=1e-6)


def test_a_poor_angle_is_at_times_three_times_as_bad_as_it_says() -> None:
    """Of angles with u above 1 degree one in twenty; a good photo's have no such tail."""
    parts = population("external")
    i = parts.sizes.index(find("M14x1.5"))
    for u, share in ((1.5, 0.05), (0.8, 0.0)):
        for off in (0.0, 8.0):
            reading = ThreadReading(angle_deg=Quantity(value=60.0 + off, u=u))
            sigma = [np.hypot(k * u, 0.5) for k in (1, 3)]
            tail = share + 0.005
            by_scipy = (1 - tail) * norm.pdf(off, 0, sigma[0]) + tail * norm.pdf(off, 0, sigma[1])
            assert log_likelihood(reading, parts)[i] == pytest.approx(np.log(by_scipy), abs=1e-6)


def test_seven_parts_in_ten_are_of_the_usual_class() -> None:
    parts = population("external")
    size = find("M14x1.5")
    share = np.exp(parts.log_weight[parts.sizes.index(size)]).sum(axis=1)[: len(size.external)]
    assert size.external[0].thread_class == "6g"
    assert share[0] == pytest.approx(0.7)
    assert share[1:] == pytest.approx(0.3 / (len(share) - 1))


def test_pitch_diameters_lie_evenly_in_their_tolerance() -> None:
    """Drawn evenly between the limits, flanks scattering by a hundredth of the pitch."""
    rng, n = np.random.default_rng(8), 400_000
    size = find("M14x1.5")
    drawn = rng.uniform(*size.external[0].pitch_diameter_mm, n) + rng.normal(0, 0.015, n)
    parts = population("external")
    i = parts.sizes.index(size)
    assert parts.mean[i, 0, 0, PITCH_DIAMETER] == pytest.approx(np.mean(drawn), abs=2e-4)
    spread = np.sqrt(parts.covariance[i, 0, PITCH_DIAMETER, PITCH_DIAMETER])
    assert spread == pytest.approx(np.std(drawn), rel=0.01)


def test_a_taper_s_diameters_move_together_with_its_gauge_position() -> None:
    """ASME B1.20.1: one turn early or late, evenly; on the diameter a sixteenth of it."""
    size = find("1/4-18 NPT")
    early = np.random.default_rng(9).uniform(-1, 1, 400_000) * size.pitch_mm / 16
    parts = population("external")
    covariance = parts.covariance[parts.sizes.index(size), 0]
    assert covariance[PITCH_DIAMETER, MINOR] == pytest.approx(np.var(early), rel=0.01)
    assert covariance[PITCH_DIAMETER, MAJOR] == pytest.approx(np.var(early), rel=0.01)


@pytest.mark.parametrize(
    ("designation", "gender", "half_mm"),
    # ISO 7-1:1994 table 1, tolerance of the gauge plane T1/2 and of the gauge length inside T2/2
    # (from memory): a turn, and a turn and a quarter.
    [
        ("R 1/8", "external", 0.9),
        ("Rc 1/8", "internal", 1.1),
        ("R 1/2", "external", 1.8),
        ("Rc 1/2", "internal", 2.3),
    ],
)
def test_a_gauge_plane_has_its_own_genders_tolerance(
    designation: str, gender: Gender, half_mm: float
) -> None:
    parts = population(gender)
    covariance = parts.covariance[parts.sizes.index(find(designation)), 0]
    crest, root = (MAJOR, MINOR) if gender == "external" else (MINOR, MAJOR)
    for other in (PITCH_DIAMETER, root):
        assert covariance[crest, other] == pytest.approx((half_mm / 16) ** 2 / 3, rel=1e-6)
    # Half a turn more of it and the two would overlap: no turn is told from the next.
    assert half_mm == pytest.approx(find(designation).pitch_mm, rel=0.28)


@pytest.mark.parametrize(("gender", "crest"), [("external", MAJOR), ("internal", MINOR)])
def test_crests_are_spread_evenly_over_their_class(gender: Gender, crest: int) -> None:
    """Mean and variance of the cells together are those of parts drawn one by one."""
    rng, n = np.random.default_rng(3), 400_000
    size = find("M14x1.5")
    limits = size.limits(gender)[0]
    low, high = limits.major_mm if gender == "external" else limits.minor_mm
    sign = 1.0 if gender == "external" else -1.0
    worn = (rng.random(n) < 0.2) * rng.exponential(0.05 * size.pitch_mm, n)
    drawn = rng.uniform(low, high, n) - sign * worn
    parts = population(gender)
    i = parts.sizes.index(size)
    weight = np.exp(parts.log_weight[i, 0])
    weight /= weight.sum()
    at = parts.mean[i, 0, :, crest]
    mean = weight @ at
    spread = np.sqrt(weight @ (at - mean) ** 2 + parts.covariance[i, 0, crest, crest])
    # The tail ends at three wears: 5 % of the worn lie beyond, a hundredth of all.
    assert mean == pytest.approx(drawn.mean(), abs=0.006)
    assert spread == pytest.approx(drawn.std(), rel=0.12)
    # Each cell is as wide as its step: the density between them neither dips nor ripples.
    grid = np.linspace(low + 0.03, high - 0.03, 60) if high - low > 0.1 else np.array([low, high])
    width = np.sqrt(parts.covariance[i, 0, crest, crest])
    density = (weight * norm.pdf(grid[:, None], at, width)).sum(axis=1)
    inner = density[10:-10]
    assert inner.max() / inner.min() < 1.25


@pytest.mark.parametrize("wear", [0.02, 0.075, 0.4])
def test_wear_is_an_exponential_taken_off_an_even_spread(wear: float) -> None:
    """The distribution by SciPy's integral over where a crest began, one in five of them worn."""
    low, high = 13.7, 13.95
    at = np.linspace(low - 3 * wear, high + 0.05, 12)
    found = _worn_cdf(at[None], np.array([[low, high]]), np.array([[wear]]))[0]
    for x, share in zip(at.tolist(), found.tolist(), strict=True):
        worn, _ = quad(lambda u, x=x: expon.sf(u - x, scale=wear), low, high, points=[x])
        sound = np.clip((x - low) / (high - low), 0.0, 1.0)
        assert share == pytest.approx(0.8 * sound + 0.2 * worn / (high - low), abs=1e-6)


def test_one_part_in_fifty_is_badly_worn_by_three_twentieths_of_the_pitch() -> None:
    """Crests drawn as said, and how many of them lie under each step of the tail."""
    rng, n = np.random.default_rng(6), 2_000_000
    size = find("M14x1.5")
    low, high = size.external[0].major_mm
    everyday = (rng.random(n) < 0.2) * rng.exponential(0.05 * size.pitch_mm, n)
    badly = rng.exponential(0.15 * size.pitch_mm, n)
    crest = rng.uniform(low, high, n) - np.where(rng.random(n) < 0.02, badly, everyday)
    parts = population("external")
    i = parts.sizes.index(size)
    weight = np.exp(parts.log_weight_worn[i, 0])
    at = parts.mean[i, 0, :, MAJOR]
    held = np.cumsum((weight / weight.sum())[np.argsort(at)])[:-1]
    edges = np.sort(at)[:-1] + np.diff(np.sort(at)) / 2
    tail = np.mean(crest < np.sort(at)[0] - np.diff(np.sort(at))[0] / 2)
    for edge, share in zip(edges.tolist(), held.tolist(), strict=True):
        assert share == pytest.approx(np.mean(crest < edge) - tail, rel=0.06, abs=2e-4)
    inside = population("internal")
    assert np.array_equal(inside.log_weight, inside.log_weight_worn)


def test_the_badly_worn_are_not_worn_as_others_as_well(monkeypatch) -> None:
    """Where every second part is badly worn, half are worn as others are; a tail's end is cut."""
    size = find("M14x1.5")
    weight = []
    for share in (0.0, 0.5, 1.0):
        monkeypatch.setattr(module, "BADLY_SHARE", share)
        fields = module._zones(size, "external")
        weight.append(module._class_parts((size,), "external", fields)[1][1, 0])
    none, half, every = weight
    share = (half - none) @ (every - none) / np.sum((every - none) ** 2)
    assert 0.48 < share < 0.5


@pytest.mark.parametrize("gender", ["external", "internal"])
def test_no_class_of_a_size_scatters_by_more_than_its_bound(gender: Gender) -> None:
    parts = population(gender)
    every = np.diagonal(parts.covariance, axis1=2, axis2=3)
    assert (every <= parts.variance[:, None]).all()
    assert (every.max(axis=1) == parts.variance).all()


def test_truncation_takes_from_crests_and_fills_roots() -> None:
    """ASME B1.20.1: sharp 0.8 P at the most; both ends of the form may be flat."""
    size = find("1/8-27 NPT")
    parts = population("external")
    i = parts.sizes.index(size)
    cut = size.truncation_mm
    assert 0.05 < cut < 0.2 * size.pitch_mm
    assert parts.mean[i, 0, 0, MINOR] == pytest.approx(size.basic_minor_mm + cut / 2)
    assert parts.mean[i, 0, :, MAJOR].max() < size.basic_major_mm
    assert parts.mean[i, 0, 0, PITCH_DIAMETER] == pytest.approx(size.basic_pitch_diameter_mm)


@pytest.mark.parametrize(
    ("designation", "core_mm"),
    # Core diameter of the external thread, DIN 158-1 table 1 and ISO 68-1 (d - 1.22687 P), both
    # from memory.
    [("M10x1 taper", 8.773), ("M14x1.5 taper", 12.160), ("M18x1.5 taper", 16.160)],
)
def test_metric_tapers_have_the_roots_of_parallel_threads(designation: str, core_mm: float) -> None:
    """Roots rounded by an eighth to a seventh of the pitch lie below the mate's crests."""
    size = find(designation)
    parts = population("external")
    i = parts.sizes.index(size)
    mean = parts.mean[i, 0, 0, MINOR]
    u = np.sqrt(parts.covariance[i, 0, MINOR, MINOR])
    assert abs(mean - core_mm) < u
    assert u < 0.1 * size.pitch_mm
    # What the gauge plane's place moves is counted apart, once.
    parallel = parts.sizes.index(find(designation.removesuffix(" taper")))
    wide = np.sqrt(parts.covariance[parallel, 0, MINOR, MINOR])
    assert mean == pytest.approx(parts.mean[parallel, 0, 0, MINOR], abs=wide)


def test_a_taper_s_limits_are_no_narrower_than_its_gauge_plane_moves_them() -> None:
    """Else what is left of them by itself would be less than nothing, and tables disagree."""
    asked = 0
    for size in load_series():
        genders: tuple[Gender, Gender] = ("external", "internal")
        for gender, position in zip(genders, size.position_mm, strict=True):
            for held in size.limits(gender) if size.taper else ():
                for low, high in (held.major_mm, held.pitch_diameter_mm, held.minor_mm):
                    assert high - low > 2 * position * size.taper - 1e-9, (size, gender)
                    asked += 1
    assert asked > 250
