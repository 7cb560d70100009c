"""Draws parts of the chart on a PDF canvas: blocks of one family, pairs, the foot with its bar.

Lengths are page mm; everything but the profiles, which are at true scale, follows the frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pitchcam.chart.pages import Block
from pitchcam.chart.rows import ChartRow
from pitchcam.frozen import dataclass
from pitchcam.match.confusable import Confusable
from pitchcam.paper import BOLD, MM, REGULAR, text_width_mm, true_bar
from pitchcam.series import ThreadSize
from pitchcam.series.drills import TapDrill
from pitchcam.series.profile import axial_profile

#: Row height and type size in mm and points at scale 1: capitals of 3 mm are read from a metre (an
#: eye that sees 5 arc minutes reads 1.5 mm there).
ROW_MM, TYPE, HEAD_TYPE = 6.9, 11.5, 9.5
#: Rows that a block's title, seal and column heads take.
TITLE_ROWS = 3
PAIR_MM, PAIR_TYPE = 6.0, 9.5
PROFILE_MM = 19.0
BAR_MM = 50.0
#: Where a drill's engagement ends, right-aligned, from the start of its column.
SHARE_MM = 23.5


@dataclass(frozen=True, slots=True)
class Columns:
    """Starts of the columns in mm from the left at scale 1, by what stands in them."""

    starts: dict[str, float]
    width_mm: float

    def room(self, name: str) -> float:
        """Return the width up to the next column, less a gap."""
        later = [x for x in self.starts.values() if x > self.starts[name]]
        return min(later, default=self.width_mm) - self.starts[name] - 1.5


#: A page of one column, and a poster's columns, which leave out the bore.
PAGE = Columns(
    {
        "size": 1.0,
        "pitch mm": 38.0,
        "TPI": 55.0,
        "major mm": 69.0,
        "bore mm": 88.0,
        "drill mm": 105.0,
        "inch drill": 134.0,
        "true scale": 167.0,
    },
    186.0,
)
POSTER = Columns(
    {
        "size": 1.0,
        "pitch mm": 37.0,
        "TPI": 52.0,
        "major mm": 67.0,
        "drill mm": 85.0,
        "inch drill": 115.0,
        "true scale": 146.0,
    },
    165.0,
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Frame:
    """Where a column of blocks lies on the page, and how much it is enlarged."""

    canvas: Any
    columns: Columns
    left_mm: float
    scale: float
    row_mm: float

    @property
    def right_mm(self) -> float:
        """Its right edge."""
        return self.left_mm + self.columns.width_mm * self.scale

    def x(self, name: str) -> float:
        """Return where a column starts on the page."""
        return self.left_mm + self.columns.starts[name] * self.scale


def draw_block(frame: Frame, block: Block, top: float) -> float:
    """Draw one family below ``top``; return where it ends."""
    k, left = frame.scale, frame.left_mm
    y = top - TITLE_ROWS * frame.row_mm
    width = frame.columns.width_mm * k
    write(frame.canvas, (left, y + 13.0 * k), block.title, 16 * k, bold=True, fit=width)
    write(frame.canvas, (left, y + 7.6 * k), block.seal, 9.5 * k, fit=width)
    for head in frame.columns.starts:
        write(
            frame.canvas,
            (frame.x(head), y + 2 * k),
            head,
            HEAD_TYPE * k,
            grey=0.25,
            fit=frame.columns.room(head) * k,
        )
    frame.canvas.setStrokeGray(0)
    frame.canvas.setLineWidth(0.8)
    frame.canvas.line(left * MM, y * MM, frame.right_mm * MM, y * MM)
    for number, row in enumerate(block.rows):
        y -= frame.row_mm
        if number % 2 == 0:
            frame.canvas.setFillGray(0.93)
            frame.canvas.rect(left * MM, y * MM, width * MM, frame.row_mm * MM, stroke=0, fill=1)
        _draw_row(frame, row, y)
    return y


def _draw_row(frame: Frame, row: ChartRow, y: float) -> None:
    size, k = row.size, frame.scale
    cells = {
        "size": size.designation,
        "pitch mm": f"{size.pitch_mm:.3f}".rstrip("0").rstrip("."),
        "TPI": f"{size.tpi_value:.4g}",
        "major mm": f"{size.basic_major_mm:.2f}",
        "bore mm": f"{row.bore_mm:.2f}",
    }
    base = y + frame.row_mm / 2 - 1.45 * k
    for name, text in cells.items():
        if name in frame.columns.starts:
            write(
                frame.canvas,
                (frame.x(name), base),
                text,
                TYPE * k,
                bold=name == "size",
                fit=frame.columns.room(name) * k,
            )
    for name, drill in (("drill mm", row.metric), ("inch drill", row.inch)):
        _draw_drill(frame, drill, frame.x(name), base)
    _draw_profile(frame, size, y)


def _draw_drill(frame: Frame, drill: TapDrill | None, x: float, base: float) -> None:
    k = frame.scale
    name = "-" if drill is None else drill.drill.name.replace(" mm", "")
    write(frame.canvas, (x, base), name, TYPE * k, fit=13.4 * k)
    if drill is not None and drill.engagement is not None:
        share = f"{100 * drill.engagement:.0f} %"
        end = x + SHARE_MM * k
        write(
            frame.canvas,
            (end - text_width_mm(share, HEAD_TYPE * k), base),
            share,
            HEAD_TYPE * k,
            grey=0.25,
        )
        if not drill.in_limits:
            write(frame.canvas, (end + 0.3 * k, base), "*", TYPE * k)


def _draw_profile(frame: Frame, size: ThreadSize, y: float) -> None:
    """Draw the external profile at true scale: 1 mm of thread on 1 mm of paper."""
    x = frame.x("true scale")
    points = axial_profile(size, min(PROFILE_MM, frame.right_mm - x) / size.pitch_mm)
    highest, lowest = float(points[:, 1].max()), float(points[:, 1].min())
    body = min(1.0, max(frame.row_mm - (highest - lowest) - 0.4, 0.3))
    top = y + (frame.row_mm + highest - lowest + body) / 2 - highest
    end = float(points[-1, 0])
    path = frame.canvas.beginPath()
    path.moveTo(x * MM, (top + lowest - body) * MM)
    for z, r in points:
        path.lineTo((x + z) * MM, (top + r) * MM)
    path.lineTo((x + end) * MM, (top + lowest - body) * MM)
    path.close()
    frame.canvas.setFillGray(0.25)
    frame.canvas.drawPath(path, stroke=0, fill=1)


def draw_pairs(
    canvas: Any,
    pairs: Sequence[Confusable],
    at: tuple[float, float],
    scale: float = 1.0,
    *,
    headed: bool = True,
) -> None:
    """List pairs from ``at`` downwards, 186 mm wide at scale 1."""
    (x, y), k = at, scale
    head = "Easily confused, and the one measurement that tells" if headed else ""
    write(canvas, (x, y), head, 11 * k, bold=True)
    for pair in pairs:
        y -= PAIR_MM * k
        write(
            canvas,
            (x, y),
            f"{pair.first.designation}  |  {pair.second.designation}",
            PAIR_TYPE * k,
            bold=True,
            fit=58 * k,
        )
        write(canvas, (x + 60 * k, y), pair.measurement, PAIR_TYPE * k, fit=51 * k)
        write(
            canvas,
            (x + 113 * k, y),
            f"{pair.values[0]}  |  {pair.values[1]}",
            PAIR_TYPE * k,
            fit=73 * k,
        )


def draw_foot(canvas: Any, margins: tuple[float, float, float], text: str) -> None:
    """Draw the bar and the foot line; ``margins`` are left, right and base line in mm."""
    left, right, y = margins
    true_bar(canvas, left, y, BAR_MM)
    write(canvas, (left + BAR_MM + 3, y - 1), f"{BAR_MM:g} mm: print at 100 %", 9)
    write(canvas, (right - text_width_mm(text, 9), y - 1), text, 9)


def starred(rows: Sequence[ChartRow]) -> str:
    """Return the foot's words: what the star means where one stands, what the percents are."""
    drills = [d for r in rows for d in (r.metric, r.inch) if d is not None]
    star = "* outside the usual class   " if any(not d.in_limits for d in drills) else ""
    return f"{star}% of full thread"


def write(
    canvas: Any,
    at: tuple[float, float],
    text: str,
    size: float,
    *,
    bold: bool = False,
    grey: float = 0.0,
    fit: float | None = None,
) -> None:
    """Write text at (x, y) mm; ``fit`` is the width in mm that it must not exceed."""
    font = BOLD if bold else REGULAR
    if fit is not None:
        room = text_width_mm(text, size, font)
        size = min(size, size * fit / room) if room else size
    canvas.setFont(font, size)
    canvas.setFillGray(grey)
    canvas.drawString(at[0] * MM, at[1] * MM, text)
