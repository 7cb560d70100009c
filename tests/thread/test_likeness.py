"""What tells a thread from whatever else repeats: drawn outlines, spoiled one way at a time."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.edges.section import fit_section
from pitchcam.objects.regions import Region
from pitchcam.records import Quantity
from pitchcam.thread.likeness import PRIOR, no_ridges, no_thread
from pitchcam.thread.measure import ThreadShape
from pitchcam.thread.ridges import ripples
from tests.thread.drawn_shape import PITCH, drawn_shape
from tests.thread.helicoid import iso_profile, whitworth_profile
from tests.thread.test_crest_lines import seen

U_APART = 0.06
ANGLE = Quantity(value=59.9, u=0.9)
ALIKE = (ANGLE, Quantity(value=30.2, u=0.6), Quantity(value=29.7, u=0.6))
NO_ANGLES = (None, None, None)


@pytest.fixture(scope="module")
def shape():
    return drawn_shape()


@pytest.fixture(scope="module", params=[iso_profile, whitworth_profile])
def aslant(request):
    return seen(request.param(1.5, 14.0), 1.5, 38.0)


def region(shape, depth=0.6):
    """Where a drawn thread repeats, its grooves so many pitches deep."""
    spacing = shape.spacing_px
    crests = np.arange(8) * spacing
    return Region(
        start_px=0.0,
        end_px=7 * spacing,
        spacing_px=spacing,
        depth_px=depth * spacing,
        lag=0.5,
        crests=(crests, crests + spacing / 2),
        skew=0.0,
    )


def none(shape, angles=ALIKE, u_apart=U_APART, depth=0.6):
    return no_thread(shape, region(shape, depth), angles, u_apart)


def test_a_thread_is_one(shape):
    assert none(shape) < 1e-3


@pytest.mark.parametrize(
    ("lag", "least", "most"), [(0.47, 0.5, 2.0), (0.36, 3.0, 100.0), (0.25, 100.0, 1e4)]
)
def test_sides_that_do_not_alternate_speak_against_it(monkeypatch, shape, lag, least, most):
    plain = none(shape)
    monkeypatch.setattr(ThreadShape, "lag", property(lambda self: lag))
    assert least * plain < none(shape) < most * plain


def test_where_the_lens_leaves_the_lag_open_it_tells_little(monkeypatch, shape):
    monkeypatch.setattr(ThreadShape, "lag", property(lambda self: 0.3))
    assert none(shape, u_apart=0.3) < none(shape) / 10


def test_so_do_flanks_that_lean_unlike(shape):
    plain = none(shape)
    unlike = (ANGLE, ALIKE[1], replace(ALIKE[2], value=41.0))
    assert none(shape, unlike) > 100 * plain
    # Hardly known they say nothing, nor where they are not seen.
    open_ = tuple(replace(q, u=15.0) for q in unlike)
    assert none(shape, open_) < 10 * none(shape, NO_ANGLES)


def scattered(shape, px):
    """Fit again with every point off by so much of chance along the axis."""
    off = np.random.default_rng(5).normal(0, px, len(shape.flanks.xy))
    xy = shape.flanks.xy + off[:, None] * np.array(shape.axis.direction)
    flanks = replace(shape.flanks, xy=xy)
    return replace(shape, section=fit_section(flanks, shape.frame, PITCH, rounds=3))


def test_so_do_flanks_that_lie_off_their_lines(shape):
    """A gear's teeth on both sides: a pixel and more, where threads keep to a tenth."""
    plain, sound, gear = (
        none(s, NO_ANGLES) for s in (shape, scattered(shape, 0.1), scattered(shape, 1.5))
    )
    assert sound < 3 * plain and gear > 30 * plain


def test_near_a_panel_flanks_scatter_and_open_more(shape):
    """1/8-27 NPT of brass on the panel itself: 66.7 degrees, 0.45 pixels off their lines."""
    off = scattered(shape, 0.45)
    open_ = (Quantity(value=66.7, u=1.6), None, None)
    far, near = none(off, open_), none(replace(off, nearness=1.0), open_)
    assert far > 10 * near
    assert none(off, NO_ANGLES) > 1.5 * none(replace(off, nearness=1.0), NO_ANGLES)


def test_nothing_is_certain_by_one_thing_alone(shape):
    """Dirt, wear and light spoil one of them of some threads."""
    gear = none(scattered(shape, 3.0))
    assert gear < 0.5


@pytest.mark.parametrize(
    ("angle", "u", "series"),
    [(60.4, 0.8, True), (54.6, 0.8, True), (47.1, 0.8, True)]
    + [(70.0, 1.5, False), (86.0, 1.5, False), (41.0, 1.5, False)],
)
def test_an_angle_of_no_series_speaks_against_it(shape, angle, u, series):
    plain = none(shape, NO_ANGLES)
    found = none(shape, (Quantity(value=angle, u=u), None, None))
    assert found < plain if series else found > 15 * plain
    # Conduit's 80 degrees are rare, and neither here nor there.
    conduit = none(shape, (Quantity(value=80.3, u=u), None, None))
    assert plain / 4 < conduit < 4 * plain


@pytest.mark.parametrize(("depth", "least"), [(0.75, 0.0), (0.46, 0.0), (0.28, 30.0)])
def test_so_does_the_depth_of_a_close_wound_spring_s_grooves(shape, depth, least):
    """Round wires side by side are seen as deep as half their radius; a thread 0.6 of its pitch."""
    plain = none(shape)
    assert least * plain < none(shape, depth=depth) < (6 * plain if not least else 1.0)


def test_what_blur_and_ridges_fill_of_a_groove_is_told(shape):
    shallow, blurred = none(shape, depth=0.4), none(replace(shape, blur_mm=0.15), depth=0.4)
    assert blurred < shallow / 5
    far = drawn_shape(off_mm=25.0)
    covered = np.mean([far.section.covered_mm(far.frame, side) for side in (1.0, -1.0)])
    assert covered > 0.05 * PITCH
    assert none(far, depth=0.45) < none(shape, depth=0.45)


@pytest.mark.parametrize("off_mm", [28.0, 45.0, 58.0])
@pytest.mark.parametrize("form", [iso_profile, whitworth_profile])
def test_ridges_under_a_known_slant_leave_one_height_of_their_grooves(form, off_mm):
    both = ripples(seen(form(1.5, 14.0), 1.5, off_mm), 0.0)
    assert len(both) == 2
    for one in both:
        assert one.seen_mm == pytest.approx(one.drawn_mm, rel=0.3)


def test_a_slant_less_known_leaves_it_more_open(aslant):
    sure, open_ = (ripples(aslant, u)[0].u for u in (0.002, 0.02))
    assert open_ > 5 * sure


def test_a_ripple_too_low_for_its_slant_is_no_thread(aslant):
    """Noise along a disc's edge stood for ridges that would be seven times as high."""
    at = aslant.axis.to_axis(aslant.outline_px)
    top = np.percentile(np.abs(at[:, 1]), 99)
    at[:, 1] = np.sign(at[:, 1]) * (top - (top - np.abs(at[:, 1])) / 7)
    flat = replace(aslant, sight=replace(aslant.sight, outline_px=aslant.axis.to_photo(at)))
    assert no_ridges(aslant, U_APART, 0.01) < PRIOR / 5
    assert no_ridges(flat, U_APART, 0.01) > 0.2
    assert no_ridges(replace(flat, lag=0.34), U_APART, 0.01) > 0.9
    # Deeper than they are drawn, as of fine pitches, they may be a thread's all the same.
    at[:, 1] = np.sign(at[:, 1]) * (top - (top - np.abs(at[:, 1])) * 7 * 1.6)
    deep = replace(aslant, sight=replace(aslant.sight, outline_px=aslant.axis.to_photo(at)))
    assert no_ridges(deep, U_APART, 0.01) < PRIOR / 5
