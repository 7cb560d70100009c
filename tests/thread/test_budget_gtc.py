"""The propagation of uncertainty against the GUM Tree Calculator (PyPI ``GTC``), not ours.

GTC follows every input through the arithmetic by itself; our sums take sensitivity coefficients.
"""

from dataclasses import replace

import GTC
import numpy as np
import pytest

from pitchcam.edges.flank_fit import NAMES
from pitchcam.records import NAMING_QUANTITIES, BudgetLine
from pitchcam.thread.budget import budget, combined, relative_u_scale, values
from tests.thread.drawn_shape import drawn_shape, with_edges_moved
from tests.thread.test_budget_terms import PLACE


@pytest.fixture(scope="module")
def shape():
    clean = drawn_shape()
    noise = np.random.default_rng(5).normal(0, 0.003, len(clean.flanks.xy))
    return with_edges_moved(clean, noise)


def summed(lines):
    """Return the quantities as GTC's sums over one input per correlated line, six per other."""
    out = dict.fromkeys(NAMING_QUANTITIES, GTC.ureal(0.0, 0.0))
    for line in lines:
        one = GTC.ureal(0.0, 1.0)
        for k in NAMING_QUANTITIES:
            by = one if line.correlated else GTC.ureal(0.0, 1.0)
            out[k] = out[k] + line.contributions.get(k, 0.0) * by
    return out


def test_sum_and_correlation_of_a_whole_budget(shape):
    lines = budget(replace(shape, nearness=1.0), PLACE)
    u, correlation = combined(lines)
    by_gtc = summed(lines)
    for k in NAMING_QUANTITIES:
        assert u[k] == pytest.approx(by_gtc[k].u, rel=1e-9)
    for (a, b), r in correlation.items():
        assert r == pytest.approx(GTC.get_correlation(by_gtc[a], by_gtc[b]), abs=1e-9)


def test_two_quantities_of_one_input_are_wholly_correlated_or_wholly_against():
    line = BudgetLine(source="one", contributions={"pitch_mm": 0.01, "taper": -0.002})
    _, correlation = combined([line])
    assert correlation["pitch_mm", "taper"] == pytest.approx(-0.999)
    _, apart = combined([replace(line, correlated=False)])
    assert apart["pitch_mm", "taper"] == 0.0


def test_scale_on_the_axis_from_reference_height_and_focal_length(shape):
    """Similar triangles in GTC's numbers: scale = reference's mm/px - rise / f."""
    camera, reach = shape.camera, float(np.linalg.norm(shape.frame.origin))
    at_reference = (reach + PLACE.rise_mm) / camera.f_px
    f = GTC.ureal(camera.f_px, camera.u_f_px)
    rise = GTC.ureal(PLACE.rise_mm, PLACE.u_rise_mm)
    scale = GTC.ureal(at_reference, at_reference * PLACE.u_scale) - rise / f
    still = replace(PLACE, apart_mm=0.0, corner_share_reference=PLACE.corner_share)
    u = relative_u_scale(budget(shape, still), values(shape)["pitch_mm"])
    # The reference's own share is taken as it is, not grown by its plane's greater depth: 3 %.
    assert u == pytest.approx(scale.u / scale.x, rel=0.03)
    focal = next(x for x in budget(shape, still) if x.source == "focal length")
    by_gtc = GTC.component(scale, f) / scale.x
    assert focal.contributions["pitch_mm"] / values(shape)["pitch_mm"] == pytest.approx(
        by_gtc, rel=0.15
    )  # the contour of a round part stands nearer by r^2 / L, which triangles leave out


def test_pitch_diameter_angle_and_taper_from_the_fit_s_covariance(shape):
    """The fit's nine parameters as correlated inputs; the quantities by their defining formulas."""
    fit = shape.section.fit
    c = fit.covariance
    # The diameter also depends on the radius at which the ridge's width is given, which is exact.
    at = {
        "pitch": fit.pitch_mm,
        "width": fit.width_mm,
        "tan+": fit.tan_half[0],
        "tan-": fit.tan_half[1],
        "slope+": fit.taper / 2,
        "slope-": fit.taper / 2,
    }
    places = [NAMES.index(n) for n in at]
    inputs = [
        GTC.ureal(x, np.sqrt(c[i, i]), independent=False)
        for x, i in zip(at.values(), places, strict=True)
    ]
    for i, a in enumerate(places):
        for j, b in enumerate(places[:i]):
            GTC.set_correlation(c[a, b] / np.sqrt(c[a, a] * c[b, b]), inputs[i], inputs[j])
    pitch, width, plus, minus, above, below = inputs
    by_gtc = {
        "pitch_mm": pitch,
        "pitch_diameter_mm": 2 * (fit.ref_radius_mm + (width - pitch / 2) / (plus + minus)),
        "angle_deg": (GTC.atan(plus) + GTC.atan(minus)) * 180 / np.pi,
        "taper": above + below,
    }
    noise = next(x for x in budget(shape, PLACE) if x.source == "edge noise")
    for name, quantity in by_gtc.items():
        assert quantity.x == pytest.approx(values(shape)[name], rel=1e-6, abs=1e-9)
        assert noise.contributions[name] == pytest.approx(quantity.u, rel=1e-6)
