"""What the page keeps: photos by content, boxes, the bench's reference, threads read back."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import pitchcam
from pitchcam.errors import InputError
from pitchcam.page import bench_memory, boxes, measuring, photos, show
from pitchcam.page.plots import plot_data, plots_read
from pitchcam.page.setup import Setup
from pitchcam.records import ScaleSpec, ThreadResult
from pitchcam.report import words
from pitchcam.report.verdicts import headline
from pitchcam.store.entries import Entry, Outcome
from tests.page.running import SAMPLES, sample
from tests.records.published import check


@pytest.fixture
def setup(tmp_path):
    made = Setup(record=tmp_path / "r.sqlite", folder=tmp_path / "page", processes=1)
    made.make_folders()
    return made


def test_the_same_bytes_are_one_photo(setup):
    first = photos.keep(setup, sample("p05-unf12-pin"), "a.jpg")
    again = photos.keep(setup, sample("p05-unf12-pin"), "b.png")
    assert first.path == again.path
    assert (first.fresh, again.fresh) == (True, False)
    photos.drop(again)
    assert photos.find(setup, first.sha256, "a").path.exists()
    photos.drop(first)
    assert photos.find(setup, first.sha256, "a") is None


@pytest.mark.parametrize("digest", ["", "../x", "0" * 63, "0" * 64, "*" * 64])
def test_only_digests_are_looked_for(setup, digest):
    assert photos.find(setup, digest, "a") is None


@pytest.mark.parametrize(
    "data", [b"", b"<svg/>", b"GIF89a", b"RIFF\0\0\0\0WEBP", b"%PDF-1.7", b"\0\0\0\x18ftypisom"]
)
def test_what_is_no_photo_is_not_kept(setup, data):
    with pytest.raises(InputError, match="not a photo"):
        photos.keep(setup, data, "photo.jpg")
    assert list(setup.photos.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\temp\\a.jpg", "a.jpg"),
        ("", "photo"),
        (None, "photo"),
        ("..", "photo"),
        ("a\r\nb\x00.jpg", "ab.jpg"),
        ("\u202egpj.exe", "gpj.exe"),
        ("x" * 500, "x" * 80),
    ],
)
def test_names_are_only_names(name, shown):
    assert photos.shown_name(name) == shown


def test_the_benchs_reference_is_remembered(setup):
    assert bench_memory.remembered(setup) == {"source": "card", "size": ""}
    bench_memory.remember(setup, {"source": "disc", "size": "23.25", "token": "x"})
    assert bench_memory.remembered(setup) == {"source": "disc", "size": "23.25"}
    check("bench", json.loads((setup.folder / "bench.json").read_text()))
    (setup.folder / "bench.json").write_text("{")
    assert bench_memory.remembered(setup) == {"source": "card", "size": ""}
    (setup.folder / "bench.json").write_text('{"reference": {"source": "pin", "size": "-3"}}')
    assert bench_memory.remembered(setup) == {"source": "card", "size": ""}


def test_a_box_keeps_its_photos_apart(setup):
    box = boxes.new(setup, {"source": "pin", "size": "8"})
    for name, digest in (("a.jpg", "1" * 64), ("a.jpg", "2" * 64), ("b.jpg", "1" * 64)):
        boxes.add(setup, box.id, name, digest)
    check("box", json.loads((setup.boxes / f"{box.id}.json").read_text()))
    assert boxes.load(setup, box.id).photos == (("a.jpg", "1" * 64), ("a.jpg (2)", "2" * 64))
    assert boxes.load(setup, "../../bench") is None
    assert boxes.load(setup, "A" * 16) is None


def test_a_thread_of_which_little_was_read_is_shown(setup):
    """Seen aslant, a thread has no pitch, angle or plots, and still its place on the page."""
    photo = SAMPLES / "p05-unf12-pin.jpg"
    measured = pitchcam.identify(photo, ScaleSpec(source="pin", mm=6.0))
    part = measured.parts[0]
    reading = replace(
        part.threads[0].reading,
        pitch_mm=None,
        minor_mm=None,
        angle_deg=None,
        pitch_diameter_mm=None,
        taper=None,
    )
    none = replace(
        part.threads[0].verdict,
        status="unreadable",
        designation=None,
        standard=None,
        probability=None,
        candidates=(),
        same_geometry=(),
    )
    little = replace(
        part.threads[0],
        reading=reading,
        half_angles_deg=(None, None),
        plots=None,
        budget=(),
        verdict=none,
    )
    measured = replace(measured, parts=(replace(part, threads=(little,)),))
    measuring.write_view(measured, photo, setup.views / "x")
    document = json.loads(json.dumps(measured.to_json()))
    outcome = Outcome(status="measured", document=document)
    entry = Entry(
        id="0" * 10,
        sha256="1" * 64,
        settings_key="k",
        outcome=outcome,
        names=("a",),
        corrections={},
    )
    view = show.view_of(setup.views / "x")
    (shown,) = show.threads(entry, view)
    assert (shown.name, shown.candidates, shown.sure) == ("Not readable", [], "")
    assert [row[0] for row in shown.rows] == ["major diameter"]
    assert view["threads"][0]["plots"] == []
    assert show.headline(entry)[0] == "unreadable"
    assert measuring.draw_plots(measuring.Plots(view=setup.views / "x", document=document))


def test_a_thread_goes_to_json_and_comes_back():
    """The report's words on what was read back are those on the measurement itself."""
    measured = pitchcam.identify(SAMPLES / "p05-unf12-pin.jpg", ScaleSpec(source="pin", mm=6.0))
    thread = measured.parts[0].threads[0]
    document = json.loads(json.dumps(measured.to_json()))["parts"][0]["threads"][0]
    plots = plots_read(json.loads(json.dumps(plot_data(thread))))
    back = replace(ThreadResult.from_json(document), plots=plots)
    assert words.figure_rows(back) == words.figure_rows(thread)
    assert headline(back.verdict) == headline(thread.verdict)
    assert back.to_json() == document
    assert back.plots.folded == thread.plots.folded
