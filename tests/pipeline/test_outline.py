"""Which threads are asked by their whole outline, and what it counts beside the flanks."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.pipeline import outline
from pitchcam.pipeline.outline import with_outline
from pitchcam.thread.budget import budget, values
from pitchcam.thread.outlined import OutlineAngle
from tests.thread.drawn_shape import PLACE, drawn_shape

TOLD = OutlineAngle(
    angle_deg=58.0,
    u_noise_deg=0.3,
    u_bend_deg=0.5,
    u_light_deg=0.6,
    u_form_deg=0.2,
    by_slant_deg=20.0,
    slant=0.0,
)


@pytest.fixture(scope="module")
def flanks():
    """A drawn thread whose edges rise up the flanks by some 0.4 pixels."""
    shape = drawn_shape()
    return replace(shape, edges=tuple(replace(e, u_by_height_px=0.4) for e in shape.edges))


@pytest.fixture
def asked(monkeypatch):
    calls = []

    def told(shape, u_slope_rad):
        calls.append(u_slope_rad)
        return replace(TOLD, slant=shape.section.slant(shape.frame))

    monkeypatch.setattr(outline, "flanks_outline_angle", told)
    monkeypatch.setattr(outline, "outline_angle", told)
    return calls


def angle_u(shape):
    return {line.source: line.contributions.get("angle_deg", 0.0) for line in budget(shape, PLACE)}


def test_flanks_that_tell_their_angle_are_not_asked_again(asked):
    shape = drawn_shape()
    assert with_outline(shape, PLACE) is shape
    assert not asked


def test_the_mean_of_both_has_the_least_variance(flanks, asked):
    """By brute force: of all means of two readings of correlated errors."""
    u = angle_u(flanks)["bent flanks"]
    assert u > outline.LEAST_U_DEG
    shape = with_outline(flanks, PLACE)
    g = np.linspace(0.0, 1.0, 2001)
    both = outline.ALIKE * u * TOLD.u_deg
    variance = (1 - g) ** 2 * u**2 + g**2 * TOLD.u_deg**2 + 2 * g * (1 - g) * both
    assert shape.outlined.share == pytest.approx(g[variance.argmin()], abs=0.02)
    assert 0.2 < shape.outlined.share < 1.0
    own = values(flanks)["angle_deg"]
    assert values(shape)["angle_deg"] == pytest.approx(own + shape.outlined.share * (58.0 - own))
    assert asked == [PLACE.u_slope_rad]


def test_each_term_is_the_mean_of_both(flanks, asked):
    shape = with_outline(flanks, PLACE)
    share, own, both = shape.outlined.share, angle_u(flanks), angle_u(shape)
    bent = np.hypot(TOLD.u_bend_deg, TOLD.u_light_deg)
    assert both["bent flanks"] == pytest.approx((1 - share) * own["bent flanks"] + share * bent)
    noise = (1 - share) * own["edge noise"] + share * TOLD.u_noise_deg
    assert both["edge noise"] == pytest.approx(noise)
    form = own["form of the model"] + share * TOLD.u_form_deg
    assert both["form of the model"] == pytest.approx(form)
    slope = abs(both["inclination of the part"])
    assert slope > 0.8 * share * TOLD.by_slant_deg * PLACE.u_slope_rad


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.85, 1.0])
def test_a_contradiction_counts_whatever_either_reading_does(flanks, share):
    """Drawn evenly between both readings, as seen from the mean that is told."""
    apart = 9.2
    agreed, open_ = (
        replace(flanks, outlined=replace(TOLD, share=share, u_apart_deg=u))
        for u in (0.0, outline._between(apart, share))
    )
    drawn = np.linspace(0.0, apart, 4001) - share * apart
    plain, told = (angle_u(shape)["bent flanks"] for shape in (agreed, open_))
    assert told == pytest.approx(np.sqrt(plain**2 + np.mean(drawn**2)), rel=1e-3)


def test_an_outline_that_counts_nothing_is_still_contradicted(flanks, monkeypatch):
    """Its own u is larger than that of the flanks, which it leaves no less open for that."""
    own = values(flanks)["angle_deg"]
    poor = replace(TOLD, u_form_deg=3.0 * angle_u(flanks)["bent flanks"], angle_deg=own + 14.0)
    monkeypatch.setattr(
        outline,
        "flanks_outline_angle",
        lambda shape, u: replace(poor, slant=shape.section.slant(shape.frame)),
    )
    shape = with_outline(flanks, PLACE)
    assert shape.outlined.share == 0.0
    assert values(shape)["angle_deg"] == own
    assert angle_u(shape)["bent flanks"] > 14.0 / np.sqrt(12)


@pytest.mark.parametrize("off_deg", [-9.0, 9.0])
def test_readings_that_contradict_each_other_leave_the_angle_between(flanks, monkeypatch, off_deg):
    """Nothing tells which of both reads light as form."""
    own = values(flanks)["angle_deg"]

    def told(shape, u_slope_rad):
        slant = shape.section.slant(shape.frame)
        return replace(TOLD, slant=slant, angle_deg=own + off_deg)

    monkeypatch.setattr(outline, "flanks_outline_angle", told)
    shape = with_outline(flanks, PLACE)
    u = angle_u(flanks)["bent flanks"]
    apart = np.sqrt(u**2 + TOLD.u_deg**2 - 2 * outline.ALIKE * u * TOLD.u_deg)
    assert abs(off_deg) > 2 * apart
    share = shape.outlined.share
    more = np.sqrt((off_deg**2 - 4 * apart**2) * (share**3 + (1 - share) ** 3) / 3)
    assert shape.outlined.u_apart_deg == pytest.approx(more, rel=0.05)
    assert shape.outlined.u_bend_deg == TOLD.u_bend_deg


def test_an_outline_that_tells_none_leaves_the_flanks_alone(flanks, monkeypatch):
    def none(shape, u_slope_rad):
        raise np.linalg.LinAlgError

    monkeypatch.setattr(outline, "flanks_outline_angle", none)
    assert with_outline(flanks, PLACE) is flanks
