"""The one-page work sheet of a made adapter: drawings to scale, figures, steps, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from io import BytesIO
from pathlib import Path
from typing import Any

from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph, Table, TableStyle

from pitchcam.errors import PitchcamError
from pitchcam.files import write_whole
from pitchcam.fitting import drawing
from pitchcam.fitting.drawing import View
from pitchcam.fitting.join import JoinPlan
from pitchcam.fitting.join_steps import NAMES, cautions, steps
from pitchcam.fitting.join_text import figures
from pitchcam.fitting.joint_detail import draw_mouth
from pitchcam.fitting.outline import Piece, as_bought, assembled
from pitchcam.fitting.practice import practice

_LEFT, _RIGHT, _TOP, _BOTTOM = 12.0, 198.0, 285.0, 10.0
#: Text is set at the largest of these sizes (points) at which the page holds it all.
_SIZES = (7.6, 7.2, 6.8, 6.4, 6.0)


def write_worksheet(plan: JoinPlan, path: Path, day: date) -> None:
    """Write the work sheet as a PDF page of A4; the same plan and day give the same bytes.

    Parameters
    ----------
    plan
        The plan of the adapter.
    path
        The PDF to write; made beside it and moved into place when whole.
    day
        The date on the sheet.

    Raises
    ------
    PitchcamError
        If the file cannot be written.
    """
    file = BytesIO()
    canvas = Canvas(file, pagesize=A4, invariant=1)
    canvas.setTitle(f"Work sheet: {_title(plan)}")
    draw_page(canvas, plan, day)
    canvas.showPage()
    canvas.save()
    write_whole(path, file.getvalue())


def draw_page(canvas: Any, plan: JoinPlan, day: date) -> None:
    """Draw the work sheet on the canvas's page."""
    y = _heading(canvas, plan, day)
    y = _donors(canvas, plan, y)
    y = _assembly(canvas, plan, y)
    _texts(canvas, plan, y)


def _title(plan: JoinPlan) -> str:
    return f"{plan.donors[0].keep.text} to {plan.donors[1].keep.text}"


def _heading(canvas: Any, plan: JoinPlan, day: date) -> float:
    canvas.setFont("Helvetica-Bold", 13)
    canvas.drawString(_LEFT * mm, (_TOP - 3) * mm, f"Work sheet: made adapter, {_title(plan)}")
    canvas.setFont("Helvetica", 8)
    q = plan.question
    lines = [
        f"Joins {q.part.text} to {q.port.text}; {plan.service['key']}, {plan.pressure_bar:g} bar, "
        f"up to {plan.temperature_c:g} deg C. Silver brazed. {day.isoformat()}.",
        *(f"Donor {n}: {d.fitting.text}, {d.metal.name}, hex {d.hex_mm:g}"
          for n, d in zip(NAMES, plan.donors, strict=True)),
    ]  # fmt: skip
    for i, text in enumerate(lines):
        canvas.drawString(_LEFT * mm, (_TOP - 8.5 - 4.0 * i) * mm, text)
    for i, text in enumerate(("Made by ____________________", "Tested by ____________________")):
        canvas.drawRightString(_RIGHT * mm, (_TOP - 8.5 - 8.0 * i) * mm, text)
    canvas.line(_LEFT * mm, (_TOP - 19) * mm, _RIGHT * mm, (_TOP - 19) * mm)
    return _TOP - 20.0


def _donors(canvas: Any, plan: JoinPlan, top: float) -> float:
    """Draw both donors as bought side by side with where to cut; return the height below."""
    pieces = [as_bought(d) for d in plan.donors]
    width, gap = _RIGHT - _LEFT, 16.0
    total = sum(p.length_mm for p in pieces)
    tall = max(_widest(p) for p in pieces)
    scale = drawing.best_scale(total, tall, (width - 2.0 * gap, 34.0))
    axis = top - 7.0 - tall * scale / 2.0 - 4.0
    x = _LEFT + (width - total * scale - gap) / 2.0
    for i, (d, piece) in enumerate(zip(plan.donors, pieces, strict=True)):
        view = View(canvas=canvas, x_mm=x, y_mm=axis, scale=scale)
        drawing.draw_piece(view, piece, i)
        drawing.axis_line(view, 0.0, piece.length_mm)
        turned = plan.form.from_thread and plan.form.inner == i
        face = d.keep_thread_mm + d.body_left_mm
        at = d.keep_thread_mm + d.body_mm if turned else face if d.cut is None else d.saw_at_mm
        work = "turn thread off beyond" if turned else "face to" if d.cut is None else "saw at"
        note = f"{NAMES[i]}: {work} {at:.1f}"
        drawing.saw_line(view, at, _widest(piece) / 2.0, note)
        drawing.dimension(view, 0.0, at, -_widest(piece) * scale / 2.0 - 4.5, f"{at:.1f}")
        x += piece.length_mm * scale + gap
    below = axis - tall * scale / 2.0 - 9.0
    _caption(canvas, f"Donors as bought, {drawing.scale_text(scale)}", top - 3.0)
    bar = View(canvas=canvas, x_mm=_RIGHT - 50.0, y_mm=top - 4.0, scale=1.0)
    drawing.dimension(bar, 0.0, 50.0, 0.0, "50 mm when printed at 100 %")
    return below


def _widest(piece: Piece) -> float:
    return max(s.diameter_mm for s in piece.outside)


def _caption(canvas: Any, text: str, y: float) -> None:
    canvas.setFont("Helvetica-Bold", 7.5)
    canvas.drawString(_LEFT * mm, y * mm, text)


def _assembly(canvas: Any, plan: JoinPlan, top: float) -> float:
    """Draw the adapter as brazed with its dimensions, and the gap enlarged beside it."""
    pieces = assembled(plan)
    tall = max(_widest(p) for p in pieces)
    scale = drawing.best_scale(plan.length_mm, tall, (138.0, 52.0))
    half = tall * scale / 2.0
    axis = top - 6.0 - half - 4.0
    view = View(canvas=canvas, x_mm=_LEFT + 2.0, y_mm=axis, scale=scale)
    for i, piece in enumerate(pieces):
        drawing.draw_piece(view, piece, i)
    drawing.axis_line(view, 0.0, plan.length_mm)
    draw_filler(view, plan)
    _dimensions(view, plan, half)
    _caption(canvas, f"Adapter as brazed, {drawing.scale_text(scale)}; filler orange", top - 3.0)
    draw_mouth(canvas, plan, _RIGHT - 22.0, axis, top - 3.0)
    return axis - half - 17.0


def _joint_at(plan: JoinPlan) -> tuple[float, float]:
    """Return where the overlap starts and stops along the adapter."""
    mouth = assembled(plan)[1 - plan.form.inner].outside
    face = mouth[-1].stop_mm if plan.form.inner == 1 else mouth[0].start_mm
    away = -plan.form.overlap_mm if plan.form.inner == 1 else plan.form.overlap_mm
    return min(face, face + away), max(face, face + away)


def draw_filler(view: View, plan: JoinPlan) -> None:
    """Draw the filler as a line along the faying surface in both halves of the section."""
    c = view.canvas
    c.saveState()
    c.setStrokeColor(drawing.FILLER)
    c.setLineWidth(1.4)
    start, stop = _joint_at(plan)
    r = plan.form.spigot_mm / 2.0
    c.line(view.x(start), view.y(r), view.x(stop), view.y(r))
    mouth, way = (stop, 1.0) if plan.form.inner == 1 else (start, -1.0)
    c.setStrokeColor("black")
    c.setLineWidth(0.8)
    shoulder = mouth + way * practice("mouth")
    c.line(view.x(mouth), view.y(-r), view.x(shoulder), view.y(-r))
    c.restoreState()


def _dimensions(view: View, plan: JoinPlan, half: float) -> None:
    d0, d1 = plan.donors
    total = plan.length_mm
    drawing.dimension(view, 0.0, total, half + 3.0, f"{total:.1f} over all")
    below = -half - 4.5
    edges = [0.0, d0.keep_thread_mm, total - d1.keep_thread_mm, total]
    for start, stop in zip(edges, edges[1:], strict=False):
        if stop - start > 0.05:
            drawing.dimension(view, start, stop, below, f"{stop - start:.1f}")
    start, stop = _joint_at(plan)
    if stop > start:
        drawing.dimension(view, start, stop, below - 6.0, f"overlap {stop - start:.1f}")
    middles = [max(d.keep_thread_mm, d.keep_depth_mm) / 2.0 for d in plan.donors]
    for d, along in ((d0, middles[0]), (d1, total - middles[1])):
        drawing.label(view, along, below - 6.0, d.keep.text)
    middle = (d0.keep_thread_mm + total - d1.keep_thread_mm) / 2.0
    drawing.label(view, middle, below - 10.0, f"hex {d0.hex_mm:g} / {d1.hex_mm:g}, bore "
                  f"{plan.form.bore_mm:g}")  # fmt: skip


def _texts(canvas: Any, plan: JoinPlan, top: float) -> None:
    """Set figures, steps and cautions at the largest size that the rest of the page holds."""
    blocks: list[Any] = []
    for size in _SIZES:
        blocks = _blocks(plan, size)
        heights = [b.wrap((_RIGHT - _LEFT) * mm, 1e6)[1] for b in blocks]
        if sum(heights) + 4.0 * mm <= (top - _BOTTOM) * mm:
            break
    else:
        raise PitchcamError("the work sheet's text does not fit on its page.",
                            "Shorten names and notes in stock.")  # fmt: skip
    y = top * mm
    for block in blocks:
        _, height = block.wrap((_RIGHT - _LEFT) * mm, 1e6)
        y -= height
        block.drawOn(canvas, _LEFT * mm, y)
        y -= 1.5 * mm


def _blocks(plan: JoinPlan, size: float) -> list[Any]:
    style = ParagraphStyle("text", fontName="Helvetica", fontSize=size, leading=size * 1.15)
    width = (_RIGHT - _LEFT) * mm

    def para(text: str) -> Any:
        return Paragraph(text, style)

    rows = [[para(f"<b>{_safe(f.what)}</b>"), para(f"<b>{_safe(f.value)}</b>"), para(_safe(f.how))]
            for f in figures(plan)]  # fmt: skip
    table = Table(rows, colWidths=[0.15 * width, 0.29 * width, 0.56 * width])
    table.setStyle(TableStyle(_tight(0.25)))
    left = [para(f"<b>{i}.</b> {_safe(t)}") for i, t in enumerate(steps(plan), start=1)]
    right = [para(f"<b>!</b> {_safe(t)}") for t in cautions(plan)]
    heads = [para("<b>Order of work, with checks</b>"), para("<b>Cautions</b>")]
    both = Table([heads, [left, right]], colWidths=[0.55 * width, 0.45 * width])
    both.setStyle(TableStyle([*_tight(0.0), ("VALIGN", (0, 0), (-1, -1), "TOP"),
                              ("LINEBEFORE", (1, 0), (1, -1), 0.4, "#999999")]))  # fmt: skip
    return [table, both]


def _tight(line: float) -> Sequence[Any]:
    commands: list[Any] = [
        ("LEFTPADDING", (0, 0), (-1, -1), 2), ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), 0.3), ("BOTTOMPADDING", (0, 0), (-1, -1), 0.7),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ]  # fmt: skip
    if line:
        commands.append(("LINEBELOW", (0, 0), (-1, -1), line, "#bbbbbb"))
    return commands


def _safe(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
