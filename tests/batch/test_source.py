"""Which photos are taken, under which names, with which scale; the order of the bins."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitchcam.batch.order import shelf_key
from pitchcam.batch.settings import Settings
from pitchcam.batch.source import list_photos, read_list
from pitchcam.errors import InputError, UsageError
from pitchcam.records import ScaleSpec

PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))


def touch(path: Path, data: bytes = b"x") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    return path


def test_photos_of_a_folder_by_their_names(tmp_path: Path) -> None:
    for name in (
        "b.JPG",
        "a.heic",
        "notes.txt",
        ".c.jpg",
        "sub/d.png",
        ".sync/e.jpg",
        "f.jpg.part",
    ):
        touch(tmp_path / name)
    names = [photo.name for photo in list_photos([tmp_path], PIN)]
    assert names == ["a.heic", "b.JPG", "sub/d.png"]


def test_names_that_are_no_text_and_files_that_are_no_files(tmp_path: Path) -> None:
    import os

    odd = os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9.jpg")
    try:
        touch(Path(odd))
        os.mkfifo(tmp_path / "pipe.jpg")
    except (OSError, AttributeError):
        pytest.skip("this file system has neither")
    (tmp_path / "gone.jpg").symlink_to(tmp_path / "nowhere")
    photos = {p.name: p for p in list_photos([tmp_path], PIN)}
    assert set(photos) == {"caf\\xe9.jpg", "pipe.jpg", "gone.jpg"}
    assert photos["caf\\xe9.jpg"].job().name.encode()
    for name in ("pipe.jpg", "gone.jpg"):
        with pytest.raises(InputError, match=name):
            photos[name].job()


def test_one_photo_named_twice_is_one_but_two_of_one_name_are_refused(tmp_path: Path) -> None:
    first, second = touch(tmp_path / "x" / "a.jpg"), touch(tmp_path / "y" / "a.jpg")
    assert len(list_photos([first, tmp_path / "x"], PIN)) == 1
    with pytest.raises(UsageError, match="same name"):
        list_photos([first, second], PIN)
    with pytest.raises(InputError, match="does not exist"):
        list_photos([tmp_path / "z"], PIN)


def test_folders_label_part_and_camera(tmp_path: Path) -> None:
    touch(tmp_path / "plug" / "tablet" / "1.jpg")
    touch(tmp_path / "stud" / "1.jpg")
    labels = [(p.part_label, p.camera_label) for p in list_photos([tmp_path], PIN)]
    assert labels == [("plug", "tablet"), ("stud", "")]


def test_a_list_states_the_scale_photo_by_photo(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text(
        "file,source,mm,part,axis_height_mm\nb.jpg,disc,23.25,plug,\na.jpg,,,stud,9.5\n"
    )
    stud, plug = read_list(path, PIN)
    assert (stud.name, stud.settings.scale.source, stud.settings.scale.mm) == ("a.jpg", "pin", 8.0)
    assert stud.settings.scale.axis_height_mm == 9.5
    assert (plug.settings.scale.source, plug.settings.scale.mm) == ("disc", 23.25)
    assert plug.path == tmp_path / "b.jpg"


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("name,mm\na.jpg,8\n", "column"),
        ("file,mm\na.jpg,eight\n", "line 2: mm is 'eight'"),
        ("file,mm\na.jpg,-8\n", "line 2"),
        ("file,mm\na.jpg,nan\n", "line 2"),
        ("file,source\na.jpg,ruler\n", "no scale is called ruler"),
        ("file\na.jpg\na.jpg\n", "listed twice"),
        ("file,mm\na.jpg,8,9\n", "line 2"),
        ("file,mm\n,8\n", "line 2"),
    ],
)
def test_a_list_that_cannot_be_used_names_the_line(tmp_path: Path, text: str, match: str) -> None:
    path = tmp_path / "list.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=match):
        read_list(path, PIN)


def test_a_list_that_is_no_text(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_list(touch(tmp_path / "list.csv", b"\xff\xfe\x00"), PIN)


def test_the_key_follows_what_the_result_depends_on(tmp_path: Path) -> None:
    profile = touch(tmp_path / "phone.json", b"one")

    def key(**scale: object) -> str:
        return Settings(scale=ScaleSpec(**scale)).key  # type: ignore[arg-type]

    keys = [
        PIN.key,
        key(source="pin", mm=8.01),
        key(source="disc", mm=8.0),
        Settings(scale=PIN.scale, cast=True).key,
        Settings(scale=PIN.scale, cast=True, shrinkage_percent=0.5).key,
        key(camera_profile=str(profile)),
    ]
    profile.write_bytes(b"two")
    keys.append(key(camera_profile=str(profile)))
    assert len(set(keys)) == len(keys)
    assert key(source="pin", mm=8.0) == PIN.key


def test_bins_stand_by_family_then_size() -> None:
    shelf = [
        "M6x1",
        "M10x1",
        "M10x1 taper",
        "M10x1.5",
        "G 1/8",
        "G 1/4",
        "G 1",
        "G 1 1/4",
        "R 1/8",
        "1/8-27 NPT",
        "1/2-14 NPT",
        "#10-32 UNF",
        "1/4-20 UNC",
        "1/4-28 UNF",
        "5/8-18 UNF",
        "1-1/16-12 UN",
        "1/4-20 BSW",
        "1/4-26 BS Brass",
        "0 BA",
        "2 BA",
        "a hose tail",
    ]
    assert sorted(reversed(shelf), key=shelf_key) == shelf


def test_every_designation_of_the_series_has_its_family() -> None:
    from pitchcam.series import load_series

    strangers = {s.family for s in load_series() if shelf_key(s.designation)[0] == 7}
    assert strangers <= {"Pg"}


@pytest.mark.parametrize(
    "text, says",
    [
        ("file,mm,source,mm\na.jpg,8,pin,6\n", "has the column 'mm' twice"),
        ("file,file\na.jpg,b.jpg\n", "has the column 'file' twice"),
        ("file\n" + "x" * 5000 + ".jpg\n", "a cell has 5004 characters"),
        ("file\n" + "x" * 200_000 + "\n", "field larger than field limit"),
    ],
)
def test_lists_that_say_a_thing_twice_or_too_long(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "list.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=says):
        read_list(path, PIN)


def test_a_list_is_a_file_of_bounded_size(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    with path.open("wb") as handle:
        handle.truncate(100_000_000)
    with pytest.raises(InputError, match="more than the limit"):
        read_list(path, PIN)
    path.write_text("file\n" + "a.jpg\n" * 200_001)
    with pytest.raises(InputError, match="more than 200000"):
        read_list(path, PIN)
    with pytest.raises(InputError, match="not a regular file"):
        read_list(Path("/dev/zero"), PIN)


def test_a_file_larger_than_any_photo_is_not_even_hashed(tmp_path: Path) -> None:
    path = tmp_path / "film.jpg"
    with path.open("wb") as handle:
        handle.truncate(2_000_000_000)
    (photo,) = list_photos([tmp_path], PIN)
    with pytest.raises(InputError, match=r"film.jpg has 2000 MB, more than any photo"):
        photo.job()


def test_a_stated_shrinkage_has_its_uncertainty() -> None:
    """A tenth of a percent: makers state no more (common practice, no source)."""
    stated = Settings(scale=PIN.scale, cast=True, shrinkage_percent=0.5).shrinkage
    assert stated is not None and (stated.value, stated.u) == (0.005, 0.001)
    assert Settings(scale=PIN.scale, cast=True).shrinkage is None
