"""What is wrong and what to do, as one line whatever the author's punctuation."""

import pytest

from pitchcam.errors import (
    InputError,
    PitchcamError,
    ReadingError,
    RefusedError,
    UnreadableError,
    UsageError,
    one_line,
)


@pytest.mark.parametrize(
    ("message", "advice", "line"),
    [
        ("it is cut;", "retake", "it is cut; retake"),
        ("it is cut", "retake", "it is cut; retake"),
        ("It is cut.", "retake", "It is cut; retake"),
        ("It is cut.", "Retake it.", "It is cut. Retake it."),
        ("--report a.x:", "name it .html", "--report a.x: name it .html"),
        ("it is cut.", "", "it is cut."),
    ],
)
def test_one_line(message, advice, line):
    assert one_line(message, advice) == line
    assert str(InputError(message, advice)) == line


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (PitchcamError, 1),
        (InputError, 1),
        (UsageError, 2),
        (ReadingError, 2),
        (UnreadableError, 4),
        (RefusedError, 4),
    ],
)
def test_exit_codes_are_those_of_the_contract(error, code):
    """0 named, 3 ambiguous or off-series, 4 unreadable, 2 wrong usage, 1 any other failure."""
    assert error("it is cut.").exit_code == code
