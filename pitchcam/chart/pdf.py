"""The chart as PDF: pages to hang on a wall, with each thread's profile at true scale."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from pitchcam.chart.pages import Page
from pitchcam.chart.rows import ChartRow, drill_text
from pitchcam.errors import UsageError
from pitchcam.match.confusable import Confusable
from pitchcam.series import ThreadSize
from pitchcam.series.profile import axial_profile

MM = 72 / 25.4
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MARGIN_MM = 12.0
#: Row height and type size in mm and points: capitals of 3 mm are read from a metre (an eye that
#: sees 5 arc minutes reads 1.5 mm there).
ROW_MM, TYPE, HEAD_TYPE = 6.9, 12.0, 10.0
PAIR_MM, PAIR_TYPE = 6.0, 10.0
#: Column starts in mm from the left margin, and the heads; the profile takes the rest.
COLUMNS = (
    (0.0, "size"), (42.0, "pitch mm"), (62.0, "TPI"), (76.0, "major mm"), (97.0, "bore mm"),
    (116.0, "drill mm"), (142.0, "inch drill"), (166.0, "true scale"),
)  # fmt: skip
PROFILE_MM = 19.0
BAR_MM = 50.0


def render(pages: Sequence[Page], paper: str = "a4") -> bytes:
    """Return the PDF of some pages; the same rows give the same bytes.

    Raises
    ------
    UsageError
        If the paper is not ``a4`` or ``letter``.
    """
    from reportlab.pdfgen.canvas import Canvas

    if paper not in PAPERS:
        raise UsageError(f"there is no paper '{paper}' here.", "Use a4 or letter.")
    width, height = PAPERS[paper]
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(width * MM, height * MM), invariant=1)
    canvas.setTitle("Tapping chart")
    canvas.setAuthor("pitchcam")
    for number, page in enumerate(pages, start=1):
        _draw_page(canvas, page, width, height, f"{number} / {len(pages)}")
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def rows_that_fit(paper: str) -> int:
    """Return how many rows a page of this paper holds above a full list of pairs."""
    from pitchcam.chart.pages import PAIRS_PER_PAGE

    free = PAPERS[paper][1] - 2 * MARGIN_MM - 20 - 14 - PAIRS_PER_PAGE * PAIR_MM - 16
    return int(free / ROW_MM)


def _draw_page(canvas: Any, page: Page, width: float, height: float, number: str) -> None:
    y = height - MARGIN_MM - 6
    _text(canvas, MARGIN_MM, y, page.title, 18, bold=True)
    _text(canvas, MARGIN_MM, y - 6.5, page.seal, 10)
    y -= 14
    for x, head in COLUMNS:
        _text(canvas, MARGIN_MM + x, y, head, HEAD_TYPE, grey=0.25)
    y -= 2
    canvas.setLineWidth(0.8)
    canvas.line(MARGIN_MM * MM, y * MM, (width - MARGIN_MM) * MM, y * MM)
    for k, row in enumerate(page.rows):
        y -= ROW_MM
        if k % 2 == 0:
            canvas.setFillGray(0.93)
            canvas.rect(MARGIN_MM * MM, y * MM, (width - 2 * MARGIN_MM) * MM, ROW_MM * MM,
                        stroke=0, fill=1)  # fmt: skip
        _draw_row(canvas, row, y)
    if page.pairs:
        _draw_pairs(canvas, page.pairs, y - 9)
    _foot(canvas, width, number, starred=_starred(page))


def _draw_row(canvas: Any, row: ChartRow, y: float) -> None:
    size = row.size
    cells = (
        size.designation, f"{size.pitch_mm:.3f}".rstrip("0").rstrip("."), f"{size.tpi_value:.4g}",
        f"{size.basic_major_mm:.2f}", f"{row.bore_mm:.2f}",
        drill_text(row.metric).replace(" mm", ""), drill_text(row.inch),
    )  # fmt: skip
    base = y + 2.0
    for (x, _), text in zip(COLUMNS, cells, strict=False):
        _text(canvas, MARGIN_MM + x, base, text, TYPE, bold=x == 0.0, fit=_room(x))
    _draw_profile(canvas, size, MARGIN_MM + COLUMNS[-1][0], y, ROW_MM)


def _room(x: float) -> float:
    """Return the width in mm up to the next column."""
    starts = [c[0] for c in COLUMNS]
    return starts[starts.index(x) + 1] - x - 1.5


def _draw_profile(canvas: Any, size: ThreadSize, x: float, y: float, row_mm: float) -> None:
    """Draw the external profile at true scale: 1 mm of thread on 1 mm of paper."""
    points = axial_profile(size, PROFILE_MM / size.pitch_mm)
    top = y + row_mm - 0.6 - float(points[:, 1].max())
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(x * MM, y * MM, PROFILE_MM * MM, row_mm * MM)
    canvas.clipPath(clip, stroke=0)
    path = canvas.beginPath()
    path.moveTo(x * MM, (y + 0.2) * MM)
    for z, r in points:
        path.lineTo((x + z) * MM, (top + r) * MM)
    path.lineTo((x + float(points[-1, 0])) * MM, (y + 0.2) * MM)
    path.close()
    canvas.setFillGray(0.25)
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.restoreState()


def _draw_pairs(canvas: Any, pairs: Sequence[Confusable], y: float) -> None:
    _text(canvas, MARGIN_MM, y, "Easily confused, and the one measurement that tells", 11,
          bold=True)  # fmt: skip
    for pair in pairs:
        y -= PAIR_MM
        _text(canvas, MARGIN_MM, y, f"{pair.first.designation}  |  {pair.second.designation}",
              PAIR_TYPE, bold=True, fit=58)  # fmt: skip
        _text(canvas, MARGIN_MM + 60, y, pair.measurement, PAIR_TYPE, fit=52)
        _text(canvas, MARGIN_MM + 113, y, f"{pair.values[0]}  |  {pair.values[1]}", PAIR_TYPE,
              fit=73)  # fmt: skip


def _foot(canvas: Any, width: float, number: str, *, starred: bool) -> None:
    y = MARGIN_MM + 1
    canvas.setLineWidth(0.6)
    canvas.setStrokeGray(0)
    x = MARGIN_MM
    canvas.line(x * MM, y * MM, (x + BAR_MM) * MM, y * MM)
    for end in (x, x + BAR_MM):
        canvas.line(end * MM, (y - 1.5) * MM, end * MM, (y + 1.5) * MM)
    _text(canvas, x + BAR_MM + 3, y - 1, f"{BAR_MM:g} mm: check by caliper; print at 100 %", 9)
    star = "   * hole outside the usual class" if starred else ""
    text = f"% of full thread depth{star}   {number}"
    canvas.setFont("Helvetica", 9)
    canvas.setFillGray(0)
    canvas.drawRightString((width - MARGIN_MM) * MM, (y - 1) * MM, text)


def _starred(page: Page) -> bool:
    drills = [d for r in page.rows for d in (r.metric, r.inch) if d is not None]
    return any(not d.in_limits for d in drills)


def _text(
    canvas: Any,
    x: float,
    y: float,
    text: str,
    size: float,
    *,
    bold: bool = False,
    grey: float = 0.0,
    fit: float | None = None,
) -> None:
    """Write text at (x, y) mm; ``fit`` is the width in mm that it must not exceed."""
    font = "Helvetica-Bold" if bold else "Helvetica"
    if fit is not None:
        room = canvas.stringWidth(text, font, size)
        size = min(size, size * fit * MM / room) if room else size
    canvas.setFont(font, size)
    canvas.setFillGray(grey)
    canvas.drawString(x * MM, y * MM, text)
