"""What stands on the chart's pages, and that print is true to scale."""

import re

import pytest

from pitchcam.chart.html import render as render_html
from pitchcam.chart.pages import paginate
from pitchcam.chart.pdf import MM, PAPERS, PROFILE_MM, render, rows_that_fit
from pitchcam.chart.rows import chart_rows
from pitchcam.chart.svg import true_scale
from pitchcam.errors import UsageError
from pitchcam.series import find
from pitchcam.series.profile import depth_of


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
    for paper, (width, height) in PAPERS.items():
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
