"""The examples in docstrings run, and give what they show."""

import doctest
import importlib

import pytest

from tests.breaks import ROOT

#: Modules with an example; found by text, so that none is imported for nothing.
WITH_EXAMPLES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for path in (ROOT / "pitchcam").rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)


def test_the_public_calls_have_examples():
    assert {"pitchcam", "pitchcam.pipeline.answer", "pitchcam.records"} <= set(WITH_EXAMPLES)
    assert len(WITH_EXAMPLES) >= 12


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples(name, monkeypatch):
    monkeypatch.chdir(ROOT)
    module = importlib.import_module(name)
    done = doctest.testmod(module, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert done.attempted > 0 and done.failed == 0
