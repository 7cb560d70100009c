"""Pictures that once ended otherwise than in one clear line: each keeps its answer."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from pitchcam import identify
from pitchcam.batch.settings import Job, Settings
from pitchcam.batch.worker import identify_photo, measure_job
from pitchcam.cli import cli
from pitchcam.edges.axial_points import FlankPoints
from pitchcam.edges.flank_fit import fit_flanks
from pitchcam.errors import OutlineError, PitchcamError, UnreadableError
from pitchcam.objects import field
from pitchcam.objects.axis import envelope, find_axis
from pitchcam.objects.contour import Crop, outline
from pitchcam.objects.shapes import circle_share
from pitchcam.photo import load_photo
from pitchcam.pipeline.scene import take_apart
from pitchcam.records import BudgetLine, Quantity, ScaleSpec, json_text
from tests.findings.__main__ import answered, same_bytes, table

HERE = Path(__file__).parent / "findings"
SAMPLES = Path(__file__).parents[1] / "samples"


def rows():
    with (HERE / "photos.csv").open(newline="") as handle:
        return list(csv.DictReader(handle))


def call(file, options, *more):
    """Run ``identify`` as the command line does; return exit code and the error, or None."""
    arguments = ["identify", str(HERE / "photos" / file), *options.split(), *more]
    try:
        result = CliRunner().invoke(cli, arguments, standalone_mode=False, catch_exceptions=False)
    except PitchcamError as error:
        return error.exit_code, error, ""
    return result.return_value or 0, None, result.stdout


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["file"])
def test_every_finding_keeps_its_answer(row, monkeypatch):
    monkeypatch.setenv("PITCHCAM_TRACE", "1")  # nothing may hide behind the boundary
    code, error, _ = call(row["file"], row["options"])
    assert code in [int(n) for n in row["exit"].split()]
    if code == 4:
        assert error.code != "fault"
        assert row["says"] in error.message
        assert "\n" not in str(error)
        assert error.advice


@pytest.mark.parametrize("name", ["strip-checked", "strip-noise", "strip-tinted", "thumbnail"])
def test_strips_end_well_without_the_limit_of_size(name, monkeypatch):
    """The limit of size keeps them out; what they broke is mended as well."""
    monkeypatch.setenv("PITCHCAM_TRACE", "1")
    monkeypatch.setattr(field, "FEWEST_PX", 8)
    photo = load_photo(HERE / "photos" / f"{name}.jpg")
    for spec in (ScaleSpec(source="pin", mm=8.0), ScaleSpec(source="major", mm=8.0)):
        with pytest.raises(UnreadableError) as caught:
            take_apart(photo, spec, lambda text: None)
        assert caught.value.code != "fault"


def test_what_is_not_measured_is_absent_everywhere():
    code, _, text = call("no-roots.jpg", "--pin 8", "--json")

    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    document = json.loads(text, parse_constant=refuse)
    (thread,) = document["parts"][0]["threads"]
    assert code in (0, 3)
    # So few turns leave the number of starts in doubt; a name must be the true one.
    assert thread["verdict"]["designation"] in (None, "M18x1.5")
    for key in ("pitch_mm", "major_mm", "minor_mm", "pitch_diameter_mm", "angle_deg", "taper"):
        if thread[key] is None:
            assert all(key not in line for line in thread["budget"]), key
    # Roots that little is seen of are absent, or those of ISO 724's M18x1.5: d3 = 16.160 mm.
    if thread["minor_mm"] is not None:
        assert abs(thread["minor_mm"]["value"] - 16.160) < 2 * thread["minor_mm"]["u"]


def test_a_batch_keeps_what_identify_names():
    path = HERE / "photos" / "no-roots.jpg"
    settings = Settings(scale=ScaleSpec(source="pin", mm=8.0))
    job = Job(path=path, name=path.name, sha256=load_photo(path).sha256, settings=settings)
    outcome = measure_job(job, identify_photo)
    assert outcome.status == "measured"
    assert outcome.lasting


def test_what_has_no_outline_is_said_so():
    line = np.column_stack([np.arange(60.0), np.zeros(60)])
    with pytest.raises(OutlineError, match="encloses nothing"):
        find_axis(line)
    with pytest.raises(OutlineError, match="one side"):
        envelope(line + [0.0, 5.0])
    short = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    with pytest.raises(OutlineError, match="long"):
        find_axis(short)
    bright = Crop(
        light=np.ones((40, 40), np.float32),
        origin_px=(0, 0),
        mask=np.zeros((40, 40), np.uint8),
        channel="grey",
        background_code=0.7,
    )
    with pytest.raises(OutlineError, match="darker"):
        outline(bright)


def test_few_points_lie_on_no_circle():
    assert circle_share(np.random.default_rng(1).normal(size=(12, 2))) == 0.0


def test_few_flank_points_are_no_fit():
    some = np.ones(5)
    points = FlankPoints(z=some, r=some, side=some, flank=some, ridge=some)
    with pytest.raises(np.linalg.LinAlgError):
        fit_flanks(points, tan_guess=0.55)


@pytest.mark.parametrize("value, u", [(np.nan, 1.0), (1.0, np.nan), (np.inf, 1.0), (1.0, -1.0)])
def test_no_number_is_no_quantity(value, u):
    with pytest.raises(ValueError, match="no quantity"):
        Quantity(value=value, u=u)


def test_no_number_is_no_share():
    with pytest.raises(ValueError, match="nan"):
        BudgetLine(source="noise", contributions={"pitch_mm": float("nan")})


def test_strict_json():
    with pytest.raises(ValueError):
        json_text({"u": float("nan")})


def fall(*_, **__):
    raise ZeroDivisionError("nobody\nforesaw it")


def test_a_fault_on_one_part_costs_only_that_part(monkeypatch):
    """The box's first part fails inside; the others keep what they have without it."""
    from pitchcam.pipeline import part_threads

    real, calls = part_threads.measured, []

    def first_falls(*arguments):
        calls.append(1)
        return fall() if len(calls) == 1 else real(*arguments)

    monkeypatch.delenv("PITCHCAM_TRACE", raising=False)
    monkeypatch.setattr(part_threads, "measured", first_falls)
    spec = ScaleSpec(**json.loads((SAMPLES / "p20-box-pin.json").read_text())["scale"])
    result = identify(SAMPLES / "p20-box-pin.jpg", spec, plots=False)
    verdicts = [t.verdict for p in result.parts for t in p.threads]
    assert verdicts[0].status == "unreadable"
    assert sum(v.status == "named" for v in verdicts) >= 2
    (fault,) = [w for w in result.warnings if w.code == "fault"]
    assert fault.message.startswith("an inner fault stopped the measurement of part 1")
    assert "\n" not in fault.message


def test_a_fault_of_a_whole_stage_is_the_photos(monkeypatch):
    monkeypatch.delenv("PITCHCAM_TRACE", raising=False)
    monkeypatch.setattr("pitchcam.pipeline.scene.learn_rims", fall)
    code, error, _ = call("no-roots.jpg", "--pin 8")
    assert code == 4
    assert error.code == "fault"
    assert "placing the edges (ZeroDivisionError: nobody foresaw it)" in str(error)
    path = HERE / "photos" / "no-roots.jpg"
    job = Job(
        path=path,
        name=path.name,
        sha256=load_photo(path).sha256,
        settings=Settings(scale=ScaleSpec(source="pin", mm=8.0)),
    )
    outcome = measure_job(job, identify_photo)
    assert (outcome.status, outcome.code, outcome.lasting) == ("failed", "fault", False)


def test_the_table_of_findings_tells_what_is_not_as_kept(tmp_path):
    one = HERE / "photos" / "one-pixel.jpg"
    (tmp_path / "a.jpg").write_bytes(one.read_bytes())
    (tmp_path / "b.jpg").write_bytes(b"of no finding")
    row = {"file": one.name, "options": "--pin 6", "exit": "4", "says": "1 x 1 pixels"}
    (mine, good), (other, bad) = table([row], same_bytes(tmp_path))
    assert mine.startswith("a.jpg") and "too few for a thread" in mine and good
    assert other.startswith("b.jpg") and "not among the findings" in other and not bad
    answer = answered(one, row | {"exit": "0 3", "says": "blurred"})
    assert answer.faults == ("exit 4 where 0 3 was kept", "says nothing of 'blurred'")
