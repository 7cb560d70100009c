"""Errors, flags, files and the boundary: what goes wrong is one line that says what to do."""

from __future__ import annotations

import errno
import os
import re
import stat
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitchcam import files
from pitchcam.boundary import TRACE, boundary, inner_fault
from pitchcam.calibration import calibration_path, read_rows
from pitchcam.errors import (
    Exit,
    InnerFaultError,
    InputError,
    OutlineError,
    PitchcamError,
    UnreadableError,
    UsageError,
    one_line,
    printable,
)
from pitchcam.files import FullError, full_disk, open_regular, read_whole, write_whole
from pitchcam.flags import FLAGS, flag
from pitchcam.reference_kinds import LYING, REFERENCE_KINDS, SIZED, ReferenceKind
from pitchcam.units import parse_length


def stopped(error: Exception, passing: tuple[type[Exception], ...] = ()) -> Exception:
    """What comes out of the boundary when this goes in."""
    try:
        with boundary(lambda: "placing the edges", passing):
            raise error
    except Exception as out:
        return out


@pytest.mark.parametrize(
    "error",
    [
        InputError("a"),
        UsageError("b"),
        UnreadableError("c", code="cut"),
        MemoryError(),
        OSError("d"),
    ],
    ids=["input", "usage", "unreadable", "memory", "system"],
)
def test_foreseen_errors_pass_the_boundary_as_they_are(error: Exception) -> None:
    assert stopped(error) is error


def test_what_the_caller_answers_himself_passes() -> None:
    error = OutlineError("it encloses nothing")
    assert stopped(error, (OutlineError,)) is error
    assert isinstance(stopped(error), InnerFaultError)


@pytest.mark.parametrize(
    ("error", "shown"),
    [
        (ZeroDivisionError("division by zero"), "(ZeroDivisionError: division by zero)"),
        (KeyError(), "(KeyError)"),
        (ValueError("two\nlines   of\tit"), "(ValueError: two lines of it)"),
        (RuntimeError("x" * 500), "(RuntimeError: " + "x" * 120 + ")"),
    ],
    ids=["plain", "without a text", "several lines", "long"],
)
def test_an_unforeseen_error_is_one_line_with_its_stage(error: Exception, shown: str) -> None:
    fault = stopped(error)
    assert isinstance(fault, InnerFaultError)
    assert fault.message == f"An inner fault stopped placing the edges {shown}."
    assert fault.advice == FLAGS["fault"][1]
    assert fault.__cause__ is error
    assert (fault.code, fault.exit_code) == ("fault", Exit.UNREADABLE)
    assert "\n" not in str(fault)


def test_the_stage_is_asked_only_where_something_stopped_it() -> None:
    asked = []
    with boundary(lambda: asked.append(1) or "x"):
        pass
    assert asked == []
    assert isinstance(
        stopped(KeyboardInterrupt) if False else stopped(TypeError()), InnerFaultError
    )


def test_a_developer_sees_the_cause(monkeypatch) -> None:
    monkeypatch.setenv(TRACE, "1")
    error = ZeroDivisionError("x")
    assert stopped(error) is error
    monkeypatch.setenv(TRACE, "")
    assert isinstance(stopped(error), InnerFaultError)


def test_an_inner_fault_is_no_refusal() -> None:
    fault = inner_fault("reading", ValueError("x"))
    assert isinstance(fault, UnreadableError)
    assert not isinstance(UnreadableError("x", code="cut"), InnerFaultError)


@pytest.mark.parametrize("code", FLAGS)
def test_every_flag_says_what_is_wrong_and_what_to_do(code: str) -> None:
    message, advice = FLAGS[code]
    shown = flag(code)
    assert (shown.code, shown.message, shown.advice) == (code, message, advice)
    assert message[0].islower() and advice[0].islower(), "they stand in a sentence"
    assert not message.endswith((".", ";", " ")) and not advice.endswith((".", ";", " "))
    line = one_line(message, advice)
    assert line == f"{message}; {advice}" and line.isprintable()
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", code)


def test_a_flag_may_carry_figures() -> None:
    told = flag("tilt", "the camera looked down at 4.1 degrees")
    assert told.message == "the camera looked down at 4.1 degrees"
    assert told.advice == FLAGS["tilt"][1]
    assert flag("tilt", advice="hold it").advice == "hold it"


def test_a_flag_that_nobody_can_look_up_does_not_exist() -> None:
    with pytest.raises(KeyError):
        flag("gremlins")


@settings(max_examples=30)
@given(st.text(max_size=30), st.text(max_size=30))
def test_any_message_and_advice_are_one_line(message: str, advice: str) -> None:
    shown = one_line(message, advice)
    assert shown.isprintable()
    assert printable(shown) == shown


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x00", r"\x00"),
        ("\t", r"\t"),
        ("\x7f", r"\x7f"),
        ("\u2028", r"\u2028"),
        ("\udc80\udcff", r"\x80\xff"),
        ("\ud800", r"\ud800"),
        ("\U000e0001", r"\U000e0001"),
        ("Ø 8 mm", "Ø 8 mm"),
    ],
)
def test_what_is_not_printed_is_written_as_its_code(text: str, shown: str) -> None:
    assert printable(text) == shown


def test_errors_carry_their_parts() -> None:
    error = PitchcamError("it is cut;", "retake", code="cut")
    assert (error.message, error.advice, error.code) == ("it is cut;", "retake", "cut")
    assert str(PitchcamError("it is cut")) == "it is cut"
    assert PitchcamError("x").code == "error"
    assert {e.value for e in Exit} == {0, 1, 2, 3, 4}


def test_a_file_is_written_whole_over_the_old_one(tmp_path) -> None:
    path = tmp_path / "a.json"
    for data in (b"old", b"", b"new" * 100_000):
        write_whole(path, data)
        assert path.read_bytes() == data
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"], "nothing is left beside it"


def failing(number: int):
    def fail(*_):
        raise OSError(number, os.strerror(number))

    return fail


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT])
def test_a_full_disk_keeps_the_old_file_and_says_so(tmp_path, monkeypatch, number: int) -> None:
    path = tmp_path / "a.json"
    path.write_bytes(b"old")
    monkeypatch.setattr(files.os, "fsync", failing(number))
    with pytest.raises(
        FullError, match="is full; all that was finished is kept. Free some"
    ) as caught:
        write_whole(path, b"new")
    assert (caught.value.code, caught.value.exit_code) == ("disk-full", Exit.FAILED)
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]
    assert str(full_disk(path)) == str(caught.value), "the same line wherever it is met"


def test_a_file_that_cannot_be_exchanged_stays(tmp_path, monkeypatch) -> None:
    path = tmp_path / "a.json"
    path.write_bytes(b"old")
    monkeypatch.setattr(Path, "replace", failing(errno.EACCES))
    with pytest.raises(InputError, match=r"cannot be written \(Permission denied\). Name another"):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


def test_a_folder_that_is_not_there_cannot_be_written(tmp_path) -> None:
    with pytest.raises(InputError, match="cannot be written .*No such file"):
        write_whole(tmp_path / "none" / "a", b"x")


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("none", "there is no file {}; check the name"),
        (".", "{} is a folder; name one file in it"),
        ("nul\0byte", "cannot be read (embedded null byte); check the file"),
    ],
    ids=["missing", "a folder", "a name that no file can have"],
)
def test_what_cannot_be_opened_is_told_apart(tmp_path, name: str, line: str) -> None:
    path = tmp_path / name
    with pytest.raises(InputError) as caught:
        open_regular(path, advice="advice")
    assert line.format(path) in str(caught.value)
    with pytest.raises(InputError) as again:
        read_whole(path, 10, advice="advice")
    assert str(again.value) == str(caught.value)


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is closed to root")
def test_a_file_that_may_not_be_read_says_so(tmp_path) -> None:
    path = tmp_path / "closed"
    path.write_bytes(b"x")
    path.chmod(stat.S_IWUSR)
    with pytest.raises(InputError, match=r"cannot be read \(Permission denied\); check the file"):
        read_whole(path, 10, advice="")


@pytest.mark.parametrize("most", [0, 1, 5])
def test_so_many_bytes_and_not_one_more(tmp_path, most: int) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"x" * most)
    assert read_whole(path, most, advice="") == b"x" * most
    path.write_bytes(b"x" * (most + 1))
    with pytest.raises(InputError, match="a has 0 MB, more than the limit of 0 MB; send less"):
        read_whole(path, most, advice="send less")


def test_an_opened_file_is_read_from_its_start(tmp_path) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    with open_regular(tmp_path / "a", advice="") as handle:
        assert handle.read(2) == b"ab"
        assert handle.read() == b"c"


def test_rows_come_with_their_lines(tmp_path) -> None:
    path = tmp_path / "t.csv"
    path.write_text('a,b\n1,"2, 3"\n4,5\n')
    assert list(read_rows(path)) == [(2, {"a": "1", "b": "2, 3"}), (3, {"a": "4", "b": "5"})]


@pytest.mark.parametrize("row", ["1", "1,2,3"])
def test_a_row_that_does_not_match_the_head_is_named(tmp_path, row: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(f"a,b\n1,2\n{row}\n")
    with pytest.raises(
        InputError, match=r"t.csv line 3: the row does not match the head. Give 2 cells"
    ):
        list(read_rows(path))


def test_a_table_that_cannot_be_read_is_named(tmp_path) -> None:
    with pytest.raises(InputError, match="none.csv cannot be read .* Restore the file."):
        list(read_rows(tmp_path / "none.csv"))
    (tmp_path / "latin.csv").write_bytes(b"a\n\xff\n")
    with pytest.raises(InputError, match="latin.csv cannot be read"):
        list(read_rows(tmp_path / "latin.csv"))


def test_data_that_are_missing_are_a_broken_installation() -> None:
    assert calibration_path("series").is_dir()
    with pytest.raises(FileNotFoundError, match="calibration data missing: no/such.csv"):
        calibration_path("no", "such.csv")


@pytest.mark.parametrize("kind", REFERENCE_KINDS.values(), ids=REFERENCE_KINDS)
def test_every_kind_of_reference_can_be_stated(kind: ReferenceKind) -> None:
    assert kind.flag.startswith("--") and kind.flag[2:].replace("-", "_") == kind.key
    assert kind.key.isidentifier()
    assert kind.label[0].isupper() and kind.help.endswith(".")
    assert (kind.name in SIZED) is (kind.limits_mm is not None)
    assert (kind.name in LYING) is kind.lies
    if kind.limits_mm is not None:
        low, high = kind.limits_mm
        assert 0 < low < high
    if kind.shape is not None:
        assert kind.lies, "what has a shape is looked for among the objects"


@pytest.mark.parametrize(
    ("name", "size_mm"),
    [("pin", 0.5), ("pin", 8.0), ("disc", 23.25), ("jaws", 20.0), ("major", 13.8), ("major", 0.8)],
)
def test_usual_sizes_lie_within_the_limits(name: str, size_mm: float) -> None:
    low, high = REFERENCE_KINDS[name].limits_mm or (0, 0)
    assert low <= size_mm <= high


@given(st.integers(1, 40), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_inches_and_fractions_are_exact(whole: int, top: int, bottom: int) -> None:
    """An inch is 25.4 mm exactly (international agreement of 1959)."""
    mm = (whole + top / bottom) * 25.4
    for text in (
        f"{whole} {top}/{bottom}in",
        f"{whole}-{top}/{bottom} inch",
        f'{whole} {top}/{bottom}"',
    ):
        assert parse_length(text) == mm


@given(st.decimals(min_value="0.001", max_value="999", places=3))
def test_millimetres_with_point_or_comma(value) -> None:
    for text in (f"{value}", f"{value}mm", f"{value} MM", f" {value} ".replace(".", ",")):
        assert parse_length(text) == float(value)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("5/16", "is a fraction without inches; write it as 5/16in"),
        ("1 1/2mm", "is a fraction without inches; write it as 5/16in"),
        ("1/0in", "is a fraction without inches; write it as 5/16in"),
        ("0mm", "is not a length above zero; read the caliper again"),
        ("0 0/4in", "is not a length above zero; read the caliper again"),
        ("9" * 400 + "in", "is not a length above zero; read the caliper again"),
        ("8 cm", "is not a length; write 8, 8.0mm, 0.315in or 5/16in"),
        ("-3", "is not a length; write 8, 8.0mm, 0.315in or 5/16in"),
    ],
)
def test_a_length_that_is_none_is_told_why(text: str, why: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse_length(text)
    assert str(caught.value) == f"'{text}' {why}"
