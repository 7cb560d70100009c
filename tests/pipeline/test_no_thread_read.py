"""What repeats as a thread does and is none: how sure that is, before the scale is known."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.pipeline import own_scale
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.measure import ThreadShape
from tests.thread.drawn_shape import drawn_shape
from tests.thread.helicoid import iso_profile
from tests.thread.test_crest_lines import seen
from tests.thread.test_likeness import region


@pytest.fixture(scope="module")
def flanks():
    return drawn_shape()


@pytest.fixture(scope="module")
def crests():
    return seen(iso_profile(1.5, 14.0), 1.5, 38.0)


def doubt(shape):
    where = shape.sight.region if isinstance(shape, CrestShape) else region(shape)
    return own_scale._no_thread(where, shape)


def test_a_thread_is_one(flanks, crests):
    assert doubt(flanks) < 1e-3
    assert doubt(crests) < 0.01


def test_barbs_and_rings_are_none(monkeypatch, flanks, crests):
    """Their sides are in step: by crests alone as well as by flanks."""
    monkeypatch.setattr(ThreadShape, "lag", property(lambda _: 0.02))
    assert doubt(replace(crests, lag=0.02)) > 0.999
    assert doubt(flanks) > 0.99


def test_two_starts_are_in_step_and_a_thread(monkeypatch, flanks):
    monkeypatch.setattr(ThreadShape, "lag", property(lambda _: 0.02))
    winding = replace(flanks.section.winding, starts=2)
    assert doubt(replace(flanks, section=replace(flanks.section, winding=winding))) < 0.1


def test_flanks_that_lean_unlike_are_hardly_a_thread(monkeypatch, flanks):
    """A saw's teeth, half a pitch apart by chance; and a wide angle that no series has."""
    plain, fit = doubt(flanks), type(flanks.section.fit)
    with monkeypatch.context() as leaning:
        leaning.setattr(fit, "half_angles_deg", property(lambda _: (10.0, 50.0)))
        assert doubt(flanks) > 30 * plain
    monkeypatch.setattr(fit, "half_angles_deg", property(lambda _: (45.0, 45.0)))
    assert doubt(flanks) > 10 * plain


def test_a_ripple_too_low_for_its_slant_is_hardly_a_thread(crests):
    """Noise along an edge that passes for a wave."""
    half = crests.sight.outline_px.copy()
    axis = crests.sight.axis
    st = axis.to_axis(half)
    for sign in (1.0, -1.0):
        on = st[:, 1] * sign > 0
        middle = np.median(st[on, 1])
        st[on, 1] = middle + (st[on, 1] - middle) / 8
    flat = replace(crests, sight=replace(crests.sight, outline_px=axis.to_photo(st)))
    assert doubt(flat) > 20 * doubt(crests)
