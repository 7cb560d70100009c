"""A measurement goes to its document and comes back equal; rows; what is no document."""

import copy
import json

import pytest
from hypothesis import given, settings

import pitchcam
from pitchcam.errors import InputError
from pitchcam.records import Flag, Measurement, ScaleSpec, json_text
from pitchcam.records.rows import QUANTITIES
from tests.page.running import SAMPLES
from tests.records import drawn
from tests.report import invented


def test_every_key_matters():
    """One changed number, anywhere in the document, is another measurement."""
    measurement, _ = invented.single(plots=False, warnings=("tilt",))
    document = json.loads(json_text(measurement.to_json()))
    changed = 0
    for path in _numbers(document):
        other = copy.deepcopy(document)
        here = other
        for key in path[:-1]:
            here = here[key]
        here[path[-1]] += 1
        if "tpi" not in path and path != ("parts", 0, "pose"):  # derived
            assert Measurement.from_json(other) != measurement, path
            changed += 1
    assert changed > 40


def _numbers(value, path=()):
    if isinstance(value, (dict, list)):
        for key, inside in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _numbers(inside, (*path, key))
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield path


def test_older_documents_are_read_and_later_keys_passed_over():
    measurement, _ = invented.single(plots=False)
    document = json.loads(json_text(measurement.to_json()))
    (part,) = document["parts"]
    (thread,) = part["threads"]
    del part["pose"], thread["pose"], thread["correlation"], thread["verdict"]["notes"]
    for line in thread["budget"]:
        del line["distribution"], line["degrees_of_freedom"]
    thread["hand"], document["made_by"] = "left", "a later version"
    assert Measurement.from_json(document) == measurement


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda d: d.update(format="pitchcam.measurement/9"), "pitchcam.measurement/9"),
        (lambda d: d.pop("parts"), "parts is missing"),
        (lambda d: d.update(parts=7), "iterable"),
        (lambda d: d["parts"][0]["threads"][0]["verdict"].update(status="sure"), "no status"),
        (lambda d: d["scale"]["mm_per_px"].update(u=-1.0), "no quantity"),
        (lambda d: d["parts"][0]["threads"][0].update(span_px=[[0, 0]]), "unpack"),
    ],
)
def test_what_is_no_document_is_said_in_one_line(change, said):
    document = invented.single(plots=False)[0].to_json()
    change(document)
    with pytest.raises(InputError) as caught:
        Measurement.from_json(document)
    assert said in str(caught.value) and "\n" not in str(caught.value)
    for nothing in (None, [], "text", 3):
        with pytest.raises(InputError):
            Measurement.from_json(nothing)


def test_rows_are_flat_one_per_thread_and_hold_what_was_measured():
    measurement, _ = invented.scene([((1500.0, 1500.0), -15.0), ((2500.0, 1500.0), 20.0)])
    rows = measurement.rows()
    assert [(r["part"], r["thread"]) for r in rows] == [(1, 1), (2, 1)]
    assert all(row.keys() == rows[0].keys() for row in rows)
    assert not any(isinstance(v, (dict, list, tuple)) for row in rows for v in row.values())
    reading = measurement.parts[0].threads[0].reading
    for name in QUANTITIES:
        assert rows[0][name] == getattr(reading, name).value
        assert rows[0][f"u_{name}"] == getattr(reading, name).u
    # 25.4 mm over 1.5002 mm, by construction; its relative u is that of the pitch.
    assert reading.tpi.value == pytest.approx(16.93108, abs=1e-5)
    assert reading.tpi.u / reading.tpi.value == pytest.approx(0.0016 / 1.5002)


def test_a_table_of_pandas_takes_the_rows():
    pandas = pytest.importorskip("pandas")
    measurement, _ = invented.single(plots=False)
    table = pandas.DataFrame(measurement.rows())
    assert table["designation"].tolist() == ["M14x1.5"]
    assert table["u_pitch_mm"].dtype == float


def test_a_part_s_own_warnings_come_first_and_its_neighbour_s_not_at_all():
    said = {part: Flag(code="cut", message=f"of {part}", advice="", part=part) for part in (1, 2)}
    whole = Flag(code="rim", message="all", advice="")
    measurement = Measurement(photo=None, scale=None, warnings=(whole, *said.values()))
    assert measurement.warnings_of(2) == (said[2], whole)
    assert measurement.warnings_of(3) == (whole,)


@settings(max_examples=80, deadline=None)
@given(measurement=drawn.measurements)
def test_any_measurement_comes_back_equal(measurement):
    document = json.loads(json_text(measurement.to_json()))
    back = Measurement.from_json(document)
    assert back == measurement
    assert back.to_json() == document
    assert back.exit_code == measurement.exit_code and back.rows() == measurement.rows()


def test_a_photo_s_measurement_comes_back_equal_and_says_as_much():
    measured = pitchcam.identify(SAMPLES / "p05-unf12-pin.jpg", ScaleSpec(source="pin", mm=6.0))
    back = Measurement.from_json(json.loads(json_text(measured.to_json())))
    assert back == measured
    thread = measured.parts[0].threads[0]
    assert thread.plots is not None and back.parts[0].threads[0].plots is None
    assert back.parts[0].threads[0].reading.correlation["pitch_mm", "major_mm"] > 0
    assert back.parts[0].pose.axis_height_mm.value > 3.0
