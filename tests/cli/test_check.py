"""``pitchcam check`` on measurements made by hand, and on what a photo may lack."""

import json
from typing import Any

import pytest
from click.testing import CliRunner, Result

import pitchcam
from pitchcam.cli.check import command
from pitchcam.errors import PitchcamError
from pitchcam.flags import flag
from pitchcam.records import (
    Measurement,
    PartResult,
    PhotoInfo,
    Quantity,
    ThreadReading,
    ThreadResult,
    Verdict,
)  # fmt: skip


def measured(*pitches: float | None, u: float = 0.003) -> Measurement:
    threads = tuple(
        ThreadResult(
            reading=ThreadReading(pitch_mm=None if p is None else Quantity(value=p, u=u)),
            half_angles_deg=(None, None), turns=8.0, span_px=((0.0, 0.0), (1.0, 0.0)), budget=(),
            verdict=Verdict(status="ambiguous"),
        )
        for p in pitches
    )  # fmt: skip
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
