"""Run every example on the docs' pages, and write what they answer: ``python docs/answers.py``.

A page's ``sh`` blocks of ``pitchcam`` lines and its ``python`` blocks run in order in one folder,
with the samples, their stock sheet and a few photos laid out. ``<!-- answer: N -->`` after a block
shows the first N lines of what it said. ``<!-- exit: 4 -->`` before a block says that it ends so;
``<!-- run: NAME -->`` that ``.ci/run`` runs it instead.
"""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import chdir
from pathlib import Path

from click.testing import CliRunner
from PIL import Image

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from pitchcam.cli import cli  # noqa: E402
from pitchcam.errors import PitchcamError  # noqa: E402

PAGES = (ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md")))
_BLOCK = re.compile(
    r"(?:<!-- (?P<mark>run|exit): (?P<how>[\w-]+) -->\n)?"
    r"```(?P<kind>sh|python)\n(?P<code>.*?)```\n"
    r"(?:<!-- answer: (?P<lines>\d+) -->\n```(?:text)?\n(?P<said>.*?)```\n)?",
    re.DOTALL,
)
#: Camera positions of the photos of the sheet, as rotation vectors.
_TURNS = [(0.02, 0.01, 0.0), (0.45, 0, 0), (-0.45, 0.05, 0), (0, 0.5, 0.1), (0.05, -0.5, 0)]


class ExampleError(Exception):
    """An example on a page did not do what the page says."""


def blocks(text: str) -> Iterator[re.Match[str]]:
    """Return the examples of a page in order."""
    return _BLOCK.finditer(text)


def refreshed(text: str) -> str:
    """Run a page's examples and return the page with what they say now.

    Raises
    ------
    ExampleError
        If a command ends with another code than the page says, or a line of Python fails.
    """
    names: dict[str, object] = {}
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        lay_out(Path(folder), text)

        def again(match: re.Match[str]) -> str:
            if match["mark"] == "run":
                return match[0]
            if match["kind"] == "python":
                said = _python(match["code"], names)
            else:
                code = int(match["how"]) if match["mark"] == "exit" else None
                said = "".join(command(line, code) for line in _lines(match["code"]))
            return _shown(match, said)

        return _BLOCK.sub(again, text)


def _lines(code: str) -> list[str]:
    joined = code.replace("\\\n", " ")
    return [line for line in joined.splitlines() if line.strip() and not line.startswith("#")]


def command(line: str, code: int | None = None) -> str:
    """Run one line as it is typed and return what it says; ``code`` is how it has to end."""
    words = shlex.split(line, comments=True)
    if not words or words[0] != "pitchcam":
        raise ExampleError(f"{line}: no pitchcam command, and not marked as run elsewhere")
    if "ID" in words:  # stands for the first result of the record
        first = command("pitchcam log list").split()[0]
        words = [first if word == "ID" else word for word in words]
    words = [str(p) for w in words[1:] for p in (sorted(Path().glob(w)) if "*" in w else [w])]
    if words[0] == "batch":
        words += ["--jobs", "1"]  # so that the record has the photos in their order
    done = CliRunner().invoke(cli, words)
    ended = (
        done.exception.exit_code if isinstance(done.exception, PitchcamError) else (done.exit_code)
    )
    if done.exception is not None and not isinstance(done.exception, SystemExit | PitchcamError):
        raise ExampleError(f"{line}: {done.exception!r}") from done.exception
    if ended not in ((0, 3) if code is None else (code,)):
        raise ExampleError(f"{line}: ended with {ended}: {done.stderr or done.exception}")
    if isinstance(done.exception, PitchcamError):
        return f"pitchcam: {done.exception}\n"
    return done.stdout


def _python(code: str, names: dict[str, object]) -> str:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        try:
            exec(compile(code, "<example>", "exec"), names)
        except Exception as error:
            raise ExampleError(f"{code}\n{error!r}") from error
    return out.getvalue()


def _shown(match: re.Match[str], said: str) -> str:
    if match["lines"] is None:
        return match[0]
    lines = said.splitlines()
    shown = lines[: int(match["lines"])]
    if len(lines) > len(shown):
        shown.append("...")
    head = match[0].partition("<!-- answer")[0]
    body = "".join(f"{line.rstrip()}\n" for line in shown)
    return f"{head}<!-- answer: {match['lines']} -->\n```text\n{body}```\n"


def lay_out(folder: Path, text: str) -> None:
    """Put what the page's examples use into the folder."""
    (folder / "samples").symlink_to(ROOT / "samples")
    shutil.copy(ROOT / "samples" / "stock" / "bench.csv", folder / "bench.csv")
    shutil.copy(ROOT / "samples" / "p13-npt12-pin.jpg", folder / "sender.jpg")
    photos = re.findall(r"<!-- photos: (.+?) -->", text)
    for name in " ".join(photos).split():
        (folder / "photos").mkdir(exist_ok=True)
        shutil.copy(ROOT / "samples" / f"{name}.jpg", folder / "photos")
    if "views/" in text:
        _views(folder / "views")
    if "A.jpg" in text:
        _of_one_part(folder)


def _views(folder: Path) -> None:
    """Draw the marker sheet from five sides."""
    from tests.scale.test_sheet import photo

    folder.mkdir()
    for i, turn in enumerate(_TURNS):
        big = Image.fromarray(photo("part", 3055.0, turn, (0.0, 0.0, 200.0), seed=i))
        big.resize((2016, 1512), Image.Resampling.BOX).save(folder / f"view{i}.jpg", quality=95)


def _of_one_part(folder: Path) -> None:
    """Draw three photos of one part, the third beside another pin."""
    from tests.several.draw import case

    seed = next(s for s in range(99) if case(s, another_pin=True).pins_mm[:2] == (8.0, 6.0))
    drawn = case(seed, another_pin=True)
    first, third, second = drawn.write(folder, "of-one-part")
    for photo, name in ((first, "A"), (second, "B"), (third, "C")):
        photo.rename(folder / f"{name}.jpg")


def main() -> None:
    """Write every page that has examples, or those named, with their answers as they are now."""
    wanted = [Path(p).resolve() for p in sys.argv[1:]] or PAGES
    for page in wanted:
        text = page.read_text(encoding="utf-8")
        page.write_text(refreshed(text), encoding="utf-8")


if __name__ == "__main__":
    main()
