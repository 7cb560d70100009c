"""The chart as PDF: pages to hang on a wall, with each thread's profile at true scale."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from pitchcam.chart.pages import PAIRS_PER_PAGE, TITLE_ROWS, Page, Section
from pitchcam.chart.rows import ChartRow
from pitchcam.errors import UsageError
from pitchcam.match.confusable import Confusable
from pitchcam.series import ThreadSize
from pitchcam.series.drills import TapDrill
from pitchcam.series.profile import axial_profile

MM = 72 / 25.4
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MARGIN_MM = 12.0
#: Row height and type size in mm and points: capitals of 3 mm are read from a metre (an eye that
#: sees 5 arc minutes reads 1.5 mm there).
ROW_MM, TYPE, HEAD_TYPE = 6.9, 12.0, 10.0
#: A page with few rows is set wider, up to this.
WIDEST = 1.25
PAIR_MM, PAIR_TYPE = 6.0, 10.0
#: Column starts in mm from the left margin, and the heads; the profile takes the rest.
COLUMNS = (
    (1.0, "size"), (38.0, "pitch mm"), (55.0, "TPI"), (69.0, "major mm"), (88.0, "bore mm"),
    (105.0, "drill mm"), (134.0, "inch drill"), (166.0, "true scale"),
)  # fmt: skip
#: Where a drill's engagement ends, right-aligned, from the start of its column.
SHARE_MM = 26.0
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
    return int(_room_for_rows(PAPERS[paper][1], PAIRS_PER_PAGE) / ROW_MM)


def _room_for_rows(height: float, pairs: int) -> float:
    """Return what a list of pairs and the foot leave of a page, in mm."""
    listed = 12 + pairs * PAIR_MM if pairs else 0.0
    return height - 2 * MARGIN_MM - listed - 8


def _draw_page(canvas: Any, page: Page, width: float, height: float, number: str) -> None:
    lines = len(page.rows) + TITLE_ROWS * len(page.sections)
    grow = _room_for_rows(height, len(page.pairs)) / (ROW_MM * lines)
    row_mm = ROW_MM * min(WIDEST, max(grow, 1.0))
    y = height - MARGIN_MM
    for section in page.sections:
        y = _draw_section(canvas, section, width, y, row_mm)
    if page.pairs:
        _draw_pairs(canvas, page.pairs, y - 9)
    _foot(canvas, width, number, starred=_starred(page))


def _draw_section(canvas: Any, section: Section, width: float, top: float, row_mm: float) -> float:
    """Draw one family below ``top``; return where it ends. Heads take TITLE_ROWS rows."""
    y = top - TITLE_ROWS * row_mm
    _text(canvas, MARGIN_MM, y + 14.5, section.title, 17, bold=True)
    _text(canvas, MARGIN_MM, y + 8.5, section.seal, 10, fit=width - 2 * MARGIN_MM)
    for x, head in COLUMNS:
        _text(canvas, MARGIN_MM + x, y + 2, head, HEAD_TYPE, grey=0.25)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.8)
    canvas.line(MARGIN_MM * MM, y * MM, (width - MARGIN_MM) * MM, y * MM)
    for k, row in enumerate(section.rows):
        y -= row_mm
        if k % 2 == 0:
            canvas.setFillGray(0.93)
            canvas.rect(MARGIN_MM * MM, y * MM, (width - 2 * MARGIN_MM) * MM, row_mm * MM,
                        stroke=0, fill=1)  # fmt: skip
        _draw_row(canvas, row, y, row_mm)
    return y


def _draw_row(canvas: Any, row: ChartRow, y: float, row_mm: float) -> None:
    size = row.size
    cells = (
        size.designation, f"{size.pitch_mm:.3f}".rstrip("0").rstrip("."), f"{size.tpi_value:.4g}",
        f"{size.basic_major_mm:.2f}", f"{row.bore_mm:.2f}",
    )  # fmt: skip
    base = y + row_mm / 2 - 1.45
    for (x, _), text in zip(COLUMNS, cells, strict=False):
        _text(canvas, MARGIN_MM + x, base, text, TYPE, bold=x < 2.0, fit=_room(x))
    for (x, _), drill in zip(COLUMNS[5:7], (row.metric, row.inch), strict=True):
        _draw_drill(canvas, drill, MARGIN_MM + x, base)
    _draw_profile(canvas, size, MARGIN_MM + COLUMNS[-1][0], y, row_mm)


def _draw_drill(canvas: Any, drill: TapDrill | None, x: float, base: float) -> None:
    name = "-" if drill is None else drill.drill.name.replace(" mm", "")
    _text(canvas, x, base, name, TYPE, fit=15)
    if drill is not None and drill.engagement is not None:
        share = f"{100 * drill.engagement:.0f} %"
        canvas.setFont("Helvetica", HEAD_TYPE)
        canvas.setFillGray(0.25)
        canvas.drawRightString((x + SHARE_MM) * MM, base * MM, share)
        if not drill.in_limits:
            _text(canvas, x + SHARE_MM + 0.6, base, "*", TYPE)


def _room(x: float) -> float:
    """Return the width in mm up to the next column."""
    starts = [c[0] for c in COLUMNS]
    return starts[starts.index(x) + 1] - x - 1.5


def _draw_profile(canvas: Any, size: ThreadSize, x: float, y: float, row_mm: float) -> None:
    """Draw the external profile at true scale: 1 mm of thread on 1 mm of paper."""
    points = axial_profile(size, PROFILE_MM / size.pitch_mm)
    highest, lowest = float(points[:, 1].max()), float(points[:, 1].min())
    body = 1.0
    top = y + (row_mm + highest - lowest + body) / 2 - highest
    end = float(points[-1, 0])
    path = canvas.beginPath()
    path.moveTo(x * MM, (top + lowest - body) * MM)
    for z, r in points:
        path.lineTo((x + z) * MM, (top + r) * MM)
    path.lineTo((x + end) * MM, (top + lowest - body) * MM)
    path.close()
    canvas.setFillGray(0.25)
    canvas.drawPath(path, stroke=0, fill=1)


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
    _text(canvas, x + BAR_MM + 3, y - 1, f"{BAR_MM:g} mm by caliper: print at 100 %", 9)
    star = "* hole outside the usual class   " if starred else ""
    canvas.setFont("Helvetica", 9)
    canvas.setFillGray(0)
    text = f"{star}% of full thread   {number}"
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
