"""The report: self-contained, complete, safe with odd names, the same bytes at every run."""

import base64
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from pitchcam.errors import InputError
from pitchcam.records import Flag
from pitchcam.report import write_report
from pitchcam.report.page import report_html
from tests.report import invented


class Collector(HTMLParser):
    def __init__(self):
        super().__init__()
        self.addresses, self.words = [], []

    def handle_starttag(self, tag, attrs):
        self.addresses += [v for k, v in attrs if k in ("src", "href")]

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def page():
    return report_html(*invented.single(warnings=["tilt"]))


def collect(html):
    collector = Collector()
    collector.feed(html)
    return collector


def test_it_refers_to_nothing_outside(page):
    addresses = collect(page).addresses
    assert len(addresses) == 4
    assert all(a.startswith(("data:", "#")) for a in addresses)
    assert "http" not in re.sub(r"data:[^\"]*", "", page)


def test_it_holds_picture_and_three_plots(page):
    pictures = collect(page).addresses
    assert base64.b64decode(pictures[0].split(",")[1])[:3] == b"\xff\xd8\xff"
    for plot in pictures[1:]:
        svg = base64.b64decode(plot.split(",")[1]).decode()
        assert svg.lstrip().startswith("<?xml")
        assert "<path" in svg


def test_it_says_what_the_text_says(page):
    words = " ".join(" ".join(collect(page).words).split())
    for piece in (
        "M14x1.5 (ISO 261, probability 96.8 %)",
        "1.5002 ± 0.0032 mm",
        "9/16-18 UNF",
        "edge noise",
        "scale from the pin",
        "the camera looked down",
    ):
        assert piece in words


def test_the_same_bytes_at_every_run(page):
    assert report_html(*invented.single(warnings=["tilt"])) == page


def test_names_are_escaped():
    measurement, photo = invented.single()
    odd = replace(
        measurement,
        photo=replace(measurement.photo, file="<b>&.jpg"),
        warnings=(Flag(code="tilt", message="<script>", advice="&"),),
    )
    html = report_html(odd, photo)
    assert "<script>" not in html
    assert "&lt;b&gt;&amp;.jpg" in html


def test_a_refusal_has_a_report_without_a_name():
    measurement, photo = invented.single(warnings=["blurred"])
    html = report_html(replace(measurement, parts=(), scale=None), photo)
    assert "No thread was named" in html
    assert "M14x1.5" not in html


def test_missing_plots_and_budget_are_left_out():
    measurement, photo = invented.single(plots=False)
    thread = replace(measurement.parts[0].threads[0], budget=())
    part = replace(measurement.parts[0], threads=(thread,))
    html = report_html(replace(measurement, parts=(part,)), photo)
    assert "Profile over one pitch" not in html
    assert "Where the uncertainty comes from" not in html


def test_an_unwritable_place_leaves_nothing(tmp_path):
    with pytest.raises(InputError, match="cannot be written"):
        write_report(*invented.single(), tmp_path / "none" / "a.html")
    assert list(tmp_path.iterdir()) == []


def test_the_file_is_replaced_whole(tmp_path):
    target = tmp_path / "a.html"
    target.write_text("old")
    write_report(*invented.single(), target)
    assert target.read_text().startswith("<!doctype html>")
    assert [p.name for p in tmp_path.iterdir()] == ["a.html"]
