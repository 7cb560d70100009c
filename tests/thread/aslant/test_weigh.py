"""The form of threads whose flanks are hidden, from outlines by brute force."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.thread.aslant import fit, ridge, rise, weigh
from pitchcam.thread.aslant.weigh import weigh_forms
from tests.thread.aslant.drawn import (
    BLUR_PX,
    MAJOR,
    PITCH,
    inside,
    left_handed,
    seen_blurred,
    tops_inside,
)
from tests.thread.helicoid import iso_profile, whitworth_profile

NAMES = ("flat60", "round55", "round47.5")


@pytest.fixture(scope="module")
def shapes():
    return {"flat60": seen_blurred(iso_profile), "round55": seen_blurred(whitworth_profile)}


@pytest.fixture(autouse=True)
def no_light(monkeypatch):
    """Nothing is mirrored: the drawn outlines have no light."""
    monkeypatch.setattr(rise, "mirrored_px", lambda sight, index: 0.0)


@pytest.mark.parametrize("name", ["flat60", "round55"])
def test_hidden_flanks_tell_their_form(shapes, name):
    shape = shapes[name]
    assert shape.slant > 0.24 and shape.half_angles_deg is None
    logs = weigh_forms(shape, np.radians(0.5), NAMES)
    assert logs[name] == 0.0
    assert max(log for other, log in logs.items() if other != name) < -2.0


def test_a_left_handed_thread_tells_no_form(shapes):
    """Its mirror image is drawn: 3/8-16 BSW at 10 degrees had been named 3/8-16 UNC at 0.98."""
    shape = shapes["round55"]
    left = left_handed(shape)
    with pytest.raises(np.linalg.LinAlgError, match="of no form"):
        weigh_forms(left, np.radians(0.5), NAMES)


def test_what_is_alike_on_every_ridge_counts_once(shapes, monkeypatch):
    """Were it noise, each ridge would tell anew: the evidence would be several times as much."""
    shape = shapes["round55"]
    with_it = weigh_forms(shape, np.radians(0.5), NAMES)["flat60"]
    monkeypatch.setattr(weigh, "ALIKE_HIDDEN_BLURS", 0.0)
    without = weigh_forms(shape, np.radians(0.5), NAMES)["flat60"]
    assert without < 1.5 * with_it


def test_flanks_that_are_seen_leave_more_unexplained(shapes, monkeypatch):
    """Their light is in no drawing: the same outline then tells less."""
    shape = shapes["round55"]
    hidden = weigh_forms(shape, np.radians(0.5), NAMES)["flat60"]
    monkeypatch.setattr(type(shape), "half_angles_deg", property(lambda _: (27.5, 27.5)))
    assert hidden < 1.15 * weigh_forms(shape, np.radians(0.5), NAMES)["flat60"] < 0.0


def worn_to_the_pitch_line(pitch, major):
    """A Whitworth thread worn flat by half of its depth: the crests of every form are gone."""
    z, r, pitch_diameter = whitworth_profile(pitch, major)
    return z, np.minimum(r, pitch_diameter / 2), pitch_diameter


def test_crests_worn_to_the_pitch_line_leave_the_flanks_to_tell(monkeypatch):
    """None of the forms could be drawn so low: 3/8-16 BSW worn by half was UNC by e^14."""
    begun, lowest = [], []
    plain = weigh.fit_outline

    def fitted(outline, form, start, points):
        found = plain(outline, form, start, points)
        begun.append(start[fit.CREST] / start[fit.PITCH])
        lowest.append(found.q[fit.CREST] / found.q[fit.PITCH])
        return found

    monkeypatch.setattr(weigh, "fit_outline", fitted)
    shape = seen_blurred(worn_to_the_pitch_line, off_mm=6.0)
    logs = weigh_forms(shape, np.radians(0.5), NAMES)
    assert logs["round55"] == 0.0
    assert max(logs["flat60"], logs["round47.5"]) < -3.0
    assert lowest[-len(NAMES) :] == pytest.approx([0.0] * len(NAMES), abs=0.05)
    # From whole crests on, each fit anew ended elsewhere: how worn they are is no form's own.
    assert np.abs(begun[2:]).max() < 0.05


def test_tops_that_mirror_more_than_feet_are_no_other_form(monkeypatch):
    """A close panel opens a thread's flanks by its light alone: of 55 degrees it looked of 60."""
    names, rise_px = ("round60", "round55", "round47.5"), 1.5
    shape = seen_blurred(whitworth_profile, off_mm=28.0)
    risen = tops_inside(shape, rise_px)
    told_dark = weigh_forms(risen, np.radians(0.5), names)
    assert told_dark["round60"] == 0.0 and told_dark["round55"] < -3.0
    # So much mirrored light that this is what is expected of it.
    mirrored = (rise_px - rise.RISE_PX) / rise.RISE_SHARE
    monkeypatch.setattr(rise, "mirrored_px", lambda sight, index: mirrored)
    # Where the outline lies as a whole is another matter.
    monkeypatch.setattr(rise, "OUT_SHARE", 0.0)
    told = weigh_forms(risen, np.radians(0.5), names)
    assert told["round55"] == 0.0 and told["round60"] < -5.0
    # No more of it is asked than is there: the sharper form is as far off as the blunter one.
    assert told["round60"] == pytest.approx(told["round47.5"], abs=4.0)


def test_an_outline_is_as_far_inside_as_its_light_says(shapes, monkeypatch):
    """Bright brass is seen farther inside than black oxide: so much smaller no thread is for it."""
    px, plain = 0.5, weigh.fit_outline
    for moved in (0.0, px):
        found = []
        mirrored = moved / rise.OUT_SHARE
        with monkeypatch.context() as patch:
            patch.setattr(
                weigh, "fit_outline", lambda *of, to=found: to.append(plain(*of)) or to[-1]
            )
            patch.setattr(rise, "mirrored_px", lambda sight, index, px=mirrored: px)
            patch.setattr(rise, "RISE_SHARE", 0.0)
            logs = weigh_forms(inside(shapes["round55"], moved), np.radians(0.5), NAMES)
        assert logs["round55"] == 0.0
        own = found[1 - len(NAMES)].q
        assert own[fit.OUT] == pytest.approx(-rise.BLACK_BLURS * BLUR_PX - moved, abs=0.15)
        assert own[fit.RADIUS] == pytest.approx(MAJOR / 2, abs=0.2 * shapes["round55"].mm_per_px)


@pytest.mark.parametrize(
    ("of", "form", "worst"),
    [("flat60", "round55", -30.0), ("flat60", "round60", -60.0), ("round55", "round60", -10.0)],
)
def test_a_cut_crest_is_fitted_from_below_its_whole_circle(shapes, monkeypatch, of, form, worst):
    """From above a fit halted where the circle is whole: forms lay e^200 off that lie e^20 off."""
    shape, kept = shapes[of], []
    plain = weigh.fit_outline
    with monkeypatch.context() as patch:
        patch.setattr(
            weigh, "fit_outline", lambda *of: kept.append((of, plain(*of))) or kept[-1][1]
        )
        logs = weigh_forms(shape, np.radians(0.5), ("flat60", "round55", form))
    assert worst < logs[form] < 0.0
    own = [(of, found) for of, found in kept if of[1].of is weigh.RIDGES[form]]
    least = min(found.cost for _, found in own)
    (seen, drawn, start, points), _ = own[-1]
    for height in np.arange(0.16, 0.36, 0.04):
        again = start.copy()
        again[[fit.RADIUS, fit.CREST]] += height * PITCH - again[fit.CREST]
        assert plain(seen, drawn, again, points).cost > least - 0.3, height


@pytest.mark.parametrize("name", ["round55", "round47.5", "round60", "round80"])
def test_a_circle_is_whole_where_it_touches_both_flanks(name):
    """By the distance of a point from a line: the circle of that top and radius meets a flank."""
    form = weigh.RIDGES[name]
    for tan in (form.tan_half, 1.1 * form.tan_half):
        centre = form.whole(tan) - form.radius
        # The flank's line: across = 1/4 - height tan, in pitches, from the ridge's middle.
        assert (0.25 - centre * tan) / np.hypot(1, tan) == pytest.approx(form.radius)


def test_an_axis_that_may_slope_tells_less(shapes):
    known, unknown = (
        weigh_forms(shapes["round55"], np.radians(u), NAMES)["round47.5"] for u in (0.1, 3.0)
    )
    assert known < unknown - 0.3


def test_a_lens_that_may_be_another_tells_less(shapes):
    shape = shapes["round55"]
    camera = replace(shape.camera, u_f_px=0.2 * shape.camera.f_px)
    frame = replace(shape.frame, camera=camera)
    doubtful = replace(shape, sight=replace(shape.sight, frame=frame))
    both = (weigh_forms(s, np.radians(0.1), NAMES)["round47.5"] for s in (shape, doubtful))
    known, unknown = both
    assert known < unknown - 0.3


def test_a_ridge_that_lies_off_is_left_out_whole(monkeypatch):
    """By 0.4 pixels, as a run-out's end does: no single point is far."""
    spoiled = seen_blurred(whitworth_profile, lump_px=0.4)
    weights, plain = [], weigh.fit_outline

    def fitted(outline, form, start, points):
        weights.append(points.weight)
        return plain(outline, form, start, points)

    monkeypatch.setattr(weigh, "fit_outline", fitted)
    assert weigh_forms(spoiled, np.radians(0.5), NAMES[:2])["flat60"] < -5.0
    points, _ = fit.outline_of(spoiled, 0.01)
    middle = np.abs(points.zy[:, 0]) < PITCH / 2
    left_out = [np.mean(weights[-1][middle & (points.side == s)] == 0) for s in (1.0, -1.0)]
    assert sorted(left_out) == pytest.approx([0.0, 1.0], abs=0.1)


def test_the_slopes_of_a_fit_are_its_differences(shapes):
    seen_points, start = fit.outline_of(shapes["round55"], 0.01)
    height = rise.flank_height(seen_points, start)
    seen_points = replace(seen_points, columns=height[:, None])
    pitch, start = start[fit.PITCH], np.append(start, 0.0)
    light = rise.MovedByLight(inside=(0.3, 0.1), rise=(0.1, 0.1))
    form = weigh._Made(of=weigh.RIDGES["round55"], seen=seen_points, pitch=pitch, light=light)
    start[[fit.CREST, fit.TAN]] = form.of.crest * start[fit.PITCH], form.of.tan_half
    sound = fit.Points(scatter_px=0.3, weight=np.ones(len(seen_points.zy)))
    q = fit.fit_outline(seen_points, form, start, sound).q
    rest, slopes = fit.rest_and_slopes(seen_points, form, q)
    for place in range(fit.COUNT + 1):
        step = np.zeros(fit.COUNT + 1)
        step[place] = 1e-6
        up, down = (fit.rest_and_slopes(seen_points, form, q + s)[0] for s in (step, -step))
        real = (up - down) / 2e-6
        size = max(float(np.median(np.abs(real))), 1e-3)
        # The drawing's own are exact, to the table of the light; that what moves the thread in the
        # picture moves the points against it is so but for the perspective.
        close = 0.005 if place in (*fit.DRAWN_BY, weigh.RISE) else 0.12
        assert np.median(np.abs(slopes[:, place] - real)) < close * size + 1e-6, place


def test_a_crest_s_height_halts_at_no_point_of_its_drawing(shapes):
    """The best form's cost falls evenly with what no form explains: no fit stays behind."""
    logs = []
    for alike in (0.0375, 0.04, 0.0425):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(weigh, "ALIKE_HIDDEN_BLURS", alike)
            logs.append(weigh_forms(shapes["round55"], np.radians(0.5), NAMES)["round47.5"])
    assert abs(logs[0] - 2 * logs[1] + logs[2]) < 0.25, logs


def test_chords_of_a_drawing_weigh_nothing(shapes, monkeypatch):
    """A corner seen aslant is an arc: drawn by ten points, its chords weighed as much as a form."""
    before = weigh_forms(shapes["round55"], np.radians(0.5), NAMES)
    finer = np.linspace(0.0, 1.0, 3 * ridge.CREST_POINTS)
    monkeypatch.setattr(ridge, "CREST_FALLS", finer)
    monkeypatch.setattr(ridge, "CORNER_FALLS", finer[:-1])
    after = weigh_forms(shapes["round55"], np.radians(0.5), NAMES)
    assert after["round47.5"] == pytest.approx(before["round47.5"], abs=0.5)
    assert after["flat60"] == pytest.approx(before["flat60"], rel=0.03)


def test_a_side_without_crests_says_nothing(shapes):
    shape = shapes["round55"]
    crests = shape.crests
    upper = replace(
        crests, **{k: getattr(crests, k)[crests.side > 0] for k in ("xy", "side", "number")}
    )
    with pytest.raises(np.linalg.LinAlgError, match="no crests"):
        weigh_forms(replace(shape, crests=upper), 0.01, NAMES)


def test_a_side_without_outline_along_its_crests_determines_no_form(shapes):
    shape = shapes["round55"]
    sight = shape.sight
    above = np.sign(sight.to_frame(sight.outline_px)[:, 1]) > 0
    half = replace(shape, sight=replace(sight, outline_px=sight.outline_px[above]))
    with pytest.raises(np.linalg.LinAlgError, match="no outline along its crests"):
        weigh_forms(half, np.radians(0.5), NAMES[:1])
