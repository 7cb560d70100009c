"""The sheet as drawn: true size on paper, markers that an independent decoder reads."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET

import cv2
import numpy as np
import pypdfium2 as pdfium
import pytest
from PIL import Image

from pitchcam.errors import PitchcamError, UsageError
from pitchcam.sheet import PAGES, SIZES, sheet, write_sheet
from pitchcam.sheet.draw import TOP_MM, pdf, png, raster, svg
from tests import printed


def widest_run(row: np.ndarray) -> tuple[float, float]:
    """Start and length of the longest dark run, edges at the half level, px."""
    dark = 1 - row / 255
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (dark > 0.5).astype(int), [0]])))
    start, stop = max(zip(edges[::2], edges[1::2], strict=True), key=lambda e: e[1] - e[0])
    return float(start), float(dark[max(start - 1, 0) : stop + 1].sum())


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("page", PAGES)
def test_everything_lies_on_the_paper_clear_of_the_window(size: str, page: str) -> None:
    plan, (width, height) = sheet(size), PAGES[page]
    ink = raster(plan, (width, height), dpi=100) < 250
    rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    # 5 mm: what office printers leave blank around the page (common practice, no source).
    margin = 5 * 100 / 25.4
    assert rows[0] > margin and columns[0] > margin
    assert rows[-1] < ink.shape[0] - margin and columns[-1] < ink.shape[1] - margin
    k = 100 / 25.4
    cx, cy = width / 2, TOP_MM + plan.outer_mm[1] / 2
    w, h = plan.window_mm[0] / 2 - 1, plan.window_mm[1] / 2 - 1
    inside = ink[int((cy - h) * k) : int((cy + h) * k), int((cx - w) * k) : int((cx + w) * k)]
    corner_marks = inside.sum() / inside.size
    assert corner_marks < 0.004
    middle = inside[inside.shape[0] // 5 : -(inside.shape[0] // 5)]
    assert not middle.any()


@pytest.mark.parametrize("size", SIZES)
def test_an_independent_decoder_reads_every_marker_where_the_plan_has_it(size: str) -> None:
    plan, page = sheet(size), PAGES["a4"]
    image = raster(plan, page, dpi=300)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(family).detectMarkers(image)
    seen = {int(i): np.asarray(c).reshape(4, 2) for i, c in zip(ids.ravel(), corners, strict=True)}
    assert set(seen) == {m.id for m in plan.markers}
    k = 300 / 25.4
    origin = np.array([page[0] / 2, TOP_MM + plan.outer_mm[1] / 2])
    for marker in plan.markers:
        expected = (marker.corners_mm + origin) * k - 0.5
        assert np.abs(seen[marker.id] - expected).max() < 1.5


def test_the_two_sizes_share_no_marker() -> None:
    numbers = [m.id for plan in SIZES.values() for m in plan.markers]
    assert len(numbers) == len(set(numbers))


def test_png_bar_is_100_mm_at_its_stated_resolution() -> None:
    picture = Image.open(io.BytesIO(png(sheet("part"), PAGES["a4"])))
    dpi = picture.info["dpi"]
    rows = np.asarray(picture)
    y = round((TOP_MM + sheet("part").outer_mm[1] + 11) * dpi[1] / 25.4)
    _, run = widest_run(rows[y])
    assert run / dpi[0] * 25.4 == pytest.approx(100.0, abs=0.01)


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="poppler-utils is not installed")
@pytest.mark.parametrize("page", PAGES)
def test_pdf_is_at_true_size_when_rendered_by_another_program(page: str, tmp_path) -> None:
    path = tmp_path / "sheet.pdf"
    write_sheet(sheet("part"), path, page)
    subprocess.run(
        ["pdftoppm", "-r", "300", "-gray", "-png", str(path), str(tmp_path / "p")],
        check=True,
        capture_output=True,
    )
    rendered = np.asarray(Image.open(next(tmp_path.glob("p*.png"))).convert("L"))
    k = 300 / 25.4
    assert rendered.shape[1] / k == pytest.approx(PAGES[page][0], abs=0.1)
    assert rendered.shape[0] / k == pytest.approx(PAGES[page][1], abs=0.1)
    _, across = widest_run(rendered[round((TOP_MM + sheet("part").outer_mm[1] + 11) * k)])
    _, along = widest_run(rendered[:, round(11 * k)])
    assert across / k == pytest.approx(100.0, abs=0.1)
    assert along / k == pytest.approx(100.0, abs=0.1)


def test_pdf_asks_the_viewer_not_to_scale_and_is_the_same_bytes_each_time() -> None:
    first = pdf(sheet("box"), PAGES["letter"])
    assert first == pdf(sheet("box"), PAGES["letter"])
    assert re.search(rb"/PrintScaling\s*/None", first)


@pytest.mark.parametrize("page", PAGES)
def test_pdf_has_its_fonts_and_no_text_over_another(page: str, tmp_path) -> None:
    for size in SIZES:
        write_sheet(sheet(size), tmp_path / "s.pdf", page)
        assert all(printed.fonts(tmp_path / "s.pdf").values())
        document = pdfium.PdfDocument(tmp_path / "s.pdf")
        assert printed.covered(document[0]) == [] and printed.outside(document[0]) == []
        document.close()


def test_svg_is_in_mm_and_holds_the_bars() -> None:
    root = ET.fromstring(svg(sheet("part"), PAGES["letter"]))
    assert root.attrib["width"] == "215.9mm" and root.attrib["height"] == "279.4mm"
    rects = root.findall("{http://www.w3.org/2000/svg}rect")
    sides = {(float(r.attrib["width"]), float(r.attrib["height"])) for r in rects}
    assert (100.0, 4.0) in sides and (4.0, 100.0) in sides


def test_bad_requests_get_one_line(tmp_path) -> None:
    with pytest.raises(UsageError, match=r"\.pdf, \.png or \.svg"):
        write_sheet(sheet("part"), tmp_path / "sheet.gif")
    with pytest.raises(UsageError, match="paper size"):
        write_sheet(sheet("part"), tmp_path / "sheet.pdf", "a3")
    with pytest.raises(PitchcamError, match="cannot be written"):
        write_sheet(sheet("part"), tmp_path / "no" / "sheet.pdf")
    assert not list(tmp_path.iterdir())
