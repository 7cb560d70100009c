"""The page 'from thread to joint': every command once, with the answers it gives."""

import importlib.util
import re
from pathlib import Path

from pitchcam.cli import COMMANDS

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "from-thread-to-joint.md"


def joint_page():
    spec = importlib.util.spec_from_file_location("joint_page", ROOT / "docs" / "joint_page.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_answers_are_those_of_the_commands():
    text = PAGE.read_text(encoding="utf-8")
    assert joint_page().refreshed(text) == text, "run: python docs/joint_page.py"
    assert "```\n```" not in text


def test_every_command_stands_there_once():
    calls = re.findall(r"^pitchcam (\S+)", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    for name in COMMANDS:
        assert name == "stock" or calls.count(name) == 1, name
    assert list(dict.fromkeys(calls)).index("mate") < calls.index("join")


def test_photos_of_the_page_are_there():
    for path in re.findall(r"(samples/\S+\.(?:jpg|csv))", PAGE.read_text(encoding="utf-8")):
        assert (ROOT / path).is_file(), path
