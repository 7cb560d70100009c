"""Densities of many factors at once, against SciPy's normal density of each cell by itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_normal

from pitchcam.match import likelihood
from pitchcam.match.evidence import log_evidence, log_evidences, rescaled
from pitchcam.match.likelihood import log_likelihoods, log_off_series
from pitchcam.match.population import DIAMETERS, TAPER, Population, population
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
            for share, wide in ((0.995, 1.0), (0.005, 9.0)):
                covariance = real[np.ix_(read, read)] + wide * corr * np.outer(u, u)
                log = multivariate_normal.logpdf(value, mean[read], covariance)
                logs.append(parts.log_weight[i, c, cell] + np.log(share) + log)
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
