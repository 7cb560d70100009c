"""What a reader counts on: short modules, few arguments, each exception with its reason."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "pitchcam"
#: The measuring wing, from the ground up.
WING = ("light", "camera", "objects", "edges", "scale", "thread", "pipeline")
MOST_LINES, MOST_ARGUMENTS = 400, 5
#: Functions of the wing that take more, and why.
MORE = {
    "pipeline/answer.py: identify": "the public call; all but photo and scale by keyword",
    "light/esf.py: edge_light": "the parameters of one fit, in the order of their slopes",
    "thread/section.py: unfold_flank": "a kernel of arrays: points, their flanks, two numbers",
}


def functions() -> dict[str, int]:
    """Return the wing's functions and their number of arguments."""
    out = {}
    for room in WING:
        for file in sorted((PACKAGE / room).rglob("*.py")):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if not isinstance(node, ast.FunctionDef):
                    continue
                names = [a.arg for a in (*node.args.posonlyargs, *node.args.args)]
                count = len(names) + len(node.args.kwonlyargs) - (names[:1] in (["self"], ["cls"]))
                out[f"{file.relative_to(PACKAGE)}: {node.name}"] = count
    return out


def test_the_wings_functions_take_five_arguments_or_say_why() -> None:
    assert {name for name, count in functions().items() if count > MOST_ARGUMENTS} == set(MORE)


@pytest.mark.parametrize("file", sorted(PACKAGE.rglob("*.py")), ids=lambda f: f.stem)
def test_no_module_is_long(file: Path) -> None:
    assert len(file.read_text(encoding="utf-8").splitlines()) <= MOST_LINES
