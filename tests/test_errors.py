"""What is wrong and what to do, as one line whatever the author's punctuation."""

import pytest

from pitchcam.errors import InputError, one_line


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
