"""The glossary: each word once, in order, and the files that it names are there."""

import re

import pytest

from tests.breaks import ROOT

TEXT = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
ROWS = re.findall(r"^\| (?!word |-)(.+?) \| (.+) \| (.+?) \|$", TEXT, re.MULTILINE)
BLOCKS = [re.findall(r"^\| (?!word |-)(.+?) \|", b, re.MULTILINE) for b in TEXT.split("## ")[1:]]


def test_each_word_has_one_meaning():
    words = [word for head, _, _ in ROWS for word in head.split(", ")]
    assert len(words) == len(set(words)) > 60


@pytest.mark.parametrize("block", BLOCKS, ids=["threads", "photo", "measuring"])
def test_words_are_in_order(block):
    assert block == sorted(block, key=str.lower)


def test_files_that_it_names_are_there():
    named = [n for n in re.findall(r"`([\w/]+(?:\.py|/schema))`", TEXT)]
    assert len(named) >= 4
    for name in named:
        assert (ROOT / name).exists() or (ROOT / "pitchcam" / name).exists(), name


#: Words whose other meanings went, and where the word may stand in a class's or module's name.
ONCE = {
    "section": ("edges/section.py", "joining/papers/half_section"),
    "lead": ("nowhere",),
    # Of an object in the photo, and what is read of all of it.
    "outline": ("errors.py", "pipeline/outline.py", "thread/outlined.py", "thread/aslant/fit.py"),
    "plate": ("nowhere",),
    "fitting": ("joining/",),
    "ends": ("joining/",),
    "profile": (
        "series/profile.py",
        "report/profile.py",
        "camera/profile.py",
        "edges/edge_profiles.py",
        "edges/flank_place.py",
        "joining/mating/geometry.py",
    ),
    "answer": ("pipeline/", "batch/", "page/routes/"),
    "sheet": ("sheet/", "scale/sheet.py", "cli/sheet.py", "joining/", "batch/contact.py"),
}


@pytest.mark.parametrize("word", ONCE)
def test_a_word_of_one_meaning_names_nothing_else(word):
    for path in (ROOT / "pitchcam").rglob("*.py"):
        place = path.relative_to(ROOT / "pitchcam").as_posix()
        names = re.findall(r"^class _?(\w+)", path.read_text(encoding="utf-8"), re.MULTILINE)
        for name in (path.stem, *names):
            parts = re.findall(r"[a-z]+", re.sub(r"([A-Z])", r"_\1", name).lower())
            if word in parts:
                assert place.startswith(ONCE[word]), f"{place}: {name}"
