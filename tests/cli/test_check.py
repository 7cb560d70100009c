"""``pitchcam check`` on measurements made by hand, and on what a photo may lack."""

import json
from dataclasses import replace
from typing import Any

import pytest
from click.testing import CliRunner, Result

import pitchcam
from pitchcam.cli.check import command
from pitchcam.errors import PitchcamError
from pitchcam.flags import flag
from pitchcam.match.evidence import rescaled
from pitchcam.match.leaf import compare_leaf
from pitchcam.match.stated_size import left_doubtful
from pitchcam.records import (
    Measurement,
    PartResult,
    PhotoInfo,
    Quantity,
    ThreadReading,
    ThreadResult,
    Verdict,
)
from pitchcam.series.gauges import parse_leaf
from tests.match.test_naming import reading_of


def measured(*pitches: float | None, u: float = 0.003, angle: float | None = None) -> Measurement:
    threads = tuple(
        ThreadResult(
            reading=ThreadReading(
                pitch_mm=None if p is None else Quantity(value=p, u=u),
                angle_deg=None if angle is None else Quantity(value=angle, u=0.8),
            ),
            half_angles_deg=(None, None),
            turns=8.0,
            span_px=((0.0, 0.0), (1.0, 0.0)),
            budget=(),
            verdict=Verdict(status="ambiguous"),
        )
        for p in pitches
    )
    info = PhotoInfo(file="a.jpg", sha256="0" * 64, width_px=10, height_px=10)
    parts = (PartResult(id=1, box_px=(0.0, 0.0, 1.0, 1.0), threads=threads),)
    return Measurement(photo=info, scale=None, parts=parts, warnings=(flag("blurred"),))


@pytest.fixture
def check(monkeypatch: pytest.MonkeyPatch) -> Any:
    def run(measurement: Measurement, *args: str) -> Result:
        monkeypatch.setattr(pitchcam, "identify", lambda *a, **k: measurement, raising=False)
        return CliRunner().invoke(command, ["a.jpg", *args])

    return run


@pytest.mark.parametrize(
    ("pitch", "u", "leaf", "code", "says"),
    [
        (1.337, 0.003, "19tpi", 0, "agrees with 19tpi"),
        (1.337, 0.003, "18tpi", 3, "disagrees with 18tpi"),
        (1.374, 0.03, "19tpi", 3, "cannot tell"),
    ],
)
def test_answers(check: Any, pitch: float, u: float, leaf: str, code: int, says: str) -> None:
    result = check(measured(pitch, u=u), "-g", leaf, "--pin", "8")
    assert result.exit_code == code
    assert says in result.output
    assert "neighbouring leaves" in result.output and "turns" in result.output


def test_every_thread_of_a_photo_is_answered(check: Any) -> None:
    result = check(measured(1.337, 1.5), "-g", "19tpi", "--json")
    threads = json.loads(result.output)["threads"]
    assert [t["status"] for t in threads] == ["agrees", "disagrees"]
    assert result.exit_code == 3


def test_a_photo_without_a_pitch_says_why(check: Any) -> None:
    error = check(measured(None), "-g", "19tpi").exception
    assert isinstance(error, PitchcamError)
    assert error.exit_code == 4 and "out of focus" in str(error)


def test_a_leaf_of_no_set_is_refused_before_the_photo_is_opened(check: Any) -> None:
    error = check(measured(1.0), "-g", "17tpi").exception
    assert isinstance(error, PitchcamError) and "no gauge set" in str(error)


@pytest.mark.parametrize(
    ("angle", "leaf", "code", "says"),
    [
        (55.2, "19tpi", 0, "the pitch agrees; the angle agrees"),
        (60.3, "19tpi", 3, "the pitch agrees; the angle does not"),
        (57.5, "19tpi", 0, "not sure enough"),
        (None, "19tpi", 0, "could not be measured"),
    ],
)
def test_it_says_what_agreed(
    check: Any, angle: float | None, leaf: str, code: int, says: str
) -> None:
    result = check(measured(1.337, angle=angle), "-g", leaf)
    assert says in result.output and result.exit_code == code


def test_a_pitch_of_no_leaf_throws_doubt_on_the_reference() -> None:
    # 1.54 mm lies between 1.5 mm and 16 TPI by 2.6 and 3.1 percent: a pin 2.7 percent off.
    verdict = compare_leaf(Quantity(value=1.54, u=0.003), parse_leaf("1.5mm"))
    assert verdict.status == "disagrees" and verdict.no_leaf > 0.9


def test_the_reference_is_suspected_in_words(check: Any) -> None:
    assert "Suspect the reference" in check(measured(1.54), "-g", "1.5").output


def test_a_leaf_that_fits_by_another_scale_points_at_the_reference(check: Any) -> None:
    # M14x1.5 beside a pin said to be 8 mm that has 8.3 mm: all lengths come out 3.6 % small.
    reading = rescaled(reading_of("M14x1.5"), 8.0 / 8.3)
    one = measured(1.5).parts[0].threads[0]
    part = replace(measured(1.5).parts[0], threads=(replace(one, reading=reading),))
    result = check(replace(measured(1.5), parts=(part,)), "-g", "1.5")
    assert result.exit_code == 3
    for part_of in ("1.03", "times as large as stated", "M14x1.5"):
        assert part_of in result.output


def test_a_leaf_tells_of_a_doubted_reference_what_the_photo_left_open(check: Any) -> None:
    """With the pitch as open as the pin's size it could not tell whether the leaf is right."""
    reading = rescaled(reading_of("M14x1.5"), 8.0 / 8.3)
    one = measured(1.5).parts[0].threads[0]
    part = replace(measured(1.5).parts[0], threads=(replace(one, reading=reading),))
    sure = replace(measured(1.5), parts=(part,))
    doubted = check(left_doubtful(sure, 0.05), "-g", "1.5")
    assert doubted.output == check(sure, "-g", "1.5").output
    assert "disagrees with 1.5" in doubted.output
