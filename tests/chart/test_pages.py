"""What stands on the chart's pages, and that print is true to scale."""

import re

import pypdfium2 as pdfium
import pytest

from pitchcam.chart.draw import PROFILE_MM, ROW_MM
from pitchcam.chart.html import render as render_html
from pitchcam.chart.pages import paginate
from pitchcam.chart.pdf import render, rows_that_fit
from pitchcam.chart.poster import lay_out, poster
from pitchcam.chart.rows import chart_rows
from pitchcam.chart.svg import true_scale
from pitchcam.errors import UsageError
from pitchcam.paper import MM, PAPERS
from pitchcam.series import find
from pitchcam.series.profile import depth_of
from tests import printed


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_row_stands_once_and_fits(paper: str) -> None:
    rows = chart_rows()
    pages = paginate(rows, per_page=rows_that_fit(paper))
    shown = [r.size.designation for p in pages for r in p.rows]
    assert shown == [r.size.designation for r in rows]
    for page in pages:
        assert len(page.rows) <= rows_that_fit(paper)
        names = {r.size.geometry for r in page.rows}
        assert all({p.first.geometry, p.second.geometry} & names for p in page.pairs)


def test_pdf_has_the_paper_size_and_all_pages() -> None:
    pages = paginate(chart_rows(("G", "NPT")), per_page=12)
    for paper in ("a4", "letter"):
        width, height = PAPERS[paper]
        data = render(pages, paper)
        boxes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", data)
        assert len(boxes) == len(pages)
        for w, h in boxes:
            assert (float(w), float(h)) == pytest.approx((width * MM, height * MM), abs=0.01)
    with pytest.raises(UsageError):
        render(pages, "a5")


def test_the_profile_is_at_true_scale() -> None:
    # 1 unit of the view box is 1 mm of paper, and whole pitches fit the stated width.
    size = find("M16x2")
    svg = true_scale(size, width_mm=20.0)
    match = re.search(r'width="([\d.]+)mm" height="[\d.]+mm" viewBox="0 0 ([\d.]+) ', svg)
    assert match is not None and match[1] == match[2]
    points = re.search(r'points="([^"]+)"', svg)
    assert points is not None
    xy = [tuple(float(v) for v in p.split(",")) for p in points[1].split()]
    crests = [x for x, y in xy if y == 0.0]
    assert max(crests) == pytest.approx(20.0, abs=0.26)
    roots = max(y for x, y in xy[:-2])
    assert roots == pytest.approx(depth_of(size), abs=0.002)
    assert PROFILE_MM > 3 * 5.5  # three turns of the coarsest common pitch


def test_html_is_self_contained() -> None:
    text = render_html(paginate(chart_rows(("R",)), per_page=100))
    assert "R 1/8" in text and "Drills are for Rc." in text
    assert not re.search(r'(src|href)="http', text)


def test_an_unknown_family_is_named() -> None:
    with pytest.raises(UsageError, match="XYZ"):
        chart_rows(("XYZ",))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pages_can_be_read_and_measured(paper: str) -> None:
    data = render(paginate(chart_rows(), per_page=rows_that_fit(paper)), paper)
    for page in pdfium.PdfDocument(data):
        assert printed.covered(page) == [] and printed.outside(page) == []
        assert printed.bars(page, 50.0) == [pytest.approx((50.0, 50.0), abs=0.05)]


@pytest.mark.parametrize("paper", ["a3", "a2"])
def test_poster_is_one_sheet_that_can_be_read_and_measured(paper: str, tmp_path) -> None:
    rows = chart_rows()
    data = poster(rows, paper)
    (tmp_path / "p.pdf").write_bytes(data)
    assert all(printed.fonts(tmp_path / "p.pdf").values())
    document = pdfium.PdfDocument(data)
    assert len(document) == 1
    page = document[0]
    assert sorted((page.get_width() / MM, page.get_height() / MM)) == pytest.approx(PAPERS[paper])
    assert printed.covered(page) == [] and printed.outside(page) == []
    assert printed.bars(page, 50.0) == [pytest.approx((50.0, 50.0), abs=0.05)]
    text = page.get_textpage().get_text_bounded()
    for row in rows:
        assert row.size.designation in text
    layout = lay_out(rows, paper)
    shown = [r.size.designation for c in layout.columns for s in c for r in s.rows]
    assert shown == [r.size.designation for r in rows]
    # Capitals of 1.5 mm are what an eye reads at a metre: 0.73 of a type size in points.
    assert 11.5 * layout.scale * 0.73 / MM > 1.5 and layout.row_mm >= ROW_MM * layout.scale * 0.99
    assert poster(rows, paper) == data


def test_poster_that_would_be_too_small_says_so() -> None:
    with pytest.raises(UsageError, match="too many for one a3 sheet"):
        poster(chart_rows(("M", "UN", "UNC", "UNF", "UNS", "G"), sizes="all"), "a3")
    with pytest.raises(UsageError, match="no poster"):
        poster(chart_rows(), "a4")


def test_bench_selection_is_what_engines_carry() -> None:
    names = {r.size.designation for r in chart_rows()}
    for wanted in (
        "M6x1",
        "M10x1",
        "M14x1.5",
        "M18x1.5",
        "1/8-27 NPT",
        "1/4-18 NPT",
        "G 1/4",
        "R 1/4",
        "7/16-20 UNF",
        "1/4-20 BSW",
        "1/4-26 BSF",
        "2 BA",
    ):
        assert wanted in names
    assert 60 < len(names) < 100
    usual = {r.size.designation for r in chart_rows(sizes="usual")}
    every = {r.size.designation for r in chart_rows(sizes="all")}
    assert names < usual < every
    with pytest.raises(UsageError, match="no selection"):
        chart_rows(sizes="some")
