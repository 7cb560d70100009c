"""Lengths as typed. An inch is 25.4 mm exactly (international agreement of 1959)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitchcam.errors import UsageError
from pitchcam.units import parse_length


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("8", 8.0),
        ("8.0mm", 8.0),
        (" 8,25 MM ", 8.25),
        (".5", 0.5),
        ("8.", 8.0),
        ("1in", 25.4),
        ("0.543in", 13.7922),
        ('.543"', 13.7922),
        ("1 inch", 25.4),
        ("5/16in", 7.9375),
        ("1 1/4in", 31.75),
        ('1-1/4"', 31.75),
    ],
)
def test_lengths(text, mm):
    assert parse_length(text) == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "mm",
        "abc",
        "0",
        "0in",
        "-8",
        "8cm",
        "1e3",
        "nan",
        "inf",
        "8 8",
        "5/16",
        "5/16mm",
        "1/0in",
        "0/4in",
        "8.0.0",
        "1,000.5",
        "٨",
    ],
)
def test_nonsense_gets_one_line(text):
    with pytest.raises(UsageError) as caught:
        parse_length(text)
    assert "\n" not in str(caught.value)


@given(st.text(max_size=12))
def test_any_text_is_a_length_or_one_line(text):
    try:
        assert parse_length(text) > 0.0
    except UsageError as error:
        assert error.advice
