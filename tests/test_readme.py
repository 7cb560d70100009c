"""What the README promises is there: files, commands, the two commands that do all set-up."""

import re
from pathlib import Path

import pytest

from pitchcam.cli import COMMANDS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_links_lead_somewhere(page):
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", text):
        assert (ROOT / target).exists(), target


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_listed(name):
    assert f"`{name}`" in README


@pytest.mark.parametrize("name", ["answer", "tests"])
def test_both_commands_stand_in_their_blocks(name):
    block = re.search(rf"<!-- run: {name} -->\n```sh\n(.+)\n```", README)
    assert block is not None
    assert block[1].startswith("python3 -m venv .venv && .venv/bin/pip install")


def test_the_photo_of_the_first_command_is_there():
    photo = re.search(r"pitchcam identify (\S+)", README)
    assert photo is not None
    assert (ROOT / photo[1]).is_file()


def named_modules(page: str) -> set[tuple[str, str]]:
    """Return the modules a page names in code marks, each with the name after its colon, if any."""
    text = (ROOT / page).read_text(encoding="utf-8")
    found = re.findall(r"`(?:pitchcam/)?([\w/.]*\w+\.py)(?:: ([\w.]+))?`", text)
    return set(found)


@pytest.mark.parametrize("page", ["DEVELOPERS.md", "docs/why.md"])
def test_modules_that_a_page_names_are_there_with_what_it_says_of_them(page):
    files = [
        f
        for folder in ("pitchcam", "tests", "docs", "samples", ".ci")
        for f in (ROOT / folder).rglob("*.py")
    ]
    named = named_modules(page)
    assert len(named) > 20
    for module, name in sorted(named):
        of = [f for f in files if f"/{f.relative_to(ROOT)}".endswith(f"/{module}")]
        assert of, module
        assert any(name in f.read_text(encoding="utf-8") for f in of), (module, name)
