"""The angle by a whole outline, of brute-force outlines under a slant."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.special import ndtr

from pitchcam.thread.aslant import angle as angles
from pitchcam.thread.aslant import fit
from pitchcam.thread.aslant import rise as rises
from pitchcam.thread.aslant.angle import flanks_outline_angle, outline_angle
from pitchcam.thread.aslant.rise import mirrored_px
from pitchcam.thread.budget import budget
from tests.thread.aslant.drawn import BLUR_PX, PITCH, left_handed, seen_blurred, tops_inside
from tests.thread.drawn_shape import PLACE, drawn_shape
from tests.thread.helicoid import iso_profile, whitworth_profile

#: Seen so far aside, at 9 degrees, one side shows some of its flanks.
OFF_MM = 28.0
U_SLOPE = float(np.radians(0.5))


@pytest.fixture(scope="module")
def shapes():
    forms = {60.0: iso_profile, 55.0: whitworth_profile}
    return {deg: seen_blurred(form, off_mm=OFF_MM) for deg, form in forms.items()}


@pytest.fixture
def no_light(monkeypatch):
    """Nothing is mirrored: the drawn outlines have no light."""
    monkeypatch.setattr(rises, "mirrored_px", lambda sight, index: 0.0)


@dataclass
class Even:
    """A crop whose light is that of an edge at x = 0 with light of ``inside`` beyond it."""

    inside: float
    blur_px: float

    def sample(self, xy):
        return self.inside + (1 - self.inside) * ndtr(xy[..., 0] / self.blur_px)


@pytest.mark.parametrize("deg", [60.0, 55.0])
def test_an_outline_under_a_slant_tells_its_angle(shapes, no_light, deg):
    told = outline_angle(shapes[deg], U_SLOPE)
    assert 0.2 < told.u_deg < 1.0
    assert told.angle_deg == pytest.approx(deg, abs=0.8)


def test_the_light_on_the_flanks_turns_them_as_is_stated(shapes, no_light, monkeypatch):
    """Draw the tops of the flanks farther inside by a pixel's share, and ask again."""
    shape = shapes[60.0]
    before = outline_angle(shape, U_SLOPE)
    rise_px = 0.1
    risen = tops_inside(shape, rise_px)
    turned = outline_angle(risen, U_SLOPE).angle_deg - before.angle_deg
    # What was expected of the light takes a part of it back.
    assert turned > 0.1
    stated = before.u_light_deg * rise_px / rises.U_RISE_PX
    assert turned == pytest.approx(stated, rel=0.5)
    monkeypatch.setattr(rises, "U_RISE_PX", 4 * rises.U_RISE_PX)
    assert outline_angle(shape, U_SLOPE).u_light_deg > 2 * before.u_light_deg


def test_an_angle_goes_with_the_slant_as_is_stated(shapes, no_light):
    """Lay the axis otherwise, and fit anew: a slope that is known well is not fitted away."""
    shape = shapes[55.0]
    told = outline_angle(shape, 1e-4)
    turned = replace(shape, sight=shape.sight.laid(shape.camera, 9.0, np.radians(0.5)))
    again = outline_angle(turned, 1e-4)
    assert abs(again.angle_deg - told.angle_deg) > 0.05
    assert told.at(turned.signed_slant) == pytest.approx(again.angle_deg, abs=0.08)


def test_a_left_handed_outline_tells_no_angle(shapes, no_light):
    shape = shapes[60.0]
    left = left_handed(shape)
    with pytest.raises(np.linalg.LinAlgError, match="of no form"):
        outline_angle(left, U_SLOPE)


@pytest.mark.parametrize("inside", [0.0, 0.3, 0.55])
def test_mirrored_light_is_told_by_where_two_levels_are_crossed(shapes, inside):
    """A straight edge at x = 0, its inside to the left: LIT_LEVEL's own crossing is the truth."""
    across = np.linspace(-6, 6, 2401)
    light = inside + (1 - inside) * ndtr(across / BLUR_PX)
    lit = np.interp(0.85, light, across)
    y = np.arange(40.0)
    there, back = np.stack([lit + 0 * y, y], axis=1), np.stack([lit - 9 + 0 * y, y[::-1]], axis=1)
    sight = replace(
        shapes[60.0].sight, crop=Even(inside, BLUR_PX), outline_px=np.concatenate([there, back])
    )
    dark = 1.0364 * BLUR_PX
    assert mirrored_px(sight, np.arange(8, 32)) == pytest.approx(dark - lit, abs=0.05)


def test_a_thread_of_two_starts_is_not_drawn():
    shape = drawn_shape()
    twice = replace(shape.section, winding=replace(shape.section.winding, starts=2))
    with pytest.raises(np.linalg.LinAlgError, match="one start"):
        flanks_outline_angle(replace(shape, section=twice), U_SLOPE)


def test_the_terms_of_an_outlined_angle_are_its_parts(shapes, no_light):
    told = outline_angle(shapes[60.0], U_SLOPE)
    lines = {line.source: line for line in budget(replace(shapes[60.0], outlined=told), PLACE)}
    parts = {
        "light on the flanks": told.u_light_deg,
        "bent flanks": told.u_bend_deg,
        "edge noise": told.u_noise_deg,
        "form of the model": told.u_form_deg,
    }
    for source, u in parts.items():
        assert lines[source].contributions["angle_deg"] == u > 0.04, source
    slope = abs(lines["inclination of the part"].contributions["angle_deg"])
    assert slope == pytest.approx(abs(told.by_slant_deg) * PLACE.u_slope_rad, rel=0.05)


@pytest.mark.parametrize("off", [0.003, -0.003])
def test_tops_that_are_off_are_set_right_by_the_whole_outline(shapes, no_light, off):
    """A pitch by the crests' tops as far off as its u of 0.3 %: the drawn thread's is 1.5 mm."""
    known = shapes[60.0]
    tops = replace(known, pitch_mm=(1 + off) * PITCH, u_pitch_mm=0.003 * PITCH)
    told = outline_angle(tops, U_SLOPE)
    assert 0.0 < told.u_longer < 0.001
    assert told.longer == pytest.approx(1 / (1 + off), abs=4 * told.u_longer)
    shape = replace(tops, outlined=told)
    assert shape.quantities()["pitch_mm"] == pytest.approx(PITCH, rel=4 * told.u_longer)
    lines = {line.source: line for line in budget(shape, PLACE)}
    noise = lines["edge noise"].contributions["pitch_mm"]
    assert noise == pytest.approx(told.u_longer * tops.pitch_mm)
    assert replace(shape, outlined=None).quantities()["pitch_mm"] == tops.pitch_mm


def test_an_outline_that_is_no_surer_than_the_tops_or_has_lost_count_gives_no_pitch(
    shapes, no_light
):
    known = shapes[60.0]
    surer = replace(known, u_pitch_mm=1e-5 * PITCH)
    lost = replace(known, pitch_mm=1.004 * PITCH, u_pitch_mm=0.001 * PITCH)
    for shape in (surer, lost):
        told = outline_angle(shape, U_SLOPE)
        assert (told.longer, told.u_longer) == (1.0, 0.0)
        lines = {line.source: line for line in budget(replace(shape, outlined=told), PLACE)}
        assert lines["edge noise"].contributions["pitch_mm"] == shape.u_pitch_mm


def test_an_outline_of_any_angle_changes_as_is_said(shapes):
    """Its corner among the rest, by differences of the drawing itself."""
    seen, usual = fit.outline_of(shapes[60.0], U_SLOPE)
    seen = replace(seen, columns=np.zeros((len(seen.zy), 2)))
    form = angles._Any(seen=seen, pitch=float(usual[fit.PITCH]), rise_px=(0.0, 0.1))
    q = np.concatenate([usual, [0.4, 0.0]])
    q[fit.CREST], q[fit.TAN] = 0.3 * q[fit.PITCH], 0.56
    _, slopes = fit.rest_and_slopes(seen, form, q)
    for place in form.places:
        step = np.zeros(len(q))
        step[place] = 1e-6
        up, down = (fit.rest_and_slopes(seen, form, q + s)[0] for s in (step, -step))
        real = (up - down) / 2e-6
        assert np.median(np.abs(slopes[:, place] - real)) < 0.005 * np.median(np.abs(real)) + 1e-6
