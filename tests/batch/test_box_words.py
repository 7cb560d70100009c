"""A box without photos: order of its lines, counts, words, rates, the list that says what to do."""

import dataclasses
from pathlib import Path
from typing import Any

import pytest

from pitchcam.batch.answer import Answer, Line, count_rows, make_answer, summary, write_tables
from pitchcam.batch.order import shelf_key
from pitchcam.batch.progress import Rate
from pitchcam.batch.runner import Batch
from pitchcam.batch.settings import U_SHRINKAGE, Job, Settings
from pitchcam.batch.source import is_photo_name, list_photos, read_list
from pitchcam.batch.study import LIMIT_FACTOR, Components, plain_name, text
from pitchcam.errors import InputError, UsageError
from pitchcam.records import ScaleSpec
from pitchcam.series import load_series
from pitchcam.store.rows import ThreadRow
from pitchcam.store.store import Store

PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))


def row(**cells: Any) -> ThreadRow:
    given: dict[str, Any] = {
        "id": "0", "photo": "a.jpg", "part": 1, "thread": 1, "status": "named", "name": "M14x1.5",
        "designation": "M14x1.5", "standard": "ISO 261", "probability": 0.98,
        "quantities": {"pitch_mm": (1.5, 0.002)}, "gender": "external", "starts": 1, "turns": 8.0,
        "candidates": "M14x1.5 0.980", "same_geometry": "", "next_step": "", "warnings": "",
        "corrected_by": "", "corrected_why": "", "sha256": "ab", "settings_key": "k",
    }  # fmt: skip
    return ThreadRow(**(given | cells))


def doubt(**cells: Any) -> ThreadRow:
    open_ = {"status": "ambiguous", "name": "", "designation": "", "standard": ""}
    return row(**(open_ | {"next_step": "measure the taper"} | cells))


def answer(*rows: ThreadRow, **more: Any) -> Answer:
    return Answer(lines=tuple(Line(number=i, row=r) for i, r in enumerate(rows, 1)), **more)


def test_lines_in_doubt_and_bins() -> None:
    box = answer(doubt(), row(), row(photo="b.jpg"), row(name="G 1/4", designation="G 1/4"))
    assert [x.number for x in box.doubtful] == [1]
    assert [(name, [x.number for x in lines]) for name, lines in box.bins] == [
        ("M14x1.5", [2, 3]),
        ("G 1/4", [4]),
    ]


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        ((), 0),
        ((row(),), 0),
        ((row(), doubt()), 3),
        ((doubt(status="off-series"),), 3),
        ((doubt(status="refused"), doubt()), 4),
        ((doubt(status="failed"),), 1),
        # What a person named is in no doubt any more.
        ((doubt(name="M14x1.5", corrected_by="bench"),), 0),
    ],
)
def test_a_box_ends_with_the_worst_of_its_doubts(rows: tuple[ThreadRow, ...], code: int) -> None:
    assert answer(*rows).exit_code == code


def test_bins_are_counted_then_doubts_by_status() -> None:
    made = answer(
        doubt(),
        doubt(),
        doubt(status="refused"),
        row(),
        row(),
        # What a person calls it has no standard of ours.
        row(name="own", designation="M14x1.5"),
    )
    assert count_rows(made) == [
        {"name": "M14x1.5", "standard": "ISO 261", "count": 2},
        {"name": "own", "standard": "", "count": 1},
        {"name": "(ambiguous)", "standard": "", "count": 2},
        {"name": "(refused)", "standard": "", "count": 1},
    ]


def test_the_summary_has_the_doubtful_first_with_what_to_do() -> None:
    made = answer(
        doubt(candidates="G 1/2 0.60; R 1/2 0.40"),
        doubt(photo="b\n.jpg", part=None, candidates="", status="refused", next_step="retake"),
        row(),
        row(name="G 1/4"),
        row(),
        hints=("pin: measure it",),
    )
    assert summary(made).splitlines() == [
        "pin: measure it",
        "In doubt (2):",
        "     1  a.jpg, part 1  ambiguous: G 1/2 (60.0 %) or R 1/2 (40.0 %)",
        "        measure the taper",
        "     2  b\\n.jpg  refused",
        "        retake",
        "Named (3):",
        "     2  M14x1.5",
        "     1  G 1/4",
    ]
    assert summary(answer()) == "No photos."


def test_tables_are_written_with_their_numbers(tmp_path: Path) -> None:
    files = write_tables(answer(doubt(), row()), tmp_path)
    assert [f.name for f in files] == ["box.csv", "box.json", "counts.csv"]
    lines = (tmp_path / "box.csv").read_text().splitlines()
    assert lines[0].startswith("number,id,photo,part,thread,status,name,")
    assert [x.split(",")[0] for x in lines[1:]] == ["1", "2"]
    counts = (tmp_path / "counts.csv").read_text().splitlines()
    assert counts == ["name,standard,count", "M14x1.5,ISO 261,1", "(ambiguous),,1"]


def test_a_photo_that_was_never_measured_is_told(tmp_path: Path) -> None:
    with Store(tmp_path / "r.sqlite") as store:
        job = Job(path=Path("a.jpg"), name="a.jpg", sha256="ab" * 32, settings=PIN)
        made = make_answer(
            store, Batch(jobs={"a.jpg": job}, unread={"b.jpg": "b.jpg cannot be read."})
        )
    said = {x.row.photo: (x.row.status, x.row.warnings, x.row.next_step) for x in made.lines}
    assert said["a.jpg"] == (
        "failed",
        "stopped",
        "to be tried again: it was not measured before the batch was stopped. Run the same command "
        "again.",
    )
    status, code, step = said["b.jpg"]
    assert status == "failed" and code and step.endswith("b.jpg cannot be read.")


# The shelf.


@pytest.mark.parametrize(
    "names",
    [
        ["M8x1", "M8x1.25", "M10x1", "M14x1.25", "M14x1.5", "M14x1.5 taper"],
        ["G 1/8", "G 1/4", "G 1/2", "G 1", "G 1-1/4", "G 2"],
        ["#0-80 UNF", "#10-24 UNC", "#10-32 UNF", "1/4-20 UNC", "1/4-28 UNF", "1-8 UNC"],
        ["0 BA", "2 BA", "10 BA"],
        ["M30x2", "G 1/8", "R 1/8", "1/8-27 NPT", "1/4-20 UNC", "1/4-20 BSW", "2 BA", "own"],
        ["1/2-14 NPT", "1-11.5 NPT", "1-1/4-11.5 NPT"],
    ],
)
def test_bins_stand_in_order(names: list[str]) -> None:
    assert sorted(reversed(names), key=shelf_key) == names


def test_a_size_of_nothing_is_no_size() -> None:
    # 1/0 is no fraction; a name that nobody knows goes by its letters behind all others.
    assert shelf_key("x 1/0")[1] == ()
    last = max(shelf_key(s.designation)[0] for s in load_series())
    assert shelf_key("own")[0] >= last and shelf_key("a") < shelf_key("b")


# Rates.


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.mark.parametrize(
    ("total", "kept", "measured", "seconds", "says"),
    [
        (10, 0, 0, 5.0, "0 of 10 photos"),
        (10, 2, 4, 8.0, "6 of 10 photos, 0.50 photos/s, about 8 s left"),
        (1, 0, 1, 2.0, "1 of 1 photo, 0.50 photos/s, about 0 s left"),
        (None, 0, 1, 2.0, "1 photo, 0.50 photos/s"),
        (None, 0, 3, 2.0, "3 photos, 1.50 photos/s"),
        (130, 0, 1, 1.0, "1 of 130 photos, 1.00 photos/s, about 2 min 09 s left"),
        (7201, 0, 1, 1.0, "1 of 7201 photos, 1.00 photos/s, about 2 h 00 min left"),
        # More came in than was expected.
        (2, 0, 3, 3.0, "3 of 2 photos, 1.00 photos/s, about 0 s left"),
    ],
)
def test_how_far_it_is(
    total: int | None, kept: int, measured: int, seconds: float, says: str
) -> None:
    clock = Clock()
    rate = Rate(total, clock)
    for _ in range(kept):
        rate.count(kept_before=True)
    for _ in range(measured):
        rate.count(kept_before=False)
    clock.now = seconds
    assert rate.text() == says
    assert (rate.per_second is None) == (measured == 0)


# Settings.


@pytest.mark.parametrize(
    "change",
    [
        {"scale": ScaleSpec(source="pin", mm=8.001)},
        {"scale": ScaleSpec(source="disc", mm=8.0)},
        {"scale": ScaleSpec(source="pin", mm=8.0, height_mm=1.0)},
        {"scale": ScaleSpec(source="pin", mm=8.0, axis_height_mm=9.0)},
        {"cast": True},
        {"cast": True, "shrinkage_percent": 0.5},
    ],
    ids=str,
)
def test_what_a_result_depends_on_is_in_its_key(change: dict[str, Any]) -> None:
    other = dataclasses.replace(PIN, **change)
    assert other.key != PIN.key and other.text != PIN.text
    assert dataclasses.replace(PIN).key == PIN.key and len(PIN.key) == 64
    job = Job(path=Path("a"), name="a", sha256="ab", settings=other)
    assert job.key == ("ab", other.key)


def test_a_profile_counts_by_its_content(tmp_path: Path) -> None:
    def key(content: str, name: str = "c.json") -> str:
        (tmp_path / name).write_text(content)
        spec = ScaleSpec(source="card", camera_profile=str(tmp_path / name))
        return Settings(scale=spec).key

    assert key("one") == key("one", "other.json") != key("two")
    with pytest.raises(InputError, match="there is no file"):
        _ = Settings(scale=ScaleSpec(camera_profile=str(tmp_path / "none"))).key


def test_a_shrinkage_is_known_to_a_tenth_of_a_percent() -> None:
    cast = dataclasses.replace(PIN, cast=True, shrinkage_percent=0.5)
    assert cast.shrinkage is not None
    assert (cast.shrinkage.value, cast.shrinkage.u) == (0.005, U_SHRINKAGE) == (0.005, 0.001)
    assert PIN.shrinkage is None


@pytest.mark.parametrize(
    ("file", "photo"),
    [
        ("a.jpg", True),
        ("A.JPEG", True),
        ("a.heic", True),
        ("a.tiff", True),
        (".a.jpg", False),
        ("a.jpg.part", False),
        ("a.txt", False),
        ("jpg", False),
    ],
)
def test_names_of_photos(file: str, photo: bool) -> None:
    assert is_photo_name(file) == photo


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "photo\na.jpg\n",
            "does not know the column photo. Columns: file, source, mm, height_mm, ",
        ),
        ("source\npin\n", "has no column 'file'. Columns: file, source"),
        ("file,file\na,b\n", "has the column 'file' twice. Keep the one that holds."),
        ("file,source\na.jpg,ruler\n", "line 2: no scale is called ruler. See the columns' help."),
        (
            "file,mm\na.jpg,8mm\n",
            "line 2: mm is '8mm'. It must be a length in mm, like 8 or 23.25.",
        ),
        ("file,mm\na.jpg,0\n", "line 2: mm is '0'. It must be a length in mm, like 8 or 23.25."),
        (
            "file,mm\na.jpg,1000\n",
            "line 2: mm is '1000'. It must be a length in mm, like 8 or 23.25.",
        ),
        ("file,height_mm\na.jpg,-1\n", "line 2: height_mm is '-1'. It must be a length in mm"),
        ("file\n\n,x\n", "line 3: no file, or too many cells. Mend the line."),
        ("file\na.jpg,x\n", "line 2: no file, or too many cells. Mend the line."),
        ("file\na.jpg\na.jpg\n", "a.jpg is listed twice. Take one line out."),
    ],
)
def test_a_list_that_cannot_be_used(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "list.csv").write_text(text)
    with pytest.raises(InputError) as caught:
        read_list(tmp_path / "list.csv", PIN)
    assert says in str(caught.value)


def test_a_line_states_what_differs_and_leaves_the_rest(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text(
        "file,source,mm,axis_height_mm,part,camera\nb.jpg,disc,20,,p1,c1\na.jpg,,,9.5,,\n"
        "c.jpg,card,,,,\n"
    )
    a, b, c = read_list(tmp_path / "list.csv", PIN)
    assert (a.name, b.name, c.name) == ("a.jpg", "b.jpg", "c.jpg")
    assert a.settings.scale == dataclasses.replace(PIN.scale, axis_height_mm=9.5)
    assert (b.settings.scale.source, b.settings.scale.mm) == ("disc", 20.0)
    assert (b.part_label, b.camera_label, a.part_label) == ("p1", "c1", "")
    # Another source does not keep the size of the first.
    assert (c.settings.scale.source, c.settings.scale.mm) == ("card", None)
    assert b.path == tmp_path / "b.jpg"


def test_places_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none does not exist\. Check its name"):
        list_photos([tmp_path / "none"], PIN)
    for folder in ("x", "y"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "a.jpg").write_text(folder)
    with pytest.raises(UsageError, match="carry the same name in the tables"):
        list_photos([tmp_path / "x", tmp_path / "y"], PIN)
    names = [p.name for p in list_photos([tmp_path, tmp_path / "x" / "a.jpg"], PIN)]
    assert names == ["a.jpg", "x/a.jpg", "y/a.jpg"]


# A study's figures.

FIGURES = Components(
    quantity="pitch_diameter_mm", readings=12, parts=3, cameras=2, photo=0.003, camera=0.004,
    part_camera=0.0, part=0.05, stated_u=0.006,
)  # fmt: skip


def test_gauge_figures_add_in_quadrature() -> None:
    assert FIGURES.reproducibility == pytest.approx(0.004)
    assert FIGURES.gauge == pytest.approx(0.005)
    # 1.41 times part over gauge, whole ones.
    assert FIGURES.categories == 14
    assert dataclasses.replace(FIGURES, part=None).categories is None
    assert dataclasses.replace(FIGURES, photo=0.0, camera=None, part_camera=None).categories is None
    alone = dataclasses.replace(FIGURES, camera=None, part_camera=None)
    assert alone.reproducibility == 0.0 and alone.gauge == 0.003


def test_a_study_in_words() -> None:
    said = text(FIGURES).splitlines()
    assert said[0] == "pitch diameter: 12 readings, 3 parts, 2 cameras"
    assert [x.split("  ")[-1].strip() for x in said[1:6]] == [
        "0.0030 mm", "0.0040 mm", "0.0000 mm", "0.0500 mm", "0.0060 mm",
    ]  # fmt: skip
    # 1.96 times the root of 2 (ISO 5725-6).
    assert pytest.approx(1.96 * 2**0.5, abs=0.03) == LIMIT_FACTOR
    assert said[6] == "  two photos differ by more than 0.0084 mm in 1 of 20 pairs"
    assert said[7] == "  the readings tell 14 groups of these parts apart"
    few = text(dataclasses.replace(FIGURES, part=None, camera=None))
    assert few.count("not in this design") == 2 and "groups" not in few


@pytest.mark.parametrize(
    ("quantity", "name"),
    [
        ("pitch_mm", "pitch"),
        ("pitch_diameter_mm", "pitch diameter"),
        ("angle_deg", "angle"),
        ("taper", "taper"),
    ],
)
def test_quantities_as_people_write_them(quantity: str, name: str) -> None:
    assert plain_name(quantity) == name
