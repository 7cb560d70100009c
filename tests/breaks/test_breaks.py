"""The list of breaks keeps up with the source; what catches them: ``python -m tests.breaks``."""

import pytest

from tests.breaks import ROOT, Break, load_breaks, stale

BREAKS = load_breaks()


def test_there_are_enough_and_none_twice():
    assert len(BREAKS) >= 60
    assert len({(b.file, b.old, b.new) for b in BREAKS}) == len(BREAKS)


@pytest.mark.parametrize("one", BREAKS, ids=lambda b: b.title)
def test_a_break_still_applies_and_is_still_a_program(one):
    broken = one.applied((ROOT / one.file).read_text(encoding="utf-8"))
    assert broken is not None, "stale: bring its old text up to the source, or take it out"
    assert one.new != one.old
    if one.file.endswith(".py"):
        compile(broken, one.file, "exec")
    assert all((ROOT / test.partition("::")[0]).is_file() for test in one.tests)


def test_a_text_that_is_gone_or_there_twice_is_stale(tmp_path):
    one = Break("a.py", "u = 1", "u = 2", "u", ())
    for text, found in (("u = 1\n", []), ("v = 1\n", [one]), ("u = 1\nu = 1\n", [one])):
        (tmp_path / "a.py").write_text(text)
        assert stale([one], tmp_path) == found
    (tmp_path / "a.py").unlink()
    assert stale([one], tmp_path) == [one]
