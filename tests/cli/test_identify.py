"""``pitchcam identify`` with an invented measurement: what it prints, writes and returns."""

import json
from dataclasses import replace

import cv2
import pytest
from click.testing import CliRunner

import pitchcam
from pitchcam.cli.identify import command
from pitchcam.errors import UnreadableError, UsageError
from tests.report import invented


@pytest.fixture
def photo(tmp_path):
    path = tmp_path / "fitting.jpg"
    cv2.imwrite(str(path), invented.single()[1].pixels)
    return path


@pytest.fixture
def identify(monkeypatch):
    calls = []

    def answer_with(result):
        def fake(path, spec, **options):
            calls.append((path, spec, options))
            if isinstance(result, Exception):
                raise result
            return result

        monkeypatch.setitem(vars(pitchcam), "identify", fake)
        return calls

    return answer_with


def run(*arguments):
    return CliRunner().invoke(command, [str(a) for a in arguments])


def test_text_for_people(photo, identify):
    calls = identify(invented.single()[0])
    done = run(photo, "--pin", "0.315in", "--axis-height", "9.5")
    assert done.exit_code == 0
    assert done.stdout.startswith("M14x1.5  (ISO 261")
    spec = calls[0][1]
    assert (spec.source, spec.axis_height_mm) == ("pin", 9.5)
    assert spec.mm == pytest.approx(8.001)


def test_json_keeps_the_contract(photo, identify):
    identify(invented.single()[0])
    done = run(photo, "--pin", "8", "--json")
    document = json.loads(done.stdout)
    assert document["format"] == "pitchcam.measurement/1"
    assert document["parts"][0]["threads"][0]["verdict"]["designation"] == "M14x1.5"


def test_exit_codes(photo, identify):
    identify(invented.single(verdict=invented.ambiguous())[0])
    assert run(photo, "--pin", "8").exit_code == 3
    identify(replace(invented.single()[0], parts=()))
    done = run(photo, "--pin", "8")
    assert done.exit_code == 4
    assert "M14" not in done.stdout


def test_an_unreadable_photo_still_gives_the_document(photo, identify, tmp_path):
    identify(UnreadableError("the outline is out of focus;", "retake", code="blurred"))
    report = tmp_path / "a.html"
    done = run(photo, "--pin", "8", "--json", "--report", report)
    document = json.loads(done.stdout)
    assert document["parts"] == []
    assert document["warnings"][0]["code"] == "blurred"
    assert document["photo"]["width_px"] == 4032
    assert isinstance(done.exception, UnreadableError)
    assert done.exception.exit_code == 4
    assert "out of focus" in report.read_text()


def test_files_are_written(photo, identify, tmp_path):
    identify(invented.single()[0])
    picture, report = tmp_path / "a.png", tmp_path / "a.html"
    done = run(photo, "--pin", "8", "--annotated", picture, "--report", report)
    assert done.exit_code == 0
    assert cv2.imread(str(picture)).shape[1] == 1800
    assert "M14x1.5" in report.read_text()


def test_contradictions_are_found_before_any_work(photo, identify):
    calls = identify(invented.single()[0])
    for options in (
        ["--pin", "8", "--card"],
        ["--pin", "8", "--shrinkage", "0.3"],
        ["--pin", "8", "--report", "a.docx"],
    ):
        assert isinstance(run(photo, *options).exception, UsageError)
    assert calls == []


def test_cast_options_are_passed_on(photo, identify):
    calls = identify(invented.single()[0])
    run(photo, "--pin", "8", "--cast", "--shrinkage", "0.3")
    assert calls[0][2]["cast"] is True
    assert calls[0][2]["shrinkage"].value == pytest.approx(0.003)


def test_the_size_of_a_card_and_a_lost_size_are_no_photos(photo, identify):
    calls = identify(invented.single()[0])
    for arguments, said in (
        (("--card", "85.6"), "--card takes no size, and there is no file 85.6; leave it out"),
        (("6",), "there is no file 6; the size of a reference follows its option: --pin 6"),
        (("nix.jpg", "--pin", "8"), "there is no file nix.jpg; check the name"),
        (("x" * 300, "--pin", "8"), f"there is no file {'x' * 300}; check the name"),
    ):
        done = run(photo, *arguments)
        assert str(done.exception) == said
    # Nothing is measured before all names are known to be files.
    assert calls == []
