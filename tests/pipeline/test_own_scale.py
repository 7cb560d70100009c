"""The part's own crests as scale: where a caliper touches, and which thread it was."""

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam import identify
from pitchcam.camera.focal import log_held
from pitchcam.camera.pinhole import Camera
from pitchcam.errors import UnreadableError
from pitchcam.pipeline import answer, own_scale, part_threads
from pitchcam.pipeline.own_scale import ALIKE, LARGE_END_PITCHES, _chosen, _touched
from pitchcam.pipeline.scene import take_apart
from pitchcam.records import ScaleSpec

SAMPLES = Path(__file__).parents[2] / "samples"


def thread(taper):
    return SimpleNamespace(major_mm=20.0, taper=taper, span_mm=(-5.0, 6.0), pitch_mm=1.8)


def test_a_taper_is_read_at_its_large_end():
    beyond = LARGE_END_PITCHES * 1.8
    assert _touched(thread(1 / 16)) == pytest.approx(20.0 + (6.0 + beyond) / 16)
    assert _touched(thread(-1 / 16)) == pytest.approx(20.0 + (5.0 + beyond) / 16)
    assert _touched(thread(0.002)) == 20.0


@pytest.mark.parametrize(("taper", "major"), [(1 / 16, 20.0 + 6.0 / 16), (-1 / 16, 20.0 + 5 / 16)])
def test_a_rough_taper_has_the_diameter_of_its_large_end(taper, major):
    """As series state it; and its taper is no better than so few turns tell."""
    shape = thread(taper)
    shape.frame = SimpleNamespace(slant=lambda: 0.0)
    shape.quantities = lambda: {"pitch_mm": 1.8, "major_mm": 20.0, "taper": taper}
    rough = own_scale._rough(shape)
    assert rough.major_mm.value == pytest.approx(major)
    assert rough.taper.value == 1 / 16
    assert 0.004 < rough.taper.u < 0.01


def test_the_first_distance_is_right_to_a_hundredth():
    """A sharp thread of 1.5 on 14 mm (ISO 68-1): its outline's median lies 3 % below its crests."""
    s = np.arange(0.0, 400.0)
    radius = 140.0 - 0.6134 * 15.0 * np.abs((s / 7.5) % 2 - 1)
    part = SimpleNamespace(stations=(s, 500.0 + radius, 500.0 - radius))
    region = SimpleNamespace(start_px=50.0, end_px=350.0)
    held = Camera(f_px=3000.0, u_f_px=90.0, centre_px=(2000.0, 1500.0))
    scene = SimpleNamespace(held=lambda mm_per_px: held)
    found = own_scale._first(scene, part, region, 14.0)
    assert found.distance_mm == pytest.approx(3000.0 * 14.0 / 280.0, rel=0.01)


def test_of_outlines_that_are_no_thread_s_the_longest_was_read(monkeypatch):
    few = {"long": repeats(-5.0, 10.0), "short": repeats(-4.0, 12.0)}
    assert scale_of(monkeypatch, few).region.name == "long"


def test_a_place_at_its_height_over_the_plate_has_the_reading(monkeypatch):
    """Of an axis 7 mm over the plate the rest of the way goes with the diameter, and 7 mm stay."""
    camera = SimpleNamespace(normal=(0.0, 0.0, 1.0), distance_mm=200.0, u_lens=0.03)
    camera.over_plate = lambda far: SimpleNamespace(**vars(camera) | {"distance_mm": far})

    def high(_, camera, place):
        reach = camera.distance_mm - 7.0
        return 10.5 * reach / 193.0, SimpleNamespace(origin=np.array([0.0, 0.0, reach]))

    monkeypatch.setattr(own_scale, "diameter_mm", high)
    monkeypatch.setattr(own_scale, "u_diameter", lambda _: 0.001)
    place = SimpleNamespace(part=SimpleNamespace(axis=None))
    found = own_scale._at_place(None, camera, place, 10.0, own_scale._Choice(number=0))
    assert found.camera.distance_mm == pytest.approx(7.0 + 193.0 * 10.0 / 10.5, rel=1e-9)


def test_a_taper_of_a_few_turns_may_be_none():
    """A ridge that stands off at an end of two turns makes a taper of 0.04."""
    few = SimpleNamespace(**vars(thread(0.04)) | {"span_mm": (-1.8, 1.8)})
    assert _touched(few) == 20.0
    assert _touched(thread(0.04)) > 20.1


def test_a_phone_is_held_where_it_sees():
    """Of two threads that both exist with either's reading, one puts the phone 60 mm off."""
    assert log_held(220.0, 0.03) == 0.0
    assert log_held(60.0, 0.03) < -4
    assert log_held(60.0, 0.35) > log_held(60.0, 0.03)


def repeats(angle, major, pitch=1.5, doubt=0.0, slant=0.0):
    frame = SimpleNamespace(origin=np.array([0.0, 0.0, 200.0]), slant=lambda: slant)
    read = {"pitch_mm": pitch, "major_mm": major, "angle_deg": angle, "taper": 0.0}
    more = {"major_mm": major, "frame": frame, "axis": None, "doubt": doubt}
    shape = SimpleNamespace(**vars(thread(0.0)) | more)
    shape.quantities = lambda: read
    return shape


def scale_of(monkeypatch, shapes, places=()):
    """The scale of a part whose threads, the longer first, are shapes or are refused.

    Places are (diameter as shown, share) of what else may have been read.
    """
    camera = SimpleNamespace(normal=(0.0, 0.0, 1.0), distance_mm=200.0, u_lens=0.03)
    camera.over_plate = lambda far: SimpleNamespace(**vars(camera) | {"distance_mm": far})
    regions = [SimpleNamespace(turns=9 - i, name=name) for i, name in enumerate(shapes)]
    part = SimpleNamespace(threads=regions, axis=None)

    def shape(scene, camera, part, region, rough):
        if isinstance(shapes[region.name], Exception):
            raise shapes[region.name]
        return shapes[region.name]

    monkeypatch.setattr(own_scale, "_first", lambda *_: camera)
    monkeypatch.setattr(own_scale, "_shape", shape)
    monkeypatch.setattr(own_scale, "_no_thread", lambda _, shape: shape.doubt)
    monkeypatch.setattr(own_scale, "u_crests_mm", lambda shape: 0.02)
    others = [SimpleNamespace(mm=mm, log_share=np.log(share), part=part) for mm, share in places]
    monkeypatch.setattr(own_scale, "read_places", lambda *_: others)
    frame = repeats(60.0, 10.0).frame
    monkeypatch.setattr(
        own_scale, "diameter_mm", lambda _, c, p: (p.mm * c.distance_mm / 200.0, frame)
    )
    monkeypatch.setattr(own_scale, "u_diameter", lambda _: 0.001)
    return own_scale.from_crests(SimpleNamespace(), [part], 10.0)


def test_what_is_as_wide_as_a_measured_thread_adds_no_doubt(monkeypatch):
    """The thread tells the same scale better, whatever is read half a percent beside."""
    found = scale_of(monkeypatch, {"true": repeats(60.0, 10.0)}, places=[(10.05, 1.0)])
    assert found.region.name == "true"
    assert found.u_reading == pytest.approx(0.0015)


def test_a_scale_by_a_place_carries_the_others(monkeypatch):
    """An M6x1 beside crests of 10 mm, and others half a percent wider."""
    small = repeats(60.0, 5.9)
    small.quantities()["pitch_mm"] = 1.0
    one = scale_of(monkeypatch, {"seen": small}, places=[(10.0, 1.0)])
    both = scale_of(monkeypatch, {"seen": small}, places=[(10.0, 1.0), (10.05, 1.0)])
    for found in (one, both):
        assert found.region is None and found.doubt == "read-elsewhere"
        assert found.u_crests == 0.001
    assert one.u_reading == pytest.approx(0.0015)
    assert 0.002 < both.u_reading < 0.006


def test_an_angle_that_no_thread_has_was_not_read(monkeypatch):
    """Of two outlines that repeat, the one whose flanks lean the wrong way is no thread."""
    found = scale_of(monkeypatch, {"leaning": repeats(-5.0, 12.0), "true": repeats(60.0, 10.0)})
    # That of 10 mm was read as such: nothing moves.
    assert found.camera.distance_mm == pytest.approx(200.0)
    assert found.doubt is None and found.region.name == "true"
    assert (found.u_reading, found.u_crests) == pytest.approx((0.0015, 0.002))


def test_of_two_threads_nearly_alike_the_scale_carries_their_difference(monkeypatch):
    """Either may have been read: half a percent apart, they leave no name open."""
    found = scale_of(monkeypatch, {"one": repeats(60.0, 10.0), "other": repeats(60.0, 10.05)})
    assert found.doubt is None
    assert 0.002 < found.u_reading < 0.005


#: Of 8.55 mm, as wide as an M10x1.5 must not be: 1.17 times as long that is nearly an M12x1.75.
BARBS = {"angle": 60.0, "major": 8.55, "pitch": 3.0}


@pytest.mark.parametrize(
    ("doubt", "flag"),
    [(0.0, "which-thread"), (0.3, "which-thread"), (0.9, "which-place"), (0.9999, None)],
)
def test_barbs_are_read_by_a_slip_only(monkeypatch, doubt, flag):
    """What repeats, and may be a thread, is a rival as far as it may be one."""
    both = {"true": repeats(60.0, 9.97), "barbs": repeats(**BARBS, doubt=doubt)}
    found = scale_of(monkeypatch, both)
    assert found.doubt == flag
    assert found.region.name == "true" or doubt < 0.5


def test_a_slip_onto_barbs_is_believed_where_nothing_else_makes_the_thread_exist(monkeypatch):
    """The M10x1.5 looks a fifth larger than it is by its own crests."""
    both = {"true": repeats(60.0, 11.9, pitch=1.8), "barbs": repeats(**BARBS | {"major": 12.0})}
    both["barbs"].doubt = 0.9999
    found = scale_of(monkeypatch, both)
    assert (found.region.name, found.doubt) == ("barbs", "which-place")


def test_what_is_no_thread_tells_no_scale_by_its_sizes():
    """As a thread it would be an M20x2.5 as it is, and of no series a tenth larger."""
    for doubt, least, most in ((0.0, 3.0, 15.0), (0.99999, 0.0, 0.1)):
        there, beside = (
            own_scale._exists(by, repeats(60.0, 19.9, pitch=2.5), doubt) for by in (1.0, 1.1)
        )
        assert least <= there - beside < most


def test_a_slant_opens_the_pitch_before_the_pose_is_known():
    """An axis a degree off shows a pitch of cos(20 + 1) / cos(20): 0.6 % less."""
    square, aslant = (
        own_scale._rough(repeats(60.0, 9.9, slant=s)).pitch_mm.u / 1.5
        for s in (0.0, np.tan(np.radians(20.0)))
    )
    assert square == pytest.approx(own_scale.U_RATIO[0])
    per_degree = 1 - np.cos(np.radians(21.0)) / np.cos(np.radians(20.0))
    own = np.sqrt(aslant**2 - square**2)
    assert own == pytest.approx(per_degree * np.degrees(own_scale.U_INCLINE_RAD), rel=0.03)


def looking(monkeypatch, shape, first_mm):
    """Return the scale by crests of 10 mm where looks give a shape, the first from a distance."""
    camera = SimpleNamespace(normal=(0.0, 0.0, 1.0), distance_mm=first_mm)
    camera.over_plate = lambda far: SimpleNamespace(**vars(camera) | {"distance_mm": far})
    monkeypatch.setattr(own_scale, "_first", lambda *_: camera)
    monkeypatch.setattr(own_scale, "_shape", shape)
    monkeypatch.setattr(own_scale, "u_crests_mm", lambda shape: 0.02)
    monkeypatch.setattr(own_scale, "read_places", lambda *_: [])
    only = SimpleNamespace(threads=[SimpleNamespace(turns=9)])
    return own_scale.from_crests(SimpleNamespace(), [only], 10.0)


@pytest.mark.parametrize("grows", [0.99, 1.01])
def test_three_looks_meet_the_reading(monkeypatch, grows):
    """A diameter grows a little more or less than the distance: the axis stands over the plate."""
    looks = []

    def shape(scene, camera, part_, region, rough):
        looks.append(camera.distance_mm)
        seen = repeats(60.0, 10.0 + 10.0 * grows * (camera.distance_mm / 200.0 - 1))
        seen.frame.origin[2] = camera.distance_mm - 7.0
        return seen

    found = looking(monkeypatch, shape, first_mm=188.0)
    assert found.camera.distance_mm == looks[-1] == pytest.approx(200.0, rel=1e-5)
    assert len(looks) <= 3


@pytest.mark.parametrize("looks", [1, 2, 3])
@pytest.mark.parametrize("refused", [UnreadableError("Moved.", "Hold.", code="blurred"), None])
def test_a_look_that_is_refused_moves_nothing_further(monkeypatch, refused, looks):
    """What was seen from 215 mm was put to each step's camera: it walked on from 205 to 185."""
    seen = []

    def shape(scene, camera, part_, region, rough):
        seen.append(camera.distance_mm)
        if len(seen) > looks and refused is not None:
            raise refused
        if len(seen) > looks:
            return None
        found = repeats(60.0, 10.0 * (camera.distance_mm - 10.0) / 195.0)
        found.frame.origin[2] = camera.distance_mm - 10.0
        return found

    found = looking(monkeypatch, shape, first_mm=215.0)
    assert found.camera.distance_mm == pytest.approx(205.0)


def test_the_last_look_at_the_thread_that_was_read_is_its_measurement(monkeypatch):
    """Its edges are not placed once more for the same camera."""
    looked, look = [], part_threads._measured

    def measured(scene, part, region):
        looked.append((scene.camera.distance_mm, scene.rough))
        return look(scene, part, region)

    monkeypatch.setattr(part_threads, "_measured", measured)
    photo = next(SAMPLES.glob("p02-*.jpg"))
    identify(photo, ScaleSpec(source="major", mm=9.85), plots=False)
    assert len(looked) == len(set(looked)) == 3
    # Roots say nothing of the scale: they are sought once.
    assert [rough for _, rough in looked] == [True, True, False]


def test_a_smeared_thread_is_refused_by_itself(monkeypatch):
    """Another thread gives the scale; where there is none, the photo's reason is the thread's."""
    smeared = UnreadableError("Moved.", "Hold still.", code="blurred")
    found = scale_of(monkeypatch, {"smeared": smeared, "true": repeats(60.0, 10.0)})
    assert found.region.name == "true"
    with pytest.raises(UnreadableError, match="Moved") as refused:
        scale_of(monkeypatch, {"smeared": smeared, "unseen": None})
    assert refused.value.code == "blurred"
    with pytest.raises(UnreadableError, match="could be measured on both sides"):
        scale_of(monkeypatch, {"unseen": None})


@pytest.mark.parametrize("which", [0, 1])
def test_the_thread_that_was_read_is_found_out(which):
    """A nipple of two threads, and the caliper's reading of either of them."""
    truth = json.loads(next(SAMPLES.glob("p16-*.json")).read_text(encoding="utf-8"))
    read = truth["threads"][which]["major_mm"]
    result = identify(
        SAMPLES / truth["file"], ScaleSpec(source="major", mm=round(read, 2)), plots=False
    )
    found = {
        t.verdict.designation for p in result.parts for t in p.threads if t.verdict.designation
    }
    assert found <= {t["designation"] for t in truth["threads"]}
    pitches = sorted(t.reading.pitch_mm.value for p in result.parts for t in p.threads)
    true = sorted(t["pitch_mm"] for t in truth["threads"])
    assert pitches == pytest.approx(true, rel=0.015)


@pytest.mark.parametrize("which", [0, 1])
def test_a_reading_of_crests_that_are_not_measured_gives_the_scale(monkeypatch, which):
    """The other thread of a nipple is too short to be found, and is the one that was read."""
    truth = json.loads(next(SAMPLES.glob("p16-*.json")).read_text(encoding="utf-8"))
    seen, read = truth["threads"][1 - which], truth["threads"][which]

    def without(*arguments):
        scene = take_apart(*arguments)
        shapes = []
        for shape in scene.shapes:
            left = [t for t in shape.threads if abs(t.spacing_px / px - seen["pitch_mm"]) < 0.04]
            shapes.append(replace(shape, threads=tuple(left)))
        return replace(scene, shapes=tuple(shapes))

    scale = identify(SAMPLES / truth["file"], ScaleSpec(source="disc", mm=truth["scale"]["mm"]))
    px = 1 / scale.scale.mm_per_px.value
    monkeypatch.setattr(answer, "take_apart", without)
    stated = ScaleSpec(source="major", mm=round(read["major_mm"], 2))
    result = identify(SAMPLES / truth["file"], stated, plots=False)
    (found,) = (t for p in result.parts for t in p.threads)
    assert found.verdict.designation == seen["designation"]
    for name in ("pitch_mm", "major_mm"):
        q = getattr(found.reading, name)
        assert abs(q.value - seen[name]) < 2 * q.u, name
        assert q.u < 0.02 * q.value
    assert "read-elsewhere" in {w.code for w in result.warnings}


def chosen(longer, shares=None, distance_mm=200.0):
    """What is chosen for an M10x1.5 as measured in a camera's scale, 10 mm as read on it."""
    camera = SimpleNamespace(distance_mm=distance_mm, u_lens=0.03)
    shares = np.zeros(len(longer)) if shares is None else np.array(shares)
    return _chosen([repeats(60.0, 9.9)], np.zeros(1), camera, np.array(longer), shares)


def test_the_place_is_chosen_with_which_the_threads_exist():
    there = chosen([1.2, 1.0])
    assert there.number == 1 and there.apart == 0.0 and there.doubt is None


def test_a_slip_is_believed_where_nothing_else_makes_the_threads_exist():
    """1.17 times as long it is nearly an M12x1.75, which a slip makes no likelier than M10x1.5."""
    slip = [0.0, float(np.log(0.01))]
    assert chosen([1.0, 1.17], shares=slip).number == 0
    assert chosen([1.0, 1.17], shares=slip).doubt is None
    there = chosen([1.2, 1.0], shares=slip)
    assert there.number == 1
    # Where hands slipped, they may have read anything.
    assert there.doubt == "which-place"


def test_of_places_nearly_as_likely_the_phone_s_distance_decides():
    """At 60 mm few hold it, and 70 is twice as likely."""
    nearly = [float(np.log(0.1)), 0.0]
    assert chosen([1.0, 1.17], shares=nearly).number == 0
    assert chosen([1.0, 1.17], shares=nearly, distance_mm=60.0).number == 1


def test_lengths_carry_what_is_left_open_of_the_place():
    both = chosen([1.0, 1.17])
    assert both.number == 0 and both.doubt == "which-thread"
    # The other has e^-2.4 of its weight.
    assert both.apart == pytest.approx(0.17 * np.sqrt(0.083), rel=0.1)
    near = chosen([1.0, 1.0 + ALIKE / 4])
    assert near.doubt is None and 0 < near.apart < ALIKE / 4


@pytest.mark.parametrize(
    ("photo", "flats_mm", "name", "pitch_mm"),
    [("p02", 14.0, "M10x1.25", 1.25), ("p05", 19.0, "1/2-20 UNF", 1.27)],
)
def test_a_hexagon_read_over_its_flats_names_nothing(photo, flats_mm, name, pitch_mm):
    """Taken as wide as its corners it made a 1/2-16 UN of the M10x1.25."""
    stated = ScaleSpec(source="major", mm=flats_mm)
    result = identify(next(SAMPLES.glob(f"{photo}-*.jpg")), stated, plots=False)
    (found,) = (t for p in result.parts for t in p.threads)
    assert found.reading.pitch_mm.value == pytest.approx(pitch_mm, rel=0.005)
    # Hands that slipped may have read anything.
    assert found.verdict.status == "ambiguous"
    assert found.verdict.candidates[0].designation == name
    assert [w.code for w in result.warnings] == ["which-place"]
    if photo == "p05":
        assert found.verdict.next_step.startswith("Read the crests again")
