"""Densities of many factors at once, against SciPy's normal density of each cell by itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_normal

from pitchcam.match import likelihood
from pitchcam.match.evidence import log_evidence, log_evidences, rescaled
from pitchcam.match.likelihood import log_likelihoods, log_likelihoods_near, log_off_series
from pitchcam.match.population import DIAMETERS, MINOR, TAPER, Population, geometries, population
from pitchcam.records import NAMING_QUANTITIES, Gender, Quantity, ThreadReading
from pitchcam.series import find
from tests.match.test_naming import reading_of

FACTORS = np.array([0.97, 0.995, 1.0, 1.004, 1.03])


def correlated(designation: str, gender: Gender, station_mm: float | None) -> ThreadReading:
    """Return a reading of all quantities, whose lengths share an error."""
    base = reading_of(designation, gender=gender, station_mm=station_mm or 0.0, low_mm=0.08)
    lengths = [n for n in NAMING_QUANTITIES if n.endswith("_mm")]
    pairs = {(a, b): 0.6 for a in lengths for b in lengths if a < b}
    station = None if station_mm is None else base.diameter_station_mm
    return replace(base, diameter_station_mm=station, correlation=pairs)


def by_scipy(reading: ThreadReading, factor: float, parts: Population, i: int) -> float:
    """Return the log density of one size, cell by cell, on the definition."""
    read = [k for k, n in enumerate(NAMING_QUANTITIES) if getattr(reading, n) is not None]
    k = np.array([factor if NAMING_QUANTITIES[x].endswith("_mm") else 1.0 for x in read])
    held = [getattr(reading, NAMING_QUANTITIES[x]) for x in read]
    value, u = k * [q.value for q in held], k * [q.u for q in held]
    turned = np.array([3.0 if NAMING_QUANTITIES[x] == "angle_deg" else 1.0 for x in read])
    poor = reading.angle_deg is not None and reading.angle_deg.u > 1.0
    # A poor photo's angle has longer tails, and the roots of an external thread are filled.
    kinds = [(0.995, 1.0 + 0 * turned), (0.005, 3.0 + 0 * turned)]
    if poor:
        kinds = [(0.945, kinds[0][1]), kinds[1], (0.05, turned)]
    filled = np.zeros(len(read))
    if poor and parts.external and reading.minor_mm is not None:
        filled[read.index(MINOR)] = 0.25 * factor * reading.pitch_mm.value
    corr = np.eye(len(read))
    for (a, b), r in reading.correlation.items():
        x, y = read.index(NAMING_QUANTITIES.index(a)), read.index(NAMING_QUANTITIES.index(b))
        corr[x, y] = corr[y, x] = r
    # Where a taper was read its diameters move along it, and its own error acts with that arm.
    taper, station = float(parts.taper[i]), reading.diameter_station_mm
    arm, u_place = 0.0, 0.0
    if taper and not parts.external:
        u_place = parts.sizes[i].pitch_mm
    elif taper and station is not None:
        arm, u_place = station.value * factor - parts.gauge_length_mm[i], station.u * factor
    elif taper:
        length = float(parts.useful_length_mm[i])
        arm, u_place = length / 2 - parts.gauge_length_mm[i], length / np.sqrt(12)
    moves = np.eye(6)
    moves[list(DIAMETERS), TAPER] = arm
    logs = []
    for c in range(parts.mean.shape[1]):
        real = moves @ parts.covariance[i, c] @ moves.T
        real[np.ix_(DIAMETERS, DIAMETERS)] += (taper * u_place) ** 2
        for cell in range(parts.mean.shape[2]):
            mean = parts.mean[i, c, cell].copy()
            mean[list(DIAMETERS)] += taper * arm
            for share, wide in kinds:
                own = corr * np.outer(u, u) + np.diag(filled**2)
                covariance = real[np.ix_(read, read)] + own * np.outer(wide, wide)
                log = multivariate_normal.logpdf(value, mean[read], covariance)
                logs.append(parts.log_weight_worn[i, c, cell] + np.log(share) + log)
    return float(logsumexp(logs))


@pytest.mark.parametrize(
    ("designation", "gender", "station_mm"),
    [
        ("M14x1.5", "external", None),
        ("1/4-18 NPT", "external", None),
        ("1/4-18 NPT", "external", 8.0),
        ("M14x1.5", "internal", None),
        ("Rc 1/2", "internal", None),
    ],
)
def test_each_factor_has_the_density_of_its_cells(
    designation: str, gender: Gender, station_mm: float | None
) -> None:
    parts = population(gender)
    reading = correlated(designation, gender, station_mm)
    i = parts.sizes.index(find(designation))
    found = log_likelihoods(reading, FACTORS, parts, far=200.0)[:, i]
    for k, log in zip(FACTORS.tolist(), found, strict=True):
        assert log == pytest.approx(by_scipy(reading, k, parts, i), abs=1e-7)


@pytest.mark.parametrize(
    ("designation", "gender"), [("M14x1.5", "external"), ("M14x1.5", "internal")]
)
def test_a_poor_photos_angle_and_roots_are_doubted(designation: str, gender: Gender) -> None:
    """The minor diameter is a root outside, and a crest inside, which nothing fills."""
    parts = population(gender)
    reading = correlated(designation, gender, None)
    assert reading.angle_deg is not None
    reading = replace(reading, angle_deg=replace(reading.angle_deg, u=1.4))
    i = parts.sizes.index(find(designation))
    found = log_likelihoods(reading, FACTORS, parts, far=200.0)[:, i]
    for k, log in zip(FACTORS.tolist(), found, strict=True):
        assert log == pytest.approx(by_scipy(reading, k, parts, i), abs=1e-7)


@pytest.mark.parametrize(("u", "kinds"), [(1.5, 2), (2.5, 3)])
def test_a_poor_photo_is_told_by_its_angles_u(monkeypatch, u: float, kinds: int) -> None:
    """Its standard uncertainty against the limit, not its variance: at 1 degree they are one."""
    monkeypatch.setattr(likelihood, "POOR_ANGLE_DEG", 2.0)
    read = likelihood.vectors(ThreadReading(angle_deg=Quantity(value=60.0, u=u)))
    assert len(likelihood._reading_kinds(read)) == kinds


@pytest.mark.parametrize("read", ["all", "diameters alone"])
@pytest.mark.parametrize(
    ("designation", "gender", "station_mm"),
    [("M14x1.5", "external", None), ("1/4-18 NPT", "external", 8.0), ("Rc 1/2", "internal", None)],
)
def test_what_is_out_of_the_question_is_left_out_and_nothing_else(
    designation: str, gender: Gender, station_mm: float | None, read: str
) -> None:
    reading = correlated(designation, gender, station_mm)
    if read != "all":
        reading = replace(reading, pitch_mm=None, correlation={})
    parts, far = population(gender), 6.0
    every = log_likelihoods(reading, FACTORS, parts, far)
    near = log_likelihoods_near(reading, FACTORS, parts, far)
    asked = np.isfinite(near)
    assert 0 < asked.sum() < asked.size
    assert near[asked] == pytest.approx(every[asked], abs=1e-9)
    assert (every[~asked] <= -0.5 * far**2).all()


def test_what_is_out_of_the_question_gets_its_bound() -> None:
    """A pitch good to 0.01 mm at three times its u, against the parts' own 0.1 %."""
    parts = population("external")
    fit = log_likelihoods(ThreadReading(pitch_mm=Quantity(value=1.5, u=0.01)), np.ones(1), parts)[0]
    pitch = np.array([s.pitch_mm for s in parts.sizes])
    z = np.abs(pitch - 1.5) / np.hypot(0.03, 0.001 * pitch)
    out = z > 12.0
    assert 0 < out.sum() < len(out)
    assert fit[out] == pytest.approx(-0.5 * z[out] ** 2, rel=1e-6)
    assert (fit[~out] > -0.5 * 12.0**2 - 10.0).all()


@pytest.mark.parametrize("gender", ["external", "internal"])
def test_one_size_of_each_geometry_stands_for_all_of_them(gender: Gender) -> None:
    parts, few = population(gender), geometries(gender, None)
    assert len({size.geometry for size in few.sizes}) == len(few.sizes) < len(parts.sizes)
    reading = correlated(few.sizes[7].designation, gender, None)
    whole = log_likelihoods(reading, FACTORS, parts)[:, list(parts.leaders)]
    assert log_likelihoods(reading, FACTORS, few) == pytest.approx(whole, abs=1e-9)


def density(name: str, values: np.ndarray, base: ThreadReading) -> np.ndarray:
    """Return the density of no series over one quantity, the others as they are."""
    u = getattr(base, name).u
    logs = [
        float(log_off_series(replace(base, **{name: Quantity(value=v, u=u)}))[0])
        for v in values.tolist()
    ]
    return np.exp(np.array(logs) - max(logs))


#: Nine in ten are of a series' form, the others of any: shares of means and spreads of each. Depths
#: in pitches: ISO 68-1 d - d2 = 0.6495, d - d3 = 1.2269; BS 84 0.640, 1.281; BS 93 0.600, 1.200;
#: ASME B1.20.1 0.800, 1.600 sharp, both crest and root cut by 0.033 and more; less what crests are
#: low by. Shares and spreads are judgement.
OFF = {
    "pitch_diameter_mm": [
        (0.9 * 0.89, 14 - 0.62 * 1.5, 0.06 * 1.5),
        (0.9 * 0.05, 14 - 0.58 * 1.5, 0.06 * 1.5),
        (0.9 * 0.06, 14 - 0.77 * 1.5, 0.06 * 1.5),
        (0.1, 14 - 0.65 * 1.5, 0.3),
    ],
    "minor_mm": [
        (0.9 * 0.65, 14 - 1.2 * 1.5, 0.08 * 1.5),
        (0.9 * 0.24, 14 - 1.26 * 1.5, 0.08 * 1.5),
        (0.9 * 0.05, 14 - 1.18 * 1.5, 0.08 * 1.5),
        (0.9 * 0.06, 14 - 1.54 * 1.5, 0.08 * 1.5),
        (0.1, 14 - 1.2 * 1.5, 0.3),
    ],
    "angle_deg": [
        (0.9 * 0.71, 60.0, 0.5),
        (0.9 * 0.24, 55.0, 0.5),
        (0.9 * 0.05, 47.5, 0.5),
        (0.1, 57.0, 12.0),
    ],
    "taper": [(0.9 * 0.9, 0.0, 0.002), (0.9 * 0.1, 1 / 16, 0.002), (0.1, 0.03, 0.04)],
}


@pytest.mark.parametrize("name", OFF)
def test_no_series_has_the_forms_of_series_or_any(name: str) -> None:
    """Mean and standard deviation of the density, integrated: u of what was read is in it."""
    u = {"angle_deg": 1.0, "taper": 0.002}.get(name, 0.05)
    major = Quantity(value=14.0, u=0.02)
    base = ThreadReading(pitch_mm=Quantity(value=1.5, u=0.01), major_mm=major)
    share, mean, spread = np.array(OFF[name]).T
    spread = np.sqrt(spread**2 + u**2 + (major.u if name.endswith("_mm") else 0.0) ** 2)
    middle = share @ mean
    sigma = float(np.sqrt(share @ (spread**2 + (mean - middle) ** 2)))
    base = replace(base, **{name: Quantity(value=middle, u=u)})
    values = middle + sigma * np.linspace(-12, 12, 4801)
    values = values[values > 0] if name != "taper" else values
    weight = density(name, values, base)
    weight /= weight.sum()
    assert weight @ values == pytest.approx(middle, abs=0.01 * sigma)
    assert np.sqrt(weight @ (values - middle) ** 2) == pytest.approx(sigma, rel=0.01)


def test_no_series_has_a_diameter_of_so_many_pitches_as_threads_have() -> None:
    """Even by its logarithm from 3.2 to 60 pitches; where no pitch was read, from 0.7 to 120 mm."""
    pitch, major = Quantity(value=1.5, u=0.01), Quantity(value=14.0, u=0.02)
    both = log_off_series(ThreadReading(pitch_mm=pitch, major_mm=major), FACTORS)
    alone = log_off_series(ThreadReading(pitch_mm=pitch), FACTORS)
    evenly = -np.log(14.0 * FACTORS * np.log(60 / 3.2))
    assert both - alone == pytest.approx(evenly, rel=1e-9)
    free = log_off_series(ThreadReading(major_mm=major), FACTORS)
    assert free == pytest.approx(-np.log(14.0 * FACTORS * np.log(120 / 0.7)), rel=1e-9)


def test_depths_without_a_major_diameter_are_those_between_the_others() -> None:
    """A root lies 1.2 less 0.62 pitches below the pitch diameter; broadly, without a pitch."""
    middle, root = Quantity(value=13.07, u=0.02), 13.07 - (1.2 - 0.62) * 1.5
    base = ThreadReading(pitch_mm=Quantity(value=1.5, u=0.01), pitch_diameter_mm=middle)
    iso = {"angle_deg": Quantity(value=60.0, u=0.2), "taper": Quantity(value=0.0, u=0.0005)}
    base = replace(base, minor_mm=Quantity(value=root, u=0.02), **iso)
    weight = density("minor_mm", np.array([root - 0.3, root, root + 0.3]), base)
    assert weight[1] == 1.0 and weight[0] < 0.1
    assert weight[0] == pytest.approx(weight[2], rel=0.1)
    # A tenth of the root's diameter stands for a pitch, to a fifth of it.
    deep = 13.07 / (1 + 0.1 * (1.2 - 0.62))
    values = np.array([deep - 0.2, deep])
    assert density("minor_mm", values, replace(base, pitch_mm=None))[0] > 0.6


def test_factors_together_are_factors_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    reading = correlated("1/4-18 NPT", "external", 8.0)
    together = log_evidences(reading, FACTORS)
    alone = [log_evidence(rescaled(reading, k)) for k in FACTORS.tolist()]
    # Four lengths are read; the density is over them as they were read.
    assert together == pytest.approx(alone + 4 * np.log(FACTORS), abs=1e-9)
    none = [float(log_off_series(rescaled(reading, k))[0]) for k in FACTORS.tolist()]
    assert log_off_series(reading, FACTORS) == pytest.approx(none, abs=1e-12)
    # A block's end is no edge.
    monkeypatch.setattr(likelihood, "BLOCK", 7)
    assert log_evidences(reading, FACTORS) == pytest.approx(together, abs=1e-12)


def test_no_series_of_a_pitch_alone() -> None:
    """What is not read has no share; a pitch alone spreads evenly by its logarithm."""
    reading = ThreadReading(pitch_mm=Quantity(value=1.5, u=0.01))
    expected = -np.log(1.5 * FACTORS * np.log(8.0 / 0.15))
    assert log_off_series(reading, FACTORS) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("beyond", [-2.0, 10.0])
def test_a_tapers_diameters_are_those_of_the_place_where_they_were_read(beyond: float) -> None:
    """1 : 16 and a place 10 mm beyond the gauge plane: 0.625 mm, of a reading good to 0.02."""
    parts = population("external")
    place = next(i for i in parts.leaders if parts.sizes[i].designation == "1/2-14 NPT")
    at = float(parts.gauge_length_mm[place]) + beyond
    values = parts.mean[place, 0].mean(axis=0) + beyond / 16 * np.isin(range(6), DIAMETERS)
    u = (0.003, 0.02, 0.02, 0.05, 0.5, 0.002)
    read = {
        name: Quantity(value=float(v), u=x)
        for name, v, x in zip(NAMING_QUANTITIES, values, u, strict=True)
    }
    reading = ThreadReading(diameter_station_mm=Quantity(value=at, u=0.1), **read)
    fit = log_likelihoods(reading, np.ones(1), parts)[0]
    # None of the quantities is far off: it is no worse than a reading that is met.
    middle = log_likelihoods(
        replace(
            reading,
            diameter_station_mm=Quantity(value=at - beyond, u=0.1),
            **{
                NAMING_QUANTITIES[d]: Quantity(value=float(values[d]) - beyond / 16, u=u[d])
                for d in DIAMETERS
            },
        ),
        np.ones(1),
        parts,
    )[0]
    assert fit[place] == pytest.approx(middle[place], abs=0.5)
