"""``pitchcam lookup`` as it is typed."""

import json
from typing import Any

import pytest
from click.testing import CliRunner, Result

from pitchcam.cli.lookup import command
from pitchcam.errors import PitchcamError


def run(*args: str) -> Result:
    return CliRunner().invoke(command, list(args))


def failure(*args: str) -> PitchcamError:
    error = run(*args).exception
    assert isinstance(error, PitchcamError), error
    return error


@pytest.mark.parametrize(
    ("args", "code", "first"),
    [
        (("-d", "11.85", "-g", "1.25mm", "--form", "parallel"), 0, "M12x1.25"),
        (("-d", "13.8", "-g", "1.5", "--form", "parallel"), 0, "M14x1.5"),
        (
            ("-d", "16.69", "-d", "16.34", "--apart", "6", "-g", "19tpi", "--angle", "55"),
            0,
            "R 3/8",
        ),
        (("-d", "7.77", "-g", "20tpi"), 3, "Not certain yet"),
        (("-d", "0.496in", "-g", "20tpi"), 0, "1/2-20 UNF"),
        (("-d", "20.4", "-d", "20.9", "--apart", "8", "-g", "14tpi", "--angle", "55"), 0, "R 1/2"),
        (("-b", "12.5", "-g", "1.5mm"), 0, "M14x1.5"),
        (("-d", "20.75", "-g", "14tpi"), 3, "Not certain yet"),
        (("-d", "30.2", "-g", "7tpi"), 3, ""),
    ],
)
def test_answers(args: tuple[str, ...], code: int, first: str) -> None:
    result = run(*args)
    assert result.exit_code == code
    assert result.output.startswith(first)


# The garage's pairs, caliper and gauge alone; what the answer must hold.
PAIRS = [
    (("-d", "15.75", "-g", "1.5mm"), "M16x1.5", "5/8-18 UNF"),
    (("-d", "15.75", "-g", "18tpi"), "5/8-18 UNF", "M16x1.5 "),
    (("-d", "9.85", "-g", "1mm"), "M10x1", "G 1/8"),
    (("-d", "9.6", "-g", "28tpi"), "G 1/8", "1/8-27 NPT"),
    (("-d", "9.95", "-g", "27tpi"), "1/8-27 NPT", "G 1/8"),
    (("-d", "13.8", "-g", "1.5mm"), "M14x1.5", "1/4-18 NPT"),
    (("-d", "13.2", "-g", "18tpi"), "1/4-18 NPT", "G 1/4"),
    (("-d", "13.0", "-g", "19tpi"), "G 1/4", "1/4-18 NPT"),
    (("-d", "11.85", "-g", "1.25mm"), "M12x1.25", "1/2-20 UNF"),
    (("-d", "17.8", "-g", "1.5mm"), "M18x1.5", "3/8-18 NPT"),
    (("-d", "16.6", "-g", "18tpi"), "3/8-18 NPT", "G 3/8"),
    (("-d", "16.5", "-g", "19tpi"), "G 3/8", "3/8-18 NPT"),
    (("-d", "19.85", "-g", "1.5mm"), "M20x1.5", "3/4-16 UNF"),
    (("-d", "18.9", "-g", "16tpi"), "3/4-16 UNF", "M20x1.5"),
    (("-d", "21.85", "-g", "1.5mm"), "M22x1.5", "7/8-14 UNF"),
    (("-d", "22.1", "-g", "14tpi"), "7/8-14 UNF", "M22x1.5"),
]


@pytest.mark.parametrize(("args", "holds", "rejects"), PAIRS)
def test_pairs_of_the_garage(args: tuple[str, ...], holds: str, rejects: str) -> None:
    verdict = json.loads(run(*args, "--json").output)["parts"][0]["threads"][0]["verdict"]
    chances = {c["designation"]: c["probability"] for c in verdict["candidates"]}
    assert holds in list(chances)[:2]
    # A slip of the leaf keeps it thinkable, no more.
    assert chances.get(rejects.strip(), 0.0) < 0.02
    assert verdict["status"] == "named" or verdict["next_step"]


def test_half_inch_pipe_keeps_its_three_names_open() -> None:
    result = run("-d", "20.7", "-g", "14tpi")
    assert result.exit_code == 3
    for name in ("1/2-14 NPT", "G 1/2", "R 1/2", "form gauge", "two places"):
        assert name in result.output


def test_json_keeps_the_contract() -> None:
    document: dict[str, Any] = json.loads(run("-d", "12.6", "-g", "20tpi", "--json").output)
    assert document["format"] == "pitchcam.measurement/1"
    assert document["photo"] is None and document["scale"] is None
    thread = document["parts"][0]["threads"][0]
    assert thread["pitch_mm"] == pytest.approx({"value": 1.27, "u": 0.00635})
    assert thread["major_mm"] == pytest.approx({"value": 12.6, "u": 0.03})
    assert thread["angle_deg"] is None and thread["gender"] == "external"
    verdict = thread["verdict"]
    assert verdict["status"] == "named" and verdict["designation"] == "1/2-20 UNF"
    assert verdict["candidates"][0]["standard"] == "ASME B1.1"
    assert any("37 degree flare" in t for t in verdict["same_geometry"])


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("-d", "-3"), "--diameter"),
        (("-d", "0"), "--diameter"),
        (("-d", "abc"), "--diameter"),
        (("-d", "500"), "larger than any thread"),
        (("-d", "0.54", "-g", "18tpi"), "0.54in"),
        (("-d", "0.875", "-g", "14tpi"), "0.875in"),
        (("-d", "13.8in"), "write 13.8"),
        (("-d", "13.8", "-g", "17tpi"), "no gauge set"),
        (("-d", "20", "-g", "5"), "no unit"),
        (("-d", "13.8", "-g", "18mm"), "18tpi"),
        (("--angle", "55"), "neither"),
        (("-d", "13.8", "-b", "12"), "not both"),
        (("-d", "13.8", "-d", "14"), "--apart"),
        (("-d", "1", "-d", "1", "-d", "1"), "3 times"),
        (("-d", "13.8", "--prior", "UNF"), "--prior UNF=3"),
        (("-d", "13.8", "--prior", "UNF=x"), "--prior"),
        (("-d", "13.8", "--prior", "UNF=2", "--no-prior"), "contradict"),
    ],
)
def test_nonsense_gets_one_line(args: tuple[str, ...], says: str) -> None:
    error = failure(*args)
    assert says in str(error) and "\n" not in str(error)
    assert error.exit_code == 2


def test_readings_that_fit_nothing_say_which_to_repeat() -> None:
    result = run("-d", "13.8", "-g", "1.75mm")
    assert result.exit_code == 3 and "Hold 1.5mm, 2mm and 1.75mm in turn" in result.output


def test_how_a_named_thread_seals_is_told() -> None:
    output = run("-d", "11.85", "-g", "1.25mm", "--form", "parallel").output
    assert "washer" in output and "then: pitchcam job" in output
    # Each use stands once.
    assert output.count("gasket ring") == 1


def test_lower_down_a_taper_thread_is_said_to_be_read_from_its_large_end() -> None:
    args = ("-d", "16.69", "-d", "16.34", "--apart", "6", "-g", "19tpi", "--angle", "55")
    assert "large end" in run(*args).output
