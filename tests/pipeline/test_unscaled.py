"""A photo without a reference: ratios and angles, no lengths."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from pitchcam import identify
from pitchcam.cli.identify import command
from pitchcam.errors import UnreadableError
from pitchcam.pipeline import unscaled
from pitchcam.records import Candidate, Measurement, ScaleSpec, Verdict
from pitchcam.report.page import budget_table
from tests.pipeline.test_answer import PHOTO, SAMPLES


@pytest.fixture(scope="module")
def measured() -> Measurement:
    return identify(PHOTO, ScaleSpec(source="none"))


def test_lengths_are_null_and_ratios_stay(measured: Measurement) -> None:
    document = json.loads(json.dumps(measured.to_json()))
    assert document["scale"].pop("source") == "none"
    assert set(document["scale"].values()) == {None}
    [thread] = document["parts"][0]["threads"]
    lengths = (
        "pitch_mm",
        "tpi",
        "major_mm",
        "pitch_diameter_mm",
        "minor_mm",
        "diameter_station_mm",
    )
    assert all(thread[name] is None for name in lengths)
    assert thread["pose"]["axis_height_mm"] is None
    assert all("pitch_mm" not in line for line in thread["budget"])
    assert any(line.get("angle_deg") for line in thread["budget"])
    truth = json.loads((SAMPLES / "p05-unf12-pin.json").read_text())["threads"][0]
    for name, top in (
        ("pitch_over_major", "pitch_mm"),
        ("pitch_diameter_over_major", "pitch_diameter_mm"),
    ):
        q = thread["ratios"][name]
        assert abs(q["value"] - truth[top] / truth["major_mm"]) < 3 * q["u"]
        assert q["u"] < 0.005 * q["value"] + 0.005
    assert abs(thread["angle_deg"]["value"] - truth["angle_deg"]) < 3 * thread["angle_deg"]["u"]


def test_the_truth_is_listed_and_the_next_step_settles_it(measured: Measurement) -> None:
    [thread] = measured.parts[0].threads
    assert thread.verdict.status == "ambiguous"
    assert measured.exit_code == 3
    assert "1/2-20 UNF" in {c.designation for c in thread.verdict.candidates}
    assert "--major" in (thread.verdict.next_step or "")
    assert "no-scale" in {w.code for w in measured.warnings}


def test_it_comes_back_from_json(measured: Measurement) -> None:
    assert Measurement.from_json(json.loads(json.dumps(measured.to_json()))) == measured


def test_command_and_report_tell_it(tmp_path) -> None:
    report = tmp_path / "answer.html"
    done = CliRunner().invoke(command, [str(PHOTO), "--no-reference", "--report", str(report)])
    assert done.exit_code == 3, done.output
    assert "pitch / major" in done.output
    assert "Scale: none" in done.output
    assert "mm per pixel" not in done.output
    page = report.read_text(encoding="utf-8")
    assert "pitch / major" in page
    assert "Scale: none" in page
    both = CliRunner().invoke(command, [str(PHOTO), "--no-reference", "--pin", "6"])
    assert both.exit_code != 0


def test_the_report_leaves_out_sources_of_lengths(measured: Measurement) -> None:
    table = budget_table(measured.parts[0].threads[0])
    assert table is not None
    sources = [source for source, _, _ in table["rows"]]
    assert "scale of the reference" not in sources
    assert "edge noise" in sources
    assert all(any(cells) for _, _, cells in table["rows"])


def test_a_missing_reference_is_refused_with_what_the_photo_tells_without() -> None:
    """The code stays, no name is given, and the reading that settles it is said once."""
    with pytest.raises(UnreadableError) as told:
        identify(PHOTO, ScaleSpec(source="disc", mm=20.0))
    assert told.value.code == "no-reference" and told.value.exit_code == 4
    says = told.value.advice
    assert "Pitch over diameter, angle and taper alone say" in says and "1/2-20 UNF (" in says
    assert says.count("--major") == 1
    with pytest.raises(UnreadableError) as asked:
        identify(PHOTO, ScaleSpec())
    assert "1/2-20 UNF (" in asked.value.advice and asked.value.advice.count("--major") == 1


def test_where_the_part_is_the_reason_nothing_is_added() -> None:
    with pytest.raises(UnreadableError) as told:
        identify(SAMPLES / "p21-hose-pin.jpg", ScaleSpec(source="card"))
    assert "alone say" not in told.value.advice


def listed(*shares: float) -> Verdict:
    candidates = tuple(
        Candidate(designation=f"M{k}", standard="ISO 261", probability=p)
        for k, p in enumerate(shares, start=1)
    )
    return Verdict(status="ambiguous", candidates=candidates)


@pytest.mark.parametrize(
    ("shares", "says"),
    [
        ((0.97, 0.02), "M1 (97 %)"),
        ((0.5, 0.46), "M1 (50 %) or M2 (46 %)"),
        ((0.3, 0.3, 0.2, 0.2), "M1 (30 %) or M2 (30 %) or M3 (20 %) or others"),
        ((0.04, 0.03), "M1 (4 %) or others"),
    ],
)
def test_what_leads_is_told(shares, says) -> None:
    assert unscaled._leading(listed(*shares)) == says
