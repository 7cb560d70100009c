"""A thread seen aslant: crests and what is left of its flanks, from outlines by brute force."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.edges.crest_edges import CrestEdge
from pitchcam.edges.flank_points import flank_points
from pitchcam.edges.rims import UNLEARNT
from pitchcam.edges.sight import Sight
from pitchcam.errors import OutlineError
from pitchcam.objects.axis import ImageAxis, envelope
from pitchcam.objects.frame import axis_frame, cross_shift
from pitchcam.objects.own_axis import local_axis, region_along
from pitchcam.objects.regions import find_regions
from pitchcam.thread import crest_lines
from pitchcam.thread.budget import crests as terms
from pitchcam.thread.crest_lines import measure_crests, outlined_crests, remeasure_crests
from pitchcam.thread.reading import crest_plots
from pitchcam.thread.ridges import are_ridges, misfit_mm
from tests.thread.helicoid import iso_profile, place, seen_sides, whitworth_profile

HEIGHT, CLOSE = 9.0, 3.0
AXIS = ImageAxis(point_px=(2045.5, 1471.5), direction=(1.0, 0.0))
SHARP = replace(UNLEARNT, spread=replace(UNLEARNT.spread, blur_px=1e-6))


def outline_of(profile, pitch, off_mm):
    """The outline in a photo of a thread ``off_mm`` along its axis from the picture's middle."""
    camera, frame = place(off_mm=off_mm, height_mm=HEIGHT)
    # Five times the pixels, so that the crests' places are those of the curve.
    frame = replace(frame, camera=replace(camera, f_px=CLOSE * camera.f_px))
    z, upper, lower = seen_sides(profile, pitch, pitch, frame.pinhole, turns=8)
    sides = [frame.to_photo(np.stack([z, y, np.zeros_like(z)], axis=1)) for y in (upper, -lower)]
    return frame.camera, np.concatenate([sides[0], sides[1][::-1]])


def sight_of(camera, points, region, along=AXIS):
    axis = local_axis(points, along, region)
    region = region_along(points, along, axis, region)
    middle = (region.start_px + region.end_px) / 2
    return Sight(
        crop=None,
        field=None,
        rims=SHARP,
        region=region,
        outline_px=points,
        axis=axis,
        frame=axis_frame(camera, axis, middle, HEIGHT),
    )


def seen(profile, pitch, off_mm, along=AXIS):
    camera, points = outline_of(profile, pitch, off_mm)
    stations = envelope(along.to_axis(points))
    shift = cross_shift(camera, along, float(stations[0].mean()))
    threads, _ = find_regions(*stations, (shift, shift))
    region = max(threads, key=lambda r: r.turns)
    return outlined_crests(sight_of(camera, points, region, along))


@pytest.mark.parametrize(("form", "angle"), [(iso_profile, 60.0), (whitworth_profile, 55.0)])
def test_pitch_crests_and_angle_under_a_slant(form, angle):
    shape = seen(form(1.5, 14.0), 1.5, 28.0)
    assert shape.slant == pytest.approx(30.0 / 191.0, rel=0.03)
    assert shape.pitch_mm == pytest.approx(1.5, rel=1e-3)
    assert shape.major_mm == pytest.approx(14.0, abs=0.03)
    assert abs(shape.taper) < 0.002
    assert shape.lag == pytest.approx(0.5, abs=0.03)
    assert sum(shape.half_angles_deg) == pytest.approx(angle, abs=0.3)
    assert 0.5 < shape.u_angle_deg < 0.9
    assert are_ridges(shape)


@pytest.mark.parametrize(("form", "angle"), [(iso_profile, 60.0), (whitworth_profile, 55.0)])
def test_the_angle_is_read_where_a_fifth_of_a_pitch_is_seen_of_a_flank(form, angle):
    """1.27 x 9.5 at 13 degrees: a flank leaves the crest's ellipse 0.3 of a pitch from its edge."""
    shape = seen(form(1.27, 9.5), 1.27, 45.0)
    assert shape.slant > 0.22
    assert sum(shape.half_angles_deg) == pytest.approx(angle, abs=1.0)


def test_an_axis_taken_the_other_way_round_exchanges_the_flanks():
    back = replace(AXIS, direction=(-1.0, 0.0))
    there, here = (seen(iso_profile(1.5, 14.0), 1.5, 28.0, way) for way in (AXIS, back))
    assert here.half_angles_deg == pytest.approx(there.half_angles_deg[::-1], abs=0.1)


def test_the_less_of_a_flank_is_seen_the_less_its_angle_is_known():
    """The light's change along a flank counts over what is seen of it, here about a half."""
    wide, narrow = seen(iso_profile(1.5, 14.0), 1.5, 12.0), seen(iso_profile(1.5, 14.0), 1.5, 38.0)
    # Beside the half degree of bands that bend alike.
    light = [np.sqrt(s.u_angle_deg**2 - 0.5**2) for s in (wide, narrow)]
    assert 0.25 < light[0] < 0.36 and 0.4 < light[1] < 0.6


def test_slots_of_the_same_spacing_are_no_ridges():
    """What hides all its flanks keeps to the ellipses of its crests; slots do not."""
    shape = seen(iso_profile(1.5, 14.0), 1.5, 58.0)
    assert shape.half_angles_deg is None and are_ridges(shape)
    at = shape.axis.to_axis(shape.outline_px)
    spacing, first = shape.sight.region.spacing_px, shape.sight.region.crests[0][0]
    phase = (at[:, 0] - first) / spacing
    top = np.percentile(np.abs(at[:, 1]), 97)
    slot = np.where(np.abs(phase - np.round(phase)) < 0.25, top, top - 0.6 * spacing)
    combed = shape.axis.to_photo(np.stack([at[:, 0], np.sign(at[:, 1]) * slot], axis=1))
    assert not are_ridges(replace(shape, sight=replace(shape.sight, outline_px=combed)))


def test_dirt_on_a_fifth_of_the_outline_leaves_ridges_what_they_are():
    shape = seen(iso_profile(1.5, 14.0), 1.5, 58.0)
    before = misfit_mm(shape)
    at = shape.axis.to_axis(shape.outline_px)
    dirty = (np.arange(len(at)) % 100) < 15
    at[:, 1] += np.sign(at[:, 1]) * 0.3 * shape.spacing_px * dirty
    grown = shape.axis.to_photo(at)
    after = misfit_mm(replace(shape, sight=replace(shape.sight, outline_px=grown)))
    assert after < before + 0.02 * shape.pitch_mm


def test_where_the_ridges_hide_all_the_angle_is_not_read():
    """M14x1.5 at 17 degrees: a crest's ellipse is as steep as a flank only beyond mid-groove."""
    shape = seen(iso_profile(1.5, 14.0), 1.5, 58.0)
    assert shape.half_angles_deg is None and "angle_deg" not in shape.quantities()
    assert shape.pitch_mm == pytest.approx(1.5, rel=3e-3)


def test_the_terms_are_what_measuring_again_gives():
    shape = seen(iso_profile(1.5, 14.0), 1.5, 28.0)

    class Place:
        height_mm, slope_rad, u_slope_rad = HEIGHT, 0.0, 0.01
        scale_on_axis, height_per_rad, lever_mm = True, 0.0, 0.0

    line = terms.inclination(shape, Place)
    turned = remeasure_crests(shape, shape.camera, HEIGHT, 0.01)
    other = remeasure_crests(shape, shape.camera, HEIGHT, -0.01)
    moved = max(abs(s.pitch_mm - shape.pitch_mm) for s in (turned, other))
    # Under a slant T the pitch goes with the axis's angle in first order: by T a.
    assert moved == pytest.approx(1.5 * 0.01 * shape.slant, rel=0.25)
    assert abs(line.contributions["pitch_mm"]) == pytest.approx(moved)
    assert terms.edges(shape, Place).contributions["major_mm"] == pytest.approx(
        2 * crest_lines.U_EDGE_PX * shape.mm_per_px
    )
    noise = terms.scatter(shape, Place).contributions
    assert noise["pitch_mm"] == shape.u_pitch_mm and noise["angle_deg"] == shape.u_angle_deg
    assert noise["major_mm"] == shape.u_major_mm > 0 and noise["taper"] == shape.u_taper > 0
    floors = terms.form(shape, Place).contributions
    assert floors["pitch_mm"] == pytest.approx(0.0005 * shape.pitch_mm)
    assert floors["major_mm"] == pytest.approx(0.005 * shape.pitch_mm)
    assert floors["taper"] == 0.001


def test_lines_of_no_thread_are_refused():
    _, points = outline_of(iso_profile(1.5, 14.0), 1.5, 28.0)
    # Drawn out into a cone of 1 : 4.
    at = AXIS.to_axis(points)
    cone = AXIS.to_photo(np.stack([at[:, 0], at[:, 1] * (1 + 0.001 * at[:, 0])], axis=1))
    stations = envelope(AXIS.to_axis(cone))
    threads, others = find_regions(*stations)
    camera, _ = place(off_mm=28.0, height_mm=HEIGHT)
    camera = replace(camera, f_px=CLOSE * camera.f_px)
    assert threads + others
    for region in threads + others:
        with pytest.raises(OutlineError):
            outlined_crests(sight_of(camera, cone, region))


def lines_of(n, spacing=0.8):
    """Columns of two crest lines of n and n - 1 crests: offset and slope of either."""
    z = np.concatenate([np.arange(n), np.arange(n - 1) + 0.5]) * spacing
    above = np.arange(2 * n - 1) < n
    return z, np.stack([above, ~above, z * above, z * ~above], axis=1).astype(float)


@pytest.mark.parametrize("n", [3, 4, 5])
def test_a_crest_moved_by_a_chamfer_leaves_the_pitch_to_the_others(n):
    """Of few crests one draws least squares far enough with it not to be told from them."""
    above, number = np.arange(2 * n) < n, np.tile(np.arange(n), 2).astype(float)
    z = 1.5 * number + 0.75 * ~above
    z[-1] -= 0.15
    q, u = crest_lines._robust(np.stack([above, ~above, number], axis=1).astype(float), z, 0.003)
    assert q == pytest.approx([0.0, 0.75, 1.5], abs=1e-6)
    assert (u > 0).all()


def test_of_seven_crests_the_six_sound_ones_tell_as_if_they_were_alone():
    """Of the first round's least squares a seventh, 20 scatters off, would take all with it."""
    rng = np.random.default_rng(0)
    at = np.arange(7.0) - 3.0
    columns, slopes = np.stack([np.ones(7), at], axis=1), []
    for _ in range(60):
        seen_at = rng.normal(0.0, 0.3, 7)
        seen_at[0] -= 6.0
        slopes.append(crest_lines._robust(columns, seen_at, 1.0)[0][1])
    alone = 0.3 / np.sqrt(np.sum((at[1:] - at[1:].mean()) ** 2))
    assert np.sqrt(np.mean(np.square(slopes))) == pytest.approx(alone, rel=0.25)


def ends_moved(n, by):
    """Numbers and places of n crests a side whose tops at both ends stand inward, in pitches."""
    above, number = np.arange(2 * n) < n, np.tile(np.arange(n), 2).astype(float)
    z = number + 0.5 * ~above
    z[[0, n]] += by
    z[[n - 1, 2 * n - 1]] -= by
    return np.stack([above, ~above, number], axis=1).astype(float), z


@pytest.mark.parametrize("n", [4, 5, 6])
def test_ends_that_all_stand_inward_are_told_by_the_others(n):
    """They make the pitch too small without any scatter that says so: 1412 for 1.5 mm at 4."""
    places, z = ends_moved(n, 0.12)
    pitch = float(np.linalg.lstsq(places, z, rcond=None)[0][2])
    assert pitch < 1 - 0.6 * 0.12 * 20 / (n * (n + 1)) * 0.99
    # As little scatter as these have, and the worn one that is always counted with.
    u = crest_lines._by_ends(places, z, (pitch, 0.02), 0.001)
    assert abs(pitch - 1) <= u * (1 + 1e-6)


@pytest.mark.parametrize(
    ("n", "left"),
    [(3, [0, 1, 2, 3, 4, 5]), (3, [0, 1, 3, 4, 5]), (6, [0, 1, *range(6, 12)])],
    ids=["3 and 3", "2 and 3", "2 and 6"],
)
def test_what_the_usual_end_moves_is_open_where_too_few_crests_are_left_to_say(n, left):
    """Four ends off as ends are, each by itself, carried through least squares; 1.5 mm apart."""
    places, z = (x[left] for x in ends_moved(n, 0.0))
    above = np.flatnonzero(places[:, 0])
    ends = [0, above[-1], above[-1] + 1, len(left) - 1]
    by_crest = np.linalg.pinv(places)[2]
    u = crest_lines._by_ends(places, 1.5 * z, (1.5, 0.01), 0.01)
    assert u == pytest.approx(1.5 * 0.036 * np.linalg.norm(by_crest[ends]))


@pytest.mark.parametrize("n", [4, 6, 12])
def test_of_four_crests_a_side_an_end_that_is_cut_is_told_and_left_out(n):
    """One end in ten off by a tenth of a pitch, the others hardly: u is what is then left."""
    rng = np.random.default_rng(n)
    off, stated, least = [], [], []
    for _ in range(200):
        places, z = ends_moved(n, 0.0)
        z += rng.normal(0, 0.005, 2 * n)
        cut = rng.random(4) < 0.1
        inward = np.array([1.0, -1.0, 1.0, -1.0])
        z[[0, n - 1, n, 2 * n - 1]] += inward * np.where(cut, 0.1, rng.normal(0, 0.012, 4))
        q, u = crest_lines._robust(places, z, 0.004)
        off.append(q[2] - 1)
        ends = crest_lines._by_ends(places, z, (q[2], u[2]), 0.004)
        stated.append(np.hypot(u[2], ends))
        least.append(np.linalg.lstsq(places, z, rcond=None)[0][2] - 1)
    error, u = (np.sqrt(np.mean(np.square(x))) for x in (off, stated))
    assert 0.75 < error / u < 1.15
    assert error < 0.8 * np.sqrt(np.mean(np.square(least)))


def test_three_crests_on_a_line_are_not_certain():
    """What worn crests do counts for two of them; of many it is hardly seen."""
    few, many = (
        crest_lines._robust(lines_of(n)[1], np.full(2 * n - 1, 2.0), 0.003)[1][2] for n in (3, 30)
    )
    # Two of the usual 0.012 mm over one degree of freedom and two: a third less.
    spread = np.sqrt(np.sum((np.arange(3) * 0.8 - 0.8) ** 2))
    assert few == pytest.approx(0.012 * np.sqrt(2 / 3) / spread, rel=0.01)
    assert many < few / 50


def test_two_whole_crests_beside_three_are_measured_and_fewer_are_not():
    """What a shoulder and a chamfer leave of four turns."""
    camera, points = outline_of(iso_profile(1.5, 14.0), 1.5, 28.0)
    whole = seen(iso_profile(1.5, 14.0), 1.5, 28.0).sight.region
    above, below = whole.crests
    few = replace(whole, crests=(above[2:4], below[2:5]))
    shape = outlined_crests(replace(sight_of(camera, points, whole), region=few))
    assert abs(shape.pitch_mm - 1.5) < 0.005 < shape.u_pitch_mm < 0.05
    assert abs(shape.major_mm - 14.0) < 0.05
    # One crest of a side tells neither its line nor its taper, however many the other has.
    for fewer in ((above[2:4], below[2:4]), (above[2:3], below[1:6])):
        with pytest.raises(OutlineError, match="too few crests"):
            outlined_crests(
                replace(sight_of(camera, points, whole), region=replace(whole, crests=fewer))
            )
    # Sides that are seen from one ridge to the next lie half a pitch apart all the same.
    aside = replace(whole, crests=(above[:5], below[2:]))
    lag = outlined_crests(replace(sight_of(camera, points, whole), region=aside)).lag
    assert lag == pytest.approx(0.5, abs=0.03)


def test_the_outline_s_level_lies_outside_of_the_edges_by_the_blur():
    """85 % of the light of a straight sharp edge: 1.0364 blurs outside, by the normal integral."""
    shape = seen(iso_profile(1.5, 14.0), 1.5, 12.0)
    blur_px = 2.0
    at = shape.axis.to_axis(shape.outline_px)
    at[:, 1] += np.sign(at[:, 1]) * 1.0364 * blur_px
    rims = replace(SHARP, spread=replace(SHARP.spread, blur_px=blur_px))
    sight = replace(shape.sight, rims=rims, outline_px=shape.axis.to_photo(at))
    wider = outlined_crests(sight)
    assert wider.major_mm == pytest.approx(shape.major_mm, abs=0.05 * shape.mm_per_px)


def with_crest(shape, form):
    """Measure a thread one of whose crests has another outline, by place and height in pixels."""
    at, region = shape.axis.to_axis(shape.outline_px), shape.sight.region
    place = region.crests[0][3]
    near = (np.abs(at[:, 0] - place) < 0.4 * region.spacing_px) & (at[:, 1] > 0)
    top = at[near, 1].max()
    at, keep = at.copy(), np.ones(len(at), bool)
    if form is None:
        keep = ~near
    else:
        at[near, 1] = top + form((at[near, 0] - place) / region.spacing_px) * region.spacing_px
    points = shape.axis.to_photo(at)[keep]
    crests = outlined_crests(replace(shape.sight, outline_px=points)).crests
    above = shape.axis.to_axis(crests.xy)[crests.side > 0]
    return above, (above[3, 0] - place) / region.spacing_px


@pytest.mark.parametrize(
    ("form", "most"),
    [(lambda t: 0.3 * t * t + 0.1 * t, 0.01), (lambda t: 0.3 * t - 0.01 * t * t, 0.201)],
    ids=["dented", "a ramp"],
)
def test_a_crest_that_is_none_is_placed_where_it_is_looked_for(form, most):
    """Of a dent the top is no top, and that of a ramp lies a pitch beside it."""
    shape = seen(iso_profile(1.5, 14.0), 1.5, 12.0)
    _, off = with_crest(shape, form)
    assert abs(off) < most


def test_a_crest_without_outline_is_left_out():
    shape = seen(iso_profile(1.5, 14.0), 1.5, 12.0)
    above, _ = with_crest(shape, None)
    assert len(above) == len(shape.sight.region.crests[0]) - 1


def test_crests_that_scatter_no_more_than_sound_ones_all_count():
    """However well most of them lie: else two of three would always make the third one dirt."""
    places, z = ends_moved(5, 0.0)
    z[3] += 0.002
    q, _ = crest_lines._robust(places, z, 0.003)
    assert q == pytest.approx(np.linalg.lstsq(places, z, rcond=None)[0], abs=1e-9)
    z[3] += 0.1
    q, _ = crest_lines._robust(places, z, 0.003)
    assert q == pytest.approx([0.0, 0.5, 1.0], abs=1e-6)


def test_what_a_picture_marks_lies_on_the_crests():
    shape = seen(iso_profile(1.5, 14.0), 1.5, 28.0)
    shown = crest_plots(shape)
    assert len(shown.crests_px) == len(shape.crests.xy)
    a, b = np.array(shown.axis_px)
    assert (a[1], b[1]) == pytest.approx((shape.axis.point_px[1],) * 2, abs=0.5)
    upper, lower = (np.array(e) for e in shown.edges_px)
    # Both edges lie between the axis's ends, and reach as far out as the crests.
    for edge, sign in ((upper, 1.0), (lower, -1.0)):
        assert edge[:, 0].min() > min(a[0], b[0]) and edge[:, 0].max() < max(a[0], b[0])
        of = shape.crests.xy[shape.crests.side == sign]
        assert np.abs(edge[:, 1] - a[1]).max() == pytest.approx(
            np.abs(of[:, 1] - a[1]).max(), abs=2.0
        )
    assert shown.flanks_px == () and shown.spectrum == ((), ())


@pytest.mark.parametrize("off_deg", [-0.6, 0.6])
def test_crests_are_found_again_along_the_threads_own_axis(off_deg):
    """A fine thread on a thick part: the part's axis is half a degree off, a seventh of a pitch."""
    camera, points = outline_of(iso_profile(1.0, 28.0), 1.0, 12.0)
    turn = np.radians(off_deg)
    part = replace(AXIS, direction=(float(np.cos(turn)), float(np.sin(turn))))
    shift = cross_shift(camera, part, 0.0)
    threads, _ = find_regions(*envelope(part.to_axis(points)), (shift, shift))
    region = max(threads, key=lambda r: r.turns)
    own = region_along(points, part, AXIS, region)
    straight, _ = find_regions(*envelope(AXIS.to_axis(points)), (shift, shift))
    for found, true in zip(own.crests, max(straight, key=lambda r: r.turns).crests, strict=True):
        nearest = np.abs(found[:, None] - true).min(axis=1)
        assert np.median(nearest) < 0.03 * region.spacing_px
    sight = sight_of(camera, points, region, part)
    flanks = flank_points(points, sight.axis, sight.region, sight.frame)
    counts = [
        np.count_nonzero((flanks.side == side) & (flanks.flank == flank))
        for side in (1, -1)
        for flank in (1, -1)
    ]
    assert min(counts) > 0.5 * max(counts)


def test_crests_are_measured_where_their_light_ends(monkeypatch):
    """Edges 3 and 5 pixels farther out than those of a plain step: the diameter is 8 wider."""
    sides = []

    def edge(sight, side):
        sides.append(side)
        above = side.tops[0, 1] > 0
        return CrestEdge(shift_px=3.0 if above else 5.0, u_px=0.3 if above else 0.4, misfit=0.01)

    monkeypatch.setattr(crest_lines, "crest_edge", edge)
    plain = seen(iso_profile(1.5, 14.0), 1.5, 28.0)
    found = measure_crests(plain.sight)
    px = plain.mm_per_px
    assert found.major_mm - plain.major_mm == pytest.approx(8.0 * px, rel=0.02)
    assert found.pitch_mm == pytest.approx(plain.pitch_mm, rel=1e-4)
    # One panel and one metal: both sides' errors go together.
    both = 2 * np.sqrt(0.15**2 + (0.3**2 + 0.4**2) / 2) * px
    assert terms.edges(found, None).contributions["major_mm"] == pytest.approx(both, rel=1e-3)
    assert [len(s.tops) for s in sides] == [np.sum(plain.crests.side == k) for k in (1, -1)]
    laid = remeasure_crests(found, found.camera, HEIGHT + 0.1, 0.0)
    assert laid.u_edge_mm == found.u_edge_mm
    assert laid.major_mm == pytest.approx(found.major_mm * (1 - 0.1 / 191.0), rel=1e-4)
