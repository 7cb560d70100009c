"""Records to documents and back, one kind at a time, and the record's rows made of them."""

import dataclasses
import json
import math
from typing import Any

import pytest

from pitchcam.errors import Exit, InputError, UsageError
from pitchcam.records import (
    EXIT_OF,
    FORMAT,
    BudgetLine,
    Candidate,
    Flag,
    Measurement,
    PartPose,
    PartResult,
    PhotoInfo,
    PhotoUse,
    ScaleResult,
    ThreadRatios,
    ThreadReading,
    ThreadResult,
    Verdict,
    exit_code,
    json_text,
)
from pitchcam.records.formats import FORMATS, OF_THE_PAGE, PRINTED, WRITTEN, document, format_of
from pitchcam.records.photos import box_of, span_of
from pitchcam.records.quantities import quantity_json, quantity_of
from pitchcam.records.rows import QUANTITIES, candidates_cell, quantities_of, thread_rows
from pitchcam.store.digest import row_digest
from pitchcam.store.entries import Correction, Entry, Outcome, record_id, sentences
from pitchcam.store.export import columns, csv_bytes, export_rows, json_bytes
from pitchcam.store.rows import entry_rows
from pitchcam.store.schema import guards
from tests.quantities import q

PHOTO = PhotoInfo(file="a.jpg", sha256="ab" * 32, width_px=4000, height_px=3000, lens="wide")
SCALE = ScaleResult(
    source="pin",
    mm_per_px=q(0.06, 0.0001),
    camera_height_mm=q(200.0, 5.0),
    stated_mm=8.0,
    focal_px=q(3000.0, 30.0),
    lens_photos=2,
)
NAMED = Verdict(
    status="named",
    designation="M14x1.5",
    standard="ISO 261",
    probability=0.97,
    same_geometry=("twin",),
    candidates=(
        Candidate(designation="M14x1.5", standard="ISO 261", probability=0.97),
        Candidate(designation="M14x1.25", standard="ISO 261", probability=0.03),
    ),
    next_step="none",
    notes=("a note",),
)
THREAD = ThreadResult(
    reading=ThreadReading(
        pitch_mm=q(1.5, 0.002),
        major_mm=q(13.8, 0.02),
        taper=q(-0.001, 0.002),
        correlation={("pitch_mm", "major_mm"): 0.5},
    ),
    half_angles_deg=(q(30.0, 0.4), None),
    turns=8.25,
    span_px=((1.0, 2.0), (3.0, 4.0)),
    budget=(
        BudgetLine(
            source="edge noise",
            kind="A",
            contributions={"pitch_mm": -0.001},
            degrees_of_freedom=12.0,
        ),
        BudgetLine(
            source="scale",
            of_scale=True,
            distribution="rectangular",
            correlated=False,
            contributions={"pitch_mm": 0.0015, "major_mm": 0.014},
        ),
    ),
    verdict=NAMED,
    pose=PartPose(inclination_deg=q(0.5, 0.2)),
    taper_sign=-1,
    spans_px=(((1.0, 2.0), (3.0, 4.0)), None),
    ratios=ThreadRatios(pitch_over_major=q(0.1, 0.001)),
)
PART = PartResult(
    id=2, box_px=(1.0, 2.0, 3.0, 4.0), threads=(THREAD,), boxes_px=((1.0, 2.0, 3.0, 4.0), None)
)
WHOLE = Measurement(
    photo=PHOTO,
    scale=SCALE,
    parts=(PART, PartResult(id=3, box_px=None)),
    warnings=(
        Flag(code="tilt", message="tilted", advice="hold it level"),
        Flag(code="cut", message="cut", advice="move it", part=2),
    ),
)


@pytest.mark.parametrize(
    "record",
    [PHOTO, SCALE, NAMED, THREAD, PART, WHOLE, THREAD.pose, THREAD.ratios, *THREAD.budget,
     *WHOLE.warnings, *NAMED.candidates, q(1.5, 0.0),
     PhotoUse(info=PHOTO, scale=SCALE, left_out="contradicts"),
     PhotoUse(info=PHOTO), PhotoInfo(file="x", sha256="0", width_px=None, height_px=None),
     Verdict(status="unreadable"), ScaleResult(source="none", mm_per_px=None), PartPose()],
    ids=lambda r: type(r).__name__,
)  # fmt: skip
def test_a_record_is_its_document_read_back(record: Any) -> None:
    told = json.loads(json_text(record.to_json()))
    assert type(record).from_json(told) == record
    # What a newer version may say besides is passed over.
    assert type(record).from_json(told | {"later": 1}) == record


@pytest.mark.parametrize(
    ("value", "u"), [(math.nan, 0.1), (math.inf, 0.1), (1.0, math.nan), (1.0, -1e-9)]
)
def test_a_quantity_is_a_number_with_an_uncertainty(value: float, u: float) -> None:
    with pytest.raises(ValueError, match="no quantity: value"):
        q(value, u)


def test_null_is_no_quantity() -> None:
    assert quantity_of(None) is quantity_json(None) is None
    assert quantity_json(q(1, 0.5)) == {"value": 1.0, "u": 0.5}


@pytest.mark.parametrize("share", [math.nan, math.inf, -math.inf])
def test_a_contribution_is_a_number(share: float) -> None:
    with pytest.raises(ValueError, match="no contribution of tilt to pitch_mm"):
        BudgetLine(source="tilt", contributions={"pitch_mm": share})


def test_an_exact_input_has_no_degrees_of_freedom_in_the_document() -> None:
    line = BudgetLine(source="scale", contributions={"taper": 0.1})
    assert line.to_json()["degrees_of_freedom"] is None
    assert math.isinf(BudgetLine.from_json(line.to_json()).degrees_of_freedom)
    # An older document lacks them.
    assert BudgetLine.from_json({"source": "scale", "taper": 0.1}) == line


@pytest.mark.parametrize("document_", [{"x": math.nan}, [math.inf], {"a": {"b": -math.inf}}])
def test_json_is_strict(document_: Any) -> None:
    with pytest.raises(ValueError, match="JSON"):
        json_text(document_)


def test_threads_per_inch_carry_the_relative_uncertainty() -> None:
    tpi = THREAD.reading.tpi
    assert tpi is not None
    assert (tpi.value, tpi.u) == pytest.approx((25.4 / 1.5, 25.4 / 1.5 * 0.002 / 1.5))
    assert ThreadReading().tpi is None


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"format": "pitchcam.measurement/2"}, "its format is 'pitchcam.measurement/2', not"),
        ({"format": None}, "its format is None, not 'pitchcam.measurement/1'"),
        ({"parts": None}, "'NoneType' object is not iterable"),
        ({"photo": {}}, "file is missing"),
        ({"warnings": [{}]}, "code is missing"),
        ({"scale": {"source": "pin"}}, "mm_per_px is missing"),
        ({"scale": {"source": "pin", "mm_per_px": {"value": 1, "u": -1}}}, "no quantity: value 1"),
    ],
)
def test_what_is_no_measurement_says_why(change: dict[str, Any], what: str) -> None:
    with pytest.raises(InputError) as caught:
        Measurement.from_json(WHOLE.to_json() | change)
    assert caught.value.message.startswith("this is no measurement that can be read back (" + what)
    assert caught.value.advice == (
        "give the whole document that --json printed, or update pitchcam"
    )


def test_a_missing_key_is_named() -> None:
    told = WHOLE.to_json()
    for key in ("scale", "parts", "warnings", "photo"):
        with pytest.raises(InputError, match=f"{key} is missing"):
            Measurement.from_json({k: v for k, v in told.items() if k != key})
    with pytest.raises(InputError):
        Measurement.from_json([])  # type: ignore[arg-type]


def test_a_status_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="no status: 'sure'"):
        Verdict.from_json({"status": "sure"})


def test_of_several_photos_the_first_that_counts_stands_for_all() -> None:
    other = dataclasses.replace(PHOTO, file="b.jpg")
    uses = (PhotoUse(info=PHOTO, left_out="contradicts"), PhotoUse(info=other, scale=SCALE))
    held = Measurement(photo=other, scale=SCALE, photos=uses)
    told = held.to_json()
    assert "photo" not in told and [p["left_out"] for p in told["photos"]] == ["contradicts", None]
    assert Measurement.from_json(told) == held
    none = tuple(dataclasses.replace(u, left_out="x") for u in uses)
    read = Measurement.from_json(dataclasses.replace(held, photos=none).to_json())
    assert read.photo == PHOTO


def test_spans_and_boxes() -> None:
    assert span_of(None) is box_of(None) is None
    assert span_of([[1, 2], [3, 4]]) == ((1.0, 2.0), (3.0, 4.0))
    assert box_of([1, 2, 3, 4]) == (1.0, 2.0, 3.0, 4.0)
    with pytest.raises(ValueError, match="unpack"):
        box_of([1, 2, 3])


def test_a_parts_pose_is_that_of_the_first_thread_that_tells_one() -> None:
    bare = dataclasses.replace(THREAD, pose=PartPose(axis_height_mm=q(9, 1)))
    assert dataclasses.replace(PART, threads=(bare, THREAD)).pose == THREAD.pose
    assert dataclasses.replace(PART, threads=(bare,)).pose == PartPose()


def test_warnings_of_a_part_stand_before_those_of_the_photo() -> None:
    assert [w.code for w in WHOLE.warnings_of(2)] == ["cut", "tilt"]
    assert [w.code for w in WHOLE.warnings_of(3)] == ["tilt"]


@pytest.mark.parametrize(
    ("statuses", "code"),
    [
        (["named"], 0),
        (["named", "ambiguous"], 3),
        (["off-series", "named"], 3),
        (["unreadable", "named", "ambiguous"], 4),
        (["refused"], 4),
        (["failed", "named"], 1),
        ([], 4),
    ],
)
def test_exit_codes(statuses: list[str], code: int) -> None:
    assert exit_code(statuses, none=Exit.UNREADABLE) == code
    assert set(statuses) <= set(EXIT_OF)


def test_a_measurement_ends_with_the_largest_of_its_threads() -> None:
    assert WHOLE.exit_code == 0
    open_ = dataclasses.replace(THREAD, verdict=Verdict(status="ambiguous"))
    both = dataclasses.replace(PART, threads=(THREAD, open_))
    assert dataclasses.replace(WHOLE, parts=(both,)).exit_code == 3
    assert dataclasses.replace(WHOLE, parts=()).exit_code == 4


# Rows.


def test_a_row_of_a_measurement() -> None:
    [row] = thread_rows(WHOLE)
    assert list(row)[:7] == [
        "photo", "part", "thread", "status", "designation", "standard", "probability",
    ]  # fmt: skip
    assert (row["photo"], row["part"], row["thread"], row["sha256"]) == ("a.jpg", 2, 1, "ab" * 32)
    assert (row["pitch_mm"], row["u_pitch_mm"]) == (1.5, 0.002)
    assert row["minor_mm"] is row["u_minor_mm"] is None
    assert row["tpi"] == pytest.approx(16.9333, abs=1e-4)
    assert row["candidates"] == "M14x1.5 0.970; M14x1.25 0.030" == candidates_cell(NAMED)
    assert (row["same_geometry"], row["next_step"], row["warnings"]) == ("twin", "none", "cut tilt")
    [bare] = thread_rows(dataclasses.replace(WHOLE, photo=None))
    assert bare["photo"] is bare["sha256"] is None


def test_only_measured_quantities_are_told_in_order() -> None:
    names = [name for name, _ in quantities_of(THREAD.reading)]
    assert names == [n for n in QUANTITIES if n in ("pitch_mm", "tpi", "major_mm", "taper")]


def entry(outcome: Outcome, **more: Any) -> Entry:
    given: dict[str, Any] = {
        "id": "0123456789",
        "sha256": "ab" * 32,
        "settings_key": "k",
        "outcome": outcome,
        "names": ("b.jpg", "c.jpg"),
        "corrections": {},
    }
    return Entry(**(given | more))


MEASURED = Outcome(status="measured", document=WHOLE.to_json())
REFUSED = Outcome(status="refused", code="blurred", message="it is blurred.", advice="hold still")


def test_rows_of_a_record_one_per_thread_and_per_bare_part() -> None:
    first, second = entry_rows(entry(MEASURED))
    assert (first.id, second.id) == ("0123456789-2.1", "0123456789-3")
    assert (first.name, first.status, first.photo) == ("M14x1.5", "named", "b.jpg")
    assert first.settled and first.quantities["pitch_mm"] == (1.5, 0.002)
    assert first.next_step == "none" and first.warnings == "cut tilt"
    assert (second.status, second.name, second.thread) == ("unreadable", "", None)
    assert not second.settled and second.next_step == "tilted: hold it level"
    assert entry_rows(entry(MEASURED), photo="own.jpg")[0].photo == "own.jpg"


@pytest.mark.parametrize(
    ("outcome", "status", "step"),
    [
        (REFUSED, "refused", "it is blurred. Hold still"),
        (
            Outcome(status="failed", code="fault", message="broke;", advice="retry", lasting=False),
            "failed",
            "to be tried again: broke; retry",
        ),
        (
            Outcome(status="measured", document=Measurement(photo=PHOTO, scale=None).to_json()),
            "unreadable",
            "no thread was found on this part",
        ),
    ],
)
def test_a_photo_without_a_thread_has_one_row(outcome: Outcome, status: str, step: str) -> None:
    [row] = entry_rows(entry(outcome))
    assert (row.status, row.next_step, row.part, row.thread) == (status, step, None, None)
    assert row.id == "0123456789" and row.warnings == outcome.code
    assert row.quantities == {} and row.starts is None


def test_what_a_person_says_is_the_name_and_the_verdict_stays() -> None:
    made = Correction(
        number=1, thread_id="0123456789-2.1", designation="M14x1.25", who="bench", why="gauge",
        made_at="2026-01-01",
    )  # fmt: skip
    first, second = entry_rows(entry(MEASURED, corrections={made.thread_id: made}))
    assert (first.name, first.designation) == ("M14x1.25", "M14x1.5")
    assert (first.corrected_by, first.corrected_why) == ("bench", "gauge")
    assert second.corrected_by == second.name == ""
    whole = dataclasses.replace(made, thread_id="0123456789")
    [row] = entry_rows(entry(REFUSED, corrections={whole.thread_id: whole}))
    assert row.settled and row.name == "M14x1.25" and row.status == "refused"


def test_an_open_thread_takes_its_step_from_the_warnings() -> None:
    open_ = dataclasses.replace(THREAD, verdict=Verdict(status="unreadable"))
    told = dataclasses.replace(WHOLE, parts=(dataclasses.replace(PART, threads=(open_,)),))
    [row] = entry_rows(entry(Outcome(status="measured", document=told.to_json())))
    assert row.next_step == "move it; hold it level" and row.name == "" and row.probability is None


def test_an_entry_is_called_by_its_first_name_or_its_digest() -> None:
    assert entry(REFUSED).name == "b.jpg" and entry(REFUSED, names=()).name == ("ab" * 6)
    told = entry(REFUSED).contract()
    assert told["photo"]["file"] == "b.jpg" and told["parts"] == []
    assert told["warnings"] == [
        {"code": "blurred", "message": "it is blurred.", "advice": "hold still"}
    ]
    assert entry(MEASURED).contract()["photo"]["file"] == "b.jpg"
    both = Measurement(photo=PHOTO, scale=None, photos=(PhotoUse(info=PHOTO),)).to_json()
    kept = Outcome(status="measured", document=both).contract("other.jpg", "00")
    assert kept["photos"][0]["file"] == "a.jpg"


@pytest.mark.parametrize(
    ("message", "advice", "line"),
    [
        ("it is cut.", "move it", "it is cut. Move it"),
        ("it is cut;", "move it", "it is cut; move it"),
        ("it is cut.", "", "it is cut."),
        ("", "", ""),
    ],
)
def test_a_sentence_after_a_full_stop_starts_large(message: str, advice: str, line: str) -> None:
    assert sentences(message, advice) == line


def test_an_id_is_of_photo_and_settings() -> None:
    ids = {record_id(s, k) for s in ("aa", "bb") for k in ("1", "2")}
    assert len(ids) == 4 and all(len(i) == 10 and int(i, 16) >= 0 for i in ids)
    # The same on any machine, for ever: labels in bins carry it.
    # By sha256sum of "aa/1".
    assert record_id("aa", "1") == "77a128acc9"


def test_rows_of_unlike_cells_have_unlike_digests() -> None:
    cells = [("a", "b"), ("ab", ""), ("", "ab"), (b"a", "b"), (None, "ab"), ("a", b"b"), (1, "b"),
             ("1", "b"), ("a", "b", None), ("a", "b", "")]  # fmt: skip
    digests = {row_digest(*c) for c in cells}
    assert len(digests) == len(cells) and all(len(d) == 16 for d in digests)
    assert row_digest("a", "b") == row_digest("a", "b")


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        ("plain", "plain"),
        (None, ""),
        (1.5, "1.5"),
        # What a spreadsheet would run.
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@a", "'@a"),
        ("\tx", "'\tx"),
        # A number is none.
        (-1.5, "-1.5"),
        ('a "b", c', '"a ""b"", c"'),
        ("two\nlines", '"two\nlines"'),
    ],
)
def test_cells_of_a_table(cell: Any, written: str) -> None:
    assert csv_bytes([{"a": cell, "b": 2}], ["a", "b"]).decode() == f"a,b\r\n{written},2\r\n"


def test_columns_are_those_of_the_rows() -> None:
    flat = [r.flat() for r in entry_rows(entry(MEASURED))]
    assert columns() == list(flat[0]) == list(flat[1])
    told = json.loads(json_bytes(flat, columns()))
    assert told["format"] == "pitchcam.threads/1" and len(told["rows"]) == 2
    assert list(told["rows"][0]) == columns()
    # As fine as anyone reads: a tenth of the smallest uncertainty met.
    assert flat[0]["tpi"] == 16.9333 and flat[0]["turns"] == 8.25 and flat[1]["turns"] is None


def test_a_table_of_another_ending_is_refused(tmp_path) -> None:
    rows = entry_rows(entry(MEASURED))
    with pytest.raises(UsageError, match=r"t\.xls: the ending must be one of \.csv, \.json, \.par"):
        export_rows(rows, tmp_path / "t.xls")
    export_rows(rows, tmp_path / "T.CSV")
    assert (tmp_path / "T.CSV").read_bytes().count(b"\r\n") == 3
    assert not (tmp_path / "t.xls").exists()


def test_every_document_has_a_key_of_its_own() -> None:
    assert FORMAT == format_of("measurement") == "pitchcam.measurement/1"
    assert len(FORMATS) == len(PRINTED) + len(WRITTEN) + len(OF_THE_PAGE)
    assert document("mating", {"a": 1}) == {"format": "pitchcam.mating/1", "a": 1}
    with pytest.raises(KeyError):
        document("no such", {})


def test_guards_stand_before_every_change_of_a_table() -> None:
    said = guards({"made": "id = NEW.id"}, "the book")
    assert len(said) == 3 and all("the book is never overwritten" in s for s in said)
    assert [s.split(" BEFORE ")[1].split()[0] for s in said] == ["UPDATE", "DELETE", "INSERT"]
    assert "WHEN EXISTS (SELECT 1 FROM made WHERE id = NEW.id)" in said[2]
