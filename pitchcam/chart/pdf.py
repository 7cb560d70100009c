"""The chart as PDF pages to hang on a wall, with each thread's profile at true scale."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from pitchcam.chart.draw import (
    PAGE,
    PAIR_MM,
    ROW_MM,
    TITLE_ROWS,
    Frame,
    draw_block,
    draw_foot,
    draw_pairs,
    starred,
)
from pitchcam.chart.pages import PAIRS_PER_PAGE, Page
from pitchcam.paper import PAPERS, new_canvas

MARGIN_MM = 12.0
#: A page with few rows is set wider, up to this.
WIDEST = 1.25


def render(pages: Sequence[Page], paper: str = "a4") -> bytes:
    """Return the PDF of some pages; the same rows give the same bytes.

    Raises
    ------
    UsageError
        If there is no such paper.
    """
    out = io.BytesIO()
    canvas = new_canvas(out, paper, "Tapping chart")
    width, height = PAPERS[paper]
    for number, page in enumerate(pages, start=1):
        _draw_page(canvas, page, (width, height), f"{number} / {len(pages)}")
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


def _draw_page(canvas: Any, page: Page, size: tuple[float, float], number: str) -> None:
    width, height = size
    lines = len(page.rows) + TITLE_ROWS * len(page.blocks)
    grow = _room_for_rows(height, len(page.pairs)) / (ROW_MM * lines)
    frame = Frame(
        canvas=canvas,
        columns=PAGE,
        left_mm=MARGIN_MM,
        scale=(width - 2 * MARGIN_MM) / PAGE.width_mm,
        row_mm=ROW_MM * min(WIDEST, max(grow, 1.0)),
    )
    y = height - MARGIN_MM
    for block in page.blocks:
        y = draw_block(frame, block, y)
    if page.pairs:
        draw_pairs(canvas, page.pairs, (MARGIN_MM, y - 9))
    draw_foot(
        canvas, (MARGIN_MM, width - MARGIN_MM, MARGIN_MM + 1), f"{starred(page.rows)}   {number}"
    )
