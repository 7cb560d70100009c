"""Several photos of one part: what is left out, what is said, and the whole way from files."""

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

import pitchcam
from pitchcam import several
from pitchcam.cli.identify import command
from pitchcam.errors import InnerFaultError, UnreadableError, UsageError
from pitchcam.flags import flag
from pitchcam.match.stated_size import left_doubtful
from pitchcam.records import STATED_SIZE, Measurement, ScaleSpec, json_text
from pitchcam.report import text
from pitchcam.several import NothingReadError, together
from tests.adjust import made
from tests.several.draw import case


def photos(*values):
    budget = made.lines()
    return [made.measurement(v, budget, i, named=True) for i, v in enumerate(values)]


def put_together(found, specs=None):
    infos = [
        m.photo
        if not isinstance(m, Exception)
        else made.measurement(made.true_values(), made.lines(), i).photo
        for i, m in enumerate(found)
    ]
    return together(found, infos, specs or [ScaleSpec(source="pin", mm=8.0)] * len(found))


def test_the_contract_lists_photos_in_place_of_photo():
    told = put_together(photos(made.true_values(), made.true_values()))
    document = json.loads(json_text(told.to_json()))
    assert "photo" not in document
    assert [p["file"] for p in document["photos"]] == ["0.jpg", "1.jpg"]
    assert [p["left_out"] for p in document["photos"]] == [None, None]
    assert document["photos"][1]["scale"]["stated_mm"] == 8.0
    thread = document["parts"][0]["threads"][0]
    assert len(thread["spans_px"]) == len(document["parts"][0]["boxes_px"]) == 2
    assert thread["span_px"] in thread["spans_px"]
    assert thread["verdict"]["designation"] == "M14x1.5"
    back = Measurement.from_json(document)
    assert back == told
    assert back.to_json() == document


def test_a_single_photo_s_document_is_as_before():
    document = photos(made.true_values())[0].to_json()
    assert "photos" not in document
    assert "spans_px" not in document["parts"][0]["threads"][0]
    assert "boxes_px" not in document["parts"][0]


def test_a_photo_that_carries_nothing_is_left_out_with_its_reason():
    good = photos(made.true_values(), made.true_values())
    told = put_together([*good, UnreadableError("It is blurred.", "retake", code="blurred")])
    assert [p.left_out for p in told.photos] == [None, None, "It is blurred"]
    assert any(w.code == "photo-left-out" and "blurred" in w.message for w in told.warnings)
    assert told.parts[0].threads[0].verdict.designation == "M14x1.5"


def test_no_photo_that_carries_anything():
    errors = [
        UnreadableError("It is blurred.", "retake", code="blurred"),
        UnreadableError("It is cut.", "move it", code="cut"),
    ]
    with pytest.raises(NothingReadError, match="blurred") as caught:
        put_together(errors)
    assert caught.value.exit_code == 4
    assert [p.left_out for p in caught.value.document.photos] == ["It is blurred", "It is cut"]


def without_scale(measurement):
    thread = measurement.parts[0].threads[0]
    reading = replace(
        thread.reading, pitch_mm=None, major_mm=None, pitch_diameter_mm=None, minor_mm=None
    )
    part = replace(measurement.parts[0], threads=(replace(thread, reading=reading),))
    return replace(measurement, scale=None, parts=(part,))


def test_a_photo_without_a_scale_does_not_count():
    good = photos(made.true_values(), made.true_values(), made.true_values())
    told = put_together([without_scale(good[0]), *good[1:]])
    assert [p.left_out for p in told.photos] == ["it has no scale", None, None]
    assert told.parts[0].threads[0].verdict.designation == "M14x1.5"


def test_photos_without_any_scale_are_refused():
    good = photos(made.true_values(), made.true_values())
    with pytest.raises(UsageError, match="None of the photos has a scale"):
        put_together([without_scale(m) for m in good])


def test_a_contradiction_is_said_and_not_named():
    fine = made.true_values() * [1.25 / 1.5, 1, 1.01, 1.02, 1, 1]
    told = put_together(photos(made.true_values(), fine))
    assert told.exit_code == 3
    assert [w.code for w in told.warnings if "disagree" in w.code] == ["photos-disagree"]
    assert "contradict one another" in text(told)


M10 = {
    "pitch_mm": 1.0,
    "major_mm": 9.9,
    "pitch_diameter_mm": 9.25,
    "minor_mm": 8.7,
    "angle_deg": 60.0,
    "taper": 0.0,
}


def beside(measurement, photo, **thread):
    """Return a photo with a second part 1500 px below: an M10x1."""
    other = made.measurement(made.true_values(M10), made.lines(M10), photo, named=True)
    (part,) = changed(other, **thread).parts
    (t,) = part.threads
    (x0, y0, x1, y1), span = part.box_px, t.span_px
    t = replace(t, span_px=tuple((x, y + 1500.0) for x, y in span))
    part = replace(part, id=2, box_px=(x0, y0 + 1500.0, x1, y1 + 1500.0), threads=(t,))
    return replace(measurement, parts=(*measurement.parts, part))


def test_a_contradiction_of_one_thread_leaves_the_others_checked():
    """Where one part contradicted itself, what may be no thread beside it had a name."""
    other_angle = made.true_values() * [1, 1, 1, 1, 55.8 / 60, 1]
    for second in (made.true_values(), other_angle):
        for doubt, name in ((0.0, "M10x1"), (0.5, None)):
            good = photos(made.true_values(), second)
            told = put_together([beside(m, i, no_thread=doubt) for i, m in enumerate(good)])
            assert any("disagree" in w.code for w in told.warnings) == (second is other_angle)
            by_width = {round(p.threads[0].reading.major_mm.value): p for p in told.parts}
            verdict = by_width[10].threads[0].verdict
            assert verdict.designation == name
            assert name is not None or "may be no thread" in verdict.notes[-1]


def test_what_nobody_foresaw_of_several_photos_is_said_in_a_line(monkeypatch):
    def fails(measurements):
        raise ValueError("no photo measures 1.5 to 0")

    monkeypatch.setattr(several, "combine", fails)
    with pytest.raises(InnerFaultError, match="stopped putting the photos together"):
        put_together(photos(made.true_values(), made.true_values()))


def test_a_wrong_pin_in_all_photos_is_doubted_as_in_one():
    """Photos that share a reference share its slip: agreeing does not make it right."""
    wrong = made.true_values() * np.where(np.arange(6) < 4, 6.0 / 6.35, 1.0)
    told = put_together(photos(wrong, wrong), [ScaleSpec(source="pin", mm=6.0)] * 2)
    assert told.parts[0].threads[0].verdict.status != "named"
    assert any(w.code.startswith("reference") for w in told.warnings)


def test_lengths_of_photos_that_share_a_wrong_pin_are_as_uncertain_as_it_is():
    """Each photo's doubt is the same one: it counts once, and not against what they agree in."""
    wrong = made.true_values() * np.where(np.arange(6) < 4, 6.0 / 6.35, 1.0)
    pins = [ScaleSpec(source="pin", mm=6.0)] * 2
    told = put_together(photos(wrong, wrong), pins)
    doubted = put_together([left_doubtful(m, 0.1) for m in photos(wrong, wrong)], pins)
    once, twice = (m.parts[0].threads[0].reading.pitch_mm for m in (told, doubted))
    true = made.true_values()[0]
    assert abs(once.value - true) < 2 * once.u < 0.3
    assert twice.u == pytest.approx(once.u) and twice.value == pytest.approx(once.value)
    assert told.parts[0].threads[0].budget[-1].source == STATED_SIZE
    names = [
        [c.designation for c in m.parts[0].threads[0].verdict.candidates] for m in (told, doubted)
    ]
    assert names[0] == names[1]
    # With references that vouch for each other nothing is left of it.
    other = [pins[0], ScaleSpec(source="pin", mm=8.0)]
    vouched = put_together([left_doubtful(m, 0.1) for m in photos(wrong, wrong)], other)
    assert vouched.parts[0].threads[0].reading.pitch_mm.u < 0.01


def changed(measurement, **thread):
    (part,) = measurement.parts
    return replace(
        measurement, parts=(replace(part, threads=(replace(part.threads[0], **thread),)),)
    )


@pytest.mark.parametrize("code", ["which-thread", "which-place"])
def test_what_a_caliper_read_stays_open_whatever_other_photos_say(code):
    found = photos(made.true_values(), made.true_values())
    assert [t.verdict.status for p in put_together(found).parts for t in p.threads] == ["named"]
    found[0] = replace(found[0], warnings=(flag(code),))
    (thread,) = (t for p in put_together(found).parts for t in p.threads)
    assert thread.verdict.status == "ambiguous"
    assert "lay a bank card" in thread.verdict.next_step.lower()


def test_what_may_be_rings_in_all_photos_has_no_name():
    """Each photo's probability that the sides are in step goes into the answer of all."""
    good = photos(made.true_values(), made.true_values())
    told = put_together([changed(m, in_step=0.3) for m in good])
    verdict = told.parts[0].threads[0].verdict
    assert (verdict.status, verdict.designation) == ("ambiguous", None)
    assert "opposite each other (78 %)" in verdict.notes[-1]
    assert Measurement.from_json(json.loads(json_text(told.to_json()))) == told
    # One photo that tells is enough.
    told = put_together([changed(good[0], in_step=0.3), good[1]])
    assert told.parts[0].threads[0].verdict.designation == "M14x1.5"


def test_what_repeats_unevenly_in_all_photos_has_no_name():
    budget = made.lines(noise=(0.0005, 0.005, 0.006, 0.01, 40.0, 0.001))
    found = [made.measurement(made.true_values(), budget, i, named=True) for i in range(2)]
    told = put_together(found)
    assert told.parts[0].threads[0].reading.angle_deg.u > 20
    assert told.parts[0].threads[0].verdict.status == "ambiguous"
    assert "no thread" in told.parts[0].threads[0].verdict.notes[-1]


def test_the_same_warning_is_said_once_with_all_its_photos():
    good = photos(made.true_values(), made.true_values())
    from pitchcam.flags import flag

    told = put_together([replace(m, warnings=(flag("halo"),)) for m in good])
    said = [w for w in told.warnings if w.code == "halo"]
    assert len(said) == 1
    assert said[0].message.startswith("0.jpg, 1.jpg:")


def test_references_and_photos_must_be_as_many():
    with pytest.raises(UsageError, match="2 references"):
        pitchcam.identify_several(["a", "b", "c"], [ScaleSpec(), ScaleSpec()])


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    made_case = case(4)
    return made_case, made_case.write(tmp_path_factory.mktemp("several"), "part")


def test_from_files_to_one_answer(drawn):
    truth, paths = drawn
    specs = [ScaleSpec(source="pin", mm=mm) for mm in truth.pins_mm]
    told = pitchcam.identify_several(paths, specs, plots=False)
    thread = told.parts[0].threads[0]
    single = [p.alone.parts[0].threads[0] for p in told.photos]
    assert all(p.left_out is None for p in told.photos)
    assert thread.reading.pitch_mm.u < min(t.reading.pitch_mm.u for t in single)
    assert thread.reading.angle_deg.u < min(t.reading.angle_deg.u for t in single)
    for name, value in truth.truth.items():
        read = getattr(thread.reading, name)
        assert abs(read.value - value) < 3 * read.u


def test_the_same_photo_twice_is_refused(drawn):
    truth, paths = drawn
    with pytest.raises(UsageError, match="the same photo"):
        pitchcam.identify_several(
            [paths[0], paths[0]], ScaleSpec(source="pin", mm=truth.pins_mm[0]), plots=False
        )


def test_one_photo_under_two_references(drawn):
    """A pin beside the thread and the caliper's reading of its crests: one scale of both."""
    truth, paths = drawn
    mm, major = truth.pins_mm[0], round(truth.truth["major_mm"], 2)
    pin, read = ["--pin", str(mm)], ["--also", str(paths[0]), f"major {major}"]
    done = CliRunner().invoke(command, [str(paths[0]), *pin, *read, "--json", "--no-lenses"])
    assert done.exit_code == 0, done.output
    told = Measurement.from_json(json.loads(done.stdout))
    assert "Adjusted from 2 of 2 references in 1 photo:" in text(told)
    assert [w.code for w in told.warnings if w.code in ("unmoved", "photos-disagree")] == []
    alone = pitchcam.identify(paths[0], ScaleSpec(source="pin", mm=mm), plots=False)
    reading, by_pin = told.parts[0].threads[0].reading, alone.parts[0].threads[0].reading
    assert reading.major_mm.u < 0.8 * by_pin.major_mm.u
    assert reading.angle_deg.u == pytest.approx(by_pin.angle_deg.u)
    for name in ("pitch_mm", "major_mm"):
        read = getattr(reading, name)
        assert abs(read.value - truth.truth[name]) < 3 * read.u


def test_the_command_with_a_wrong_pin_in_one_photo(drawn, tmp_path):
    truth, paths = drawn
    mm = truth.pins_mm[0]
    picture, report = tmp_path / "a.png", tmp_path / "a.html"
    done = CliRunner().invoke(
        command,
        [
            *map(str, paths[:2]),
            "--pin",
            str(mm),
            "--also",
            str(paths[2]),
            f"pin {mm * 1.06:g}",
            "--annotated",
            str(picture),
            "--report",
            str(report),
        ],
    )
    assert done.exit_code == 0, done.output
    assert "Adjusted from 2 of 3 photos" in done.stdout
    assert f"{paths[2].name} does not count: all its lengths are" in done.stdout
    import cv2

    from pitchcam.report.picture import WIDTH_PX

    height, width = cv2.imread(str(picture)).shape[:2]
    assert width == WIDTH_PX
    assert height > 2 * width * 0.7
    html = report.read_text()
    assert html.count('class="picture"') == 3
    assert "left out" in html
    assert "Adjusted from 2 of 3 photos:" in html


@pytest.mark.parametrize("said", ["stick 8", "pin", "card 8"])
def test_a_reference_that_is_none(said, drawn):
    _, paths = drawn
    done = CliRunner().invoke(command, [str(paths[0]), "--pin", "8", "--also", str(paths[1]), said])
    assert done.exit_code != 0
    assert isinstance(done.exception, UsageError)
    assert "is no reference" in str(done.exception)
