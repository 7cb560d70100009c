"""Densities of readings by hand, against their own draws and general-purpose integration."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.stats import kstest

from pitchcam.match.diameters import Caliper, crest_densities
from pitchcam.match.hand import HandReadings, factors
from pitchcam.match.hand_posterior import hand_posterior
from pitchcam.match.leaves import leaf_chances, own_set, right_leaf, steps
from pitchcam.match.population import MAJOR, MINOR, population
from pitchcam.match.slips import SLIPS, slip_shares
from pitchcam.records import Gender, Quantity
from pitchcam.series import find
from tests.slips.draw import What, careful


@pytest.mark.parametrize(
    ("designation", "gender", "quantity"),
    [
        ("M14x1.5", "external", MAJOR),
        ("1/4-18 NPT", "external", MAJOR),
        ("Rc 1/2", "internal", MINOR),
        ("Rc 1/2", "internal", MAJOR),
    ],
)
@pytest.mark.parametrize(("station", "span"), [(None, 0.0), (None, 8.0), (3.0, 0.0)])
def test_a_diameters_density_integrates_to_one(
    designation: str, gender: Gender, quantity: int, station: float | None, span: float
) -> None:
    place = None if station is None else Quantity(value=station, u=0.5)
    caliper = Caliper(quantity=quantity, u_mm=0.03, station_mm=place, span_mm=span)
    parts = population(gender)
    size = find(designation)
    middle = size.basic_major_mm if quantity == MAJOR else size.basic_minor_mm
    grid = np.linspace(middle - 1.8, middle + 1.2, 1201)
    i = parts.sizes.index(size)
    for density in crest_densities(grid, parts, caliper):
        assert trapezoid(density[:, i], grid) == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize("designation", ["R 1/2", "1/2-14 NPT", "M14x1.5 taper", "G 1/2"])
def test_readings_anywhere_on_the_thread_follow_the_density(designation: str) -> None:
    # Parts drawn from the limits by the study's own generator, the place even over the thread.
    size = find(designation)
    read = careful(size, What(), np.random.default_rng(5), 4000).diameter_mm
    assert read is not None
    parts = population("external")
    grid = np.linspace(read.min() - 0.3, read.max() + 0.3, 800)
    density = crest_densities(grid, parts, Caliper(quantity=MAJOR, u_mm=0.03))[0]
    total = np.cumsum(density[:, parts.sizes.index(size)])
    found = kstest(read, lambda x: np.interp(x, grid, total / total[-1]))
    # The model counts more wear and more parts of the wide classes than this draw has.
    assert found.statistic < 0.1


def test_the_place_of_one_diameter_is_open_until_it_is_stated() -> None:
    parts = population("external")
    i = parts.sizes.index(find("R 1/2"))
    read = np.array([20.45, 20.95, 21.2])
    caliper = Caliper(quantity=MAJOR, u_mm=0.03)
    near_the_end = replace(caliper, station_mm=Quantity(value=0.5, u=0.2))
    open_ = crest_densities(read, parts, caliper)[0][:, i]
    stated = crest_densities(read, parts, near_the_end)[0][:, i]
    assert (open_ > 0.5).all()
    assert stated[0] > 2.0 and stated[1] < 0.01 and stated[2] < 1e-6


def test_leaves_are_said_with_probabilities() -> None:
    chances, sizes = leaf_chances("external", 0.005), population("external").sizes
    total = (chances.careful + sum(chances.slips.values())).sum(axis=1)
    fits = np.array([abs(right_leaf(s).pitch_mm / s.pitch_mm - 1) < 0.001 for s in sizes])
    assert np.all(total <= 1 + 1e-9) and np.all(total[fits] > 0.97)
    # 14 BA has 0.23 mm, which no set holds: the 0.25 mm leaf is never its right one.
    odd = sizes.index(find("14 BA"))
    assert chances.careful[odd].sum() < 1e-3 < chances.slips["leaf-step"][odd].sum()


@pytest.mark.parametrize(
    ("designation", "leaf", "beside"),
    [
        ("M14x1.5", "1.5mm", {"1.25mm", "1.75mm"}),
        ("G 1/4", "19tpi", {"18tpi", "20tpi"}),
        ("1/4-18 NPT", "18tpi", {"16tpi", "20tpi"}),
        ("2 BA", "2ba", {"1ba", "3ba"}),
        ("1/2-26 BSC", "26tpi", {"24tpi", "27tpi"}),
    ],
)
def test_the_right_leaf_and_those_beside_it(designation: str, leaf: str, beside: set[str]) -> None:
    size = find(designation)
    assert right_leaf(size).mark == leaf
    assert {x.mark for x in steps(size)} == beside
    assert own_set(size) in ("metric", "inch55", "inch60", "ba")


def test_every_slip_has_a_share_and_leaves_most_readings_good() -> None:
    shares = slip_shares()
    assert set(shares) == set(SLIPS)
    # A photo has one reference: its slips are those of one kind.
    by_hand = [v for k, v in shares.items() if k != "order" and not k.startswith("reference-")]
    assert sum(by_hand) < 0.15


def test_order_is_taken_both_ways() -> None:
    def change(value: float) -> HandReadings:
        return HandReadings(diameter_mm=np.array([16.5]), change_mm=np.array([value]), apart_mm=6.0)

    parts = population("external")
    taper, parallel = (parts.sizes.index(find(d)) for d in ("R 3/8", "G 3/8"))
    for value in (0.36, -0.36):
        factor = factors(change(value), parts)[1]
        assert factor.total[0, taper] > 100 * factor.total[0, parallel]
    assert hand_posterior(change(-0.36)).slips["order"][0].max() > 0.9
