"""The docs: every example runs and says what the page shows; pages are whole and are linked."""

import importlib.util
import re
import subprocess
import sys
from contextlib import chdir
from pathlib import Path

import click
import pytest

from pitchcam.cli import COMMANDS, cli

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
CI = (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def _module(name):
    spec = importlib.util.spec_from_file_location(f"docs_{name}", DOCS / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


answers = _module("answers")
PAGES = {p.name: p.read_text(encoding="utf-8") for p in answers.PAGES}


def masked(text):
    """Leave out measured figures and a record's ids, which every change of the core moves."""
    text = re.sub(r"\b[0-9a-f]{10}\b", "id", re.sub(r"\d+\.\d+", "#", text))
    return re.sub(r"[ \t]+", " ", text)


@pytest.mark.parametrize("name", [n for n, t in PAGES.items() if any(answers.blocks(t))])
def test_examples_run_and_answers_are_those_of_today(name):
    now = answers.refreshed(PAGES[name])
    assert masked(now) == masked(PAGES[name]), f"run: python docs/answers.py {name}"


@pytest.mark.parametrize("name", PAGES)
def test_every_example_is_of_a_kind_that_is_run(name):
    text = PAGES[name]
    fences = re.findall(r"^```(sh|bash|shell|console|python|pycon)$", text, re.MULTILINE)
    assert len(fences) == len(list(answers.blocks(text)))
    for match in answers.blocks(text):
        if match["mark"] == "run":
            said = "readme" if name == "README.md" else "docs"
            run = rf"(?:run_{said}|{said}_command) {match['how']}\b"
            assert re.search(run, CI), f"{match['how']} is not run by .ci/run"


def test_an_example_that_fails_is_told():
    with pytest.raises(answers.ExampleError, match="ended with 2"):
        answers.refreshed("```sh\npitchcam series nonsense-9\n```\n")
    with pytest.raises(answers.ExampleError, match="not marked"):
        answers.refreshed("```sh\nrm -r /\n```\n")
    with pytest.raises(answers.ExampleError, match="ZeroDivisionError"):
        answers.refreshed("```python\n1 / 0\n```\n")


def test_an_answer_that_differs_is_written_anew():
    text = "```sh\npitchcam mate M10x1 M10x1\n```\n<!-- answer: 1 -->\n```text\nold\n```\n"
    assert "M10x1 male into M10x1 female" in answers.refreshed(text)


def help_examples():
    """Return the example of every help, in order."""
    todo = [(cli.get_command(click.Context(cli), n), f"pitchcam {n}") for n in COMMANDS]
    while todo:
        command, path = todo.pop(0)
        context = click.Context(command, info_name=path, terminal_width=500)
        yield re.search(r"Example: (.*)", command.get_help(context))[1]
        if isinstance(command, click.Group):
            todo[:0] = [
                (command.get_command(context, n), f"{path} {n}")
                for n in command.list_commands(context)
            ]


def test_the_example_of_every_help_runs(tmp_path):
    """In the order of the commands' page, in one folder; a record's id is one of the list."""
    with chdir(tmp_path):
        answers.lay_out(tmp_path, "views/ <!-- photos: p13-npt12-pin -->")
        ran = []
        for line in help_examples():
            if line.startswith("pitchcam serve"):
                continue  # .ci/run serves the page
            if "1f3a90c2" in line:
                first = answers.command("pitchcam log list").split()[0]
                line = line.replace("1f3a90c2-1", first).replace("1f3a90c2", first.split("-")[0])
            ran.append(answers.command(line))
    assert len(ran) >= len(COMMANDS)
    assert "1/2-14 NPT" in ran[0]


def test_the_guide_has_every_command_once():
    text = PAGES["from-thread-to-joint.md"]
    calls = re.findall(r"^pitchcam (\S+)", text, re.MULTILINE)
    for name in COMMANDS:
        assert name == "stock" or calls.count(name) == 1, name
    assert list(dict.fromkeys(calls)).index("mate") < calls.index("join")


def test_pictures_of_the_pages_are_there_and_all_are_shown():
    shown = set()
    for text in PAGES.values():
        shown |= set(re.findall(r"(?:pictures|screens)/[\w.-]+", text))
    gallery = (DOCS / "data" / "gallery.json").read_text(encoding="utf-8")
    shown |= {f"pictures/{n}.jpg" for n in re.findall(r'"name": "([^"]+)"', gallery)}
    for path in shown:
        assert (DOCS / path).is_file(), path
    kept = {f"pictures/{p.name}" for p in (DOCS / "pictures").iterdir()}
    assert kept <= shown


def test_the_docs_build_without_a_warning(tmp_path):
    pytest.importorskip("sphinx")
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", "-W", "--keep-going", "-q", "-b", "html", DOCS, tmp_path],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    search = (tmp_path / "searchindex.js").read_text(encoding="utf-8")
    assert "truncat" in search  # words are stemmed
    for page in tmp_path.glob("*.html"):
        text = page.read_text(encoding="utf-8")
        assert not re.findall(r'(?:src|href)="(?:https?:)?//[^"]*\.(?:js|css|woff2?)"', text), page
