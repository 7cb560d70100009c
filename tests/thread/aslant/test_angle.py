"""The angle by a whole outline, of brute-force outlines under a slant."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from pitchcam.thread.aslant import angle as angles
from pitchcam.thread.aslant import fit
from pitchcam.thread.aslant import rise as rises
from pitchcam.thread.aslant.angle import flanks_outline_angle, outline_angle
from pitchcam.thread.aslant.rise import MovedByLight, mirrored_px, moved_by_traced
from pitchcam.thread.budget import budget
from tests.thread.aslant.drawn import BLUR_PX, PITCH, inside, left_handed, seen_blurred, tops_inside
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
    light = MovedByLight(inside=(0.0, 0.1), rise=(0.0, 0.1))
    form = angles._Any(seen=seen, pitch=float(usual[fit.PITCH]), light=light)
    q = np.concatenate([usual, [0.4, 0.0]])
    q[fit.CREST], q[fit.TAN] = 0.3 * q[fit.PITCH], 0.56
    _, slopes = fit.rest_and_slopes(seen, form, q)
    for place in form.places:
        step = np.zeros(len(q))
        step[place] = 1e-6
        up, down = (fit.rest_and_slopes(seen, form, q + s)[0] for s in (step, -step))
        real = (up - down) / 2e-6
        assert np.median(np.abs(slopes[:, place] - real)) < 0.005 * np.median(np.abs(real)) + 1e-6


def any_fit():
    """A form of any angle, and a fit of all its parameters by drawn derivatives and priors."""
    rng = np.random.default_rng(3)
    points = rng.normal(size=(60, fit.COUNT + 2)) * 10.0 ** rng.uniform(0, 1, fit.COUNT + 2)
    nothing = np.zeros((0, 2))
    seen = fit.Outline(
        zy=nothing,
        side=np.zeros(0),
        pinhole=drawn_shape().section.pinhole(drawn_shape().frame),
        mm_per_px=0.05,
        blur_px=BLUR_PX,
        u_slope=U_SLOPE,
        ridges=8.0,
        index=np.zeros(0, int),
        columns=np.zeros((0, 2)),
    )
    light = MovedByLight(inside=(0.3, 0.12), rise=(0.1, 0.2))
    form = angles._Any(seen=seen, pitch=PITCH, light=light)
    known = {place: u for place, (_, u) in form.known().items()}
    by_light = points.T @ points
    prior = np.diag([known.get(k, np.inf) ** -2.0 for k in range(len(by_light))])
    q = np.zeros(len(by_light))
    q[[fit.TAN, fit.PITCH]] = np.tan(np.radians(24.0)), PITCH
    none = np.zeros(0)
    found = fit.OutlineFit(q=q, rest_px=none, slopes=none, cost=0.0, information=by_light + prior)
    return form, known, by_light, found


def test_an_outlines_angle_is_split_into_what_its_points_and_what_was_known_leave():
    """Against the law of propagation: each observation by itself, through the estimate's gain."""
    form, known, by_light, found = any_fit()
    share = 0.3
    told = angles._told(form, found, share, 0.1)
    gain = np.linalg.inv(found.information)[fit.TAN]
    turned = 1e4 * np.degrees(2 * np.arctan(found.q[fit.TAN] + 1e-4) - np.radians(48.0))
    noise = np.sqrt(gain @ by_light @ gain) * turned
    by = {place: gain[place] / u * turned for place, u in known.items()}
    assert told.angle_deg == pytest.approx(48.0)
    assert told.u_noise_deg == pytest.approx(noise * np.sqrt(share), rel=1e-3)
    assert told.u_bend_deg == pytest.approx(noise * np.sqrt(1 - share), rel=1e-3)
    form_parts = np.hypot(np.hypot(by[fit.ROOT], by[fit.CREST]), by[angles.CORNER])
    assert told.u_form_deg == pytest.approx(form_parts, rel=1e-3)
    assert abs(by[fit.ROOT]) > 0.1 * form_parts
    assert told.u_light_deg == pytest.approx(np.hypot(by[fit.OUT], by[angles.RISE]), rel=1e-3)
    assert told.by_slant_deg == pytest.approx(by[fit.SLOPE] / U_SLOPE, rel=1e-3)


def test_a_pitch_by_the_whole_outline_is_as_sure_as_its_fit_leaves_it():
    form, _, _, found = any_fit()
    told = angles._with_pitch(angles._told(form, found, 0.3, 0.1), form, found, 1.0)
    u = np.sqrt(np.linalg.inv(found.information)[fit.PITCH, fit.PITCH])
    assert told.u_longer == pytest.approx(u / PITCH, rel=1e-6)


def test_single_points_have_their_share_of_an_angles_variance(shapes, no_light, monkeypatch):
    """What they scatter by, squared, over that with what every ridge has alike."""
    scatter, used = [], []
    asked, fitted = angles.trusted, angles.fit_outline

    def trusted(*of):
        scatter.append(asked(*of)[0])
        return scatter[-1], asked(*of)[1]

    def fit_outline(seen, form, start, points):
        used.append(points.scatter_px)
        return fitted(seen, form, start, points)

    monkeypatch.setattr(angles, "trusted", trusted)
    monkeypatch.setattr(angles, "fit_outline", fit_outline)
    told = outline_angle(shapes[60.0], U_SLOPE)
    whole = np.hypot(told.u_noise_deg, told.u_bend_deg)
    assert told.u_noise_deg / whole == pytest.approx(scatter[-1] / used[-1])


def test_a_fit_that_goes_on_from_another_draws_nothing_twice(shapes, no_light, monkeypatch):
    """Weights change between the fits; what is drawn where one ended does not."""
    drawn, plain = [], fit.rest_and_slopes

    def rest_and_slopes(seen, form, q):
        drawn.append(q.tobytes())
        return plain(seen, form, q)

    monkeypatch.setattr(fit, "rest_and_slopes", rest_and_slopes)
    told = outline_angle(shapes[60.0], U_SLOPE)
    assert len(drawn) == len(set(drawn)) > 3
    # Drawn anew wherever it begins, it ends in the same place.
    go_on = angles.fit_outline

    def from_parameters(seen, form, start, points):
        return go_on(seen, form, getattr(start, "q", start), points)

    monkeypatch.setattr(angles, "fit_outline", from_parameters)
    assert outline_angle(shapes[60.0], U_SLOPE) == told
    assert len(drawn) > len(set(drawn))


def test_a_rise_that_is_expected_is_taken_back(shapes, monkeypatch):
    """Tops drawn farther inside turn the flanks; where the light says so, they are not turned."""
    shape, rise_px = shapes[60.0], 0.3
    risen = tops_inside(shape, rise_px)

    def told(of, expected):
        light = MovedByLight(inside=(rises.BLACK_BLURS * BLUR_PX, 0.1), rise=(expected, 0.01))
        monkeypatch.setattr(angles, "moved_by_light", lambda *_: light)
        return outline_angle(of, U_SLOPE).angle_deg

    true = told(shape, 0.0)
    turned, taken_back = told(risen, 0.0) - true, told(risen, rise_px) - true
    assert abs(turned) > 0.3
    assert abs(taken_back) < 0.35 * abs(turned)


@pytest.mark.parametrize("place", [fit.OUT, fit.CREST, angles.CORNER, angles.RISE])
def test_what_was_known_beforehand_pulls_an_angle_as_is_stated(
    shapes, no_light, monkeypatch, place
):
    """Expect another value by half its u, and fit anew: the law of propagation says how it turns.

    The estimate goes with what was expected of a parameter by their covariance over its variance.
    """
    found, plain, known = [], angles._told, angles._Any.known

    def told(form, fit_, share, slant):
        found.append((form, fit_))
        return plain(form, fit_, share, slant)

    monkeypatch.setattr(angles, "_told", told)
    angle = outline_angle(shapes[55.0], U_SLOPE).angle_deg
    (form, fitted), half = found[0], 0.5
    _, u = form.known()[place]

    def elsewhere(self):
        changed = known(self)
        value, own = changed[place]
        return changed | {place: (value + half * own, own)}

    monkeypatch.setattr(angles._Any, "known", elsewhere)
    turned = outline_angle(shapes[55.0], U_SLOPE).angle_deg - angle
    covariance = np.linalg.inv(fitted.information)[fit.TAN, place]
    stated = half * covariance / u * np.degrees(2 / (1 + fitted.q[fit.TAN] ** 2))
    assert turned == pytest.approx(stated, rel=0.15)
    assert abs(stated) > 0.004


def test_an_outline_that_its_light_takes_inside_has_the_same_angle(shapes, monkeypatch):
    """What is expected of the light is where the outline lies: neither pulls at the flanks."""
    px, told, found = 0.5, [], []
    plain = angles._told
    monkeypatch.setattr(angles, "_told", lambda *of: found.append(of[1].q) or plain(*of))
    for shape, mirrored in ((shapes[55.0], 0.0), (inside(shapes[55.0], px), px / rises.OUT_SHARE)):
        monkeypatch.setattr(rises, "mirrored_px", lambda sight, index, px=mirrored: px)
        # The rise that such light has is another matter.
        monkeypatch.setattr(rises, "RISE_SHARE", 0.0)
        monkeypatch.setattr(rises, "U_RISE_SHARE", 0.0)
        told.append(outline_angle(shape, U_SLOPE).angle_deg)
    assert told[1] == pytest.approx(told[0], abs=0.25)
    black = -rises.BLACK_BLURS * BLUR_PX
    assert [q[fit.OUT] for q in found] == pytest.approx([black, black - px], abs=0.15)


@pytest.mark.parametrize("light", [0.0, 0.5])
def test_traced_edges_tell_how_far_inside_of_a_black_ones_an_outline_lies(light):
    """A level of 0.85 over an edge with even light inside, by the normal distribution."""
    level = ndtri((0.85 - light) / (1 - light)) * BLUR_PX
    shape = drawn_shape()
    edges = [replace(e, shift_px=-level, u_by_height_px=0.1) for e in shape.edges]
    told, u = moved_by_traced(edges, BLUR_PX).inside
    moved = ndtri(0.85) * BLUR_PX - level
    assert told == pytest.approx(
        rises.TRACED_BLURS * BLUR_PX + rises.TRACED_SHARE * moved, abs=1e-3
    )
    assert u == pytest.approx(np.hypot(rises.U_TRACED_PX, rises.U_TRACED_SHARE * moved), abs=1e-3)


def test_an_outline_with_flanks_is_asked_from_half_a_ridge_before_to_half_a_ridge_past(monkeypatch):
    """Each ridge once, either side about the middles of its own crests, each flank by itself."""
    shape = drawn_shape()
    rise = 0.2
    edges = tuple(replace(e, by_height_px=0.1, u_by_height_px=rise) for e in shape.edges)
    begun = []
    begin = angles.begin
    monkeypatch.setattr(angles, "begin", lambda *of: begun.append(of[1]) or begin(*of))
    monkeypatch.setattr(angles, "_angle", lambda *of: of)
    section = shape.section
    z = np.linspace(shape.span_mm[0] - 2 * PITCH, shape.span_mm[1] + 2 * PITCH, 4000)
    outline = np.concatenate([np.stack([z, s * np.full_like(z, 7.0)], 1) for s in (1.0, -1.0)])
    photo = shape.frame.to_photo(np.column_stack([section.from_axis(outline), 0 * outline[:, 0]]))
    shape = replace(shape, edges=edges, outline_px=photo)
    seen, usual, light, _ = flanks_outline_angle(shape, U_SLOPE)
    # Four flanks that are known independently (JCGM 100, 4.2.3).
    assert light.rise == (pytest.approx(0.1), pytest.approx(rise / np.sqrt(4)))
    assert light == moved_by_traced(edges, seen.blur_px)
    points, used = section.points, section.fit.used
    for side, middle in zip((1.0, -1.0), begun[0], strict=True):
        own = (points.side == side) & used
        number = points.ridge[own]
        assert seen.ridges == pytest.approx(len(np.unique(number)), abs=1.0)
        z = section.to_axis(shape.frame.from_photo(shape.flanks.xy[own]))[:, 0]
        pairs = [z[number == n].mean() for n in np.unique(number)[1:-1]]
        place = (np.array(pairs) - middle) / usual[fit.PITCH]
        assert np.abs(place - np.round(place)).max() < 0.05
        asked = seen.zy[seen.side == side, 0]
        ends = middle + np.array([number.min() - 0.5, number.max() + 0.5]) * usual[fit.PITCH]
        assert [asked.min(), asked.max()] == pytest.approx(ends, abs=0.08)
