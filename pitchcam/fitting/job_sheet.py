"""The job as a PDF page, with the work sheet behind it where an adapter is made."""

from __future__ import annotations

from datetime import date
from io import BytesIO
from pathlib import Path
from typing import Any

from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from pitchcam.errors import PitchcamError
from pitchcam.files import write_whole
from pitchcam.fitting import drawing
from pitchcam.fitting.drawing import View
from pitchcam.fitting.job import Job, Way
from pitchcam.fitting.job_text import sections
from pitchcam.fitting.outline import Piece, assembled, in_stock
from pitchcam.fitting.worksheet import draw_filler, draw_page

_LEFT, _RIGHT, _TOP, _BOTTOM = 14.0, 196.0, 283.0, 12.0
_SIZES = (10.0, 9.2, 8.4, 7.6, 6.8, 6.0)


def write_job(job: Job, path: Path, day: date) -> None:
    """Write the job's page, and the work sheet of a made adapter behind it.

    Raises
    ------
    PitchcamError
        If the file cannot be written.
    """
    file = BytesIO()
    canvas = Canvas(file, pagesize=A4, invariant=1)
    canvas.setTitle(_title(job))
    _page(canvas, job, day)
    canvas.showPage()
    made = job.ways[0].made
    if made is not None:
        draw_page(canvas, made, day)
        canvas.showPage()
    canvas.save()
    write_whole(path, file.getvalue())


def _title(job: Job) -> str:
    q = job.ways[0].question
    return f"Job: {q.part.text} to {q.port.text}"


def _page(canvas: Any, job: Job, day: date) -> None:
    canvas.setFont("Helvetica-Bold", 14)
    canvas.drawString(_LEFT * mm, (_TOP - 2) * mm, _title(job))
    canvas.setFont("Helvetica", 9)
    state = "names settled" if len(job.ways) == 1 else (
        "same work under every name" if job.settled else "WORK DEPENDS ON THE NAME")  # fmt: skip
    canvas.drawRightString(_RIGHT * mm, (_TOP - 2) * mm, f"{day.isoformat()}, {state}")
    canvas.line(_LEFT * mm, (_TOP - 5) * mm, _RIGHT * mm, (_TOP - 5) * mm)
    top = _picture(canvas, job.ways[0], _TOP - 7.0)
    _text(canvas, job, top)


def _pieces(way: Way) -> list[Piece]:
    """Return what is drawn in a row: the made adapter, or the chain's fittings one by one."""
    if way.made is not None:
        return list(assembled(way.made))
    if way.chain is None:
        return []
    return [in_stock(link.fitting, link.turned) for link in way.chain.links]


def _picture(canvas: Any, way: Way, top: float) -> float:
    """Draw the pieces to one scale, the port to the left; return the height below them."""
    pieces = _pieces(way)
    if not pieces:
        return top - 2.0
    made = way.made is not None
    gap = 0.0 if made else 8.0
    length = way.made.length_mm if way.made is not None else sum(p.length_mm for p in pieces)
    tall = max(s.diameter_mm for p in pieces for s in p.outside)
    room = (_RIGHT - _LEFT - gap * (len(pieces) - 1) - 6.0, 56.0)
    scale = drawing.best_scale(length, tall, room)
    axis = top - 6.0 - tall * scale / 2.0
    wide = length * scale + gap * (len(pieces) - 1)
    x = (_LEFT + _RIGHT - wide) / 2.0
    for i, piece in enumerate(pieces):
        view = View(canvas=canvas, x_mm=x, y_mm=axis, scale=scale)
        drawing.draw_piece(view, piece, i % 2)
        if not made:
            drawing.axis_line(view, 0.0, piece.length_mm)
            link = way.chain.links[i] if way.chain is not None else None
            if link is not None:
                drawing.label(view, piece.length_mm / 2.0, -tall * scale / 2.0 - 4.0,
                              f"{link.fitting.id}, {piece.length_mm:g} mm")  # fmt: skip
            x += piece.length_mm * scale + gap
    if way.made is not None:
        view = View(canvas=canvas, x_mm=x, y_mm=axis, scale=scale)
        drawing.axis_line(view, 0.0, length)
        draw_filler(view, way.made)
    canvas.setFont("Helvetica", 7)
    note = f"Port to the left, part to the right; {drawing.scale_text(scale)}"
    canvas.drawString(_LEFT * mm, (top - 2.0) * mm, note)
    return axis - tall * scale / 2.0 - 8.0


def _text(canvas: Any, job: Job, top: float) -> None:
    for size in _SIZES:
        blocks = _blocks(job, size)
        heights = [b.wrap((_RIGHT - _LEFT) * mm, 1e6)[1] + after * mm for b, after in blocks]
        if sum(heights) <= (top - _BOTTOM) * mm:
            break
    else:
        raise PitchcamError("the job does not fit on one page.", "Shorten names in stock.")
    y = top * mm
    for (block, after), height in zip(blocks, heights, strict=True):
        y -= height
        block.drawOn(canvas, _LEFT * mm, y + after * mm)


def _blocks(job: Job, size: float) -> list[tuple[Any, float]]:
    """Return (paragraph, mm after it)."""
    body = ParagraphStyle("body", fontName="Helvetica", fontSize=size, leading=1.22 * size,
                          leftIndent=4 * mm, firstLineIndent=0)  # fmt: skip
    head = ParagraphStyle("head", fontName="Helvetica-Bold", fontSize=size + 1.0,
                          leading=1.5 * size)  # fmt: skip
    blocks: list[tuple[Any, float]] = []
    for title, lines in sections(job):
        blocks.append((Paragraph(title, head), 0.3))
        blocks += [(Paragraph(_safe(text), body), 0.6) for text in lines]
        blocks[-1] = (blocks[-1][0], 2.2)
    return blocks


def _safe(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
