"""Reading within bounds: only regular files, only so many bytes."""

import os
import socket
from pathlib import Path

import pytest

from pitchcam.errors import InputError, UsageError, one_line, printable
from pitchcam.files import open_regular, read_whole
from pitchcam.store.store import Store


def test_what_is_no_regular_file_is_refused_without_waiting(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(tmp_path / "s"))
        for name in (tmp_path / "pipe", tmp_path / "s", "/dev/zero"):
            with pytest.raises(InputError, match="not a regular file; send a file"):
                read_whole(tmp_path / name, 100, advice="send a file")
    with pytest.raises(InputError, match="folder"):
        open_regular(tmp_path, advice="")
    with pytest.raises(InputError, match="no file"):
        open_regular(tmp_path / "none", advice="")


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no such files here")
def test_what_a_system_tells_of_itself_is_no_file(tmp_path):
    """It claims no size, and some of it makes a reader wait for ever."""
    with pytest.raises(InputError, match="not a regular file"):
        read_whole(Path("/proc/self/status"), 100, advice="")
    with pytest.raises(InputError, match="not a regular file"), Store(Path("/proc/self/status")):
        pass
    (tmp_path / "empty").touch()
    assert read_whole(tmp_path / "empty", 100, advice="") == b""
    with Store(tmp_path / "empty") as store:
        assert store.ids() == []


def test_bytes_are_bounded(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"x" * 100)
    assert read_whole(path, 100, advice="") == b"x" * 100
    with pytest.raises(InputError, match="more than the limit"):
        read_whole(path, 99, advice="send less")


@pytest.mark.parametrize(
    "text, shown",
    [
        ("plain ü µ ±", "plain ü µ ±"),
        ("a\nb\x1b[31m", r"a\nb\x1b[31m"),
        ("\u202eflip", r"\u202eflip"),
        ("\udcff", r"\xff"),
    ],
)
def test_names_cannot_steer_a_terminal(text, shown):
    assert printable(text) == shown
    assert str(UsageError(f"{text}:", "look")).startswith(shown)
    assert one_line(text, "Look.").isprintable()
