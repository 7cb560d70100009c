"""How one thread's place goes into its measurement: rise, lever, hexagon's turn, cast."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam import identify
from pitchcam.edges.flank_fit import Scatter
from pitchcam.edges.flank_points import most_lower
from pitchcam.errors import OutlineError, UnreadableError
from pitchcam.flags import FLAGS, UNFITTED_ADVICE
from pitchcam.objects.regions import Region
from pitchcam.pipeline import part_threads
from pitchcam.pipeline import scene as scene_module
from pitchcam.pipeline.place import geometry
from pitchcam.pipeline.pose_report import hidden_flanks, left_hand
from pitchcam.pipeline.unfit_photo import too_blurred
from pitchcam.records import Quantity, ScaleSpec, ThreadReading, Verdict
from pitchcam.scale.reference import Reference
from pitchcam.thread.budget.pose import sloped
from pitchcam.thread.measure import ThreadShape
from pitchcam.thread.pose import laid
from pitchcam.thread.pose.height import Rest, Roll
from pitchcam.thread.pose.records import UNKNOWN
from tests.thread.drawn_shape import HEIGHT, MAJOR, drawn_shape

SAMPLES = Path(__file__).parents[2] / "samples"
PHOTO, PIN = SAMPLES / "p05-unf12-pin.jpg", ScaleSpec(source="pin", mm=6.0)


@pytest.fixture(scope="module")
def shape():
    return drawn_shape()


REGION = object()
PART = SimpleNamespace(threads=[REGION])
OWN = {"region": REGION, "part": PART, "u_reading": 0.0018, "u_crests": 0.0024}


def place(
    shape,
    *,
    reference_height=3.0,
    beside_px=300.0,
    spec=PIN,
    read_px=None,
    region=REGION,
    read=None,
    own=None,
):
    """Return the geometry of a drawn thread beside a reference."""
    at = shape.camera.project(shape.frame.origin)
    reference = Reference(
        source="pin",
        camera=shape.camera,
        u_scale=0.002,
        height_mm=reference_height,
        u_height_mm=0.02,
        where_px=at + [0.0, beside_px],
        labels=(1,),
        outline_px=np.zeros((0, 2)),
        read_px=read_px,
    )
    lies = replace(UNKNOWN, slope_rad=0.01, u_slope_rad=0.015, height_per_rad=17.0)
    rest = Rest(
        width_mm=14.0,
        height_mm=HEIGHT,
        u_height_mm=0.1,
        hexagon=False,
        stretch=(-20.0, 20.0),
        pose=lies,
    )
    scene = SimpleNamespace(
        reference=reference if spec.source != "major" else None,
        rows_shown=True,
        own=SimpleNamespace(
            **OWN | {"frame": (read or shape).frame, "axis": (read or shape).axis} | (own or {})
        )
        if spec.source == "major"
        else None,
        spec=spec,
        camera=shape.camera,
        bare=None,
    )
    return geometry(scene, region, shape, rest)


@pytest.mark.parametrize("height", [3.0, 15.0])
def test_the_rise_is_the_axis_over_the_reference(shape, height):
    assert place(shape, reference_height=height).rise_mm == pytest.approx(HEIGHT - height)


def test_rest_and_reference_make_the_rise_s_u(shape):
    assert place(shape).u_rise_mm == pytest.approx(np.hypot(0.1, 0.02))


def test_how_the_axis_s_height_goes_with_its_slope_is_handed_on(shape):
    """A thread some way from what its part rests on lies higher or lower as the part inclines."""
    for spec in (PIN, ScaleSpec(source="major", mm=MAJOR)):
        told = place(shape, spec=spec)
        assert (told.slope_rad, told.u_slope_rad, told.height_per_rad) == (0.01, 0.015, 17.0)


def test_the_way_to_the_reference_is_in_millimetres(shape):
    """Across the axis, on the reference's own plane."""
    apart = 300.0 * (200.0 - 3.0) / shape.camera.f_px
    assert place(shape).apart_mm == pytest.approx(apart, rel=0.01)


@pytest.mark.parametrize(("way", "radial"), [((600, 0), 1.0), ((0, 600), 0.0), ((400, 400), 0.5)])
def test_distortion_goes_by_the_way_from_the_middle(shape, way, radial):
    """The drawn axis runs along the picture's rows; its reference lies 300 px below it."""
    at = shape.camera.project(shape.frame.origin)
    away = replace(shape.camera, centre_px=tuple(at - way))
    depth = shape.frame.origin[2]
    # The same place in the picture, seen past another middle.
    origin = np.array([*way, away.f_px]) / away.f_px * depth
    there = replace(shape, frame=replace(shape.frame, camera=away, origin=origin))
    told = place(there)
    assert told.radial == pytest.approx(radial, abs=0.01)
    assert told.bent_reference == 2.0
    reference = np.array(way) + [0.0, 300.0]
    for read, factor in ((reference, 3.0), (reference[::-1] * [1, -1], 1.0)):
        assert place(there, read_px=read).bent_reference == pytest.approx(factor, abs=0.01)


def test_own_crests_leave_no_rise_and_their_own_u(shape):
    own = place(shape, spec=ScaleSpec(source="major", mm=MAJOR))
    assert own.scale_on_axis and own.rise_mm == own.u_rise_mm == 0.0
    assert own.u_scale == 0.0018 and own.read_crests


def test_another_thread_beside_has_what_the_picture_leaves_of_the_crests_too(shape):
    beside = place(shape, spec=ScaleSpec(source="major", mm=MAJOR), region=object())
    assert beside.scale_on_axis and not beside.read_crests
    assert beside.u_scale == pytest.approx(np.hypot(0.0018, 0.0024))


def moved(shape, way):
    """The same thread some way off in the camera frame."""
    return replace(shape, frame=replace(shape.frame, origin=shape.frame.origin + np.array(way)))


def test_from_crests_on_its_own_part_a_thread_lies_a_lever_along_the_axis(shape):
    """25 mm along the axis, inclined by one u more, brings it nearer by as much times the u."""
    spec, mine = ScaleSpec(source="major", mm=MAJOR), object()
    part = {"part": SimpleNamespace(threads=[REGION, mine])}
    read = moved(shape, -25.0 * shape.frame.along)
    told = place(shape, spec=spec, region=mine, read=read, own=part)
    assert told.lever_mm == pytest.approx(25.0) and told.u_beside_mm == 0.0
    height, slope = sloped(told, told.u_slope_rad)
    assert height == pytest.approx(HEIGHT + 25.0 * told.u_slope_rad)
    assert slope == pytest.approx(0.01 + told.u_slope_rad)
    # The thread that was read is at the distance where its diameter is that: no height counts.
    assert place(shape, spec=spec).lever_mm == 0.0


def test_from_crests_on_another_part_heights_and_tilt_are_open(shape):
    """Each axis by its own height's u, and the tilt over the way between: by Pythagoras."""
    spec = ScaleSpec(source="major", mm=MAJOR)
    for way in (0.0, 60.0):
        read = moved(shape, way * shape.frame.across)
        told = place(shape, spec=spec, region=object(), read=read)
        leans = way * shape.camera.leans.u_along(shape.frame.across[:2])  # 0 where both are one
        assert told.u_beside_mm == pytest.approx(np.hypot(0.1 * np.sqrt(2), leans), rel=1e-3)
        assert told.lever_mm == 0.0


@pytest.mark.parametrize(("way", "across"), [((900.0, 0.0), 1.0), ((0.0, 900.0), 3.0)])
def test_a_distortion_at_the_crests_that_were_read_is_in_another_s_scale(shape, way, across):
    """Across the radius it is k c^2, along it three times that; the drawn axis runs along rows."""
    spec, camera = ScaleSpec(source="major", mm=MAJOR), shape.camera
    there = camera.on_plane(np.array(camera.centre_px) + np.array(way), HEIGHT)
    read = moved(shape, there - shape.frame.origin)
    told = place(shape, spec=spec, region=object(), read=read)
    share = 900.0 / np.hypot(*camera.centre_px)
    assert told.bent_read == pytest.approx(across * share**2, rel=1e-3)
    assert place(shape, spec=spec).bent_read is None


def test_the_scale_s_u_is_that_of_the_scale_with_own_crests_too():
    """Caliper and lens alone, not the part's inclination or its edges."""
    result = identify(
        SAMPLES / "p02-m10x1.25-major.jpg", ScaleSpec(source="major", mm=9.86), plots=False
    )
    lines = {x.source: x for x in result.parts[0].threads[0].budget}
    pitch = result.parts[0].threads[0].reading.pitch_mm.value
    of_scale = ("scale of the reference", "lens distortion", "crests that were read")
    own = np.linalg.norm([lines[k].contributions["pitch_mm"] for k in of_scale]) / pitch
    scale = result.scale.mm_per_px
    assert scale.u / scale.value == pytest.approx(own, rel=1e-6)
    # 0.015 mm on 9.86 mm, and as much again of the crests in the picture.
    assert 0.0018 < scale.u / scale.value < 0.0028


def test_a_turned_hexagon_stands_otherwise_and_its_thread_is_read_there(monkeypatch):
    """A hexagon that shows only 0.95 of its width over corners is larger, and its axis higher."""
    roll = Roll(turn_rad=0.25, u_turn_rad=0.02, shown=0.95)
    seen = []
    for shown in (1.0, 0.95):
        told = replace(roll, shown=shown)
        monkeypatch.setattr(laid, "hexagon_roll", lambda *_, told=told: told)
        result = identify(PHOTO, PIN, plots=False)
        thread = result.parts[0].threads[0]
        seen.append((thread.pose.axis_height_mm.value, thread.reading.pitch_mm.value))
    (low, far), (high, near) = seen
    assert high == pytest.approx(low / 0.95, rel=0.02)
    reach = result.scale.camera_height_mm.value - low
    assert (high - low) / reach > 0.001
    assert near / far == pytest.approx(1 - (high - low) / reach, abs=3e-4)


def test_a_stated_axis_height_is_taken_and_known_well(shape):
    free = identify(PHOTO, PIN, plots=False).parts[0].threads[0]
    stated = identify(PHOTO, replace(PIN, axis_height_mm=9.0), plots=False).parts[0].threads[0]

    def u_height(thread):
        line = next(x for x in thread.budget if x.source == "height of the axis")
        return abs(line.contributions["pitch_mm"]) / thread.reading.pitch_mm.value

    assert u_height(stated) < u_height(free) + 1e-6
    assert stated.reading.pitch_mm.value != free.reading.pitch_mm.value


def test_a_cast_is_smaller_than_the_thread_it_was_made_in():
    """What has shrunk by 2 % is 0.98 of the hole; the angle does not shrink."""
    plain = identify(PHOTO, PIN, plots=False).parts[0].threads[0].reading
    cast = identify(PHOTO, PIN, cast=True, shrinkage=Quantity(value=0.02, u=0.003), plots=False)
    inside = cast.parts[0].threads[0].reading
    assert inside.gender == "internal"
    for name in ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm"):
        was, now = getattr(plain, name), getattr(inside, name)
        assert now.value * 0.98 == pytest.approx(was.value)
        assert now.u == pytest.approx(np.hypot(was.u, was.value * 0.003), rel=0.05)
    assert inside.angle_deg.value == plain.angle_deg.value


def test_a_thread_that_no_fit_takes_is_not_called_blurred(monkeypatch):
    """Dirt, a slant or the light beside it may be why: the advice covers them all."""

    def unfitted(*_, **__):
        raise OutlineError("the flanks do not fit")

    monkeypatch.setattr(part_threads, "_one_thread", unfitted)
    monkeypatch.setattr(part_threads, "_by_crests", unfitted)
    with pytest.raises(UnreadableError, match="could not be fitted") as told:
        identify(PHOTO, PIN, plots=False)
    assert told.value.code == "not-read"
    assert told.value.advice == UNFITTED_ADVICE != FLAGS["blurred"][1]


def test_so_few_turns_are_why_no_fit_takes_them(monkeypatch):
    """Three crests on either side, one of them a hexagon's corner: neither dirt nor focus."""

    def unfitted(*_, **__):
        raise OutlineError("the flanks do not fit")

    for name in ("_one_thread", "_by_crests"):
        monkeypatch.setattr(part_threads, name, unfitted)
    monkeypatch.setattr(part_threads, "SURE_TURNS", 99.0)
    with pytest.raises(UnreadableError, match="hardly three turns") as told:
        identify(PHOTO, PIN, plots=False)
    assert told.value.code == "few-turns"


def test_the_crests_reason_is_the_parts(monkeypatch):
    """It came through as the photo's, and cost the other parts their answers."""

    def unfitted(*_, **__):
        raise OutlineError("the flanks do not fit")

    def moved_(*_, **__):
        raise UnreadableError("It moved.", "Hold it still.", code="blurred")

    monkeypatch.setattr(part_threads, "_one_thread", unfitted)
    monkeypatch.setattr(part_threads, "_by_crests", moved_)
    monkeypatch.setattr(part_threads, "refusal", lambda scene, found: None)
    monkeypatch.setattr(part_threads, "_focused", lambda scene, found: scene)
    axis = SimpleNamespace(to_photo=lambda points: points)
    found = SimpleNamespace(
        number=2,
        part=SimpleNamespace(axis=axis),
        region=SimpleNamespace(start_px=0.0, end_px=9.0, turns=6.0),
    )
    flags = []
    told, scale = part_threads.one_thread(None, found, part_threads.Wanted(), flags)
    assert told.verdict.status == "unreadable" and scale is None
    assert [(f.code, f.message, f.advice) for f in flags] == [
        ("blurred", "it moved", "Hold it still.")
    ]


@pytest.mark.parametrize("seen", ["whole", "hidden", "no angle"])
def test_only_flanks_that_are_taken_show_rows_out_of_place(monkeypatch, seen):
    """What is no thread is said to be none, and hidden flanks are thrown away."""

    def damaged(shape, number):
        raise UnreadableError("Its rows wave.", "Retake it.", code="damaged")

    monkeypatch.setattr(part_threads, "refuse_run", damaged)
    monkeypatch.setattr(scene_module, "refuse_waving", lambda *_: False)
    monkeypatch.setattr(part_threads, "LEAST_SLANT", 0.0)
    monkeypatch.setattr(part_threads, "are_ridges", lambda shape: True)
    if seen == "hidden":
        monkeypatch.setattr(ThreadShape, "hidden", property(lambda self: True))
    if seen == "no angle":
        monkeypatch.setattr(part_threads, "ANGLES_DEG", (0.0, 10.0))
    photo, spec = SAMPLES / "p02-m10x1.25-major.jpg", ScaleSpec(source="major", mm=9.86)
    if seen == "hidden":
        assert identify(photo, spec, plots=False).parts[0].threads[0].reading.pitch_mm
        return
    with pytest.raises(UnreadableError) as told:
        identify(photo, spec, plots=False)
    assert told.value.code == ("damaged" if seen == "whole" else "no-thread")


def test_a_cast_that_hides_its_flanks_is_one_too(monkeypatch):
    """Named as the screw that it looks like, it would have the port tapped for another."""

    def unfitted(*_, **__):
        raise OutlineError("the flanks are hidden")

    monkeypatch.setattr(part_threads, "_one_thread", unfitted)
    monkeypatch.setattr(part_threads, "LEAST_SLANT", 0.0)
    monkeypatch.setattr(part_threads, "are_ridges", lambda shape: True)
    plain = identify(PHOTO, PIN, plots=False).parts[0].threads[0].reading
    cast = identify(PHOTO, PIN, cast=True, shrinkage=Quantity(value=0.02, u=0.003), plots=False)
    inside = cast.parts[0].threads[0].reading
    assert plain.gender == "external" and inside.gender == "internal"
    assert inside.major_mm.value * 0.98 == pytest.approx(plain.major_mm.value)
    assert not inside.forms


@pytest.mark.parametrize("rise_deg", [-4.0, -2.0])
def test_a_thread_whose_flanks_only_its_pose_shows_is_measured_in_it(monkeypatch, rise_deg):
    """Taken as level its ridges hide their flanks; its crests tell how it lies."""
    rises, measure = [], part_threads.measure_thread

    def only_laid(sight, *args, **more):
        rises.append(-float(sight.frame.along @ np.array(sight.camera.normal)))
        if abs(rises[-1]) < 1e-9:
            raise OutlineError("the ridges hide their flanks")
        return measure(sight, *args, **more)

    monkeypatch.setattr(part_threads, "measure_thread", only_laid)
    laid_by = part_threads.by_crests

    def aslant(*args):
        shape, rest = laid_by(*args)
        return shape, replace(rest, pose=replace(rest.pose, slope_rad=np.radians(rise_deg)))

    monkeypatch.setattr(part_threads, "by_crests", aslant)
    thread = identify(PHOTO, PIN, plots=False).parts[0].threads[0]
    assert rises[-1] == pytest.approx(np.sin(np.radians(rise_deg)))
    assert thread.reading.angle_deg is not None and thread.reading.minor_mm is not None
    # Two starts are told there as of any other thread.
    monkeypatch.setattr(ThreadShape, "lag", property(lambda self: 0.02))
    assert identify(PHOTO, PIN, plots=False).parts[0].threads[0].reading.starts == 2


@pytest.mark.parametrize(
    ("lag", "how_sure", "rings"), [(0.07, None, True), (0.30, None, False), (0.07, 0.2, False)]
)
def test_crests_that_stand_opposite_each_other_are_rings(monkeypatch, lag, how_sure, rings):
    """Seen aslant they hide their flanks as a thread does, but alternate in no pose.

    Where the lens leaves the lag open (a fifth for rings), they are measured as a thread's.
    """

    def unfitted(*_, **__):
        raise OutlineError("the flanks are hidden")

    laid_by = part_threads.by_crests

    def aslant(*args):
        shape, rest = laid_by(*args)
        return replace(shape, lag=lag), rest

    monkeypatch.setattr(part_threads, "_one_thread", unfitted)
    monkeypatch.setattr(part_threads, "by_crests", aslant)
    monkeypatch.setattr(part_threads, "LEAST_SLANT", 0.0)
    monkeypatch.setattr(part_threads, "are_ridges", lambda shape: True)
    if how_sure is not None:
        monkeypatch.setattr(part_threads, "in_step", lambda lag, region, seen: how_sure)
    if not rings:
        assert identify(PHOTO, PIN, plots=False).parts[0].threads[0].reading.pitch_mm
        return
    with pytest.raises(UnreadableError, match="opposite each other") as told:
        identify(PHOTO, PIN, plots=False)
    assert told.value.code == "no-thread"


def test_a_thread_in_a_corner_is_not_refused_as_rings_and_not_named_either(monkeypatch):
    """Where the lens leaves the lag open, a thread is likelier; a name needs more."""
    plain = identify(PHOTO, PIN, plots=False).parts[0].threads[0].verdict
    monkeypatch.setattr(part_threads, "in_step", lambda lag, region, seen: 0.2)
    open_ = identify(PHOTO, PIN, plots=False).parts[0].threads[0].verdict
    assert plain.status == "named" and open_.status == "ambiguous"
    assert open_.designation is None and open_.probability is None
    assert open_.candidates == plain.candidates
    assert "opposite each other (20 %)" in open_.notes[-1] and "winds round" in open_.next_step
    monkeypatch.setattr(part_threads, "in_step", lambda lag, region, seen: 0.001)
    assert identify(PHOTO, PIN, plots=False).parts[0].threads[0].verdict == plain


def test_what_may_be_no_thread_by_its_outline_is_left_open(monkeypatch):
    plain = identify(PHOTO, PIN, plots=False).parts[0].threads[0].verdict
    for none, named in ((0.02, True), (0.2, False)):
        monkeypatch.setattr(part_threads, "no_thread", lambda *given, none=none: none)
        verdict = identify(PHOTO, PIN, plots=False).parts[0].threads[0].verdict
        assert (verdict.status == "named") == named
    assert plain.status == "named" and verdict.candidates == plain.candidates
    assert "no thread (20 %)" in verdict.notes[-1] and "winds round" in verdict.next_step


def test_that_it_is_asked_with_what_was_measured(monkeypatch):
    """A sample's thread is one by far; the lag's u goes in as the rings are asked with it."""
    told = []

    def asked(shape, region, angles, u):
        told.append((no_thread(shape, region, angles, u), angles, u))
        return 0.0

    no_thread = part_threads.no_thread
    monkeypatch.setattr(part_threads, "no_thread", asked)
    thread = identify(PHOTO, PIN, plots=False).parts[0].threads[0]
    none, angles, u = told[-1]
    assert none < 1e-4 and 0.05 <= u < 0.2
    assert angles == (thread.reading.angle_deg, *thread.half_angles_deg)


@pytest.mark.parametrize("alone", [True, False])
def test_a_ripple_that_is_no_thread_is_told_only_where_there_is_no_other(monkeypatch, alone):
    def with_ripple(*args):
        shape = describe(*args)
        ripples = tuple(replace(r, faint=True) for r in shape.threads)
        return replace(shape, threads=ripples if alone else shape.threads + ripples)

    def unfitted(scene, found, *rest):
        if found.region.faint:
            raise OutlineError("the ripple is none of a thread")
        return one(scene, found, *rest)

    one, describe = part_threads._one_thread, scene_module.describe
    monkeypatch.setattr(scene_module, "describe", with_ripple)
    monkeypatch.setattr(part_threads, "_one_thread", unfitted)
    monkeypatch.setattr(part_threads, "_by_crests", unfitted)
    if alone:
        with pytest.raises(UnreadableError, match="could not be fitted"):
            identify(PHOTO, PIN, plots=False)
        return
    found = identify(PHOTO, PIN, plots=False)
    assert [t.verdict.status for t in found.parts[0].threads] == ["named"]
    assert all(w.code != "not-read" for w in found.warnings)


@pytest.mark.parametrize(("turns", "flanks"), [(2.5, 10), (2.5, 12), (3.0, 10)])
def test_few_flanks_are_no_thread_though_they_fit_one(monkeypatch, turns, flanks):
    monkeypatch.setattr(Region, "turns", property(lambda self: turns))
    monkeypatch.setattr(Scatter, "flanks", property(lambda self: flanks))
    if turns > 2.9 or flanks >= 12:
        assert identify(PHOTO, PIN).parts[0].threads[0].verdict.status == "named"
        return
    with pytest.raises(UnreadableError) as told:
        identify(PHOTO, PIN)
    assert told.value.code == "few-turns"


@pytest.mark.parametrize(("turns", "status"), [(2.7, "unreadable"), (3.5, "off-series")])
def test_few_crests_that_fit_no_series_are_few_turns(monkeypatch, turns, status):
    nothing = Verdict(status="off-series")
    monkeypatch.setattr(part_threads, "name_thread", lambda reading: nothing)
    monkeypatch.setattr(Region, "turns", property(lambda self: turns))
    if status == "off-series":
        assert identify(PHOTO, PIN).parts[0].threads[0].verdict.status == status
        return
    with pytest.raises(UnreadableError) as told:
        identify(PHOTO, PIN)
    assert told.value.code == "few-turns"


def test_a_thread_read_by_its_crests_has_them_marked(monkeypatch):
    def unfitted(*_, **__):
        raise OutlineError("the flanks do not fit")

    monkeypatch.setattr(part_threads, "_one_thread", unfitted)
    monkeypatch.setattr(part_threads, "LEAST_SLANT", 0.0)
    found = identify(PHOTO, PIN)
    thread = found.parts[0].threads[0]
    # What was not measured is told, whether or not an angle was.
    assert thread.reading.pitch_diameter_mm is None is thread.reading.minor_mm
    [told] = [w.message for w in found.warnings if w.code == "slanted"]
    assert "pitch diameter and minor diameter are not read" in told
    assert ("angle" in told) == (thread.reading.angle_deg is None)
    assert thread.plots is not None and len(thread.plots.crests_px) >= 6
    assert len(thread.plots.edges_px) == 2
    assert identify(PHOTO, PIN, plots=False).parts[0].threads[0].plots is None


@pytest.mark.parametrize("angle", [None, Quantity(value=60.0, u=1.0)])
def test_all_that_hidden_flanks_leave_unread_is_told(angle):
    told = hidden_flanks(ThreadReading(angle_deg=angle), 2)
    assert told.code == "slanted" and told.message.startswith("part 2 ")
    assert ("thread angle" in told.message) == (angle is None)
    assert "pitch diameter" in told.message and "minor diameter" in told.message


def test_a_wide_blur_loses_the_flanks_sooner_than_one_of_the_pixels():
    """It is the same share of the pitch, but with many pixels little else is in u."""
    assert not too_blurred(1.2, 10.0)
    assert too_blurred(1.4, 10.0)
    assert too_blurred(4.8, 40.0)
    assert not too_blurred(3.6, 45.0)


def test_a_left_hand_is_doubted_where_rows_may_be_out_of_place():
    assert [f.code for f in left_hand(2, True)] == ["left-hand"]
    told = left_hand(2, False)
    assert [f.code for f in told] == ["left-hand", "no-straight-edge"]
    assert "part 2" in told[0].message and "left hand" in told[1].message


@pytest.mark.parametrize(
    ("slant", "major", "pitch", "may"),
    [(0.088, 28.45, 0.907, True), (0.088, 14.0, 1.5, False), (0.11, 14.0, 1.5, True)],
)
def test_a_thick_fine_thread_hides_its_flanks_at_a_smaller_slant(slant, major, pitch, may):
    """The ellipses of its crests go with the radius in pitches: 1-1/8-28 lies 5 degrees aslant."""
    seen = SimpleNamespace(slant=slant, major_mm=major, pitch_mm=pitch)
    assert part_threads._may_hide(seen) is may


@pytest.mark.parametrize(("radius", "may"), [(8.9, False), (9.2, True)])
def test_from_nine_pitches_on_the_least_slant_hides_so_much(radius, may):
    """Solved: 1.6 r (0.1 + 1 / (2 pi r))^2 = 0.2 at r = 9.04; without the helix's lean at 12.5."""
    seen = SimpleNamespace(slant=0.1, major_mm=2 * radius, pitch_mm=1.0)
    assert part_threads._may_hide(seen) is may


def test_the_helix_leans_one_side_s_ridges_over_its_flanks():
    """By construction: z = T sqrt(2 r d) leaves a flank of 30 degrees at the depth 3 r T^2 / 2."""
    assert most_lower(0.1, 1e6) / 1e6 == pytest.approx(0.015, rel=0.1)
    assert most_lower(0.1, 4.0) == pytest.approx(most_lower(0.1 + 1 / (8 * np.pi), 1e9) * 4e-9)
    assert most_lower(0.1, 4.0, starts=2) > 1.5 * most_lower(0.1, 4.0)
