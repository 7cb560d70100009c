"""Make docs/answer.jpg and the README's sample answer again: ``python docs/refresh.py``."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import cv2
from click.testing import CliRunner

from pitchcam.cli.identify import command

ROOT = Path(__file__).parents[1]


def main() -> None:
    """Run the README's first command and put its answer where the README shows it."""
    readme = ROOT / "README.md"
    text = readme.read_text(encoding="utf-8")
    found = re.search(r"pitchcam identify (\S+) (.+)", text)
    assert found is not None
    picture = ROOT / "docs" / "answer.png"
    arguments = [str(ROOT / found[1]), *shlex.split(found[2]), "--annotated", str(picture)]
    done = CliRunner().invoke(command, arguments, catch_exceptions=False)
    pixels = cv2.imread(str(picture))
    assert pixels is not None
    cv2.imwrite(str(picture.with_suffix(".jpg")), pixels, [cv2.IMWRITE_JPEG_QUALITY, 85])
    picture.unlink()
    block = f"<!-- answer -->\n```\n{done.stdout.rstrip()}\n```"
    text = re.sub(r"<!-- answer -->\n```\n.*?\n```", lambda _: block, text, flags=re.DOTALL)
    readme.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
