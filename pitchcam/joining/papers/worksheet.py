"""The work sheet of a made adapter: drawings to scale, figures, steps, cautions.

Type is never under 9 points; what does not fit goes on to the next page.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from io import BytesIO
from pathlib import Path
from typing import Any

from reportlab.lib.units import mm

from pitchcam.files import write_whole
from pitchcam.joining.brazing.plan import JoinPlan
from pitchcam.joining.brazing.steps import NAMES, cautions, steps
from pitchcam.joining.brazing.text import figures
from pitchcam.joining.papers import drawing
from pitchcam.joining.papers.drawing import View
from pitchcam.joining.papers.flow import Flow
from pitchcam.joining.papers.half_section import Piece, as_bought, assembled, lap_at
from pitchcam.joining.papers.mouth import draw_mouth
from pitchcam.joining.practice import practice
from pitchcam.paper import BOLD, REGULAR, new_canvas, text_width_mm, true_bar

BAR_MM = 50.0


def write_worksheet(
    plan: JoinPlan, path: Path, day: date, paper: str = "a4", without: Sequence[str] = ()
) -> None:
    """Write the work sheet as PDF; the same plan and day give the same bytes.

    Parameters
    ----------
    plan
        The plan of the adapter.
    path
        The PDF to write; made beside it and moved into place when whole.
    day
        The date on the sheet.
    paper
        A key of :data:`pitchcam.paper.PAPERS`.
    without
        How the stock joins them without a flame, if it does.

    Raises
    ------
    UsageError
        If there is no such paper.
    PitchcamError
        If the file cannot be written.
    """
    file = BytesIO()
    canvas = new_canvas(file, paper, f"Work sheet: {_title(plan)}")
    draw_worksheet(canvas, plan, day, paper, without)
    canvas.save()
    write_whole(path, file.getvalue())


def draw_worksheet(
    canvas: Any, plan: JoinPlan, day: date, paper: str, without: Sequence[str] = ()
) -> None:
    """Draw the work sheet on the canvas, from its present page on."""
    flow = Flow(
        canvas,
        paper,
        f"Work sheet: made adapter, {_title(plan)}",
        "Made by ____________________   Tested by ____________________",
    )
    q = plan.question
    flow.lines(
        [
            f"Joins {q.part.text} to {q.port.text}; {plan.service['key']}, "
            f"{plan.pressure_bar:g} bar, up to {plan.temperature_c:g} deg C. "
            f"Silver brazed. {day.isoformat()}.",
            *without,
            *(
                f"Donor {n}: {d.fitting.text}, {d.metal.name}, hex {d.hex_mm:g}"
                for n, d in zip(NAMES, plan.donors, strict=True)
            ),
        ]
    )
    _donors(flow, plan)
    _assembly(flow, plan)
    _mouth(flow, plan)
    flow.head("Figures, and how each came about")
    for f in figures(plan):
        flow.row((f.what, f.value, f.how), (0.17, 0.31, 0.52))
    flow.y -= 2.0
    # Who reads down the sheet has read them when the torch is lit.
    flow.head("Cautions, before the work")
    flow.lines([f"! {text}" for text in cautions(plan)])
    flow.head("Order of work, with checks")
    flow.lines([f"{i}. {text}" for i, text in enumerate(steps(plan), start=1)])
    flow.finish()


def _title(plan: JoinPlan) -> str:
    return f"{plan.donors[0].keep.text} to {plan.donors[1].keep.text}"


def _donors(flow: Flow, plan: JoinPlan) -> None:
    """Draw both donors as bought side by side with where to cut."""
    pieces = [as_bought(d) for d in plan.donors]
    gap = 30.0
    total = sum(p.length_mm for p in pieces)
    tall = max(_widest(p) for p in pieces)
    scale = drawing.best_scale(total, tall, (flow.width - gap - 20.0, 34.0))
    _caption(flow, f"Donors as bought, {drawing.scale_text(scale)}")
    axis = flow.y - 8.0 - tall * scale / 2.0
    x = flow.left + (flow.width - total * scale - gap) / 2.0
    for i, (d, piece) in enumerate(zip(plan.donors, pieces, strict=True)):
        view = View(canvas=flow.canvas, x_mm=x, y_mm=axis, scale=scale, placed=flow.placed)
        drawing.draw_piece(view, piece, i)
        drawing.axis_line(view, 0.0, piece.length_mm)
        lap = plan.form.lap_of(i)
        turned = lap is not None and lap.from_thread
        face = d.keep_thread_mm + d.body_left_mm
        at = d.keep_thread_mm + d.body_mm if turned else face if d.cut is None else d.saw_at_mm
        work = "turn thread off beyond" if turned else "face to" if d.cut is None else "saw at"
        drawing.saw_line(view, at, _widest(piece) / 2.0, f"{NAMES[i]}: {work} {at:.1f}")
        drawing.dimension(view, 0.0, at, -_widest(piece) * scale / 2.0 - 5.5, f"{at:.1f}")
        x += piece.length_mm * scale + gap
    flow.y = axis - tall * scale / 2.0 - 9.0


def _widest(piece: Piece) -> float:
    return max(s.diameter_mm for s in piece.outside)


def _caption(flow: Flow, text: str) -> None:
    """Write a caption at the left and keep the notes of the drawing off it."""
    flow.y -= 4.0
    c = flow.canvas
    c.setFillColor("black")
    c.setFont(BOLD, 10.0)
    c.drawString(flow.left * mm, flow.y * mm, text)
    wide = text_width_mm(text, 10.0, BOLD)
    flow.placed.boxes.append((flow.left, flow.y - 1.0, flow.left + wide, flow.y + 3.2))


def _assembly(flow: Flow, plan: JoinPlan) -> None:
    """Draw the adapter as brazed with its dimensions."""
    pieces = assembled(plan)
    tall = max(_widest(p) for p in pieces)
    scale = drawing.best_scale(plan.length_mm, tall, (flow.width - 30.0, 52.0))
    one, other = plan.donors
    _caption(
        flow,
        f"Adapter as brazed, {drawing.scale_text(scale)}; filler orange; hex "
        f"{one.hex_mm:g} / {other.hex_mm:g}, bore {plan.form.bore_mm:g}",
    )
    half = tall * scale / 2.0
    axis = flow.y - 9.0 - half
    x = flow.left + (flow.width - plan.length_mm * scale) / 2.0
    view = View(canvas=flow.canvas, x_mm=x, y_mm=axis, scale=scale, placed=flow.placed)
    for i, piece in enumerate(pieces):
        drawing.draw_piece(view, piece, i)
    drawing.axis_line(view, 0.0, plan.length_mm)
    draw_filler(view, plan)
    _dimensions(view, plan, half)
    lowest = min(box[1] for box in flow.placed.boxes)
    flow.y = min(axis - half - 12.0, lowest) - 1.0


def _mouth(flow: Flow, plan: JoinPlan) -> None:
    """Draw the mouth of the joint enlarged, its notes beside it, and the bar to check the print."""
    _caption(flow, "Mouth of the joint, 10:1")
    notes = draw_mouth(flow.canvas, plan, flow.left + 18.0, flow.y - 14.0)
    c = flow.canvas
    c.setFillColor("black")
    c.setFont(REGULAR, drawing.NOTE)
    for i, text in enumerate(notes):
        c.drawString((flow.left + 62.0) * mm, (flow.y - 4.0 - 5.0 * i) * mm, text)
    bar = flow.y - 25.0
    true_bar(c, flow.left + 62.0, bar, BAR_MM)
    c.drawString(
        (flow.left + 65.0 + BAR_MM) * mm, (bar - 1.0) * mm, f"{BAR_MM:g} mm when printed at 100 %"
    )
    flow.y -= 30.0


def draw_filler(view: View, plan: JoinPlan) -> None:
    """Draw the filler as a line along each faying surface in the section."""
    c = view.canvas
    c.saveState()
    for lap in plan.form.laps:
        c.setStrokeColor(drawing.FILLER)
        c.setLineWidth(1.4)
        start, stop = lap_at(plan, lap)
        r = lap.spigot_mm / 2.0
        c.line(view.x(start), view.y(r), view.x(stop), view.y(r))
        mouth, way = (start, -1.0) if lap.donor == 0 else (stop, 1.0)
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
    for row, lap in enumerate(plan.form.laps):  # a sleeve's two laps touch: each has its line
        start, stop = lap_at(plan, lap)
        drawing.dimension(view, start, stop, below - 7.0 * (row + 1), f"overlap {stop - start:.1f}")
    middles = [max(d.keep_thread_mm, d.keep_depth_mm) / 2.0 for d in plan.donors]
    for d, along in ((d0, middles[0]), (d1, total - middles[1])):
        drawing.label(view, along, below - 7.0, d.keep.text)
