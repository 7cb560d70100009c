"""The variants of a photo's focal length: the tags are what they say, the picture is the same."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pitchcam import load_photo
from tests.fresh.focal import ABSURD_MM, VARIANTS, ZOOMED, table, write

SAMPLE = Path(__file__).parents[2] / "samples" / "p05-unf12-pin.json"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    room = tmp_path_factory.mktemp("focal")
    return {name: files[0].with_suffix(".jpg") for name, files in write([SAMPLE], room).items()}


def told(photo: Path) -> float | None:
    return load_photo(photo).f35_mm


def test_tags_are_changed_and_nothing_else(made: dict[str, Path]) -> None:
    f35 = told(made["as it is"])
    assert f35 is not None
    assert told(made["absent"]) is None
    assert told(made["absurd"]) in (None, ABSURD_MM)
    for name, share in (("5 % long", 1.05), ("5 % short", 0.95)):
        assert told(made[name]) == pytest.approx(f35 * share, abs=0.5)  # a whole number of mm
    before = np.asarray(Image.open(made["as it is"]))
    for name in ("absent", "absurd", "5 % long", "5 % short"):
        assert np.array_equal(np.asarray(Image.open(made[name])), before)


def test_frames_are_cut_and_zoomed(made: dict[str, Path]) -> None:
    with Image.open(made["as it is"]) as before, Image.open(made["16:9"]) as wide:
        assert wide.size == (before.width, before.width * 9 // 16)
    with Image.open(made["zoomed"]) as zoomed:
        assert zoomed.size == before.size
        assert zoomed.getexif().get_ifd(0x8769)[41988] == pytest.approx(ZOOMED, abs=0.01)


@pytest.mark.parametrize(("size", "cut"), [((64, 48), (64, 36)), ((48, 64), (36, 64))])
def test_a_picture_is_cut_across_its_shorter_side(
    size: tuple[int, int], cut: tuple[int, int]
) -> None:
    """However it is stored: the long side is the sensor's, and 36 of its 48 rows are left."""
    out = io.BytesIO()
    Image.new("L", size, 90).save(out, "JPEG")
    with Image.open(io.BytesIO(VARIANTS["16:9"](out.getvalue()))) as again:
        assert again.size == cut


def test_the_truth_lies_beside_every_variant(made: dict[str, Path]) -> None:
    assert set(made) == set(VARIANTS)
    for photo in made.values():
        truth = json.loads(photo.with_suffix(".json").read_text(encoding="utf-8"))
        assert truth["threads"] == json.loads(SAMPLE.read_text(encoding="utf-8"))["threads"]


def test_a_file_of_several_segments_stays_whole() -> None:
    image = Image.new("L", (32, 24), 90)
    out = io.BytesIO()
    exif = Image.Exif()
    exif.get_ifd(0x8769)[41989] = 26
    image.save(out, "JPEG", exif=exif, icc_profile=b"x" * 400, comment=b"bench")
    with Image.open(io.BytesIO(VARIANTS["absent"](out.getvalue()))) as again:
        assert again.info["icc_profile"] == b"x" * 400
        assert again.info["comment"] == b"bench"
        assert 41989 not in again.getexif().get_ifd(0x8769)
        assert np.array_equal(np.asarray(again), np.asarray(Image.open(out)))


def test_the_table_counts_what_rows_say() -> None:
    row = {
        "photo": "a",
        "folder": "b",
        "truth": "M8x1.25",
        "answer": "M8x1.25",
        "errors": {"pitch_mm": 0.002, "major_mm": 0.1},
        "u": {"pitch_mm": 0.001, "major_mm": 0.1},
    }
    rows = [row | {"outcome": "right"}, row | {"outcome": "wrong", "answer": "5/16-20 UN"}]
    far = {"outcome": "open", "expected": "unreadable: wrong size", "u": {"pitch_mm": 1e-4}}
    lines = table({"absent": [*rows, row | far]}).splitlines()
    assert lines[1].split() == ["absent", "3", "1", "1", "0", "1", "0%", "2.00", "100%", "1.00"]
    assert "b/a: 5/16-20 UN for M8x1.25" in lines[2]
