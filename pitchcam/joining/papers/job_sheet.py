"""The job as PDF, with the work sheet behind it where an adapter is made."""

from __future__ import annotations

from datetime import date
from io import BytesIO
from pathlib import Path

from pitchcam.files import write_whole
from pitchcam.joining.job import Job, Way
from pitchcam.joining.job_text import paragraphs
from pitchcam.joining.papers import drawing
from pitchcam.joining.papers.drawing import View
from pitchcam.joining.papers.flow import Flow
from pitchcam.joining.papers.half_section import Piece, assembled, in_stock
from pitchcam.joining.papers.worksheet import draw_filler, draw_worksheet
from pitchcam.paper import new_canvas


def write_job(job: Job, path: Path, day: date, paper: str = "a4") -> None:
    """Write the job's page, and the work sheet of a made adapter behind it.

    Raises
    ------
    UsageError
        If there is no such paper.
    PitchcamError
        If the file cannot be written.
    """
    file = BytesIO()
    canvas = new_canvas(file, paper, _title(job))
    flow = Flow(canvas, paper, _title(job), "Settled by ____________________")
    flow.lines([f"{day.isoformat()}, {_state(job)}"])
    _picture(flow, job.ways[0])
    for title, lines in paragraphs(job):
        flow.head(title)
        flow.lines(lines, indent_mm=3.0)
    flow.finish()
    made = job.ways[0].made
    if made is not None:
        tapped = job.ways[0].tapped
        draw_worksheet(canvas, made, day, paper, () if tapped is None else (tapped.offer,))
    canvas.save()
    write_whole(path, file.getvalue())


def _title(job: Job) -> str:
    q = job.ways[0].question
    return f"Job: {q.part.text} to {q.port.text}"


def _state(job: Job) -> str:
    if len(job.ways) == 1 and job.settled:
        return "names settled"
    return "same work under every name" if job.settled else "WORK DEPENDS ON THE NAME"


def _pieces(way: Way) -> list[Piece]:
    """Return what is drawn in a row: the made adapter, or the chain's fittings one by one."""
    if way.made is not None:
        return list(assembled(way.made))
    if way.chain is None:
        return []
    return [in_stock(link.fitting, link.turned) for link in way.chain.links]


def _picture(flow: Flow, way: Way) -> None:
    """Draw the pieces to one scale, the port to the left."""
    pieces = _pieces(way)
    if not pieces:
        return
    gap = 0.0 if way.made is not None else 14.0
    length = way.made.length_mm if way.made is not None else sum(p.length_mm for p in pieces)
    tall = max(s.diameter_mm for p in pieces for s in p.outside)
    room = (flow.width - gap * (len(pieces) - 1) - 6.0, 56.0)
    scale = drawing.best_scale(length, tall, room)
    flow.lines([f"Port to the left, part to the right; {drawing.scale_text(scale)}"])
    axis = flow.y - 3.0 - tall * scale / 2.0
    x = flow.left + (flow.width - length * scale - gap * (len(pieces) - 1)) / 2.0
    for i, piece in enumerate(pieces):
        view = View(canvas=flow.canvas, x_mm=x, y_mm=axis, scale=scale, placed=flow.placed)
        drawing.draw_piece(view, piece, i % 2)
        if way.made is None and way.chain is not None:
            drawing.axis_line(view, 0.0, piece.length_mm)
            drawing.label(
                view,
                piece.length_mm / 2.0,
                -tall * scale / 2.0 - 5.0,
                f"{way.chain.links[i].fitting.id}, {piece.length_mm:g} mm",
            )
            x += piece.length_mm * scale + gap
    if way.made is not None:
        view = View(canvas=flow.canvas, x_mm=x, y_mm=axis, scale=scale, placed=flow.placed)
        drawing.axis_line(view, 0.0, length)
        draw_filler(view, way.made)
    lowest = min((box[1] for box in flow.placed.boxes), default=axis)
    flow.y = min(axis - tall * scale / 2.0 - 2.0, lowest) - 2.0
