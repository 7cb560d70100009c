"""What a reader counts on: short modules, few arguments, each exception with its reason."""

from __future__ import annotations

import ast
import re
import statistics
import tomllib
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


def test_half_of_the_modules_are_short() -> None:
    assert statistics.median(house.lengths(house.PACKAGE.rglob("*.py"))) <= house.MEDIAN_LINES


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


def layers() -> list[list[str]]:
    """Return the import contract's layers, the lowest first; each room's name without marks."""
    text = (house.ROOT / "pyproject.toml").read_text(encoding="utf-8")
    contract = tomllib.loads(text)["tool"]["importlinter"]["contracts"][0]
    return [re.findall(r"pitchcam\.(\w+)", layer) for layer in reversed(contract["layers"])]


@pytest.mark.parametrize("page", ["DEVELOPERS.md", "README.md"])
def test_the_pages_order_of_stages_is_that_of_the_import_contract(page: str) -> None:
    text = (house.ROOT / page).read_text(encoding="utf-8")
    drawn = re.search(r"^photo -> light, camera -> .*?(?=^```)", text, re.MULTILINE | re.DOTALL)
    assert drawn is not None
    place = {room: i for i, layer in enumerate(layers()) for room in layer}
    for line in drawn[0].splitlines():
        steps = [re.findall(r"[a-z]+", step) for step in line.split("->")]
        for before, after in zip(steps, steps[1:], strict=False):
            for one in before:
                for other in after:
                    assert place[one] < place[other], (one, other)


def test_reference_and_thread_are_independent() -> None:
    text = (house.ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert '"pitchcam.thread | pitchcam.scale",' in text


def test_the_map_names_every_room() -> None:
    text = (house.ROOT / "README.md").read_text(encoding="utf-8")
    for room in sorted(house.PACKAGE.iterdir()):
        if (room / "__init__.py").exists():
            assert f"`pitchcam/{room.name}`" in text, f"{room.name} is missing in the map"
