"""The light along a line into a mirroring part: limits and symmetries, and facets by quadrature."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import ndtr

from pitchcam.light.facets import Facets, facets_lit
from pitchcam.light.mirrored import Mirrored, light_slopes, line_light
from pitchcam.light.stations import CELLS, Line, Stretch, middle_line
from tests.light.lines import outline, stations

R, BLUR = 6.0, 0.05
ACROSS = np.arange(-0.5, 0.3, 0.02)


def mirror(loss=0.5, angle=0.15, roughness=0.01, share=1.0, parts=1) -> Mirrored:
    one = np.ones((parts, 1))
    angles = np.broadcast_to(np.asarray(angle, float), (parts, 3)).copy()
    return Mirrored(
        loss=loss * one, angles_rad=angles, roughness=roughness * one, share=share * one
    )


def cylinder(line: Line, radius: float = R, slope_deg: float = 0.0) -> Stretch:
    flat = np.ones((1, line.count))
    return outline(line, radius * flat, np.cos(np.radians(slope_deg)) * flat)


def seen(blur: float = BLUR, across: np.ndarray = ACROSS, **how: float) -> np.ndarray:
    line = middle_line(R + across, blur)
    return line_light(line, cylinder(line), mirror(**how))[0]


def test_the_lines_cells_are_finer_than_the_blur_and_reach_past_it() -> None:
    line = middle_line(R + ACROSS, BLUR)
    assert line.step == pytest.approx(BLUR / CELLS)
    assert np.diff(line.r) == pytest.approx(np.full(len(line.r) - 1, line.step))
    assert line.r[0] <= R + ACROSS[0] - 3 * BLUR
    z, weights = line.stations
    assert z.min() > 0 and z.max() < 3 * BLUR
    assert weights.sum() == pytest.approx(1.0, abs=1e-5)
    assert np.sqrt(weights @ z**2) == pytest.approx(BLUR, rel=0.02)


def test_light_from_the_cells_and_from_beneath_them_is_all() -> None:
    line = middle_line(R + ACROSS, BLUR)
    deep = line.r[-1] - 5 * BLUR > R + ACROSS
    assert (line.kernel.sum(axis=1) + line.below)[deep] == pytest.approx(
        np.ones(deep.sum()), abs=1e-3
    )


def test_a_dull_cylinder_is_a_plain_blurred_edge() -> None:
    """No share is mirrored: the light falls as the normal distribution at the true radius."""
    assert seen(share=0.0) == pytest.approx(ndtr(ACROSS / BLUR), abs=4e-3)
    assert seen(angle=1e-4, roughness=1e-4) == pytest.approx(seen(share=0.0), abs=0.05)


def test_a_taper_shows_its_edge_at_the_station() -> None:
    """A slope moves the outline's radius along the line's blur and leaves the middle."""
    line = middle_line(R + ACROSS, BLUR)
    z, weights = stations(line)
    for slope in (0.0, 0.3):
        y = R + slope * z[None]
        cos_b = np.cos(np.arctan(slope)) * np.ones_like(y)
        light = line_light(line, outline(line, y, cos_b, 1.0, weights), mirror(share=0.0))[0]
        both = BLUR * np.hypot(1, slope)
        assert light == pytest.approx(ndtr(ACROSS / both), abs=5e-3)


def test_share_mixes_the_mirrored_light_with_none() -> None:
    whole, none = seen(), seen(share=0.0)
    for share in (0.3, 0.9):
        assert seen(share=share) == pytest.approx(share * whole + (1 - share) * none, abs=1e-12)


@pytest.mark.parametrize(
    ("less", "more"),
    [
        ({"loss": 0.8}, {"loss": 0.3}),
        ({"angle": 0.1}, {"angle": 0.2}),
        ({"share": 0.5}, {"share": 1.0}),
    ],
    ids=["less loss", "wider angles", "more share"],
)
def test_light_grows_with(less: dict[str, float], more: dict[str, float]) -> None:
    gain = seen(**more) - seen(**less)
    assert gain.min() > -1e-9
    assert gain.max() > 0.05


def test_light_lies_between_none_and_all_and_rises_outward() -> None:
    for how in ({}, {"roughness": 0.2}, {"loss": 0.9, "angle": 0.4}):
        light = seen(**how)
        assert light.min() > -1e-5 and light.max() < 1 + 1e-5
        assert light[-1] > 0.999
        assert (np.diff(light)[ACROSS[1:] > 0] > -1e-9).all()


def test_scaled_in_all_lengths_it_is_the_same() -> None:
    line = middle_line(3 * (R + ACROSS), 3 * BLUR)
    large = line_light(line, cylinder(line, 3 * R), mirror())[0]
    assert large == pytest.approx(seen(), abs=1e-7)


def test_each_flank_mirrors_as_far_as_its_own_angle_and_the_tip_as_far_as_the_middle_one() -> None:
    """The blur along the line mixes both flanks evenly, whichever is which."""
    line = middle_line(R + ACROSS, BLUR)
    flat = np.ones((1, line.count))
    flank, tip = (outline(line, R * flat, 0.7 * flat, lean) for lean in (1.0, 0.0))
    one, same = (mirror(angle=a) for a in ([0.1, 0.15, 0.25], [0.25, 0.15, 0.1]))
    assert line_light(line, flank, one) == pytest.approx(line_light(line, flank, same), abs=1e-12)
    alone = [line_light(line, flank, mirror(angle=[a] * 3)) for a in (0.1, 0.25)]
    assert line_light(line, flank, one) == pytest.approx(np.mean(alone, axis=0), abs=1e-12)
    assert np.abs(alone[0] - alone[1]).max() > 0.1
    middle = line_light(line, tip, mirror(angle=[0.15] * 3))
    assert line_light(line, tip, one) == pytest.approx(middle, abs=1e-12)


def test_a_tip_deeper_than_its_body_still_shines_in_numbers() -> None:
    line = middle_line(0.1 + ACROSS, BLUR)
    y = 0.1 - 5 * line.stations[0][None]
    light = line_light(line, outline(line, y, np.full_like(y, 0.5), 1.0), mirror())[0]
    assert np.isfinite(light).all()
    assert light.min() > -0.01 and light.max() < 1.01


@pytest.mark.parametrize("i", range(4), ids=["loss", "angles", "roughness", "share"])
def test_each_slope_of_the_lines_light_is_that_of_differences(i: int) -> None:
    line = middle_line(R + ACROSS, BLUR)
    at = np.array([0.5, np.log(0.15), np.log(0.08), 0.9])

    def light(q: np.ndarray) -> np.ndarray:
        how = mirror(q[0], np.exp(q[1]), np.exp(q[2]), q[3])
        return line_light(line, cylinder(line, R, 20.0), how)[0]

    step = 1e-6 * np.eye(4)[i]
    expected = (light(at + step) - light(at - step)) / 2e-6
    found = light_slopes(line, cylinder(line, R, 20.0), mirror(0.5, 0.15, 0.08, 0.9))[1]
    assert found[0, :, i] == pytest.approx(expected, abs=1e-6)
    assert np.abs(expected).max() > 0.01


def test_parts_are_each_by_themselves() -> None:
    line = middle_line(R + ACROSS, BLUR)
    flat = np.ones((3, line.count))
    three = Mirrored(
        loss=np.array([[0.3], [0.5], [0.8]]),
        angles_rad=np.array([[0.1] * 3, [0.15] * 3, [0.2] * 3]),
        roughness=np.array([[0.01], [0.05], [0.1]]),
        share=np.array([[1.0], [0.5], [0.9]]),
    )
    together = line_light(line, outline(line, R * flat, flat), three)
    for i in range(3):
        alone = mirror(
            three.loss[i, 0], three.angles_rad[i], three.roughness[i, 0], three.share[i, 0]
        )
        assert together[i] == pytest.approx(line_light(line, cylinder(line), alone)[0], abs=1e-12)


def test_the_slopes_come_with_the_light_itself() -> None:
    line = middle_line(R + ACROSS, BLUR)
    light, slopes = light_slopes(line, cylinder(line), mirror(roughness=0.08))
    assert light == pytest.approx(line_light(line, cylinder(line), mirror(roughness=0.08)))
    assert slopes.shape == (1, len(ACROSS), 4)
    by_loss, by_angle, _, by_share = np.moveaxis(slopes[0], 1, 0)
    assert by_loss.max() < 1e-12, "more loss, less light"
    assert by_angle.min() > -1e-12, "wider angles, more light"
    assert by_share.min() > -1e-12


def facets(grazing: float, last: float, roughness: float) -> Facets:
    return facets_lit(np.array(grazing), np.array([last]), np.array(roughness))


@settings(max_examples=40, deadline=None)
@given(grazing=st.floats(0, 0.4), last=st.floats(0.01, 0.5), roughness=st.floats(0.03, 0.3))
def test_the_lit_share_of_facets_is_that_of_quadrature(grazing, last, roughness) -> None:
    def frequent(a: float) -> float:
        return a * np.exp(-(((a - grazing) / roughness) ** 2))

    top = grazing + 8 * roughness
    every = quad(frequent, 0, top, points=[grazing])[0]
    lit = quad(frequent, 0, min(last, top), points=[min(grazing, last)])[0] / every
    assert facets(grazing, last, roughness).lit == pytest.approx(lit, abs=1e-6)


def test_a_smooth_surface_is_lit_up_to_the_last_angle_and_no_further() -> None:
    assert facets(0.10, 0.2, 0.002).lit == pytest.approx(1.0, abs=1e-6)
    assert facets(0.30, 0.2, 0.002).lit == pytest.approx(0.0, abs=1e-6)
    assert facets(0.20, 0.2, 0.002).lit == pytest.approx(0.5, abs=0.01)
    assert facets(0.10, 0.2, 0.002).mean == pytest.approx(0.10, rel=1e-3)


def test_facets_show_themselves_steeper_than_the_surface_they_make() -> None:
    """In proportion to their angle, and never from behind."""
    for grazing in (0.0, 0.05, 0.2):
        assert facets(grazing, 0.2, 0.1).mean > grazing


@pytest.mark.parametrize("grazing", [0.0, 0.08, 0.2])
@pytest.mark.parametrize("last", [0.1, 0.3])
def test_the_facets_changes_are_those_of_differences(grazing: float, last: float) -> None:
    rough, d = 0.09, 1e-6
    f = facets(grazing, last, rough)
    wider = (
        facets(grazing, last * np.exp(d), rough).lit - facets(grazing, last * np.exp(-d), rough).lit
    ) / (2 * d)
    up, down = (facets(grazing, last, rough * np.exp(s * d)) for s in (1, -1))
    assert f.wider == pytest.approx(wider, abs=1e-7)
    assert f.rougher == pytest.approx((up.lit - down.lit) / (2 * d), abs=1e-7)
    assert f.mean_rougher == pytest.approx((up.mean - down.mean) / (2 * d), abs=1e-7)
