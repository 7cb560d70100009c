"""The light along a line into a mirroring cylinder, against rays traced one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.ndimage import gaussian_filter1d

from pitchcam.light.facets import facets_lit
from pitchcam.light.mirrored import Mirrored, light_slopes, line_light
from pitchcam.light.stations import Moved, middle_line
from tests.light.lines import outline, stations
from tests.objects import drawing

F, REACH_MM, RADIUS_MM, LOSS = 4000.0, 200.0, 6.0, 0.5


def traced(across_mm, behind, half, blur_mm):
    """Light of a cylinder's edge, positive outward, in mm on the plane of its axis."""
    edge = F * np.tan(np.arcsin(RADIUS_MM / REACH_MM))
    x = np.arange(-60.0, 40.0, 0.02)
    light = drawing.traced_rim(
        edge + x,
        RADIUS_MM,
        f_px=F,
        distance_mm=REACH_MM,
        behind_mm=behind,
        half_mm=half,
        share=lambda a: 1 - LOSS * a / (a + 0.12),
    )
    light = gaussian_filter1d(light, blur_mm * F / REACH_MM / 0.02)
    return np.interp(across_mm * F / REACH_MM, x, light)


def of(loss, angles, roughness, share):
    return Mirrored(loss=loss, angles_rad=angles, roughness=roughness, share=share)


def modelled(across_mm, angle, blur_mm, share=1.0):
    line = middle_line(RADIUS_MM + across_mm, blur_mm)
    flat = np.ones((1, line.count))
    one = np.ones((1, 1))
    mirror = of(LOSS * one, np.full((1, 3), angle), 0.005 * one, share * one)
    return line_light(line, outline(line, RADIUS_MM * flat, flat), mirror)[0]


@pytest.mark.parametrize(("behind", "half"), [(250, 60), (150, 80), (250, 140)])
def test_cylinders_rim_is_what_rays_show(behind: float, half: float) -> None:
    blur = 0.05
    across = np.arange(-0.5, 0.3, 0.02)
    edge = F * np.tan(np.arcsin(RADIUS_MM / REACH_MM))
    border = half / (REACH_MM + behind) * F - edge
    angle = 0.5 * np.arctan(border / (F * behind / (REACH_MM + behind)))
    rays = traced(across, behind, half, blur)

    def off(*args) -> float:
        return float(np.abs(modelled(across, *args) - rays).max())

    assert off(angle, blur) < 0.035
    # Half the angle, or a surface that scatters a third of the light, looks otherwise.
    assert off(angle / 2, blur) > 2 * off(angle, blur)
    assert off(angle, blur, 0.67) > 1.5 * off(angle, blur)


def test_flank_mirrors_deeper_than_crest() -> None:
    line = middle_line(RADIUS_MM + np.arange(-0.6, 0.2, 0.02), 0.03)
    one = np.ones((1, 1))

    def rim(cos_b):
        flat = np.ones((1, line.count))
        mirror = of(LOSS * one, np.full((1, 3), 0.12), 0.005 * one, one)
        light = line_light(line, outline(line, RADIUS_MM * flat, cos_b * flat), mirror)[0]
        return float(np.sum(light < 0.3))

    # r (1 - cos t) with sin a = cos b sin t: at cos b = 1/2 four times as deep.
    deep, shallow = (len(line.kernel) - rim(c) for c in (0.5, 1.0))
    bare = 0.2 / 0.02
    assert (deep - bare) / (shallow - bare) == pytest.approx(4.0, rel=0.25)


@pytest.mark.parametrize("roughness", [0.04, 0.1, 0.25])
@pytest.mark.parametrize("grazing", [0.0, 0.05, 0.2])
@pytest.mark.parametrize("last", [0.08, 0.25])
def test_facets_integrals_are_quadratures(roughness, grazing, last) -> None:
    def frequent(a: float) -> float:
        return a * np.exp(-(((a - grazing) / roughness) ** 2))

    top = grazing + 8 * roughness
    every = quad(frequent, 0, top, points=[grazing])[0]
    facets = facets_lit(np.array(grazing), np.array([last]), np.array(roughness))
    assert facets.lit == pytest.approx(quad(frequent, 0, min(last, top))[0] / every, abs=1e-6)
    assert facets.wider == pytest.approx(last * frequent(last) / every, rel=1e-6)
    true = quad(lambda a: a * frequent(a), 0, top, points=[grazing])[0] / every
    assert facets.mean == pytest.approx(true, rel=1e-6)


def test_slopes_are_the_changes_of_the_light() -> None:
    rng = np.random.default_rng(6)
    line = middle_line(RADIUS_MM + np.arange(-0.6, 0.3, 0.03), 0.06)
    z, _ = line.stations
    y = RADIUS_MM - z * rng.uniform(0, 1.5, (3, 1))
    cos_b = np.clip(1 - z * rng.uniform(0, 3, (3, 1)), 0.5, 1.0)
    ours = outline(line, y, cos_b, z / z.max())
    loss, share = rng.uniform(0.4, 0.9, (2, 3, 1))
    roughness = rng.uniform(0.05, 0.2, (3, 1))
    angles = rng.uniform(0.1, 0.3, (3, 3))

    def light(d: np.ndarray) -> np.ndarray:
        return line_light(
            line,
            ours,
            of(loss + d[0], angles * np.exp(d[1]), roughness * np.exp(d[2]), share + d[3]),
        )

    same, slopes = light_slopes(line, ours, of(loss, angles, roughness, share))
    assert same == pytest.approx(light(np.zeros(4)), abs=1e-12)
    for i, step in enumerate(1e-5 * np.eye(4)):
        change = (light(step) - light(-step)) / 2e-5
        assert np.abs(change).max() > 0.01
        assert slopes[..., i] == pytest.approx(change, abs=1e-5)


def test_a_thin_body_that_grows_shows_each_depth_at_a_flatter_angle() -> None:
    """Of a body of a few cells the angle at one depth changes as much by its radius as by depth."""
    line = middle_line(np.arange(-0.2, 0.3, 0.02), 0.06)
    ends = 4.3 * line.step + np.array([-1e-5, 0.0, 1e-5])[:, None]
    z = line.stations[0]
    y = ends - 0.3 * z
    still = np.zeros_like(y)
    cos_b = np.full_like(y, 0.9)
    moved = Moved(y=np.ones_like(y), cos_b=still, lean=still, weights=still)
    ours = replace(outline(line, y, cos_b, 1.0), moved=moved)
    one = np.ones((3, 1))
    light, slopes = light_slopes(
        line, ours, of(0.4 * one, [[0.3, 0.4, 0.5]] * one, 0.2 * one, 0.9 * one)
    )
    assert slopes[1, :, 0] == pytest.approx((light[2] - light[0]) / 2e-5, abs=1e-3)


def test_a_line_that_moved_along_has_the_light_of_all_places_that_it_passed():
    """Of a wedge, whose light differs along it: the mean over the sweep."""
    blur, swept = 0.03, 0.08
    y = RADIUS_MM + np.arange(-0.3, 0.2, 0.02)
    mirror = Mirrored(
        loss=np.full((1, 1), 0.6),
        angles_rad=np.full((1, 3), 0.1),
        roughness=np.full((1, 1), 0.1),
        share=np.full((1, 1), 0.0),
    )

    def light(line, off):
        z, weights = stations(line)
        y = RADIUS_MM - 0.6 * np.abs(z + off)[None]
        return line_light(line, outline(line, y, np.full(y.shape, 0.857), 1.0, weights), mirror)[0]

    moved = light(middle_line(y, blur, swept_mm=swept), 0.0)
    places = (np.arange(40) + 0.5) / 40 * 2 * swept - swept
    apart = np.mean([light(middle_line(y, blur), off) for off in places], axis=0)
    assert moved == pytest.approx(apart, abs=0.004)
    assert np.abs(moved - light(middle_line(y, blur), 0.0)).max() > 0.1


def test_facets_of_two_kinds_are_the_mean_of_both():
    """A station of the line stands for the flanks on both sides, which mirror up to two angles."""
    grazing, last, rough = np.linspace(0.05, 0.3, 5), np.array([[0.1], [0.3]]), np.full(5, 0.1)
    both = facets_lit(grazing, last, rough)
    one, other = (facets_lit(grazing, a[None], rough) for a in last)
    for name in ("lit", "wider", "rougher", "by_angle"):
        mean = (getattr(one, name) + getattr(other, name)) / 2
        assert getattr(both, name) == pytest.approx(mean, abs=1e-12)
    assert np.abs(one.lit - other.lit).max() > 0.3
    assert both.by_last(np.array([[0.1], [0.3]])) == pytest.approx(both.wider)
    d = 1e-6
    up, down = (facets_lit(grazing + s * d * rough, last, rough) for s in (1, -1))
    assert both.by_angle == pytest.approx((up.lit - down.lit) / (2 * d), abs=1e-7)
    assert both.mean_by_angle == pytest.approx((up.mean - down.mean) / (2 * d), abs=1e-7)
