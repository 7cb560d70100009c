"""Photos of one part in a batch: which belong together, what is kept and written."""

import csv
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from pitchcam import several
from pitchcam.batch.settings import Settings
from pitchcam.batch.source import Listed, read_list
from pitchcam.batch.together import answer_groups, groups_of, summary, write_together
from pitchcam.records import ScaleSpec
from pitchcam.store.entries import Outcome
from pitchcam.store.rows import entry_rows
from pitchcam.store.store import Store
from tests.adjust import made
from tests.records.published import check

PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))


def listed(*names, part=""):
    return [Listed(path=Path(n), name=n, settings=PIN, part_label=part) for n in names]


@pytest.mark.parametrize(
    ("names", "groups"),
    [
        (["a-1.jpg", "a-2.jpg", "b-1.jpg"], {"a": 2}),
        (["sender (1).jpg", "sender (2).jpg", "sender.jpg"], {"sender": 3}),
        (["x_a.jpg", "x_b.jpg"], {"x": 2}),
        (["IMG.jpg", "DOC.jpg"], {}),
        (["box/a1.jpg", "box/a2.jpg", "tin/a3.jpg"], {"box/a": 2}),
    ],
)
def test_photos_of_one_part_by_their_names(names, groups):
    found = groups_of(listed(*names), "name")
    assert {g.label: len(g.photos) for g in found} == groups


def test_photos_of_one_part_by_the_list_s_column(tmp_path):
    table = tmp_path / "list.csv"
    table.write_text("file,part\nb.jpg,elbow\na.jpg,elbow\nc.jpg,nut\nd.jpg,\ne.jpg,\n")
    found = groups_of(read_list(table, PIN), "part")
    assert [(g.label, [p.name for p in g.photos]) for g in found] == [("elbow", ["a.jpg", "b.jpg"])]


@pytest.fixture
def box(tmp_path):
    """Return a record with photos of two parts, and the photos: one of 'elbow' has another pin."""
    budget = made.lines()
    truth = made.true_values()
    wrong = truth * np.where(np.arange(6) < 4, 1.03, 1.0)
    photos = []
    store = Store(tmp_path / "record.sqlite")
    for i, (name, values) in enumerate(
        (
            ("elbow-1.jpg", truth),
            ("elbow-2.jpg", wrong),
            ("elbow-3.jpg", truth),
            ("nut-1.jpg", truth),
            ("nut-2.jpg", None),
        )
    ):
        path = tmp_path / name
        path.write_bytes(name.encode())
        photo = Listed(path=path, name=name, settings=PIN, part_label=name.partition("-")[0])
        job = photo.job()
        outcome = Outcome(status="refused", code="blurred", message="It is blurred.")
        if values is not None:
            m = made.measurement(values, budget, i, named=True)
            m = replace(m, photo=replace(m.photo, sha256=job.sha256))
            outcome = Outcome(status="measured", document=m.to_json())
        store.add(job.sha256, PIN.text, PIN.key, outcome, [name])
        photos.append(photo)
    yield store, photos
    store.close()


def test_each_part_has_one_answer(box, tmp_path):
    store, photos = box
    entries = answer_groups(store, groups_of(photos, "part"))
    assert [e.name for e in entries] == ["elbow (3 photos)", "nut (2 photos)"]
    said = summary(entries)
    assert "elbow (3 photos): M14x1.5" in said
    assert "elbow-2.jpg does not count: all its lengths are 3.0 % larger" in said
    assert "nut-2.jpg does not count: It is blurred" in said
    write_together(entries, tmp_path)
    with (tmp_path / "together.csv").open(newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert [(r["photo"], r["designation"]) for r in rows] == [
        ("elbow (3 photos)", "M14x1.5"),
        ("nut (2 photos)", "M14x1.5"),
    ]
    kept = json.loads((tmp_path / "together.json").read_text())
    check("measurements", kept)
    documents = kept["measurements"]
    assert [len(d["photos"]) for d in documents] == [3, 2]
    assert all("photo" not in d for d in documents)


def test_a_part_that_fails_as_nobody_foresaw_stops_no_other(box, tmp_path, monkeypatch):
    store, photos = box
    combine = several.combine

    def fails(measurements):
        if len(measurements) == 3:
            raise ValueError("no photo measures 1.5 to 0")
        return combine(measurements)

    monkeypatch.setattr(several, "combine", fails)
    elbow, nut = answer_groups(store, groups_of(photos, "part"))
    assert (elbow.outcome.status, elbow.outcome.code) == ("failed", "fault")
    assert not elbow.outcome.lasting
    assert nut.outcome.status == "measured"
    write_together([elbow, nut], tmp_path)
    said = summary([elbow, nut])
    assert "to be tried again: An inner fault stopped putting the photos together" in said
    assert "nut (2 photos): M14x1.5" in said
    # Another version may put it together: it is tried again.
    monkeypatch.setattr(several, "combine", combine)
    again = answer_groups(store, groups_of(photos, "part"))[0]
    assert again.outcome.status == "measured"
    kept = store.entry(again.id)
    assert kept is not None and kept.outcome.status == "measured"


def test_the_record_keeps_the_answer_of_several_photos(box):
    store, photos = box
    entry = answer_groups(store, groups_of(photos, "part"))[0]
    kept = store.entry(entry.id)
    assert kept is not None
    assert kept.outcome.measurement == entry.outcome.measurement
    assert [p["file"] for p in kept.contract()["photos"]] == [
        "elbow-1.jpg",
        "elbow-2.jpg",
        "elbow-3.jpg",
    ]
    assert entry_rows(kept)[0].name == "M14x1.5"


def test_the_same_answer_is_kept_once(box):
    store, photos = box
    first = answer_groups(store, groups_of(photos, "part"))
    again = answer_groups(store, groups_of(list(reversed(photos)), "part"))
    assert {e.id for e in first} == {e.id for e in again}


def test_a_correction_of_a_part_stands_when_the_batch_runs_again(box):
    store, photos = box
    entry = answer_groups(store, groups_of(photos, "part"))[0]
    now = datetime(2026, 1, 2, tzinfo=UTC)
    store.correct(entry_rows(entry)[0].id, "M14x1.25", who="bench", why="ring gauge", now=now)
    again = answer_groups(store, groups_of(photos, "part"))[0]
    assert entry_rows(again)[0].name == "M14x1.25"


def test_the_same_bytes_under_two_names_are_no_second_photo(box, tmp_path):
    store, photos = box
    copy = tmp_path / "nut-3.jpg"
    copy.write_bytes(photos[3].path.read_bytes())
    twice = [photos[3], replace(photos[3], path=copy, name="nut-3.jpg")]
    assert answer_groups(store, groups_of(twice, "part")) == []
