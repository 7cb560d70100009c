"""The budget against trials (JCGM 101) and against the covariance of its terms (JCGM 100)."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.edges.section import fit_section
from pitchcam.records import NAMING_QUANTITIES, BudgetLine
from pitchcam.thread.budget import budget, combined, values
from pitchcam.thread.measure import remeasure
from tests.thread.drawn_shape import PLACE as AS_DRAWN
from tests.thread.drawn_shape import bare_shape
from tests.thread.helicoid import flanks_of, iso_profile, place, seen_sides

PITCH = 1.5
PLACE = replace(AS_DRAWN, corner_share=0.1, corner_share_reference=0.3)


@pytest.fixture(scope="module")
def shape():
    _, frame = place()
    seen = seen_sides(iso_profile(PITCH, 14.0), PITCH, PITCH, frame.pinhole)
    flanks = flanks_of(frame, *seen, PITCH)
    section = fit_section(flanks, frame, PITCH)
    return bare_shape(flanks, section, frame)


def share(lines, source, quantity="pitch_mm"):
    return next(abs(line.contributions[quantity]) for line in lines if line.source == source)


@pytest.mark.parametrize("quantity", ["pitch_mm", "pitch_diameter_mm"])
def test_scale_height_and_focal_length_as_by_trial(shape, quantity):
    """Draw reference, height and focal length; the scale on the axis follows by similar triangles.

    A reference of known size fixes the scale of its own plane, whatever the focal length; from
    there it falls by the rise over the focal length.
    """
    lines = budget(shape, PLACE)
    rng = np.random.default_rng(101)
    n, camera = 100_000, shape.camera
    reach = float(np.linalg.norm(shape.frame.origin))
    at_reference = (reach + PLACE.rise_mm) / camera.f_px * rng.normal(1, PLACE.u_scale, n)
    rise = rng.normal(PLACE.rise_mm, PLACE.u_rise_mm, n)
    scale = at_reference - rise / rng.normal(camera.f_px, camera.u_f_px, n)
    by_trial = values(shape)[quantity] * np.std(scale) / np.mean(scale)
    terms = ("scale of the reference", "height of the axis", "focal length")
    by_sum = np.linalg.norm([share(lines, t, quantity) for t in terms])
    assert by_sum == pytest.approx(by_trial, rel=0.04)


def test_the_height_term_is_what_measuring_again_gives(shape):
    lifted = remeasure(shape, shape.camera, PLACE.height_mm + PLACE.u_rise_mm, 0.0)
    change = abs(values(lifted)["pitch_mm"] - values(shape)["pitch_mm"])
    assert share(budget(shape, PLACE), "height of the axis") == pytest.approx(change, rel=0.01)


def test_measuring_again_with_the_same_geometry_changes_nothing(shape):
    again = values(remeasure(shape, shape.camera, PLACE.height_mm, 0.0))
    for name in ("pitch_mm", "pitch_diameter_mm", "angle_deg"):
        assert again[name] == pytest.approx(values(shape)[name], rel=1e-5)


def test_a_scale_on_the_axis_leaves_no_height_to_know(shape):
    on_axis = replace(PLACE, scale_on_axis=True)
    sources = {line.source for line in budget(shape, on_axis)}
    assert not sources & {"height of the axis", "tilt of the camera"}


def test_a_scale_on_the_axis_does_not_go_with_the_focal_length(shape):
    """How far off the optical axis the thread is seen does: taper and pitch diameter know it."""
    lines = budget(shape, replace(PLACE, scale_on_axis=True, rise_mm=0.0))
    focal = next(x for x in lines if x.source == "focal length")
    assert not focal.of_scale
    share = shape.camera.u_f_px / shape.camera.f_px
    assert abs(focal.contributions["pitch_mm"]) < 0.02 * share * values(shape)["pitch_mm"]


def test_the_sum_is_the_covariance_of_what_the_terms_draw():
    """Terms move their quantities together; the points' own noise moves each alone."""
    lines = [
        BudgetLine(source="scale", contributions={"pitch_mm": 0.003, "major_mm": 0.03}),
        BudgetLine(source="incline", contributions={"taper": 0.002, "pitch_mm": -0.001}),
        BudgetLine(
            source="noise",
            kind="A",
            correlated=False,
            contributions=dict.fromkeys(NAMING_QUANTITIES, 0.002),
        ),
    ]
    rng = np.random.default_rng(100)
    n = 200_000
    drawn = {k: np.zeros(n) for k in NAMING_QUANTITIES}
    for line in lines:
        one = rng.normal(size=n)
        for k in NAMING_QUANTITIES:
            by = rng.normal(size=n) if not line.correlated else one
            drawn[k] += line.contributions.get(k, 0.0) * by
    u, correlation = combined(lines)
    for k in NAMING_QUANTITIES:
        assert u[k] == pytest.approx(np.std(drawn[k]), rel=0.01)
    for (a, b), rho in correlation.items():
        assert rho == pytest.approx(np.corrcoef(drawn[a], drawn[b])[0, 1], abs=0.01)


def test_a_shape_of_no_edges_still_has_a_budget_for_every_quantity(shape):
    u, _ = combined(budget(shape, PLACE))
    assert all(u[k] > 0 for k in NAMING_QUANTITIES)
    assert u["angle_deg"] < 1.0
