"""Each page of the bench gives what the command of the same name gives."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitchcam.cli import cli
from pitchcam.errors import PitchcamError, UsageError
from pitchcam.page import bench_calls, calls, typed
from pitchcam.page.phrases import on_the_page
from tests.page.running import SAMPLES

STOCK = SAMPLES / "stock" / "bench.csv"
NOW = datetime(2026, 1, 2, tzinfo=UTC)


@pytest.fixture(scope="module")
def record(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("record") / "r.sqlite"
    said = bench_calls.take_stock(path, STOCK.read_bytes(), "Ana", NOW)
    assert said.startswith("42 rows read, 42 new or changed")
    return path


def command(*arguments: str) -> str:
    return CliRunner().invoke(cli, arguments, catch_exceptions=False).stdout


def test_lookup():
    told = calls.lookup({"diameter": "0.543in", "gauge": "1.5mm", "angle": "60"})
    line = command("lookup", "-d", "0.543in", "-g", "1.5mm", "--angle", "60", "--json")
    assert told["document"] == json.loads(line)
    assert told["text"] + "\n" == command("lookup", "-d", "0.543in", "-g", "1.5mm", "--angle", "60")


def test_lookup_of_a_taper_and_of_a_bore():
    taper = calls.lookup({"diameter": "20.9", "second": "21.4", "apart": "8", "gauge": "14tpi"})
    assert taper["document"] == json.loads(
        command("lookup", "-d", "20.9", "-d", "21.4", "--apart", "8", "-g", "14tpi", "--json")
    )
    bore = calls.lookup({"bore": "12.4", "gauge": "1.5mm"})
    assert bore["document"] == json.loads(command("lookup", "-b", "12.4", "-g", "1.5mm", "--json"))


@pytest.mark.parametrize("pair", [("R 1/4", "Rc 1/4"), ("5/8-18 UNF", "M16x1.5")])
def test_mate(pair):
    told = calls.mate(*pair)
    assert told["document"] == json.loads(command("mate", *pair, "--json"))
    assert told["text"] + "\n" == command("mate", *pair)


def test_series_and_size():
    names = [s.designation for s in calls.sizes({"family": "G", "common": "yes"})]
    listed = json.loads(command("series", "-f", "G", "--common", "--json"))
    assert names == [row["designation"] for row in listed["sizes"]]
    full = json.loads(json.dumps(calls.size("5/8 UNF")["document"]))
    assert full == json.loads(command("series", "5/8 UNF", "--json"))


def test_adapt(record):
    told = calls.adapt(
        {"part": "1/8-27 NPT", "port": "M14x1.5", "bore": "6", "pressure": "10 bar"}, record
    )
    options = [
        "--part",
        "1/8-27 NPT",
        "--port",
        "M14x1.5",
        "--bore",
        "6",
        "--pressure",
        "10 bar",
        "--record",
        str(record),
    ]
    same = json.loads(command("adapt", *options, "--json"))
    assert told["chains"]
    assert json.loads(json.dumps(told["chains"])) == same["chains"]
    assert told["text"] + "\n" == command("adapt", *options)


def test_the_work_sheet_is_the_same_paper(record, tmp_path):
    fields = {"part": "1/8-27 NPT", "port": "M18x1.5", "service": "coolant"}
    told = calls.join(fields, record)
    options = [
        "--part",
        "1/8-27 NPT",
        "--port",
        "M18x1.5",
        "--service",
        "coolant",
        "--record",
        str(record),
    ]
    paper = tmp_path / "w.pdf"
    assert told["text"] in command("join", *options, "-o", str(paper))
    assert calls.work_sheet(told, date.today()) == paper.read_bytes()


def test_what_must_not_be_made_is_refused(record):
    with pytest.raises(PitchcamError, match="brake"):
        calls.join({"part": "1/8-27 NPT", "port": "M18x1.5", "service": "brake"}, record)


def test_the_chart_is_the_same_paper(tmp_path):
    for suffix, paper in ((".pdf", "a4"), (".pdf", "a2"), (".csv", "a4")):
        path = tmp_path / f"chart{suffix}"
        command("chart", "-o", str(path), "-s", "G", "-s", "NPT", "--paper", paper)
        assert calls.chart_file(("G", "NPT"), "bench", suffix, paper) == path.read_bytes()


def test_the_marker_sheet_is_the_same_paper(tmp_path):
    command("sheet", "-o", str(tmp_path / "s.pdf"))
    assert bench_calls.marker_sheet("part", "a4") == (tmp_path / "s.pdf").read_bytes()


def test_the_screen_shows_the_markers_of_the_sheet(tmp_path):
    """The cells drawn as the page draws them; OpenCV's detector, which drew none, reads all."""
    import cv2
    import numpy as np

    plan = bench_calls.marker_cells("part")
    width, height = plan["outer"]
    scale, margin = 8.0, 6.0
    image = np.full(
        (round((height + 2 * margin) * scale), round((width + 2 * margin) * scale)), 255, np.uint8
    )
    for x, y, dx, dy in plan["cells"]:
        left, top = (x + width / 2 + margin) * scale, (y + height / 2 + margin) * scale
        right, bottom = round(left + dx * scale) - 1, round(top + dy * scale) - 1
        cv2.rectangle(image, (round(left), round(top)), (right, bottom), 0, -1)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    _, ids, _ = cv2.aruco.ArucoDetector(family).detectMarkers(image)
    assert sorted(ids.ravel().tolist()) == list(range(16, 32))


def test_stock_moves_are_kept(record):
    before = {r["id"]: r["count"] for r in bench_calls.stock(record)}["A-01"]
    said = bench_calls.move_stock(record, {"id": "A-01", "pieces": "1", "who": "Ana"}, NOW)
    assert said == f"A-01: {before - 1} left"
    bench_calls.move_stock(record, {"id": "A-01", "pieces": "1", "who": "Ana", "back": "yes"}, NOW)
    for bad in (
        {"id": "A-01", "pieces": "1"},
        {"id": "A-01", "pieces": "0", "who": "Ana"},
        {"id": "A-01", "pieces": "1.5", "who": "Ana"},
        {"id": "?", "pieces": "1", "who": "Ana"},
    ):
        with pytest.raises(PitchcamError):
            bench_calls.move_stock(record, bad, NOW)
    assert {r["id"]: r["count"] for r in bench_calls.stock(record)}["A-01"] == before


def test_a_faulty_sheet_is_not_taken(record):
    rows = bench_calls.stock_file(record)
    with pytest.raises(PitchcamError, match="line 3, column bore"):
        lines = STOCK.read_text().splitlines()
        lines[2] = lines[2].replace("8.4,28", "wide,28")
        bench_calls.take_stock(record, "\n".join(lines).encode(), "Ana", NOW)
    assert bench_calls.stock_file(record) == rows


@pytest.mark.parametrize(
    ("fields", "source", "mm"),
    [
        ({"source": "pin", "size": "8"}, "pin", 8.0),
        ({"source": "pin", "size": "5/16in"}, "pin", 7.9375),  # an inch is 25.4 mm exactly
        ({"source": "card", "size": ""}, "card", None),
        ({"source": "none", "size": ""}, "none", None),
        ({"source": "major", "size": "13,80"}, "major", 13.8),
    ],
)
def test_references(fields, source, mm):
    spec = typed.scale(fields)
    assert (spec.source, spec.mm) == (source, mm)


def test_the_sheet_and_its_bar():
    assert typed.scale({"source": "sheet", "size": "99.6"}).sheet_bar_mm == 99.6
    assert typed.reference_text("disc 23.25") == {"source": "disc", "size": "23.25"}
    with pytest.raises(UsageError):
        typed.reference_text("ruler 30")


def test_settings_go_to_the_record_and_come_back():
    fields = {
        "source": "disc",
        "size": "23.25",
        "axis_height": "9.5",
        "cast": "yes",
        "shrinkage": "0.2",
    }
    kept = typed.settings(fields)
    assert typed.reference_of(kept.text) == fields
    assert typed.settings(typed.reference_of(kept.text)).key == kept.key


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("See: pitchcam log list", "See: the record"),
        (
            "state it with --axis-height, or give the caliper reading with --major",
            "state it with height of the thread's axis, or give the caliper reading with crests by "
            "caliper",
        ),
        ("pitchcam reads JPEG, PNG, TIFF and HEIC", "pitchcam reads JPEG, PNG, TIFF and HEIC"),
        (
            "An inner fault stopped placing the edges (IndexError: index 5 is out of bounds).",
            "An inner fault stopped placing the edges.",
        ),
    ],
)
def test_advice_is_in_the_words_of_the_page(told, shown):
    assert on_the_page(told) == shown


def test_no_advice_of_the_core_keeps_an_option():
    from pitchcam.flags import FLAGS

    for _, advice in FLAGS.values():
        assert not re.search(r"--\w|pitchcam [a-z]+$", on_the_page(advice))


def test_adapt_where_stock_has_no_chain(record):
    """What stands in the way, what to buy and what can be tapped are the command's words."""
    told = calls.adapt({"part": "M8x1", "port": "M33x2", "max_pieces": "1"}, record)
    assert told["chains"] == []
    assert told["text"] + "\n" == command(
        "adapt", "--part", "M8x1", "--port", "M33x2", "--max-pieces", "1", "--record", str(record)
    )
