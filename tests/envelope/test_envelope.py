"""The study's photos: each dial does what it says, and the rows lie where the curves look."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

import pitchcam
from pitchcam.errors import UnreadableError
from pitchcam.records import ScaleSpec
from tests.drawn_photo import project
from tests.envelope.dials import ANY, DIALS, WITHIN, Setting, base_value, drawn, order, turned
from tests.envelope.photo import PIN_MM, _window, draw, lift_mm, shot_of, stud_of
from tests.envelope.study import FOUR, jobs, on_curve, worsened


def test_every_dial_is_a_field_of_the_setting_and_turns_only_it():
    assert set(DIALS) == set(WITHIN) == set(ANY) == set(Setting.__dataclass_fields__)
    for name, dial in DIALS.items():
        assert base_value(name) not in dial.values
        there = turned(name, dial.values[-1])
        assert getattr(there, name) == dial.values[-1]
        start = Setting(off_middle_mm=16.0) if name == "distortion" else Setting()
        assert replace(there, **{name: base_value(name)}) == start


@pytest.mark.parametrize("name", DIALS)
def test_the_proof_s_limits_lie_within_what_careless_photos_have(name):
    assert ANY[name][0] <= WITHIN[name][0] < WITHIN[name][1] <= ANY[name][1]
    assert sorted(order(DIALS[name])) == sorted({*DIALS[name].values, base_value(name)})


def test_a_setting_drawn_within_limits_lies_within_them():
    setting = drawn(np.random.default_rng(3), WITHIN)
    for name, (low, high) in WITHIN.items():
        assert low <= getattr(setting, name) <= high


def test_the_camera_gives_the_pixels_per_pitch_from_where_a_phone_is_held():
    for px in DIALS["px_per_pitch"].values:
        shot = shot_of(turned("px_per_pitch", px), 1.4, np.random.default_rng(1))
        assert shot.f_px * 1.4 / shot.distance_mm == pytest.approx(px, rel=0.05)
        assert 150 <= shot.distance_mm <= (350 if px >= 15 else 420)


def test_a_careful_photo_is_named_and_a_blurred_one_is_not(tmp_path):
    truth = draw("G 1/4", Setting(), (3,), tmp_path / "good.jpg")
    told = pitchcam.identify(tmp_path / "good.jpg", ScaleSpec(source="pin", mm=PIN_MM))
    thread = told.parts[0].threads[0]
    assert thread.verdict.designation == "G 1/4"
    true = truth["threads"][0]
    for name in ("pitch_mm", "major_mm"):
        q = getattr(thread.reading, name)
        assert abs(q.value - true[name]) < 3 * q.u
    draw("G 1/4", Setting(blur=0.45), (3,), tmp_path / "soft.jpg")
    with pytest.raises(UnreadableError) as refused:
        pitchcam.identify(tmp_path / "soft.jpg", ScaleSpec(source="pin", mm=PIN_MM))
    assert refused.value.code == "blurred"


def test_rows_of_the_careful_setting_stand_on_every_curve():
    rows = [{"study": j.__dict__} for j in jobs("dials", 0)]
    for name, dial in DIALS.items():
        curve = on_curve(rows, name)
        assert set(curve) == {*dial.values, base_value(name)}
        assert all(len(curve[v]) == len(FOUR) for v in dial.values)


def test_a_sample_made_worse_keeps_its_truth_and_its_exif(tmp_path):
    job = next(j for j in jobs("samples", 0) if j.dial == "size" and j.value == 0.5)
    truth = worsened(job, tmp_path)
    photo = truth.with_suffix(".jpg")
    with Image.open(photo) as image:
        assert image.size == (2016, 1512)
        assert 41989 in image.getexif().get_ifd(34665)


def test_a_leaning_camera_sees_the_window_lean():
    """As the keystone of a photo does, from which a camera's tilt is told."""
    square, leaning = (
        shot_of(turned("tilt_deg", v), 1.4, np.random.default_rng(2)) for v in (0.0, 9.0)
    )
    for shot, most in ((square, 1e-6), (leaning, np.inf)):
        corners = project(_window(shot), shot)
        sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
        unlike = max(abs(sides[0] - sides[2]), abs(sides[1] - sides[3]))
        assert unlike <= most
    assert unlike > 30


def test_a_thread_that_moved_is_measured_in_its_own_blur_or_refused(tmp_path):
    """Along the thread a motion leaves a pin's sides sharp, and flanks that pass for mirrors."""
    pin = ScaleSpec(source="pin", mm=PIN_MM)
    truth = draw("M14x1.5", Setting(motion=0.2), (20, 0, 0), tmp_path / "moved.jpg")
    thread = pitchcam.identify(tmp_path / "moved.jpg", pin).parts[0].threads[0]
    assert thread.verdict.designation == "M14x1.5"
    for name in ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm", "angle_deg"):
        q = getattr(thread.reading, name)
        assert abs(q.value - truth["threads"][0][name]) < 2 * q.u
    # In the photo's blur the pitch diameter would be 0.28 mm too large.
    assert thread.reading.pitch_diameter_mm.u < 0.1
    assert "motion along the thread" in {line.source for line in thread.budget}
    draw("M14x1.5", Setting(motion=0.45), (20, 0, 0), tmp_path / "streak.jpg")
    with pytest.raises(UnreadableError, match="moved while the photo was taken") as refused:
        pitchcam.identify(tmp_path / "streak.jpg", pin)
    assert refused.value.code == "blurred"


def test_an_inclined_stud_rests_on_its_lower_end():
    """No part dips into the plate: the corner of its lower shank's end touches it."""
    stud = stud_of("M14x1.5", Setting(), np.random.default_rng(2))
    assert lift_mm(stud, 0.0) == pytest.approx(0.0, abs=1e-9)
    half, radius = stud.ends_mm[1], stud.shank_mm / 2
    for incline in np.radians([5.0, -10.0]):
        up = half * np.sin(abs(incline)) - radius * (1 - np.cos(incline))
        assert lift_mm(stud, incline) == pytest.approx(up)
