"""``pitchcam serve`` before it serves: what is wrong is one line."""

from __future__ import annotations

import socket

import pytest
from click.testing import CliRunner

from pitchcam.cli.serve import command
from pitchcam.errors import UsageError


def serve(*options: str):
    return CliRunner().invoke(command, options, catch_exceptions=False)


def test_a_reference_that_is_none(tmp_path):
    with pytest.raises(UsageError, match="no such reference"):
        serve("--reference", "ruler 3", "--folder", str(tmp_path / "p"))
    assert not (tmp_path / "p").exists()


def test_a_port_that_is_taken(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(UsageError, match=f"port {port} cannot be taken.*--port"):
            serve("--port", str(port), "--folder", str(tmp_path / "p"))


def test_a_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(UsageError, match="cannot be made"):
        serve("--port", "0", "--folder", str(tmp_path / "file" / "p"))
