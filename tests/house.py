"""How the house stands: ``python -m tests.house`` prints the figures that a reader counts on.

A line counts where it holds a statement or data: blank lines, comments, docstrings and imports do
not, in the package as in the tests. Of the tests those lines count that assert something new:

- a test function that asserts (``assert``, ``raises``, ``warns``, or a helper that does), with the
  tables of its parameters, but a statement that stands word for word in another test counts once,
  and one that stands word for word in the package not at all;
- a helper's function that asserts for the tests that call it;
- what a test checks against: tables of the module that a counted test names, and rows of the
  outside tables in ``tests/**/data``.

Fixtures, drawing, other helpers and the programs beside the tests (fuzz, fresh, envelope ...)
do not count.
"""

from __future__ import annotations

import ast
import statistics
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGE, TESTS = ROOT / "pitchcam", ROOT / "tests"
#: The measuring wing, from the ground up.
WING = ("light", "camera", "objects", "edges", "scale", "thread", "pipeline")
MOST_LINES, MEDIAN_LINES, MOST_ARGUMENTS = 400, 150, 5
#: Functions of the wing that take more, and why.
MORE = {
    "pipeline/answer.py: identify": "the public call; all but photo and scale by keyword",
    "light/esf.py: edge_light": "the parameters of one fit, in the order of their slopes",
    "edges/unfold.py: unfold_flank": "a kernel of arrays: points, their flanks, two numbers",
}
Function = ast.FunctionDef | ast.AsyncFunctionDef
#: Calls that assert.
_ASSERTING = frozenset({"raises", "warns", "fail", "expect"})


@dataclass(frozen=True)
class Source:
    """One parsed file."""

    path: Path
    lines: tuple[str, ...]
    tree: ast.Module

    @classmethod
    def of(cls, path: Path) -> Source:
        text = path.read_text(encoding="utf-8")
        return cls(path, tuple(text.splitlines()), ast.parse(text))

    def counted(self, nodes: Iterable[ast.AST]) -> set[int]:
        """Return the numbers of the lines of some nodes that hold a statement or data."""
        inside: set[int] = set()
        left_out: set[int] = set()
        for node in nodes:
            first = min([node.lineno, *(d.lineno for d in getattr(node, "decorator_list", ()))])
            inside |= set(range(first, node.end_lineno + 1))
            for part in ast.walk(node):
                if isinstance(part, ast.Import | ast.ImportFrom) or _is_docstring(part):
                    left_out |= set(range(part.lineno, part.end_lineno + 1))
        return {n for n in inside - left_out if _says_something(self.lines[n - 1])}


def _is_docstring(node: ast.AST) -> bool:
    """A text that stands by itself; a module's, class's or function's is one too."""
    return (
        isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    )


def _says_something(line: str) -> bool:
    """Brackets alone say nothing: the formatter sets them."""
    bare = line.strip()
    return not bare.startswith("#") and bool(bare.strip("()[]{},:"))


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


def lengths(files: Iterable[Path]) -> list[int]:
    """Return the files' lines, sorted."""
    return sorted(len(f.read_text(encoding="utf-8").splitlines()) for f in files)


def code_lines() -> list[str]:
    """Return the package's lines that hold a statement or data."""
    out = []
    for file in sorted(PACKAGE.rglob("*.py")):
        source = Source.of(file)
        out += [source.lines[n - 1].strip() for n in sorted(source.counted(source.tree.body))]
    return out


def asserting_lines() -> list[str]:
    """Return the tests' lines that assert something new; see the module."""
    helpers = _asserting_helpers()
    seen = set(code_lines())
    out = []
    for file in sorted(TESTS.rglob("*.py")):
        source = Source.of(file)
        chosen: list[ast.AST] = [f for f in _functions(source.tree) if f.name in helpers]
        if file.name.startswith("test_"):
            tests = [f for f in _functions(source.tree) if f.name.startswith("test_")]
            tests = [f for f in tests if asserts(f, helpers)]
            chosen += [*tests, *tables(source.tree, tests)]
        for n in sorted(source.counted(chosen)):
            line = source.lines[n - 1].strip()
            if line not in seen:
                seen.add(line)
                out.append(line)
    return out


def outside_rows() -> int:
    """Return the rows of the outside tables that tests check against, without their heads."""
    tables = [f for f in TESTS.rglob("*.csv") if f.parent.name == "data"]
    return sum(
        len([x for x in f.read_text(encoding="utf-8").splitlines() if x and x[0] != "#"]) - 1
        for f in tables
    )


def _functions(tree: ast.Module) -> Iterator[Function]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def _called(node: ast.AST) -> set[str]:
    calls = (part.func for part in ast.walk(node) if isinstance(part, ast.Call))
    return {
        f.attr if isinstance(f, ast.Attribute) else f.id
        for f in calls
        if isinstance(f, ast.Attribute | ast.Name)
    }


def asserts(function: Function, helpers: set[str]) -> bool:
    """Say whether a function asserts, by itself or by a helper of these names."""
    return any(isinstance(part, ast.Assert) for part in ast.walk(function)) or bool(
        _called(function) & (helpers | _ASSERTING)
    )


def _asserting_helpers() -> set[str]:
    """Return the names of helpers in the tests that assert for those that call them."""
    return {
        f.name
        for file in TESTS.rglob("*.py")
        for f in _functions(Source.of(file).tree)
        if not f.name.startswith("test_") and asserts(f, set())
    }


def tables(tree: ast.Module, tests: list[Function]) -> list[ast.AST]:
    """Return the module's tables that counted tests name, in their body or parameters."""
    named = {part.id for f in tests for part in ast.walk(f) if isinstance(part, ast.Name)}
    out: list[ast.AST] = []
    for node in tree.body:
        targets = node.targets if isinstance(node, ast.Assign) else ()
        if any(isinstance(t, ast.Name) and t.id in named for t in targets):
            out.append(node)
    return out


def figures() -> dict[str, str]:
    """Return what is printed: words -> figure."""
    every = lengths(PACKAGE.rglob("*.py"))
    wing = lengths(f for room in WING for f in (PACKAGE / room).rglob("*.py"))
    more = [f"{name} ({MORE.get(name, 'WHY?')})" for name, n in functions().items() if n > 5]
    code, tests, rows = len(code_lines()), len(asserting_lines()), outside_rows()
    return {
        "modules": f"{len(every)}, median {statistics.median(every):g} lines, most {every[-1]}",
        "of the wing": f"{len(wing)}, median {statistics.median(wing):g} lines, most {wing[-1]}",
        "functions of the wing over five arguments": f"{len(more)}: {'; '.join(more)}",
        "lines of code": f"{code}",
        "lines that assert something new": f"{tests}, and {rows} rows of outside tables",
        "tests : code": f"{tests / code:.2f}; with the rows {(tests + rows) / code:.2f}",
    }


def main() -> None:
    for words, figure in figures().items():
        print(f"{words}: {figure}")


if __name__ == "__main__":
    main()
