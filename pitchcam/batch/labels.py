"""Labels for bins, as PDF at true size: profile, designation, diameter, code with a record's id.

The profile is one to one: a fitter can hold a part against the label. A bar at the foot of each
page shows whether the printer kept the size.
"""

from __future__ import annotations

import io
from pathlib import Path

import segno
from reportlab.lib.units import mm
from reportlab.lib.utils import simpleSplit
from reportlab.pdfgen.canvas import Canvas

from pitchcam.batch.answer import Answer, Line
from pitchcam.batch.contact import plain
from pitchcam.files import write_whole
from pitchcam.paper import BOLD, PAPERS, REGULAR, new_canvas, true_bar
from pitchcam.records import MM_PER_INCH
from pitchcam.series import ThreadSize, load_series
from pitchcam.series.profile import profile_points

_WIDTH, _HEIGHT = PAPERS["a4"]
_COLUMNS, _ROWS = 2, 6
_LABEL_W, _LABEL_H = 92.0, 43.0
_LEFT = (_WIDTH - _COLUMNS * _LABEL_W) / 2
_TOP = _HEIGHT - 10.0
_INSET = 4.0
_PROFILE_MM = 30.0
_TEXT_POINTS = 7.2
#: 21 modules of 0.7 mm and the quiet zone of 4 that ISO/IEC 18004 asks for: 20 mm, read by a phone
#: from arm's length.
_MODULE_MM = 0.7
_QUIET_MODULES = 4
_BAR_MM = 100.0
_GREY = (0.55, 0.58, 0.60)


def write_labels(answer: Answer, path: Path) -> None:
    """Write one label for each bin of the answer.

    Raises
    ------
    FullError
        If the disk is full.
    """
    sizes = {size.designation: size for size in load_series()}
    buffer = io.BytesIO()
    canvas = new_canvas(buffer, "a4")
    for index, (name, lines) in enumerate(answer.bins):
        place = index % (_COLUMNS * _ROWS)
        if index and place == 0:
            _end_page(canvas)
        row, column = divmod(place, _COLUMNS)
        x, y = _LEFT + column * _LABEL_W, _TOP - (row + 1) * _LABEL_H
        _label(canvas, x, y, name, lines, sizes.get(name))
    _end_page(canvas)
    canvas.save()
    write_whole(path, buffer.getvalue())


def reference(lines: tuple[Line, ...]) -> Line:
    """Return the line whose record stands for the bin: the one with the surest pitch."""

    def doubt(line: Line) -> tuple[float, int]:
        pitch = line.row.quantities.get("pitch_mm")
        return (pitch[1] / pitch[0] if pitch else float("inf"), line.number)

    return min(lines, key=doubt)


def _label(
    canvas: Canvas, x: float, y: float, name: str, lines: tuple[Line, ...], size: ThreadSize | None
) -> None:
    canvas.setStrokeColorRGB(*_GREY)
    canvas.setLineWidth(0.3)
    canvas.rect(x * mm, y * mm, _LABEL_W * mm, _LABEL_H * mm)
    chosen = reference(lines)
    code_mm = _code(canvas, x + _LABEL_W - _INSET, y + _INSET, chosen.row.id)
    left, top = x + _INSET, y + _LABEL_H - _INSET
    canvas.setFillColorRGB(0, 0, 0)
    _fitted(canvas, left, top - 6.5, name, _LABEL_W - 2 * _INSET)
    canvas.setFont(REGULAR, _TEXT_POINTS)
    for row, (text, width) in enumerate(_facts(size, lines)):
        part = simpleSplit(plain(text), REGULAR, _TEXT_POINTS, width * mm)[0]
        canvas.drawString(left * mm, (top - 11.5 - 3.5 * row) * mm, part)
    canvas.setFont(REGULAR, 6)
    canvas.setFillColorRGB(*_GREY)
    canvas.drawRightString(
        (x + _LABEL_W - _INSET) * mm,
        (y + _INSET + code_mm + _QUIET_MODULES * _MODULE_MM) * mm,
        chosen.row.id,
    )
    if size is not None:
        _profile(canvas, left, y + _INSET, size)


def _fitted(canvas: Canvas, x: float, y: float, text: str, width: float) -> None:
    """Draw a line as large as fits, at most 22 points, which reads from three metres."""
    text = plain(text)
    points = min(22.0, 22.0 * width * mm / canvas.stringWidth(text, BOLD, 22))
    canvas.setFont(BOLD, points)
    canvas.drawString(x * mm, y * mm, text)


def _facts(size: ThreadSize | None, lines: tuple[Line, ...]) -> list[tuple[str, float]]:
    """Return the lines of text with the width in mm that each may take."""
    wide, beside_code = _LABEL_W - 2 * _INSET, 55.0
    numbers = ", ".join(str(line.number) for line in lines)
    count = (f"{len(lines)} in this box: {numbers}", beside_code)
    if size is None:
        return [("not in the series kept here", wide), count]
    reads = ""
    if size.external:
        low, high = size.external[0].major_mm
        where = ", gauge plane" if size.taper else ""
        reads = f"; new {low:.2f} to {high:.2f} mm{where}"
    inch = size.basic_major_mm / MM_PER_INCH
    return [
        (f"basic {size.basic_major_mm:.2f} mm ({inch:.3f} in){reads}", wide),
        (
            f"pitch {size.pitch_mm:.3f} mm ({size.tpi_value:.4g} TPI), {size.angle_deg:g} deg, "
            f"{size.standard}",
            wide,
        ),
        count,
    ]


def _profile(canvas: Canvas, x: float, y: float, size: ThreadSize) -> None:
    """Draw the profile one to one, its crests up, on a strip of metal."""
    points = profile_points(size, _PROFILE_MM / size.pitch_mm)
    top = max(r for _, r in points)
    bottom = min(r for _, r in points) - 2.5
    path = canvas.beginPath()
    path.moveTo((x + points[0][0]) * mm, y * mm)
    for z, r in points:
        path.lineTo((x + z) * mm, (y + r - bottom) * mm)
    path.lineTo((x + points[-1][0]) * mm, y * mm)
    path.close()
    canvas.setFillColorRGB(0.15, 0.17, 0.19)
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.setFont(REGULAR, 6)
    canvas.setFillColorRGB(*_GREY)
    canvas.drawString(x * mm, (y + top - bottom + 1.0) * mm, "true size")


def _code(canvas: Canvas, right: float, y: float, text: str) -> float:
    """Draw a QR code (ISO/IEC 18004) with its lower right corner given; return its size in mm."""
    matrix = segno.make(text, error="m", micro=False).matrix
    canvas.setFillColorRGB(0, 0, 0)
    side = len(matrix) * _MODULE_MM
    for down, row in enumerate(matrix):
        for across, dark in enumerate(row):
            if dark:
                canvas.rect(
                    (right - side + across * _MODULE_MM) * mm,
                    (y + side - (down + 1) * _MODULE_MM) * mm,
                    _MODULE_MM * mm,
                    _MODULE_MM * mm,
                    stroke=0,
                    fill=1,
                )
    return side


def _end_page(canvas: Canvas) -> None:
    """Draw the bar that shows whether the page was printed at its true size."""
    y = 12.0
    true_bar(canvas, _LEFT, y, _BAR_MM)
    canvas.setFillColorRGB(0, 0, 0)
    canvas.setFont(REGULAR, 8)
    canvas.drawString(
        (_LEFT + _BAR_MM + 3) * mm,
        (y - 1) * mm,
        f"{_BAR_MM:.0f} mm: check by caliper; print at 100 %",
    )
    canvas.showPage()
