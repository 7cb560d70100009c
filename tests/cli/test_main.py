"""The command line as a whole: what it imports, exit codes, one line for every failure."""

import subprocess
import sys

import click
import pytest

import pitchcam.cli as cli


def run(*arguments):
    code = f"import sys; sys.argv = ['pitchcam', *{arguments!r}]\n"
    code += "from pitchcam.cli import main; main()"
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60
    )


def test_help_imports_nothing_heavy():
    code = (
        "import sys; import pitchcam.cli as c\n"
        "try: c.cli.main(['--help'], standalone_mode=False)\n"
        "finally: print(sorted({'numpy', 'cv2', 'scipy', 'PIL', 'matplotlib', 'reportlab',"
        " 'jinja2', 'networkx', 'sqlite3'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip().endswith("[]")
    for name in cli.COMMANDS:
        assert name in done.stdout


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_exists_and_explains_itself(name):
    command = cli.cli.get_command(click.Context(cli.cli), name)
    assert command is not None
    assert command.help


def test_wrong_usage_is_exit_code_2():
    done = run("identify", "photo.jpg", "--pin", "8", "--disc", "23")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "--disc and --pin contradict" in done.stderr
    assert run("nonsense").returncode == 2


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("identify", "a.jpg", "pin", "8"), "a reference is an option: --pin 8"),
        (("identify", "a.jpg", "card"), "a reference is an option: --card\n"),
        (("README.md",), "such as: pitchcam identify README.md --card"),
        (("job", "--port", "THREAD", "--part", "M14x1.5"), "put its name there"),
    ],
)
def test_a_word_in_the_wrong_place_is_told_where_it_belongs(arguments, says):
    done = run(*arguments)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert says in done.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ("identify", "a.jpg", "--pin", "x"),
        ("identify", "a.jpg", "--pine", "8"),
        ("join",),
        ("join", "--port", "M8"),
        ("stock", "take"),
        ("chart", "--paper", "b5"),
        ("nonsense",),
        ("mate", "M14x1.5"),
        ("mate", "--matrix", "--json"),
        ("sheet", "-o", "a.doc"),
    ],
)
def test_wrong_calls_are_one_line_of_one_form_and_exit_code_2(arguments):
    done = run(*arguments)
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr.startswith("pitchcam: ") and done.stderr.count("\n") == 1, done.stderr
    assert " -c " not in done.stderr


def _commands(command, path=()):
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            yield from _commands(command.get_command(context, name), (*path, name))
    else:
        yield path, command


#: One word per option, whatever the command.
WORDS = {"--page": "--paper", "--pdf": "--output", "--out-file": "--output"}


def test_every_help_has_an_example_and_one_word_per_option():
    for path, command in _commands(cli.cli):
        line = f"Example: pitchcam {' '.join(path)}"
        said = " ".join(command.get_help(click.Context(command)).split())
        assert line in said, path
        options = {o for p in command.params for o in p.opts}
        assert not options & set(WORDS), path
        if "--output" in options:
            assert "-o" in options, path


def test_a_missing_file_is_one_line_and_exit_code_1(tmp_path):
    done = run("identify", str(tmp_path / "none.jpg"), "--pin", "8")
    assert done.returncode == 1
    assert done.stdout == ""
    # On a slow machine, importing alone takes long enough for progress to be told.
    lines = [line for line in done.stderr.splitlines() if " s  " not in line]
    assert len(lines) == 1
    assert "no file" in lines[0]


def test_a_terminal_without_plus_minus_still_gets_its_answer(monkeypatch):
    monkeypatch.setenv("PYTHONIOENCODING", "ascii")
    done = run("mate", "M14x1.5", "M14x1.5")
    assert done.returncode == 0
    assert "unexpectedly" not in done.stderr


def fake(monkeypatch, error):
    @click.command()
    def command():
        raise error

    monkeypatch.setattr(cli.LazyGroup, "get_command", lambda *_: command)
    monkeypatch.setattr(sys, "argv", ["pitchcam", "identify"])


def test_an_unexpected_failure_is_one_line(monkeypatch, capsys):
    fake(monkeypatch, RuntimeError("inner\nworkings"))
    with pytest.raises(SystemExit) as stopped:
        cli.main()
    told = capsys.readouterr().err
    assert stopped.value.code == 1
    assert told.count("\n") == 1
    assert "RuntimeError: inner workings" in told


def test_the_trace_is_there_when_asked_for(monkeypatch):
    fake(monkeypatch, RuntimeError("inner"))
    monkeypatch.setenv(cli.TRACE, "1")
    with pytest.raises(RuntimeError, match="inner"):
        cli.main()
