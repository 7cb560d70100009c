"""Make the answers on docs/from-thread-to-joint.md again: ``python docs/joint_page.py``."""

from __future__ import annotations

import re
import shlex
import shutil
import tempfile
from contextlib import chdir
from pathlib import Path

from click.testing import CliRunner

from pitchcam.cli import cli

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "from-thread-to-joint.md"
#: A command whose first lines are shown below it.
_SHOWN = re.compile(
    r"```sh\n(?P<call>pitchcam [^\n]+)\n```\n"
    r"<!-- answer: (?P<lines>\d+) -->\n```\n(?P<said>.*?)```",
    re.DOTALL,
)


def refreshed(text: str) -> str:
    """Return the page with every shown answer as the commands give it now."""
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        shutil.copy(ROOT / "samples" / "stock" / "bench.csv", "bench.csv")
        return _SHOWN.sub(_answered, text)


def _answered(match: re.Match[str]) -> str:
    call = shlex.split(match["call"])[1:]
    done = CliRunner().invoke(cli, call)
    said = done.stdout.splitlines()
    shown = said[: int(match["lines"])]
    if len(said) > len(shown):
        shown.append("...")
    head = match[0].partition("<!--")[0]
    body = "".join(f"{line}\n" for line in shown)
    return f"{head}<!-- answer: {match['lines']} -->\n```\n{body}```"


def main() -> None:
    """Write the page with its answers as the commands give them now."""
    PAGE.write_text(refreshed(PAGE.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
