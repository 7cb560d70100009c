"""The chart as one poster: every chosen size on a single sheet of A3 or A2."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace

from pitchcam.chart.draw import (
    PAIR_MM,
    POSTER,
    ROW_MM,
    TITLE_ROWS,
    Frame,
    draw_block,
    draw_foot,
    draw_pairs,
    starred,
    write,
)
from pitchcam.chart.pages import Block, family_block
from pitchcam.chart.pdf import MARGIN_MM
from pitchcam.chart.rows import ChartRow, chart_pairs
from pitchcam.errors import UsageError
from pitchcam.frozen import dataclass
from pitchcam.paper import PAPERS, new_canvas

#: Papers that are hung as one sheet.
POSTERS = ("a3", "a2")
_GAP_MM, _HEAD_MM, _FOOT_MM = 10.0, 14.0, 9.0
_PAIRS = 10
#: Fewer rows than this below a title are not begun at the foot of a column.
_LEAST_ROWS = 3
#: Type under this share of a page's own cannot be read from where a poster hangs.
_LEAST_SCALE = 0.6


@dataclass(frozen=True, slots=True)
class Layout:
    """Size of the sheet in mm, and its columns of blocks with their scale and row height."""

    size_mm: tuple[float, float]
    columns: tuple[tuple[Block, ...], ...]
    scale: float
    row_mm: float


def poster(rows: Sequence[ChartRow], paper: str) -> bytes:
    """Return a poster as PDF: one page, families in columns, pairs below.

    Raises
    ------
    UsageError
        If the paper is no poster's, or the rows would be too small to read.
    """
    layout = lay_out(rows, paper)
    width, height = layout.size_mm
    out = io.BytesIO()
    canvas = new_canvas(out, layout.size_mm, "Tapping chart")
    k = layout.scale
    write(
        canvas,
        (MARGIN_MM, height - MARGIN_MM - 8.0),
        "Threads and tapping drills",
        22 * k,
        bold=True,
    )
    column_mm = POSTER.width_mm * k
    for n, blocks in enumerate(layout.columns):
        y = height - MARGIN_MM - _HEAD_MM
        left = MARGIN_MM + n * (column_mm + _GAP_MM)
        frame = Frame(canvas=canvas, columns=POSTER, left_mm=left, scale=k, row_mm=layout.row_mm)
        for block in blocks:
            y = draw_block(frame, block, y)
    pairs = chart_pairs(rows)[:_PAIRS]
    half = -(-len(pairs) // 2)
    for n, part in enumerate((pairs[:half], pairs[half:])):
        if part:
            wide = (width - 2 * MARGIN_MM - _GAP_MM) / 2
            at = (MARGIN_MM + n * (wide + _GAP_MM), MARGIN_MM + _FOOT_MM + _pairs_mm(k) - 8.0 * k)
            draw_pairs(canvas, part, at, min(k, wide / 186.0), headed=n == 0)
    draw_foot(canvas, (MARGIN_MM, width - MARGIN_MM, MARGIN_MM + 1), starred(rows))
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def lay_out(rows: Sequence[ChartRow], paper: str) -> Layout:
    """Return the layout with the largest type, over both ways round and one to four columns.

    Raises
    ------
    UsageError
        As :func:`poster`.
    """
    if paper not in POSTERS:
        raise UsageError(f"{paper} is no poster.", f"Use {' or '.join(POSTERS)}.")
    wide, tall = PAPERS[paper]
    families = dict.fromkeys(r.size.family for r in rows)
    blocks = [family_block([r for r in rows if r.size.family == f], f) for f in families]
    layouts = [
        layout
        for size in ((wide, tall), (tall, wide))
        for columns in range(1, 5)
        for layout in (_in_columns(blocks, size, columns),)
        if layout is not None
    ]
    best = max(layouts, key=lambda each: each.scale)
    if best.scale < _LEAST_SCALE:
        raise UsageError(
            f"{len(rows)} sizes are too many for one {paper} sheet.",
            "Choose families with --series, take the bench's sizes, or print pages: --paper a4.",
        )
    return best


def _in_columns(blocks: Sequence[Block], size: tuple[float, float], columns: int) -> Layout | None:
    """Return the layout in so many columns: rows as high as fit, type as large as both allow."""
    width, height = size
    column_mm = (width - 2 * MARGIN_MM - (columns - 1) * _GAP_MM) / columns
    by_width = column_mm / POSTER.width_mm
    lines = sum(len(s.rows) + TITLE_ROWS for s in blocks)
    for most in range(-(-lines // columns), 2 * lines):
        flowed = _flow(blocks, most)
        if len(flowed) <= columns:
            break
    room = height - 2 * MARGIN_MM - _HEAD_MM - _FOOT_MM
    # The list of pairs grows with the type: a few steps settle both.
    scale = by_width
    for _ in range(20):
        row_mm = (room - _pairs_mm(scale)) / most
        if row_mm <= 0.0:
            return None
        scale = min(by_width, 0.5 * (scale + row_mm / ROW_MM))
    scale = min(by_width, row_mm / ROW_MM)
    return Layout(
        size, tuple(tuple(column) for column in flowed), scale, min(row_mm, 1.25 * ROW_MM * scale)
    )


def _pairs_mm(scale: float) -> float:
    return (14.0 + PAIR_MM * (_PAIRS // 2)) * scale


def _flow(blocks: Sequence[Block], most: int) -> list[list[Block]]:
    """Return columns of at most so many rows, titles counted; a cut block goes on with a title.

    ``most`` must hold a title and a row.
    """
    columns: list[list[Block]] = [[]]
    used = 0
    for block in blocks:
        left, begun = list(block.rows), False
        while left:
            fit = most - used - TITLE_ROWS
            whole = len(left) <= fit
            if not whole and (fit < _LEAST_ROWS or len(left) - fit < _LEAST_ROWS) and used:
                columns.append([])
                used = 0
                continue
            taken, left = left[: max(fit, 1)], left[max(fit, 1) :]
            title = f"{block.title}, continued" if begun else block.title
            columns[-1].append(replace(block, title=title, rows=tuple(taken)))
            used += TITLE_ROWS + len(taken)
            begun = True
    return columns
