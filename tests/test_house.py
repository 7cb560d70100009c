"""What a reader counts on: short modules, few arguments, each exception with its reason."""

from __future__ import annotations

import ast
import statistics
from pathlib import Path

import pytest

from tests import house


def test_the_wings_functions_take_five_arguments_or_say_why() -> None:
    more = {name for name, count in house.functions().items() if count > house.MOST_ARGUMENTS}
    assert more == set(house.MORE)


@pytest.mark.parametrize("file", sorted(house.PACKAGE.rglob("*.py")), ids=lambda f: f.stem)
def test_no_module_is_long(file: Path) -> None:
    (lines,) = house.lengths([file])
    assert lines <= house.MOST_LINES


def test_half_of_the_wings_modules_are_short() -> None:
    files = (f for room in house.WING for f in (house.PACKAGE / room).rglob("*.py"))
    assert statistics.median(house.lengths(files)) <= house.MEDIAN_LINES


def test_the_tests_keep_their_weight() -> None:
    """What asserts grows with the code: it was 0.42 of it when this was first counted."""
    assert len(house.asserting_lines()) / len(house.code_lines()) > 0.40


def test_what_asserts_nothing_new_does_not_count(tmp_path: Path) -> None:
    file = tmp_path / "test_a.py"
    file.write_text(
        '"""Text."""\nimport os\nLIMIT = 3\nOTHER = 4\n\n\n'
        'def test_one():\n    """Text."""\n    # A comment.\n    assert f(\n'
        "        LIMIT\n    )\n\n\ndef test_two():\n    f(LIMIT)\n"
    )
    source = house.Source.of(file)
    one, two = (f for f in source.tree.body if isinstance(f, ast.FunctionDef))
    assert source.counted([one]) == {7, 10, 11}  # neither text, comment nor a bare bracket
    assert source.counted(source.tree.body) == {3, 4, 7, 10, 11, 15, 16}
    assert house.asserts(one, set())
    assert not house.asserts(two, set())
    assert house.asserts(two, {"f"})
    assert source.counted(house.tables(source.tree, [one])) == {3}
