"""Every line of the short answer by itself: when it stands, and how it reads."""

import dataclasses
from typing import Any

import pytest

from pitchcam.flags import FLAGS, flag
from pitchcam.records import (
    Candidate,
    Flag,
    Measurement,
    PartResult,
    PhotoInfo,
    PhotoUse,
    ScaleResult,
    ThreadRatios,
    ThreadReading,
    ThreadResult,
    Verdict,
)
from pitchcam.report.figures import decimals_for, inches, taper_words, with_uncertainty
from pitchcam.report.verdicts import (
    NAMELESS,
    headline,
    headline_of_readings,
    listed,
    name_words,
    next_command,
    runners_up,
    twins_to_tell,
)
from pitchcam.report.words import (
    figure_rows,
    photo_lines,
    scale_line,
    scale_words,
    seal_of,
    text,
    turns_words,
    warning_line,
)
from pitchcam.units import percent
from tests.quantities import q


def verdict(status: str = "named", **more: Any) -> Verdict:
    given: dict[str, Any] = {
        "designation": "M14x1.5" if status == "named" else None,
        "standard": "ISO 261" if status == "named" else None,
        "candidates": (
            Candidate(designation="M14x1.5", standard="ISO 261", probability=0.968),
            Candidate(designation="9/16-18 UNF", standard="ASME B1.1", probability=0.0213),
            Candidate(designation="M14x1.25", standard="ISO 261", probability=0.0099),
        ),
    }
    return Verdict(status=status, **(given | more))


def thread(reading: dict[str, Any] | None = None, **more: Any) -> ThreadResult:
    read: dict[str, Any] = {"pitch_mm": q(1.5, 0.002), "major_mm": q(13.8, 0.02)}
    given: dict[str, Any] = {
        "half_angles_deg": (None, None),
        "turns": 8.25,
        "span_px": None,
        "budget": (),
        "verdict": verdict(),
    }
    return ThreadResult(
        reading=ThreadReading(**(read if reading is None else reading)), **(given | more)
    )


@pytest.mark.parametrize(
    ("given", "head", "words"),
    [
        (verdict(probability=0.968), "M14x1.5  (ISO 261, probability 96.8 %)", "M14x1.5"),
        (verdict(), "M14x1.5  (ISO 261)", "M14x1.5"),
        (
            verdict("ambiguous"),
            "Not certain yet: M14x1.5 (96.8 %) or 9/16-18 UNF (2.1 %) or M14x1.25 (1.0 %)",
            "Not certain yet",
        ),
        (
            dataclasses.replace(verdict("ambiguous"), candidates=verdict().candidates[:1]),
            "Not certain yet: only M14x1.5 (96.8 %) would fit",
            "Not certain yet",
        ),
        (
            verdict("off-series"),
            "Measured, but no thread of the standard series fits",
            "No standard thread fits",
        ),
        (verdict("unreadable"), "Not readable", "Not readable"),
    ],
    ids=["sure", "plain", "ambiguous", "alone", "off-series", "unreadable"],
)
def test_a_verdict_in_a_line_and_in_large_type(given: Verdict, head: str, words: str) -> None:
    assert (headline(given), name_words(given)) == (head, words)


def test_every_status_without_a_name_has_words() -> None:
    assert set(NAMELESS) == {"ambiguous", "off-series", "unreadable"}
    assert len(set(NAMELESS.values())) == 3


@pytest.mark.parametrize(
    ("status", "head"),
    [
        ("named", "M14x1.5  (ISO 261)"),
        ("ambiguous", "Not certain yet. It could be:"),
        ("off-series", "No thread of the standard series fits these readings. Nearest:"),
    ],
)
def test_readings_by_hand_are_followed_by_a_table(status: str, head: str) -> None:
    assert headline_of_readings(verdict(status)) == head


def test_runners_up_are_those_that_matter() -> None:
    # One in a hundred changes what is done next; less does not.
    assert runners_up(verdict()) == ["9/16-18 UNF (2.1 %)"]
    assert listed(verdict())[2] == "M14x1.25 (1.0 %)"
    at = Candidate(designation="X", standard="", probability=0.01)
    assert runners_up(verdict(candidates=(at,))) == ["X (1.0 %)"]


def test_twins_are_told_unless_the_next_step_tells_them() -> None:
    same = ("1/2-14 NPTF", "7/16-20 UNF as 37 degree flare, 1/4 in tube")
    plain = verdict(same_geometry=same)
    assert twins_to_tell(plain) == list(same)
    told = verdict(same_geometry=same, next_step="... 37 degree flare, 1/4 in tube: seals ...")
    assert twins_to_tell(told) == ["1/2-14 NPTF"]


@pytest.mark.parametrize(
    ("gender", "command"),
    [
        ("external", 'pitchcam job --port THREAD --part "G 1/4"'),
        ("internal", 'pitchcam job --port "G 1/4" --part THREAD'),
    ],
)
def test_the_command_that_goes_on(gender: Any, command: str) -> None:
    assert next_command("G 1/4", gender) == command


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0.9995, "over 99.9 %"),
        (0.99949, "99.9 %"),
        (0.5, "50.0 %"),
        (0.0005, "0.1 %"),
        (0.00049, "under 0.1 %"),
        (0.0, "0.0 %"),
    ],
)
def test_percent_at_its_bounds(probability: float, words: str) -> None:
    assert percent(probability) == words


@pytest.mark.parametrize(
    ("value", "u", "unit", "factor", "words"),
    # JCGM 100, 7.2.6: two digits of the expanded uncertainty.
    [
        (1.5, 0.0498, "mm", 1.0, "1.50 \u00b1 0.10 mm"),
        (1.5, 0.0049, "mm", 1.0, "1.5000 \u00b1 0.0098 mm"),
        (1.5, 0.0, "mm", 1.0, "1.5000 \u00b1 0.0000 mm"),
        (150.0, 60.0, "mm", 1.0, "150 \u00b1 120 mm"),
        (55.0, 0.25, "\u00b0", 1.0, "55.00 \u00b1 0.50\u00b0"),
        (25.4, 2.54, "in", 1 / 25.4, "1.00 \u00b1 0.20 in"),
        (-0.001, 0.1, "", 1.0, "0.00 \u00b1 0.20"),
    ],
)
def test_digits_follow_the_uncertainty(
    value: float, u: float, unit: str, factor: float, words: str
) -> None:
    assert with_uncertainty(q(value, u), unit, factor) == words
    assert decimals_for(2 * u * factor) == len(words.split()[0].partition(".")[2])


@pytest.mark.parametrize(
    ("taper", "u", "words"),
    [
        (1 / 16, 0.001, "0.0625 \u00b1 0.0020 (1:16.0 on the diameter)"),
        (0.004, 0.002, "0.0040 \u00b1 0.0040 (parallel)"),
        (0.0041, 0.002, "0.0041 \u00b1 0.0040 (1:243.9 on the diameter)"),
        (-0.0625, 0.001, "-0.0625 \u00b1 0.0020 (1:16.0 on the diameter)"),
    ],
)
def test_a_taper_that_cannot_be_told_from_none_is_parallel(
    taper: float, u: float, words: str
) -> None:
    assert taper_words(q(taper, u)) == words


def test_only_what_was_measured_has_a_row() -> None:
    assert [row[0] for row in figure_rows(thread())] == ["pitch", "major diameter"]
    assert figure_rows(thread({})) == []
    full = thread(
        {
            "pitch_mm": q(1.5, 0.002),
            "major_mm": q(13.8, 0.02),
            "pitch_diameter_mm": q(12.8, 0.02),
            "minor_mm": q(12.0, 0.03),
            "angle_deg": q(60.0, 0.5),
            "taper": q(0.0625, 0.001),
            "diameter_station_mm": q(11.5, 0.1),
        },
        half_angles_deg=(q(30.0, 0.4), q(29.9, 0.4)),
    )
    rows = {label: (value, other) for label, value, other in figure_rows(full)}
    assert list(rows) == [
        "pitch",
        "major diameter",
        "pitch diameter",
        "minor diameter",
        "thread angle",
        "taper",
    ]
    assert rows["pitch"] == ("1.5000 \u00b1 0.0040 mm", "16.933 \u00b1 0.045 TPI")
    assert rows["pitch diameter"][1] == inches(q(12.8, 0.02))
    assert rows["thread angle"] == (
        "60.0 \u00b1 1.0\u00b0",
        "flanks 30.00 \u00b1 0.80\u00b0 and 29.90 \u00b1 0.80\u00b0",
    )
    assert rows["taper"][1] == "diameters at 11.5 mm from the small end"


def test_one_flank_alone_is_no_pair_and_a_parallel_thread_has_no_station() -> None:
    one = thread(
        {"angle_deg": q(60, 0.5), "taper": q(0.001, 0.001), "diameter_station_mm": q(9, 0.1)},
        half_angles_deg=(q(30.0, 0.4), None),
    )
    assert [row[2] for row in figure_rows(one)] == ["", ""]


def test_without_a_scale_a_thread_is_told_by_its_pitches() -> None:
    ratio = ThreadRatios(pitch_over_major=q(0.108, 0.0005))
    [row] = figure_rows(thread({}, ratios=ratio))
    assert row == ("pitch / major", "0.1080 \u00b1 0.0010", "diameter 9.26 pitches")


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        ({}, "8.2 turns seen, single start"),
        ({"starts": 2}, "8.2 turns seen, 2 starts"),
        ({"gender": "internal"}, "8.2 turns seen, single start, read on a cast"),
    ],
)
def test_turns_and_starts(reading: dict[str, Any], words: str) -> None:
    assert turns_words(thread(reading)) == words


@pytest.mark.parametrize(
    ("source", "name"),
    [
        ("pin", "the plain pin"),
        ("disc", "the disc"),
        ("card", "the card"),
        ("jaws", "the caliper jaws"),
        ("major", "the caliper reading of the crests"),
        ("sheet", "the marker sheet"),
    ],
)
def test_where_a_scale_comes_from(source: str, name: str) -> None:
    scale = ScaleResult(source=source, mm_per_px=q(0.06, 0.0001))
    assert scale_words(scale) == f"Scale from {name}: 0.06000 \u00b1 0.00020 mm per pixel"
    high = dataclasses.replace(scale, camera_height_mm=q(200, 5), lens_photos=1)
    assert scale_words(high).endswith(
        "mm per pixel, camera 200 \u00b1 10 mm above; the lens known from 1 photo with a card"
    )
    assert scale_words(dataclasses.replace(high, lens_photos=3)).endswith("3 photos with a card")


def test_no_scale_in_words() -> None:
    assert scale_words(None) == "Scale: none"
    assert scale_words(ScaleResult(source="none", mm_per_px=None)) == (
        "Scale: none; pitch over diameter, angle and form are what is left"
    )
    assert scale_line(Measurement(photo=None, scale=None)) == "Scale: none"


@pytest.mark.parametrize("code", sorted(FLAGS))
def test_every_warning_is_one_line_with_advice(code: str) -> None:
    held = flag(code)
    assert (held.message, held.advice) == FLAGS[code] and held.part is None
    assert held.message and held.advice and "\n" not in held.message + held.advice
    assert (
        held.message[0].islower() or held.message.split()[0].isupper() or held.message[0].isdigit()
    )
    assert not held.message.endswith(".") and not held.advice.endswith(".")
    assert warning_line(held) == f"Warning: {held.message}; {held.advice}"


def test_a_flag_may_have_its_own_figures_and_must_be_registered() -> None:
    own = flag("tilt", "tilted by 4 degrees")
    assert (own.message, own.advice) == ("tilted by 4 degrees", FLAGS["tilt"][1])
    assert flag("tilt", advice="stand up").advice == "stand up"
    with pytest.raises(KeyError):
        flag("no such flag")


@pytest.mark.parametrize(
    ("designation", "words"),
    [
        ("M14x1.5", "Does not seal on the thread"),
        ("R 1/2", "Seals on the thread in Rp or Rc"),
        ("1/2-13 UNC", "A fastener thread: does not seal."),
    ],
)
def test_how_a_named_thread_seals(designation: str, words: str) -> None:
    assert seal_of(designation).startswith(words)


def whole(*parts: PartResult, **more: Any) -> Measurement:
    return Measurement(photo=None, scale=None, parts=parts, **more)


def test_a_single_thread_has_no_number() -> None:
    said = text(whole(PartResult(id=1, box_px=None, threads=(thread(),))))
    assert said.startswith("M14x1.5  (ISO 261)\n  pitch           1.5000")
    pair = verdict(probability=0.9, candidates=(*verdict().candidates[:2], verdict().candidates[1]))
    two = text(whole(PartResult(id=1, box_px=None, threads=(thread(verdict=pair),))))
    assert "  also possible: 9/16-18 UNF (2.1 %), 9/16-18 UNF (2.1 %)\n" in two
    assert "\n  8.2 turns seen, single start\n  also possible: 9/16-18 UNF (2.1 %)\n" in said
    lines = said.splitlines()
    assert lines[-2].startswith("  seal: ") and lines[-1].startswith("  then: pitchcam job")


def test_two_threads_of_a_part_are_numbered_and_a_bare_part_says_so() -> None:
    said = text(
        whole(
            PartResult(id=1, box_px=None, threads=(thread(), thread())),
            PartResult(id=2, box_px=None),
        )
    )
    heads = [block.splitlines()[0] for block in said.strip().split("\n\n")]
    assert heads == [
        "Part 1, thread 1: M14x1.5  (ISO 261)",
        "Part 1, thread 2: M14x1.5  (ISO 261)",
        "Part 2: no thread was measured on it",
    ]


def test_a_bare_part_alone_is_no_name() -> None:
    assert text(whole(PartResult(id=1, box_px=None))) == "No thread was named.\n"


def test_the_same_warning_of_two_parts_is_said_once() -> None:
    twice = (
        Flag(code="cut", message="cut off", advice="move it", part=1),
        Flag(code="cut", message="cut off", advice="move it", part=2),
        Flag(code="tilt", message="tilted", advice="hold it level"),
    )
    said = text(whole(warnings=twice)).splitlines()
    assert said[-2:] == ["Warning: cut off; move it", "Warning: tilted; hold it level"]
    assert len(said) == 4


def test_what_is_not_named_has_a_step_and_neither_seal_nor_command() -> None:
    open_ = thread(verdict=verdict("ambiguous", next_step="measure again", notes=("close",)))
    said = text(whole(PartResult(id=1, box_px=None, threads=(open_,))))
    assert "  note: close\n" in said and "  next step: measure again\n" in said
    for word in ("also possible", "seal:", "then:", "same size"):
        assert word not in said


def use(name: str, left_out: str | None = None) -> PhotoUse:
    digest = name.encode().hex().ljust(64, "0")
    info = PhotoInfo(file=name, sha256=digest, width_px=10, height_px=10)
    return PhotoUse(
        info=info, left_out=left_out, scale=ScaleResult(source="pin", mm_per_px=q(0.06, 0.0001))
    )


def test_several_photos_say_which_count() -> None:
    held = Measurement(
        photo=None,
        scale=None,
        photos=(use("a.jpg"), use("b\n.jpg", "contradicts the others"), use("C.jpg")),
    )
    assert photo_lines(held) == [
        "Adjusted from 2 of 3 photos:",
        "  a.jpg: scale from the plain pin: 0.06000 \u00b1 0.00020 mm per pixel",
        "  b\\n.jpg: does not count",
        "  C.jpg: scale from the plain pin: 0.06000 \u00b1 0.00020 mm per pixel",
    ]
    assert "Adjusted from 2 of 3 photos:" in text(held)
    twice = dataclasses.replace(held, photos=(use("a.jpg"), use("a.jpg"), use("C.jpg")))
    assert photo_lines(twice)[0] == "Adjusted from 3 of 3 references in 2 photos:"
