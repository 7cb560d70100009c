"""Why a thread or a photo is not measured: each limit from both sides, with its sentence."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.camera.focal import HELD_MM
from pitchcam.camera.pinhole import Camera
from pitchcam.errors import UnreadableError, UsageError
from pitchcam.flags import FLAGS
from pitchcam.match.reference import WORDS
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.contour import Crop
from pitchcam.objects.regions import Region
from pitchcam.pipeline.arguments import checked_scale, checked_shrinkage
from pitchcam.pipeline.inputs import scale_shares
from pitchcam.pipeline.place import geometry
from pitchcam.pipeline.together import _broken, _called
from pitchcam.pipeline.told_lens import recentred, scale_per_lens
from pitchcam.pipeline.unfit import Found, refusal
from pitchcam.pipeline.unfit_photo import refuse_whole, too_blurred
from pitchcam.pipeline.unscaled import assumed, told_in_ratios
from pitchcam.records import PartResult, Quantity, ScaleSpec, Verdict
from pitchcam.scale.reference import Reference
from pitchcam.thread.budget import budget, relative_u_scale
from pitchcam.thread.pose.height import Rest
from pitchcam.thread.pose.records import UNKNOWN
from tests.adjust import made
from tests.thread.drawn_shape import HEIGHT, drawn_shape

CAMERA = Camera(f_px=3000.0, u_f_px=90.0, centre_px=(2000.0, 1500.0), distance_mm=200.0)
NO_EDGES, SHARP = np.zeros(0), np.zeros(3)


# One thread.


def region(turns: int = 8, spacing: float = 20.0) -> Region:
    crests = 300.0 + spacing * np.arange(turns)
    return Region(
        start_px=300 - spacing / 2,
        end_px=300 + spacing * (turns - 0.5),
        spacing_px=spacing,
        depth_px=0.6 * spacing,
        lag=0.5,
        crests=(crests, crests + spacing / 2),
        skew=0.0,
    )


def told(thread: Region, *, cut=(), across=20.0, blur=0.8, light=120, dtype=np.uint8, gaps=0.0):
    """Why it is refused; ``gaps`` is the share of each turn that light shows through."""
    mask = np.zeros((60, 800), np.uint8)
    mask[10:50, 250:600] = 1
    s = np.arange(800.0)
    through = (s / thread.spacing_px) % 1 < gaps
    part = SimpleNamespace(
        cut_stations=np.array(cut, float),
        cut_places=np.array([(at, across) for at in cut], float).reshape(-1, 2),
        crop=SimpleNamespace(
            origin_px=(0, 0), mask=mask, light=np.where(through, 1.0, 0.05) * np.ones((60, 1))
        ),
        axis=ImageAxis(point_px=(0.0, 30.0), direction=(1.0, 0.0)),
        stations=(s, np.full(800, 20.0), np.full(800, -20.0)),
    )
    pixels = np.full((60, 800, 3), light, dtype)
    scene = SimpleNamespace(
        rims=SimpleNamespace(spread=SimpleNamespace(blur_px=blur)),
        photo=SimpleNamespace(pixels=pixels),
    )
    return refusal(scene, Found(part=part, region=thread, number=3))


@pytest.mark.parametrize(("gaps", "spring"), [(0.0, False), (0.15, True), (0.5, True)])
def test_what_light_shows_through_between_its_turns_is_a_spring(gaps: float, spring: bool) -> None:
    flag = told(region(), gaps=gaps)
    assert (flag is not None) is spring
    if flag is not None:
        assert flag.code == "no-thread"
        assert flag.message == "light shows between the turns of part 3: it is a spring"


def test_a_sound_thread_is_measured() -> None:
    assert told(region()) is None


@pytest.mark.parametrize(
    ("flag", "code", "line"),
    [
        (
            lambda: told(region(), cut=(380.0,)),
            "cut",
            "part 3 is cut through its thread by the edge of the picture",
        ),
        (lambda: told(region(2)), "few-turns", "part 3 shows only 1.5 turns of thread"),
        (
            lambda: told(region(spacing=6.4)),
            "too-small",
            "the thread of part 3 has only 6 pixels a pitch",
        ),
        (
            lambda: told(region(), blur=2.65),
            "blurred",
            "the blur reaches over 2.6 pixels, the pitch of part 3 over 20",
        ),
        (
            lambda: told(region(), light=255),
            "over-exposed",
            "the background beside part 3 is clipped to white",
        ),
        (
            lambda: told(region(), light=65535, dtype=np.uint16),
            "over-exposed",
            "the background beside part 3",
        ),
    ],
    ids=["cut", "few turns", "small", "blurred", "clipped", "clipped in sixteen bits"],
)
def test_a_thread_that_is_not_measured_is_told_why(flag, code: str, line: str) -> None:
    told_of = flag()
    assert told_of.code == code
    assert told_of.message.startswith(line)
    assert told_of.advice == FLAGS[code][1]


def test_the_first_of_several_reasons_is_told() -> None:
    assert told(region(2, spacing=6.0), blur=9.0, cut=(300.0,)).code == "cut"
    assert told(region(2, spacing=6.0), blur=9.0).code == "few-turns"
    assert told(region(spacing=6.0), blur=9.0).code == "too-small"
    assert told(region(), blur=9.0, light=255).code == "blurred"


@pytest.mark.parametrize(
    ("at", "cut"), [(259.0, False), (261.0, True), (479.0, True), (481.0, False)]
)
def test_a_border_cuts_within_a_spacing_and_a_half_of_the_last_crests(at: float, cut: bool) -> None:
    assert (told(region(), cut=(at,)) is not None) is cut


@pytest.mark.parametrize(
    ("at", "across", "cut"),
    [(275.0, 15.0, False), (275.0, -15.0, False), (275.0, -17.0, True), (300.0, 0.0, True)],
)
def test_what_a_border_hides_of_an_end_face_is_none_of_the_thread(at, across, cut) -> None:
    """Its sides, 20 px out to either side here, are seen to their ends."""
    assert (told(region(), cut=(at,), across=across) is not None) is cut


@pytest.mark.parametrize(("spacing", "fits"), [(6.9, False), (7.1, True)])
def test_seven_pixels_a_pitch_are_enough(spacing: float, fits: bool) -> None:
    assert (told(region(spacing=spacing), blur=0.1) is None) is fits


@pytest.mark.parametrize(
    ("blur", "pitch", "lost"),
    [
        (1.0, 8.0, False),
        (1.0, 7.5, True),
        (2.7, 28.0, False),
        (2.7, 26.0, True),
        (2.5, 20.0, False),
    ],
)
def test_a_blur_of_an_eighth_of_the_pitch_loses_the_flanks_and_a_wide_one_at_a_tenth(
    blur, pitch, lost
) -> None:
    assert too_blurred(blur, pitch) is lost


# The whole photo.


def shape(kind="other", *, threads=(), others=(), cut=False, at=(2000.0, 1500.0), lopsided=False):
    a = np.linspace(0, 2 * math.pi, 60)
    outline = np.column_stack([at[0] + 100 * np.cos(a), at[1] + 60 * np.sin(a)])
    flat = np.full(200, 50.0)
    return SimpleNamespace(
        kind=kind,
        crop=Crop(
            light=np.ones((20, 20), np.float32),
            origin_px=(0, 0),
            mask=np.zeros((20, 20), np.uint8),
            channel="grey",
            background_code=0.6,
        ),
        threads=threads,
        others=others,
        blob=SimpleNamespace(cut=cut, touching=False),
        outline_px=outline,
        lopsided=lopsided,
        axis=ImageAxis(point_px=at, direction=(1.0, 0.0)),
        stations=(np.arange(200.0), flat, -flat),
    )


def refused(*shapes, blur=0.9, edges=SHARP, spec=None) -> UnreadableError:
    rims = SimpleNamespace(spread=SimpleNamespace(blur_px=blur), edges_px=edges)
    with pytest.raises(UnreadableError) as caught:
        refuse_whole(list(shapes), rims, spec, CAMERA)
    return caught.value


THREADED = shape(threads=(region(),))


def test_a_photo_with_a_thread_passes() -> None:
    rims = SimpleNamespace(spread=SimpleNamespace(blur_px=0.9), edges_px=SHARP)
    assert refuse_whole([THREADED, shape()], rims, None, CAMERA) is None
    pin = ScaleSpec(source="pin", mm=8.0)
    assert refuse_whole([THREADED, shape("bar")], rims, pin, CAMERA) is None


@pytest.mark.parametrize(
    ("refusing", "code", "line"),
    [
        (
            lambda: refused(THREADED, blur=4.0),
            "blurred",
            "The outline is out of focus or shaken: edges are blurred over 10 pixels.",
        ),
        (
            lambda: refused(shape(cut=True), edges=NO_EDGES),
            "cut",
            "A part is cut by the edge of the picture or of the light.",
        ),
        (
            lambda: refused(shape(others=(replace(region(), skew=0.3),))),
            "no-thread",
            "There is no thread to measure: only hose barbs or rings were found.",
        ),
        (
            lambda: refused(shape(others=(region(),))),
            "no-thread",
            "There is no thread to measure: only rings, or a thread that lies aslant, were found.",
        ),
        (
            lambda: refused(shape("bar"), shape("disc")),
            "no-thread",
            "There is no thread to measure: no threaded part was found.",
        ),
    ],
    ids=["blurred", "cut", "barbs", "rings", "no part"],
)
def test_a_photo_that_is_not_measured_is_told_why(refusing, code: str, line: str) -> None:
    error = refusing()
    assert error.code == code
    assert error.message == line
    assert error.advice == FLAGS[code][1]


def test_a_missing_reference_beside_an_overlap_touches() -> None:
    pin = ScaleSpec(source="pin", mm=8.0)
    error = refused(THREADED, shape(lopsided=True), spec=pin)
    assert error.code == "touching"
    assert error.message.startswith("Two objects touch or overlap: the pin is not seen by itself")
    assert refused(shape(), spec=pin).code == "no-thread", "even sides do not overlap"


@pytest.mark.parametrize(
    ("deg", "said"), [(10.0, False), (14.0, False), (16.0, True), (25.0, True)]
)
def test_a_part_seen_far_aslant_is_told_so(deg: float, said: bool) -> None:
    off = 3000 * math.tan(math.radians(deg))
    error = refused(shape(at=(2000 + off, 1500.0)), edges=NO_EDGES)
    assert error.code == "no-thread"
    assert ("off the camera's axis" in error.message) is said
    if said:
        assert error.message.startswith(
            f"No thread shows on a part that lies {deg:.0f} degrees off the camera's axis:"
        )
        assert error.advice == FLAGS["slanted"][1]


# What is asked.


@pytest.mark.parametrize("name", ["mm", "height_mm", "sheet_bar_mm", "axis_height_mm"])
@pytest.mark.parametrize("value", [-0.1, float("nan"), float("inf"), "3", True, [3.0]])
def test_a_length_that_is_none_is_refused_by_its_name(name: str, value: object) -> None:
    spec = ScaleSpec(source="pin", **{"mm": 8.0, name: value})
    with pytest.raises(UsageError) as caught:
        checked_scale(spec)
    assert str(caught.value) == f"{name} of {value!r} is no length. State it in mm."


@pytest.mark.parametrize("value", [0.0, 0.002, 0.0999])
def test_a_shrinkage_of_up_to_a_tenth_can_be(value: float) -> None:
    q = Quantity(value=value, u=0.001)
    assert checked_shrinkage(q) is q


@pytest.mark.parametrize(("value", "said"), [(-0.001, "-0.1 %"), (0.1, "10 %"), (0.5, "50 %")])
def test_a_shrinkage_beyond_is_refused_in_percent(value: float, said: str) -> None:
    with pytest.raises(
        UsageError, match=f"A shrinkage of {said} cannot be right. State 0 to 10 percent."
    ):
        checked_shrinkage(Quantity(value=value, u=0.001))


# Where a thread lies.


@pytest.fixture(scope="module")
def thread():
    return drawn_shape()


REGION = object()
OWN = SimpleNamespace(region=REGION, u_reading=0.0015, u_crests=0.002)


def scene_of(thread, *, beside=(0.0, 300.0), height=3.0, source="pin", read=None, **told):
    at = thread.camera.project(thread.frame.origin)
    return SimpleNamespace(
        reference=None
        if source == "major"
        else Reference(
            source=source,
            camera=thread.camera,
            u_scale=0.002,
            height_mm=height,
            u_height_mm=0.05,
            where_px=at + np.array(beside),
            labels=(1,),
            outline_px=np.zeros((0, 2)),
            read_px=read,
            **told,
        ),
        own=SimpleNamespace(
            **vars(OWN), frame=thread.frame, axis=thread.axis, part=SimpleNamespace(threads=[])
        ),
        rows_shown=True,
        camera=thread.camera,
        bare=None,
    )


REST = Rest(
    width_mm=14.0,
    height_mm=HEIGHT,
    u_height_mm=0.12,
    hexagon=False,
    stretch=(-20, 20),
    pose=UNKNOWN,
)


@pytest.mark.parametrize("height", [0.0, 4.0, HEIGHT])
def test_the_rise_is_over_the_references_plane(thread, height: float) -> None:
    place = geometry(scene_of(thread, height=height), REGION, thread, REST)
    assert place.rise_mm == pytest.approx(HEIGHT - height)
    assert place.u_rise_mm == pytest.approx(math.hypot(0.12, 0.05))
    assert not place.scale_on_axis


@pytest.mark.parametrize(
    ("beside", "apart"), [((0.0, 300.0), 19.4), ((0.0, -150.0), 9.7), ((300.0, 0.0), 0.0)]
)
def test_only_the_way_across_the_axis_counts_with_the_tilt(thread, beside, apart: float) -> None:
    """Along it the part's own pose tells the tilt; 300 pixels are 19.4 mm there."""
    place = geometry(scene_of(thread, beside=beside), REGION, thread, REST)
    assert place.apart_mm == pytest.approx(apart, abs=0.7)


def test_a_tilt_and_a_distortion_that_a_reference_tells_together_count_once(thread) -> None:
    """A displacement of 1 leans the plate by 1 rad across the axis, which lies along the rows."""
    plain = geometry(scene_of(thread), REGION, thread, REST)
    place = geometry(scene_of(thread, lean_per_corner=(0.7, 1.0)), REGION, thread, REST)
    u = 1.0 * thread.camera.u_corner
    assert place.u_tilt_rad == pytest.approx(math.sqrt(plain.u_tilt_rad**2 - u**2), rel=1e-3)
    # What leans so is nearer by 19.4 mm over the way to it, on the reference's other side.
    reach = float(np.linalg.norm(thread.frame.origin))
    assert abs(place.bent_tilt) == pytest.approx(19.4 / reach, rel=0.03)
    other = geometry(
        scene_of(thread, beside=(0.0, -300.0), lean_per_corner=(0.7, 1.0)), REGION, thread, REST
    )
    assert other.bent_tilt == pytest.approx(-place.bent_tilt, rel=0.1)
    # Moved so as to lean toward positive y, the plate comes nearer where y is larger.
    toward = float(thread.frame.across[1])
    below = float((thread.frame.origin - scene_of(thread).reference.place_mm) @ thread.frame.across)
    assert np.sign(place.bent_tilt) == -np.sign(toward * below)
    assert plain.bent_tilt == 0.0


@pytest.mark.parametrize(("per_lean", "apart"), [((0.0, 0.05), 10.0), ((0.0, -0.05), -10.0)])
def test_a_reference_whose_depth_goes_with_the_tilt_turns_elsewhere(
    thread, per_lean, apart: float
) -> None:
    """A twentieth a radian at 200 mm: the plate turns about a point 10 mm beside it."""
    plain, place = (
        geometry(scene_of(thread, depth_per_lean=told), REGION, thread, REST)
        for told in ((0.0, 0.0), per_lean)
    )
    away = thread.frame.origin[2] / 200.0
    # The reference lies below the thread in the picture.
    assert place.apart_mm == pytest.approx(plain.apart_mm + apart * away, rel=0.03)


@pytest.mark.parametrize("read", [None, (1.0, 0.0), (0.0, 1.0)])
def test_a_reference_is_bent_by_the_direction_in_which_it_was_read(thread, read) -> None:
    """Three times as much along the radius as across it; every way it is twice."""
    where = (
        np.array(thread.camera.centre_px)
        + (500.0, 0.0)
        - thread.camera.project(thread.frame.origin)
    )
    scene = scene_of(thread, beside=where, read=None if read is None else np.array(read))
    expected = {None: 2.0, (1.0, 0.0): 3.0, (0.0, 1.0): 1.0}[read]
    assert geometry(scene, REGION, thread, REST).bent_reference == pytest.approx(expected)


def test_shares_of_the_corner_are_distances_from_the_middle(thread) -> None:
    scene = scene_of(thread)
    place = geometry(scene, REGION, thread, REST)
    centre = np.array(thread.camera.centre_px)
    corner = np.hypot(*centre)
    assert place.corner_share == pytest.approx(
        np.hypot(*(thread.camera.project(thread.frame.origin) - centre)) / corner
    )
    assert place.corner_share_reference == pytest.approx(
        np.hypot(*(scene.reference.where_px - centre)) / corner
    )


def test_own_crests_are_their_own_reference(thread) -> None:
    place = geometry(scene_of(thread, source="major"), REGION, thread, REST)
    assert place.scale_on_axis and place.u_scale == 0.0015
    assert (place.rise_mm, place.u_rise_mm, place.apart_mm) == (0.0, 0.0, 0.0)
    assert place.corner_share == place.corner_share_reference


def test_inputs_add_up_to_the_scales_u(thread) -> None:
    """The tilt is told apart in two, with signs; the squares stay."""
    scene = scene_of(thread)
    place = geometry(scene, REGION, thread, REST)
    lines = budget(thread, place)
    shares = scale_shares(scene, thread, place, lines, 2)
    assert {
        "reference",
        "focal length",
        "height of part 2",
        "tilt x",
        "tilt y",
        "distortion",
    } <= set(shares)
    whole = math.sqrt(sum(a * a for a in shares.values()))
    assert whole == pytest.approx(relative_u_scale(lines, thread.pitch_mm), rel=0.01)


def test_to_the_other_side_of_the_reference_a_tilt_makes_the_other_sign(thread) -> None:
    def tilt(dy: float) -> float:
        scene = scene_of(thread, beside=(0.0, dy))
        place = geometry(scene, REGION, thread, REST)
        return scale_shares(scene, thread, place, budget(thread, place), 1)["tilt y"]

    assert tilt(300.0) * tilt(-300.0) < 0
    assert tilt(300.0) == pytest.approx(-tilt(-300.0), rel=0.1)


def test_with_own_crests_every_input_is_the_parts_own(thread) -> None:
    scene = scene_of(thread, source="major")
    place = geometry(scene, REGION, thread, REST)
    lines = budget(thread, place)
    shares = scale_shares(scene, thread, place, lines, 4)
    crests = "crests that were read"
    assert set(shares) == {"reference", crests, "lens distortion of part 4"}
    assert shares["reference"] == pytest.approx(0.0015)
    whole = relative_u_scale(lines, thread.pitch_mm)
    assert np.linalg.norm(list(shares.values())) == pytest.approx(whole)
    # Another thread beside errs by the same crests, to the same sense.
    beside = geometry(scene, object(), thread, REST)
    other = scale_shares(scene, thread, beside, budget(thread, beside), 5)
    assert (other["reference"], other[crests]) == pytest.approx((0.0015, -0.002))
    assert shares[crests] < 0


def test_a_known_principal_point_moves_no_camera_and_an_unknown_one_four() -> None:
    scene = SimpleNamespace(camera=CAMERA)
    along = np.array([0.6, 0.8])
    assert recentred(scene, along) == ()

    def moved(off):
        raise UnreadableError("gone", code="no-reference")

    open_ = SimpleNamespace(camera=replace(CAMERA, u_centre_px=50.0), recentred=moved)
    (ahead, behind), (right, left) = recentred(open_, along)
    centre = np.array(CAMERA.centre_px)
    assert np.array(ahead.centre_px) - centre == pytest.approx(50 * along)
    assert np.array(behind.centre_px) - centre == pytest.approx(-50 * along)
    assert np.array(right.centre_px) - centre == pytest.approx([-40.0, 30.0])
    assert np.array(left.centre_px) - centre == pytest.approx([40.0, -30.0])


def test_a_scale_that_needs_no_finding_again_does_not_go_with_the_focal_length(thread) -> None:
    assert scale_per_lens(SimpleNamespace(reference=None, camera=CAMERA, bare=None)) == 0.0
    card = SimpleNamespace(reference=SimpleNamespace(source="card"), camera=CAMERA, bare=CAMERA)
    assert scale_per_lens(card) == 0.0


# Without a reference, and together.


def test_without_a_reference_a_phone_is_held_as_usual() -> None:
    assert assumed(CAMERA).distance_mm == HELD_MM
    assert assumed(CAMERA).f_px == CAMERA.f_px


def part() -> PartResult:
    m = made.measurement(made.true_values(), made.lines(), named=True)
    (p,) = m.parts
    return p


def test_told_in_ratios_no_length_is_left() -> None:
    from pitchcam.records import PartPose

    posed = part()
    thread = replace(posed.threads[0], pose=PartPose())
    flags: list = []
    (told_part,) = told_in_ratios([replace(posed, threads=(thread,))], CAMERA, flags)
    (after,) = told_part.threads
    for k in made.LENGTHS:
        assert getattr(after.reading, k) is None
        assert all(k not in line.contributions for line in after.budget)
    assert after.reading.angle_deg == thread.reading.angle_deg
    assert after.ratios is not None
    assert [f.code for f in flags] == ["no-scale"]
    assert told_in_ratios([], CAMERA, flags) == []
    assert len(flags) == 1, "where nothing was measured, nothing is missed"


def test_threads_are_called_by_part_and_name() -> None:
    one = part()
    two = replace(one, id=2, threads=(one.threads[0], one.threads[0]))
    assert _called([one], 0, 0) == "thread 1 (M14x1.5)"
    assert _called([two], 0, 1) == "the part's other thread (M14x1.5)"
    assert _called([one, two], 0, 0) == "part 1 (M14x1.5)"
    assert _called([one, two], 1, 1) == "part 2, thread 2 (M14x1.5)"
    bare = replace(one, threads=(replace(one.threads[0], verdict=Verdict(status="ambiguous")),))
    assert _called([bare], 0, 0) == "thread 1"


@pytest.mark.parametrize(
    ("name", "off", "code", "line"),
    [
        ("reference", 4.2, "reference-size", "larger than stated, by 4 times its uncertainty"),
        ("reference", -3.6, "reference-size", "smaller than stated, by 4 times its uncertainty"),
        ("height of part 3", 5.0, "height", "the axis of part 3 lies higher, by 5 times"),
        ("height of part 3", -5.0, "height", "the axis of part 3 lies lower, by 5 times"),
        ("tilt x", 3.1, "tilt", "the camera leans otherwise, by 3 times its uncertainty"),
    ],
)
def test_what_all_threads_contradict_is_said(name: str, off: float, code: str, line: str) -> None:
    flag = _broken(name, off, ScaleSpec(source="pin", mm=8.0))
    assert flag is not None and flag.code == code
    assert flag.message.startswith("by the threads together ") and line in flag.message
    assert flag.part == (3 if "part" in name else None)


def test_a_focal_length_that_is_strained_is_not_for_the_photographer() -> None:
    assert _broken("focal length", 9.0, ScaleSpec(source="pin", mm=8.0)) is None
    assert {"pin", "disc", "card", "jaws", "sheet"} <= set(WORDS)
