"""Roots by all that describe the light of their grooves: of drawn threads, and by construction."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.edges import crests
from pitchcam.edges import roots as roots_module
from pitchcam.edges.crests import Around, fit_tips
from pitchcam.edges.roots import (
    LIGHT_NOISE,
    Fitted,
    Groove,
    Seen,
    Trials,
    Tried,
    everywhere,
    point_radius,
    true_radius,
    try_all,
    walled,
)
from pitchcam.edges.tip_form import meeting_radius
from pitchcam.edges.tips import Tip, among_all, one_root
from pitchcam.least_squares import MOST_ROUNDS
from pitchcam.light.metal import UNSEEN
from pitchcam.light.mirrored import Mirror
from pitchcam.thread import measure
from tests.edges.test_crests import BOTH, NO_MIRROR, blurred, drawn, sharp_profile
from tests.thread.drawn_shape import drawn_shape
from tests.thread.helicoid import whitworth_profile

RADII = np.tile(np.linspace(9.0, 10.0, 41), (2, 1))


def tried(cost, misfit=0.0):
    return Tried(
        radius_mm=RADII, cost=cost, misfit=np.full(RADII.shape, (misfit / LIGHT_NOISE) ** 2)
    )


def test_roots_that_look_alike_are_spread_evenly():
    """An even distribution over 0.4 mm: its mean, and 0.4 / root 12 (JCGM 100, 4.3.7)."""
    flat, parabola = (np.where(RADII < 9.4, 0.0, 1e4), ((RADII - 9.6) / 0.05) ** 2)
    (one, other) = tried(np.stack([flat[0], parabola[0]])).places()
    assert one.radius_mm == pytest.approx(9.2, abs=0.015)  # radii are tried at steps of 0.025
    assert one.u_mm == pytest.approx(0.4 / np.sqrt(12), rel=0.1)
    # A parabola of squares is a normal distribution.
    assert other.radius_mm == pytest.approx(9.6, abs=1e-4)
    assert other.u_mm == pytest.approx(0.05, rel=0.06)


def test_points_that_deviate_by_threes_tell_a_third():
    sharp, poor = (tried(((RADII - 9.5) / 0.04) ** 2, m).places()[0] for m in (0.01, 0.03))
    assert sharp.u_mm == pytest.approx(0.04, rel=0.06)
    # By three times the square of what is expected of each.
    assert poor.u_mm == pytest.approx(0.04 * np.sqrt(3) * 0.03 / LIGHT_NOISE, rel=0.06)


def test_a_root_is_told_no_better_than_it_was_tried():
    (one, _) = tried(((RADII - 9.5) / 1e-6) ** 2).places()
    assert one.u_mm == pytest.approx(1.0 / 800, rel=0.01)


@pytest.mark.parametrize("spread, noise, hidden", [(0.02, 0.02, 0.0), (0.05, 0.03, 0.04)])
def test_ridges_that_differ_are_no_less_open_for_the_likelihood(spread, noise, hidden):
    """It is of their median light. The nearest minimum is good to 0.03 mm, ridges to 0.04 mm."""
    roots = [root(side, 9.5, 0.05) for side in (1.0, -1.0)]
    places = tried(((RADII - 9.6) / spread) ** 2).places()
    for t in among_all(roots, [0.04, 0.04], places):
        assert t.radius_mm == pytest.approx(9.6, abs=1e-3)
        assert t.u_mm == pytest.approx(np.hypot(noise, 0.04), rel=0.06)
        assert t.hidden_mm == pytest.approx(hidden, rel=0.1, abs=1e-6)


def test_a_likelihood_that_is_none_leaves_the_fit():
    roots = [root(side, 9.5, 0.05) for side in (1.0, -1.0)]
    none = tried(np.full(RADII.shape, np.nan)).places()
    assert among_all(roots, [0.0, 0.0], none) == roots


def test_roots_that_differ_along_the_thread_are_open_by_that(monkeypatch):
    """Half of them lighter, half darker: the median is as it was."""
    pitch = 25.4 / 14
    sight, section = sight_of(pitch, whitworth_profile(pitch, 20.955), 0.9)
    alike = fit_tips(sight, section, BOTH, groove=True)
    lines = crests._lines

    def uneven(*of):
        light = lines(*of)
        return light + np.where(np.arange(len(light)) % 2, 0.3, -0.3)[:, None]

    monkeypatch.setattr(crests, "_lines", uneven)
    differ = fit_tips(sight, section, BOTH, groove=True)
    scatter = 0.3 * 0.3 / np.sqrt(alike[0].count) * sight.blur_mm
    for one, other in zip(alike, differ, strict=True):
        assert other.radius_mm == pytest.approx(one.radius_mm, abs=0.002)
        more = np.sqrt(other.u_mm**2 - one.u_mm**2)
        # Of both sides' roots alike: as two have it.
        assert more == pytest.approx(scatter * np.sqrt(2), rel=0.2)


def test_roots_are_tried_by_their_radii_not_by_where_they_are_seen(monkeypatch):
    """Under a slant flanks are seen 0.2 pitches farther out than they are."""
    pitch = 25.4 / 14
    crop, frame, section = drawn(pitch, whitworth_profile(pitch, 20.955), 1.1, 24.0)
    up_to = []

    def recorded(section, highest_mm):
        up_to.append(highest_mm)
        return everywhere(section, highest_mm)

    monkeypatch.setattr(crests, "everywhere", recorded)
    fit_tips(blurred(crop, frame, 1.1), section, BOTH, groove=True)
    assert section.seen.pitch_radius_mm > section.fit.pitch_radius_mm + 0.2 * pitch
    assert up_to == [pytest.approx(section.fit.pitch_radius_mm - 0.1 * pitch, abs=0.002)]


def test_the_order_of_trials_does_not_count():
    cost = ((RADII - 9.5) / 0.04) ** 2
    at_random = np.random.default_rng(1).permutation(RADII.shape[1])
    mixed = Tried(
        radius_mm=RADII[:, at_random], cost=cost[:, at_random], misfit=np.zeros(RADII.shape)
    )
    assert mixed.places() == tried(cost).places()


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_radius_is_seen_where_its_contour_is(side):
    pinhole = np.array([3.0, 8.0, 180.0])
    groove = Groove(side=side, out_mm=0.2, mirror=NO_MIRROR, pinhole=pinhole)
    seen = groove.seen_at(np.array([6.0, 9.0]))
    back = [true_radius(float(s) + 0.2, side, pinhole) for s in seen]
    assert back == pytest.approx([6.0, 9.0], abs=1e-6)
    assert (seen + 0.2 > [6.0, 9.0]).all()  # perspective: farther out than the radius


def test_walls_hide_a_part_of_what_a_flank_would_mirror():
    """By construction: of a 60 degree groove, sqrt(h / r) beside the angles of usual panels."""
    mirror = replace(NO_MIRROR, angles_rad=(0.3, 0.2, 0.1), u_angles=0.3)
    assert walled(mirror).angles_rad == pytest.approx((0.18, 0.12, 0.06))
    assert walled(mirror).u_angles == 0.5
    assert walled(replace(mirror, u_angles=0.7)).u_angles == 0.7


def sight_of(pitch, profile, blur_px):
    """Return how a drawn thread is seen, and its section."""
    crop, frame, section = drawn(pitch, profile, blur_px)
    sight = blurred(crop, frame, float(np.hypot(blur_px, 0.5)))
    return sight, section


def test_roots_behind_their_flanks_look_alike():
    """Nothing tells a root that ends below where the flanks, as seen, meet."""
    pitch = 25.4 / 14
    _, frame, section = drawn(pitch, whitworth_profile(pitch, 20.955), 1.1, 24.0)
    pinhole = section.pinhole(frame)
    out = {s: s * section.seen.offset_mm for s in (1.0, -1.0)}
    y = np.linspace(8.8, 10.2, 30)
    seen = Seen(
        y=y, light=np.clip((y - 9.0) / 0.5, 0, 1) * np.ones((2, 1)), blur_mm=0.06, swept_mm=0
    )
    grooves = [Groove(side=s, out_mm=o, mirror=NO_MIRROR, pinhole=pinhole) for s, o in out.items()]
    trials = Trials(seen=seen, section=section, grooves=grooves)
    point = point_radius(section)
    hidden = max(section.covered_mm(frame, s) for s in (1.0, -1.0))
    assert hidden > 0.1
    radius = point + hidden * np.array([[0.0, 0.4, 0.8, 1.5, 2.5]] * 2)
    ends = trials.ends(radius)
    covered = int(np.argmax([section.covered_mm(frame, s) for s in out]))
    assert ends[covered, :3] == pytest.approx(meeting_radius(section, groove=True))
    fitted = Fitted(
        radius_mm=np.full(2, point),
        u_mm=np.full(2, 0.05),
        mirrored=np.tile([NO_MIRROR.metal.loss.value, 0.0, 0.0, 1.0], (2, 1)),
        by_end=np.zeros((2, 4)),
    )
    cost = trials.tried(radius, fitted).cost
    assert np.ptp(cost[covered, :3]) == 0 < np.ptp(cost[covered])
    # From the point of the section on: no root lies deeper.
    radii = everywhere(section, 9.8)
    assert radii.min() == pytest.approx(point)
    both = try_all(trials, radii, fitted)
    assert both.radius_mm.shape == (2, 20)
    assert both.radius_mm.min() == pytest.approx(point) and both.radius_mm.max() <= 9.8


def test_between_trials_squares_are_parabolas():
    """A root between two of few trials: exact ones have it at 9.52, by 0.05 mm."""
    radius = np.tile(np.linspace(9.0, 10.0, 11), (1, 1)) + 0.02
    (place,) = Tried(
        radius_mm=radius, cost=((radius - 9.52) / 0.05) ** 2, misfit=np.zeros(radius.shape)
    ).places()
    assert place.radius_mm == pytest.approx(9.52, abs=1e-3)
    # By straight lines between the squares themselves it would be 0.041.
    assert place.u_mm == pytest.approx(0.05, rel=0.04)


def trials_of(blur_px, off_mm=0.0, angles_rad=(0.15, 0.1, 0.15)):
    """What is tried of a drawn Whitworth thread of any metal, and the best fit of its roots."""
    pitch, caught = 25.4 / 14, []
    crop, frame, section = drawn(pitch, whitworth_profile(pitch, 20.955), blur_px, off_mm)
    sight = blurred(crop, frame, float(np.hypot(blur_px, 0.5)))

    def caught_all(*of):
        caught.append(of)
        return try_all(*of)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(crests, "try_all", caught_all)
        mirror = Mirror(metal=UNSEEN, angles_rad=angles_rad, u_angles=0.6)
        fit_tips(sight, section, Around(mirrors={1.0: mirror, -1.0: mirror}), groove=True)
    return caught[0]


@pytest.fixture(scope="module")
def tip_trials():
    """Those of a thread that is well seen."""
    return trials_of(0.9)


@pytest.fixture(scope="module")
def blurred_trials():
    """Those of one that is seen aslant, blurred by a sixteenth of its pitch."""
    return trials_of(1.6, off_mm=24.0, angles_rad=(0.3, 0.2, 0.3))


@pytest.fixture(scope="module")
def broad_trials():
    """Those of one that mirrors far around its edges: a first step takes it for deeper."""
    return trials_of(2.0, off_mm=24.0, angles_rad=(0.5, 0.35, 0.5))


def _asked(monkeypatch, tip_trials):
    """Return the places of all trials, and how many times a problem's light was drawn."""
    drawn_for, light = [], roots_module._RootFit.__call__

    def counted(self, q):
        drawn_for.append(len(q))
        return light(self, q)

    monkeypatch.setattr(roots_module._RootFit, "__call__", counted)
    return try_all(*tip_trials).places(), sum(drawn_for)


def test_trials_that_are_given_up_tell_nothing(tip_trials, monkeypatch):
    """The answer is that of trials which are all settled, to a fiftieth of a blur."""
    places, asked = _asked(monkeypatch, tip_trials)
    monkeypatch.setattr(roots_module, "GIVEN_UP", np.inf)
    _, more = _asked(monkeypatch, tip_trials)
    assert asked < more
    monkeypatch.setattr(roots_module, "SETTLED", 1e-7)
    settled, _ = _asked(monkeypatch, tip_trials)
    close = 0.02 * tip_trials[0].seen.blur_mm
    for place, exact in zip(places, settled, strict=True):
        assert place.radius_mm == pytest.approx(exact.radius_mm, abs=close)
        assert place.u_mm == pytest.approx(exact.u_mm, abs=close)


def test_trials_are_given_up_by_what_their_light_tells(tip_trials, monkeypatch):
    """Where every point is off by three units, squares of 60 are seven, and no reason."""
    asked = []

    def kept(model, start, *_, hopeless, **__):
        asked.append((hopeless, np.count_nonzero(model.use, axis=1)))
        return fitted(model, start, *_, hopeless=hopeless, **__)

    fitted = roots_module.solve
    monkeypatch.setattr(roots_module, "solve", kept)
    try_all(*tip_trials)
    hopeless, told = asked[-1]
    for poor, given_up in ((0.1, True), (9.0, False)):
        cost = 0.5 * poor * told.astype(float)
        cost[0] += 30.0
        found = [hopeless(cost) for _ in range(roots_module.SIFTED)][-1]
        assert found[0] == given_up


def test_what_a_groove_mirrors_goes_with_where_it_ends(tip_trials, monkeypatch):
    """Fits that begin with what the best one would have there are nearer to their ends."""
    trials, radii, fitted = tip_trials
    monkeypatch.setattr(roots_module, "GIVEN_UP", np.inf)
    _, asked = _asked(monkeypatch, tip_trials)
    stays = replace(fitted, by_end=np.zeros_like(fitted.by_end))
    _, more = _asked(monkeypatch, (trials, radii, stays))
    assert asked < more
    off = np.array([-1.0, 1.0]) * fitted.u_mm[:, None] + fitted.radius_mm[:, None]
    model = trials._model(off)
    costs = [
        0.5 * np.sum(model(np.repeat(q, 2, axis=0) + by)[0] ** 2, axis=1)
        for q, by in (
            (fitted.mirrored, 0.0),
            (
                fitted.mirrored,
                np.repeat(fitted.by_end * fitted.u_mm[:, None], 2, axis=0)
                * np.tile([[-1.0], [1.0]], (2, 1)),
            ),
        )
    ]
    assert np.all(costs[1] < costs[0])


@pytest.mark.parametrize("of", ["tip_trials", "blurred_trials", "broad_trials"])
def test_a_first_look_finds_about_where_the_root_is(of, request, monkeypatch):
    """And draws the light of all radii a few times only: it says where a fit begins."""
    trials, radii, fitted = request.getfixturevalue(of)
    looked = []
    monkeypatch.setattr(roots_module, "solve", told_of(looked, roots_module.solve))
    best = trials.look(np.tile(radii, (2, 1)))
    assert np.all(np.abs(best - fitted.radius_mm) < radii[1] - radii[0])
    assert len(looked) < 0.3 * MOST_ROUNDS


def told_of(asked, solve):
    """Return a solver that tells each time its model is asked."""

    def solver(model, *of, **how):
        def told(q):
            asked.append(len(q))
            return model(q)

        return solve(told, *of, **how)

    return solver


def test_no_trial_is_led_away_by_a_step_to_angles_of_which_the_light_knows_nothing(
    blurred_trials, monkeypatch
):
    """Steps of any length leave a trial at 500 times what counts as one over its least cost."""
    places = try_all(*blurred_trials).places()
    monkeypatch.setattr(roots_module, "STEP", 0.2 * roots_module.STEP)
    monkeypatch.setattr(roots_module, "SETTLED", 1e-8)
    monkeypatch.setattr(roots_module, "GIVEN_UP", np.inf)
    for place, least in zip(places, try_all(*blurred_trials).places(), strict=True):
        assert place.radius_mm == pytest.approx(least.radius_mm, abs=0.1 * least.u_mm)
        assert place.u_mm == pytest.approx(least.u_mm, rel=0.1)


def test_half_a_u_off_squares_grow_by_a_quarter_and_known_values_are_no_misfit(tip_trials):
    """A likelihood is e^(-squares / 2): to either side of the best fit, of which u is known."""
    trials, _, fitted = tip_trials
    radius = fitted.radius_mm[:, None] + fitted.u_mm[:, None] * np.array([-2.0, -0.5, 0.0, 0.5])
    tried_there = trials.tried(radius, fitted)
    cost = tried_there.cost - tried_there.cost[:, 2:3]
    assert (cost[:, 1] + cost[:, 3]) / 2 == pytest.approx([0.25, 0.25], rel=0.35)
    # Far off, metal and angles are drawn away from what is known of them: that is not the light's.
    told = np.count_nonzero(trials._model(radius).use, axis=1).reshape(radius.shape)
    assert np.all((tried_there.misfit * told)[:, 0] < 0.97 * tried_there.cost[:, 0])


def test_what_a_groove_mirrors_is_off_in_its_own_u(tip_trials):
    trials, radii, _ = tip_trials
    trials = replace(
        trials, grooves=[replace(g, mirror=replace(g.mirror, u_angles=0.3)) for g in trials.grooves]
    )
    model, metal = trials._model(np.tile(radii, (2, 1))), UNSEEN
    known = np.array([metal.loss.u, 0.3, metal.roughness.u, metal.share.u])
    for k in range(4):
        q = model.expected + 0.2 * known * np.eye(4)[k]
        assert model(q)[0][:, -4:] == pytest.approx(np.tile(0.2 * np.eye(4)[k], (len(q), 1)))


def test_light_is_told_by_radii_from_the_first_to_the_last_that_shows_it():
    y = np.linspace(9.0, 9.5, 6)
    light = np.array([[0.0, 0.2, 0.6, 0.4, 0.8, 0.1], [0.0, 0.7, 0.3, 0.9, 0.2, 0.0]])
    told, seen, use = Seen(y=y, light=light, blur_mm=0.05, swept_mm=0.0).told(0.5)
    assert told == pytest.approx(y[1:5])
    assert seen == pytest.approx(light[:, 1:5])
    assert use * LIGHT_NOISE == pytest.approx((light > 0.5)[:, 1:5].astype(float))


def test_flanks_stand_above_a_root_and_nothing_above_a_crest(monkeypatch):
    """The line on which light is gathered ends where the part does: at no root's highest place."""
    section = drawn_shape().section
    seen = Seen(y=np.linspace(5.5, 8.0, 51), light=np.ones((2, 51)), blur_mm=0.05, swept_mm=0.0)
    mirrors, laid = [SimpleNamespace(metal=None)] * 2, []

    def stopped(y, blur, highest, swept):
        laid.append(highest)
        raise StopIteration

    monkeypatch.setattr(crests, "middle_line", stopped)
    for start in (np.full(2, 6.1), None):
        with pytest.raises(StopIteration):
            crests._fit_ends(seen, section, mirrors, (5.8, 6.9), start=start)
    assert laid[0] == np.inf and laid[1] == pytest.approx(6.9)


def test_no_root_is_sought_beyond_the_axis():
    """Waves as long as the part is thick: their flanks, made longer, meet 0.5 mm beyond it."""
    fit = SimpleNamespace(pitch_radius_mm=2.0, pitch_mm=5.0, tan_half=(0.5, 0.5))
    assert point_radius(SimpleNamespace(fit=fit)) == pytest.approx(0.2)
    fit.pitch_radius_mm = 4.0
    assert point_radius(SimpleNamespace(fit=fit)) == pytest.approx(1.5)


@pytest.mark.parametrize("pitch_px", [8.0, 25.0])
def test_a_sharp_root_of_few_pixels_says_how_open_it_is(pitch_px):
    """ASME B1.20.1's groove, 0.8 P deep: at 8 pixels a pitch its root is open by a third of one."""
    pitch = 0.0645 * pitch_px
    sight, section = sight_of(pitch, sharp_profile(pitch, 13.7), 0.5)
    roots = fit_tips(sight, section, BOTH, groove=True)
    off = sum(t.radius_mm for t in roots) - (13.7 - 1.6 * pitch)
    u = float(np.linalg.norm([(t.u_mm, t.hidden_mm) for t in roots]))
    assert abs(off) < 2 * u
    px = sight.frame.mm_per_px
    assert 0.2 * px < u < 1.2 * px
    assert np.linalg.norm([t.hidden_mm for t in roots]) > 0.1 * px


def test_a_root_that_is_well_seen_is_open_by_little():
    pitch = 25.4 / 14
    sight, section = sight_of(pitch, whitworth_profile(pitch, 20.955), 0.9)
    roots = fit_tips(sight, section, BOTH, groove=True)
    assert max(t.hidden_mm for t in roots) < 0.1 * sight.blur_mm


def root(side, radius, u, hidden=0.0):
    return Tip(
        side=side, radius_mm=radius, u_mm=u, slope=0.0, count=6, misfit=0.0, hidden_mm=hidden
    )


class Covering:
    """A section of which only what covers its roots is asked."""

    def __init__(self, covered, pitch=1.5):
        self.covered, self.fit = covered, type("Fit", (), {"pitch_mm": pitch})()

    def covered_mm(self, frame, side):
        """Return what the ridges cover of one side."""
        return self.covered[side]


SIGHT = type("Sight", (), {"frame": None})()


def test_both_sides_of_a_root_count_by_what_is_known_of_each():
    section = Covering({1.0: 0.01, -1.0: 0.02})
    one, other = one_root([root(1.0, 9.0, 0.04, 0.03), root(-1.0, 9.3, 0.1)], (), section, SIGHT)
    weights = [1 / (0.05**2 + 0.0075**2), 1 / (0.1**2 + 0.0075**2)]
    expected = np.average([9.0, 9.3], weights=weights)
    assert one.radius_mm == other.radius_mm == pytest.approx(expected)
    # They err alike: the diameter's u is twice the mean of theirs, not less for their number.
    assert np.hypot(one.u_mm, other.u_mm) == pytest.approx(
        2 * np.average([0.04, 0.1], weights=weights)
    )
    assert np.hypot(one.hidden_mm, other.hidden_mm) == pytest.approx(
        2 * np.average([0.03, 0.0], weights=weights)
    )


def test_a_covered_root_that_is_seen_farther_out_tells_nothing():
    section = Covering({1.0: 0.01, -1.0: 0.15})
    lit = [replace(root(1.0, 9.0, 0.04), by_light_mm=0.2), root(-1.0, 9.3, 0.01)]
    (one, other) = one_root(lit, (), section, SIGHT)
    assert one.radius_mm == other.radius_mm == 9.0
    # The light beside the part moves the one that is seen, and with it both.
    assert one.by_light_mm == other.by_light_mm == 0.2
    assert np.hypot(one.u_mm, other.u_mm) == pytest.approx(2 * 0.04)
    # One that is seen deeper all the same does.
    deeper = one_root([root(1.0, 9.0, 0.04), root(-1.0, 8.9, 0.01)], (), section, SIGHT)
    assert deeper[0].radius_mm < 8.95


def test_roots_stand_about_the_middle_of_the_crests():
    """A 7/8-9 BSW as a photo showed it: crests and roots of one side 0.11 and 0.09 mm less far out.

    Its own minor radius there is 9.244 mm.
    """
    crests_ = [root(1.0, 10.974, 0.013), root(-1.0, 11.086, 0.018)]
    covered, free = Covering({1.0: 0.01, -1.0: 0.2}), Covering({1.0: 0.0, -1.0: 0.0})
    seen = [root(1.0, 9.1906, 0.025), root(-1.0, 9.2853, 0.025)]
    assert one_root(seen, (), covered, SIGHT)[0].radius_mm == 9.1906
    # Both sides tell, now that they agree.
    both = one_root(seen, crests_, covered, SIGHT)
    assert both[0].radius_mm == pytest.approx(9.244, abs=0.01)
    assert np.hypot(both[0].u_mm, both[1].u_mm) == pytest.approx(2 * 0.025)
    # One side's crests alone tell no middle.
    assert one_root(seen, crests_[:1], covered, SIGHT) == one_root(seen, (), covered, SIGHT)
    # What is not known of the middle is in the root that is believed alone.
    far = [root(1.0, 9.1906, 0.025), root(-1.0, 9.6, 0.025)]
    one, other = one_root(far, crests_, covered, SIGHT)
    assert one.radius_mm == pytest.approx(9.1906 + 0.056)
    assert np.hypot(one.u_mm, other.u_mm) == pytest.approx(
        2 * np.hypot(0.025, np.hypot(0.013, 0.018) / 2)
    )
    assert one_root(seen, crests_, free, SIGHT)[0].u_mm == pytest.approx(2**0.5 * 0.025)


def test_a_root_that_one_side_shows_is_read_from_the_middle_of_the_crests():
    """Seen aslant, the flanks of both sides do not lie about the axis: drawn, and exact."""
    pitch, major = 25.4 / 14, 20.955
    crop, frame, section = drawn(pitch, whitworth_profile(pitch, major), 0.9, 24.0)
    sight = blurred(crop, frame, float(np.hypot(0.9, 0.5)))
    crests_ = fit_tips(sight, section, BOTH)
    # ISO 228-1: h = 0.640327 P.
    true = major / 2 - 0.640327 * pitch
    alone, about = (
        fit_tips(sight, section, BOTH, groove=True, crests=c)[0].radius_mm for c in ((), crests_)
    )
    assert abs(about - true) < 0.7 * abs(alone - true)
    # Where the other side's root is seen the farther out, this one's tells all.
    far, farther = (
        fit_tips(
            sight,
            section,
            BOTH,
            groove=True,
            crests=[replace(t, radius_mm=t.radius_mm - by * t.side) for t in crests_],
        )[0].radius_mm
        for by in (0.10, 0.15)
    )
    assert farther - far == pytest.approx(-0.05, abs=1e-6)


def test_a_thread_s_roots_are_read_from_its_crests(monkeypatch):
    asked = []

    def told(*of, groove=False, crests=()):
        asked.append((groove, crests))
        return ("roots",) if groove else ("crests",)

    monkeypatch.setattr(measure, "fit_tips", told)
    monkeypatch.setattr(measure, "_mirror", lambda *of, **more: NO_MIRROR)
    surface = SimpleNamespace(background=1.0)
    for roots in (True, False):
        sight = SimpleNamespace(roots=roots)
        found = measure._tips(sight, None, surface, near_panel=False)
        assert found == (("crests",), ("roots",) if roots else ())
    assert asked == [(False, ()), (True, ("crests",)), (False, ())]
