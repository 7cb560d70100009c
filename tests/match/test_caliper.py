"""A diameter over the crests: where on the thread it was read, how worn, of which size."""

import numpy as np
import pytest
from scipy.integrate import trapezoid

from pitchcam.match.diameters import BADLY_WORN, Caliper, crest_densities
from pitchcam.match.population import MAJOR, MINOR, PITCH_DIAMETER, population
from pitchcam.records import Gender, Quantity
from pitchcam.series import find


def place_of(designation: str, gender: Gender = "external") -> int:
    return population(gender).sizes.index(find(designation))


def ends(caliper: Caliper, designation: str, gender: Gender = "external") -> tuple[float, float]:
    low, high = caliper.range(population(gender))
    at = place_of(designation, gender)
    return float(low[at]), float(high[at])


def test_an_unstated_place_is_anywhere_on_the_useful_thread() -> None:
    # ISO 7-1, R 1/2: useful 13.2 mm, gauge plane 8.2 mm from the end.
    assert ends(Caliper(quantity=MAJOR, u_mm=0.03), "R 1/2") == pytest.approx((-8.2, 5.0))


def test_a_stated_place_is_from_the_small_end() -> None:
    at = Caliper(quantity=MAJOR, u_mm=0.03, station_mm=Quantity(value=3.0, u=0.5))
    assert ends(at, "R 1/2") == pytest.approx((-5.2, -5.2))


@pytest.mark.parametrize(
    ("span", "low", "high"),
    # The mean of two lies half their distance from either end; too long a span leaves the middle.
    [(0.0, -8.2, 5.0), (6.0, -5.2, 2.0), (13.2, -1.6, -1.6), (20.0, -1.6, -1.6)],
)
def test_the_mean_of_two_keeps_off_the_ends(span: float, low: float, high: float) -> None:
    caliper = Caliper(quantity=MAJOR, u_mm=0.03, span_mm=span)
    assert ends(caliper, "R 1/2") == pytest.approx((low, high))


def test_inside_the_mouth_is_the_gauge_plane_and_the_thread_runs_to_the_small_end() -> None:
    caliper = Caliper(quantity=MINOR, u_mm=0.05)
    low, high = ends(caliper, "Rc 1/2", "internal")
    size = find("Rc 1/2")
    assert (low, high) == pytest.approx((-size.useful_length_mm, 0.0))
    stated = Caliper(quantity=MINOR, u_mm=0.05, station_mm=Quantity(value=2.0, u=0.5))
    assert ends(stated, "Rc 1/2", "internal") == pytest.approx((-2.0, -2.0))


def density(mm: float, designation: str, caliper: Caliper) -> tuple[float, float]:
    plain, worn = crest_densities(np.array([mm]), population("external"), caliper)
    at = place_of(designation)
    return float(plain[0, at]), float(worn[0, at])


def test_a_diameter_inside_the_limits_beats_one_outside() -> None:
    # ISO 965-2, M14x1.5 6g: 13.732 to 13.968 mm.
    caliper = Caliper(quantity=MAJOR, u_mm=0.01)
    inside = [density(x, "M14x1.5", caliper)[0] for x in (13.75, 13.85, 13.95)]
    below, above = density(13.55, "M14x1.5", caliper)[0], density(14.1, "M14x1.5", caliper)[0]
    assert min(inside) > 3 * below > 0 and above < 1e-3 * below


def test_badly_worn_crests_are_low_by_a_quarter_of_the_pitch_at_most() -> None:
    caliper = Caliper(quantity=MAJOR, u_mm=0.01)
    loss = BADLY_WORN * 1.5
    plain, worn = density(13.85 - 0.9 * loss, "M14x1.5", caliper)
    assert worn > 10 * plain
    # Everyday wear, of which there may be some before, has a tail of 0.075 mm.
    assert density(13.7 - 2.2 * loss, "M14x1.5", caliper)[1] < 1e-3 * worn
    # 0.1 to 0.3 mm on a pitch of 1.5 is what is seen; 0.64 mm under the widest class is none of it.
    assert density(12.95, "M14x1.5", caliper)[1] < 1e-2 * density(13.3, "M14x1.5", caliper)[1]
    # Never larger than they were made.
    assert density(14.12, "M14x1.5", caliper)[1] < 1e-3 * worn


def test_inside_a_worn_bore_is_larger() -> None:
    parts, at = population("internal"), place_of("M14x1.5", "internal")
    caliper = Caliper(quantity=MINOR, u_mm=0.01)
    plain, worn = crest_densities(np.array([12.2, 12.95]), parts, caliper)
    assert worn[1, at] > plain[1, at] and worn[0, at] < 1e-3 * worn[1, at]


def test_what_is_not_the_crest_does_not_wear() -> None:
    parts = population("external")
    caliper = Caliper(quantity=PITCH_DIAMETER, u_mm=0.02)
    plain, worn = crest_densities(np.array([12.9, 13.0]), parts, caliper)
    assert np.array_equal(plain, worn)


@pytest.mark.parametrize("u", [0.02, 0.1])
def test_a_worse_caliper_spreads_what_it_reads(u: float) -> None:
    grid = np.linspace(12.9, 14.4, 301)
    parts, at = population("external"), place_of("M14x1.5")
    plain, _ = crest_densities(grid, parts, Caliper(quantity=MAJOR, u_mm=u))
    held = plain[:, at]
    assert trapezoid(held, grid) == pytest.approx(1.0, abs=3e-3)
    mean = trapezoid(grid * held, grid)
    spread = np.sqrt(trapezoid((grid - mean) ** 2 * held, grid))
    own, _ = crest_densities(grid, parts, Caliper(quantity=MAJOR, u_mm=2e-3))
    own_mean = trapezoid(grid * own[:, at], grid)
    own_spread = np.sqrt(trapezoid((grid - own_mean) ** 2 * own[:, at], grid))
    assert mean == pytest.approx(own_mean, abs=1e-3)
    assert spread == pytest.approx(np.hypot(own_spread, u), rel=0.03)


def test_a_doubtful_place_spreads_a_taper_by_a_sixteenth() -> None:
    grid, at = np.linspace(19.0, 22.8, 301), place_of("R 1/2")
    spreads = []
    for u in (0.01, 4.0):
        station = Quantity(value=8.2, u=u)
        caliper = Caliper(quantity=MAJOR, u_mm=0.02, station_mm=station)
        held = crest_densities(grid, population("external"), caliper)[0][:, at]
        mean = trapezoid(grid * held, grid)
        spreads.append(np.sqrt(trapezoid((grid - mean) ** 2 * held, grid)))
    assert np.sqrt(spreads[1] ** 2 - spreads[0] ** 2) == pytest.approx(4.0 / 16, rel=0.02)


def test_anywhere_on_the_thread_is_an_even_spread_over_its_taper() -> None:
    """ISO 7-1, R 1/2: 13.2 mm useful, gauge plane at 8.2, a sixteenth on the diameter."""
    grid, at = np.linspace(19.0, 22.8, 381), place_of("R 1/2")

    def moments(caliper: Caliper) -> tuple[float, float]:
        held = crest_densities(grid, population("external"), caliper)[0][:, at]
        assert trapezoid(held, grid) == pytest.approx(1.0, abs=2e-3)
        mean = trapezoid(grid * held, grid)
        return float(mean), float(trapezoid((grid - mean) ** 2 * held, grid))

    at_plane = Caliper(quantity=MAJOR, u_mm=0.02, station_mm=Quantity(value=8.2, u=1e-6))
    mean, variance = moments(Caliper(quantity=MAJOR, u_mm=0.02))
    own_mean, own_variance = moments(at_plane)
    assert mean - own_mean == pytest.approx((13.2 / 2 - 8.2) / 16, abs=2e-3)
    assert variance - own_variance == pytest.approx((13.2 / 16) ** 2 / 12, rel=0.02)


def test_sizes_far_off_have_no_share_at_all() -> None:
    plain, worn = crest_densities(
        np.array([13.8]), population("external"), Caliper(quantity=MAJOR, u_mm=0.03)
    )
    for name in ("M6x1", "M24x3", "G 1", "1/4-20 UNC"):
        assert plain[0, place_of(name)] == worn[0, place_of(name)] == 0.0
    assert plain[0, place_of("M14x2")] > 0 and plain[0, place_of("M14x1.5 taper")] > 0
