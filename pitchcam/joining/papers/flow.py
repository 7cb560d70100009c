"""Paragraphs and tables over as many pages as they need, below what is drawn on the first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph, Table, TableStyle

from pitchcam.paper import BOLD, PAPERS, REGULAR, Placed, text_width_mm

#: Body and heads in points: a sheet is read at arm's length, beside a torch.
BODY, HEAD, TITLE = 9.5, 11.0, 14.0
_MARGIN_MM, _FOOT_MM = 12.0, 16.0


class Flow:
    """A sheet of several pages, filled from the top; positions in page mm from the lower left.

    Parameters
    ----------
    canvas, paper
        From :func:`pitchcam.paper.new_canvas`.
    title
        Stands on every page, with its number.
    foot
        Line at the foot of every page.
    """

    def __init__(self, canvas: Canvas, paper: str, title: str, foot: str) -> None:
        self.canvas = canvas
        width, height = PAPERS[paper]
        self.left, self.right = _MARGIN_MM, width - _MARGIN_MM
        self._top, self._title, self._foot = height - _MARGIN_MM, title, foot
        self.placed = Placed()
        self._number = 0
        self.y = self._top
        self._begin()

    @property
    def width(self) -> float:
        """Width between the margins."""
        return self.right - self.left

    def _begin(self) -> None:
        self._number += 1
        self.placed = Placed()
        self.y = self._top
        size = TITLE if self._number == 1 else HEAD
        more = "" if self._number == 1 else f", page {self._number}"
        self.add(Paragraph(safe(self._title + more), style(size, bold=True)), 1.5)
        c = self.canvas
        c.setLineWidth(0.6)
        c.line(self.left * mm, self.y * mm, self.right * mm, self.y * mm)
        self.y -= 2.0
        c.setFont(REGULAR, 9.0)
        c.drawString(self.left * mm, _MARGIN_MM * mm, self._foot)
        number = f"{self._number}"
        c.drawString((self.right - text_width_mm(number, 9.0)) * mm, _MARGIN_MM * mm, number)

    def add(self, block: Any, after_mm: float = 0.8) -> None:
        """Set a block below what is there, on the next page where this one has no room."""
        _, height = block.wrap(self.width * mm, 1e6)
        if self.y - height / mm < _FOOT_MM + 2.0:
            self.new_page()
        self.y -= height / mm
        block.drawOn(self.canvas, self.left * mm, self.y * mm)
        self.y -= after_mm

    def head(self, text: str) -> None:
        """Set a head, not alone at the foot of a page."""
        if self.y < _FOOT_MM + 25.0:
            self.new_page()
        self.y -= 1.5
        self.add(Paragraph(safe(text), style(HEAD, bold=True)), 1.0)

    def lines(self, texts: Sequence[str], indent_mm: float = 0.0) -> None:
        """Set paragraphs; those whose first word ends in a dot hang from it."""
        for text in texts:
            self.add(Paragraph(safe(text), style(BODY, indent_mm=indent_mm)), 0.9)

    def row(self, cells: Sequence[str], shares: Sequence[float]) -> None:
        """Set one row of a table, the first two cells bold, with a line below."""
        table = Table(
            [[Paragraph(safe(c), style(BODY, bold=i < 2)) for i, c in enumerate(cells)]],
            colWidths=[s * self.width * mm for s in shares],
        )
        table.setStyle(
            TableStyle(
                [
                    ("FONTNAME", (0, 0), (-1, -1), REGULAR),
                    ("LEFTPADDING", (0, 0), (-1, -1), 2),
                    ("RIGHTPADDING", (0, 0), (-1, -1), 4),
                    ("TOPPADDING", (0, 0), (-1, -1), 1),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("LINEBELOW", (0, 0), (-1, -1), 0.3, "#bbbbbb"),
                ]
            )
        )
        self.add(table, 0.0)

    def new_page(self) -> None:
        """Finish this page and begin the next."""
        self.canvas.showPage()
        self._begin()

    def finish(self) -> None:
        """Finish the last page."""
        self.canvas.showPage()


def style(size: float, *, bold: bool = False, indent_mm: float = 0.0) -> ParagraphStyle:
    """Return a paragraph's style."""
    return ParagraphStyle(
        "text",
        fontName=BOLD if bold else REGULAR,
        fontSize=size,
        leading=1.22 * size,
        leftIndent=indent_mm * mm,
    )


def safe(text: str) -> str:
    """Return text in which nothing counts as mark-up."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
