"""A followed folder: half-written uploads are waited for, every photo is answered once."""

from __future__ import annotations

import threading
import time
from pathlib import Path

from pitchcam.batch import run
from pitchcam.batch.follow import Folder, Patience
from pitchcam.batch.settings import Job, Settings
from pitchcam.records import ScaleSpec
from pitchcam.store.entries import Outcome
from pitchcam.store.store import Store
from tests.batch import double

PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


def looks(folder: Folder, clock: Clock, at: float) -> list[str]:
    clock.now = at
    return [photo.name for photo in folder.look()]


def followed(path: Path) -> tuple[Folder, Clock]:
    clock = Clock()
    return Folder([path], PIN, Patience(settle_s=2, stalled_s=60), clock), clock


def test_a_growing_file_is_left_until_it_rests(tmp_path: Path) -> None:
    folder, clock = followed(tmp_path)
    path = tmp_path / "a.jpg"
    path.write_bytes(b"")
    assert looks(folder, clock, 0) == [] == looks(folder, clock, 10)  # empty: not begun
    path.write_bytes(b"half")
    assert looks(folder, clock, 11) == [] == looks(folder, clock, 12)
    path.write_bytes(b"half and more")
    assert looks(folder, clock, 12.9) == [] == looks(folder, clock, 14.8)
    assert looks(folder, clock, 15) == ["a.jpg"]
    assert looks(folder, clock, 99) == []


def test_a_stalled_upload_is_tried_again_when_it_grows_and_given_up_in_the_end(
    tmp_path: Path,
) -> None:
    folder, clock = followed(tmp_path)
    path = tmp_path / "a.jpg"
    path.write_bytes(b"half")
    looks(folder, clock, 0)
    assert looks(folder, clock, 2) == ["a.jpg"]
    assert folder.may_be_incomplete("a.jpg")
    assert looks(folder, clock, 30) == []
    path.write_bytes(b"half and more")
    looks(folder, clock, 31)
    assert looks(folder, clock, 33) == ["a.jpg"]
    assert folder.may_be_incomplete("a.jpg")
    assert looks(folder, clock, 90) == []
    assert looks(folder, clock, 91) == ["a.jpg"]
    assert not folder.may_be_incomplete("a.jpg")


def test_a_photo_that_went_away_and_came_back_is_new(tmp_path: Path) -> None:
    folder, clock = followed(tmp_path)
    path = tmp_path / "a.jpg"
    for start in (0, 100):
        path.write_bytes(b"photo")
        looks(folder, clock, start)
        assert looks(folder, clock, start + 2) == ["a.jpg"]
        path.unlink()
        assert looks(folder, clock, start + 3) == []


def test_a_folder_that_is_away_for_a_moment_is_waited_for(tmp_path: Path) -> None:
    folder, clock = followed(tmp_path / "share")
    assert looks(folder, clock, 0) == []


def test_photos_are_answered_as_they_come(tmp_path: Path) -> None:
    """A real run: a whole photo, and one that is written in two halves with a pause between."""
    photos = tmp_path / "photos"
    photos.mkdir()
    double.write_photo(photos / "a.jpg", [["M14x1.5"]])
    whole = double.write_photo(tmp_path / "b.jpg", [["G 1/4"]]).read_bytes()

    def upload() -> None:
        (photos / "b.jpg").write_bytes(whole[:20])
        time.sleep(1.5)
        (photos / "b.jpg").write_bytes(whole)

    call = setup_in(tmp_path)
    told: list[tuple[str, str]] = []

    def tell(job: Job, outcome: Outcome, kept_before: bool) -> None:
        # Under load the file may be whole by the time it is opened, and is then met once more.
        if not kept_before:
            told.append((job.name, outcome.status))

    phone = threading.Thread(target=upload)
    phone.start()
    answer = run.follow_folders(
        call, [photos], PIN, tell, idle_s=4, patience=Patience(settle_s=0.3, stalled_s=30)
    )
    phone.join()
    assert sorted(told) == [("a.jpg", "measured"), ("b.jpg", "measured")]
    assert [name for name, _ in answer.bins] == ["M14x1.5", "G 1/4"]
    with Store(tmp_path / "r.sqlite") as store:
        assert len(store.ids()) == 2  # the half was not kept
    assert (tmp_path / "box" / "counts.csv").read_text().count("\n") == 3


def setup_in(tmp_path: Path) -> run.Setup:
    return run.Setup(
        record=tmp_path / "r.sqlite",
        out=tmp_path / "box",
        processes=1,
        limit_s=60,
        sheets=False,
        measure=double.measure,
    )


def follow(tmp_path: Path, photos: Path, idle_s: float, **patience: float) -> run.Answer:
    call = setup_in(tmp_path)
    return run.follow_folders(
        call,
        [photos],
        PIN,
        lambda *_: None,
        idle_s=idle_s,
        patience=Patience(**({"settle_s": 0.3, "stalled_s": 60.0} | patience)),
    )


def rows(answer: run.Answer) -> dict[str, tuple[str, str]]:
    return {line.row.photo: (line.row.status, line.row.next_step) for line in answer.lines}


def test_a_watch_that_ends_first_leaves_no_photo_out(tmp_path: Path) -> None:
    """Half an upload, an empty file, an inner fault and a good photo: each has its line."""
    photos = tmp_path / "photos"
    photos.mkdir()
    double.write_photo(photos / "good.jpg")
    double.write_photo(photos / "fault.jpg", wrong="fault")
    (photos / "half.jpg").write_bytes(b'{"parts": [["M14')
    (photos / "empty.jpg").write_bytes(b"")
    start = time.monotonic()
    answer = follow(tmp_path, photos, idle_s=2)
    assert time.monotonic() - start < 30  # nothing waited for a stalled upload's minute
    found = rows(answer)
    assert set(found) == {"good.jpg", "fault.jpg", "half.jpg", "empty.jpg"}
    assert found["good.jpg"][0] == "named"
    assert "to be tried again: the measurement broke off" in found["fault.jpg"][1]
    assert "truncated" in found["half.jpg"][1]
    assert "it is empty" in found["empty.jpg"][1]
    with Store(tmp_path / "r.sqlite") as store:
        kept = {e.name: e.outcome.lasting for e in store.entries()}
    assert kept == {"good.jpg": True, "fault.jpg": False, "half.jpg": False}


def test_an_idle_time_shorter_than_the_settling_still_takes_what_came(tmp_path: Path) -> None:
    photos = tmp_path / "photos"
    double.write_photo(photos / "a.jpg")
    assert rows(follow(tmp_path, photos, idle_s=0.2, settle_s=2.0)) == {"a.jpg": ("named", "")}


def test_what_vanished_is_said_to_be_missing(tmp_path: Path) -> None:
    folder, clock = followed(tmp_path)
    (tmp_path / "a.jpg").write_bytes(b"photo")
    (tmp_path / "b.jpg").write_bytes(b"photo")
    looks(folder, clock, 0)
    (tmp_path / "a.jpg").unlink()
    assert looks(folder, clock, 1) == []
    assert folder.unfinished() == [
        ("a.jpg", "it vanished from the folder before it was measured."),
        ("b.jpg", "its upload had not ended when the watch ended."),
    ]
    (tmp_path / "a.jpg").write_bytes(b"photo")
    looks(folder, clock, 2)
    assert [name for name, why in folder.unfinished() if "vanished" in why] == []


def test_a_folder_that_vanishes_under_a_watch_is_survived(tmp_path: Path) -> None:
    photos = tmp_path / "photos"
    double.write_photo(photos / "a.jpg")
    double.write_photo(photos / "b.jpg", sleep_s=1.0)

    def take_away() -> None:
        time.sleep(1.5)
        photos.rename(tmp_path / "gone")

    thief = threading.Thread(target=take_away)
    thief.start()
    found = rows(follow(tmp_path, photos, idle_s=3))
    thief.join()
    assert set(found) == {"a.jpg", "b.jpg"}
