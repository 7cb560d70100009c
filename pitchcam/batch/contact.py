"""The contact sheet: a small picture of every part with its number, name and uncertainty, as PDF.

Lengths on the page are in mm here; reportlab counts in points. Same answer, same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader, simpleSplit
from reportlab.pdfgen.canvas import Canvas

from pitchcam.batch.answer import Answer, Line
from pitchcam.batch.pictures import crowd_box
from pitchcam.files import write_whole
from pitchcam.paper import BOLD, PAPERS, REGULAR, new_canvas
from pitchcam.report.verdicts import candidates_words
from pitchcam.store.store import Store
from pitchcam.units import percent

_MARGIN, _FOOT = 12.0, 14.0
_WIDTH, _HEIGHT = PAPERS["a4"]
_COLUMNS = 4
_GAP = 3.0
_TILE_W = (_WIDTH - 2 * _MARGIN - (_COLUMNS - 1) * _GAP) / _COLUMNS
_PICTURE_H = 30.0
_TILE_H = _PICTURE_H + 19.0
_DOUBT_H = 32.0
_OVERVIEW_H = 112.0
_COUNTS_H = 12.0

_INK = (0.13, 0.15, 0.17)
_QUIET = (0.42, 0.45, 0.48)
_DOUBT = (0.72, 0.29, 0.05)
_FRAME = (0.80, 0.82, 0.84)


def plain(text: str) -> str:
    """Return text that the page's font can draw; other letters become question marks."""
    return text.encode("cp1252", "replace").decode("cp1252")


def write_contact_sheet(answer: Answer, store: Store, path: Path) -> None:
    """Write the contact sheet: photos of several parts, the doubtful, then bin by bin.

    Raises
    ------
    FullError
        If the disk is full.
    """
    buffer = io.BytesIO()
    canvas = new_canvas(buffer, "a4")
    sheet = _ContactSheet(canvas, store)
    crowded = list(_crowded(answer.lines))
    if crowded:
        sheet.heading("Photos of several parts", needs=_OVERVIEW_H)
        for lines in crowded:
            sheet.overview(lines)
    if answer.doubtful:
        sheet.heading("In doubt, and what to do", needs=_DOUBT_H)
        for line in answer.doubtful:
            sheet.doubt(line)
    named = [line for line in answer.lines if line.row.settled]
    if named:
        sheet.heading("Named, in the order of the bins", needs=_TILE_H + _COUNTS_H)
        sheet.counts([(name, len(lines)) for name, lines in answer.bins])
        sheet.tiles(named)
    sheet.finish()
    write_whole(path, buffer.getvalue())


def _crowded(lines: Sequence[Line]) -> Iterator[list[Line]]:
    """Yield the lines of each photo that shows more than one part, in order of the photos."""
    photos: dict[str, list[Line]] = {}
    for line in lines:
        photos.setdefault(line.row.photo, []).append(line)
    for _, of_photo in sorted(photos.items()):
        if len({line.row.part for line in of_photo}) > 1:
            yield of_photo


def measured_text(line: Line) -> list[str]:
    """Return pitch, diameter and angle as value ± 2u, one to a line."""
    q = line.row.quantities
    out = []
    if "pitch_mm" in q:
        tpi = f", {q['tpi'][0]:.2f} TPI" if "tpi" in q else ""
        out.append(f"pitch {q['pitch_mm'][0]:.3f} ± {2 * q['pitch_mm'][1]:.3f} mm{tpi}")
    if "major_mm" in q:
        out.append(f"major {q['major_mm'][0]:.2f} ± {2 * q['major_mm'][1]:.2f} mm")
    if "angle_deg" in q:
        taper = f", taper {q['taper'][0]:.3f}" if "taper" in q else ""
        out.append(f"angle {q['angle_deg'][0]:.1f} ± {2 * q['angle_deg'][1]:.1f} deg{taper}")
    return out


class _ContactSheet:
    """Places blocks down the page; a new page when one does not fit."""

    def __init__(self, canvas: Canvas, store: Store) -> None:
        self._canvas = canvas
        self._store = store
        self._page = 1
        self._y = _HEIGHT - _MARGIN
        self._head()

    def _head(self) -> None:
        self._text(_MARGIN, self._y - 5, "Contact sheet", size=14, bold=True)
        note = "± is twice the standard uncertainty; numbers as in box.csv"
        self._text(_WIDTH - _MARGIN, self._y - 5, note, size=8, colour=_QUIET, right=True)
        self._y -= 10

    def _text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float,
        bold: bool = False,
        colour: tuple[float, float, float] = _INK,
        right: bool = False,
    ) -> None:
        self._canvas.setFont(BOLD if bold else REGULAR, size)
        self._canvas.setFillColorRGB(*colour)
        draw = self._canvas.drawRightString if right else self._canvas.drawString
        draw(x * mm, y * mm, plain(text))

    def _wrapped(
        self,
        x: float,
        y: float,
        width: float,
        text: str,
        *,
        lines: int,
        size: float = 8,
        colour: tuple[float, float, float] = _INK,
    ) -> float:
        """Draw text in at most so many lines; return the y below it."""
        parts = simpleSplit(plain(text), REGULAR, size, width * mm)
        if len(parts) > lines:
            parts = [*parts[: lines - 1], parts[lines - 1].rstrip() + " ..."]
        for part in parts:
            self._text(x, y, part, size=size, colour=colour)
            y -= size * 0.42
        return y

    def _room(self, height: float) -> None:
        if self._y - height < _FOOT:
            self._turn()

    def _turn(self) -> None:
        self._text(_WIDTH - _MARGIN, 8, f"page {self._page}", size=8, colour=_QUIET, right=True)
        self._canvas.showPage()
        self._page += 1
        self._y = _HEIGHT - _MARGIN

    def heading(self, text: str, *, needs: float) -> None:
        """Draw a heading, kept together with the block below it."""
        self._room(needs + 9)
        self._text(_MARGIN, self._y - 5, text, size=11, bold=True)
        self._canvas.setStrokeColorRGB(*_FRAME)
        self._canvas.line(
            _MARGIN * mm, (self._y - 6.5) * mm, (_WIDTH - _MARGIN) * mm, (self._y - 6.5) * mm
        )
        self._y -= 9

    def _picture(self, line: Line, part: int, box: tuple[float, float, float, float]) -> Any:
        """Draw a small picture centred in a box (x, y, w, h); return where it lies."""
        x, y, w, h = box
        self._canvas.setFillColorRGB(0.96, 0.97, 0.97)
        self._canvas.rect(x * mm, y * mm, w * mm, h * mm, stroke=0, fill=1)
        jpeg = self._store.thumbnail(line.row.id.split("-")[0], part)
        if jpeg is None:
            self._text(x + 2, y + h / 2, "no picture", size=7, colour=_QUIET)
            return None
        image = ImageReader(io.BytesIO(jpeg))
        width, height = image.getSize()
        scale = min(w / width, h / height)
        place = (
            x + (w - width * scale) / 2,
            y + (h - height * scale) / 2,
            width * scale,
            height * scale,
        )
        self._canvas.drawImage(image, *(v * mm for v in place))
        return place

    def tiles(self, lines: Sequence[Line]) -> None:
        """Draw named parts, several to a row."""
        for start in range(0, len(lines), _COLUMNS):
            self._room(_TILE_H)
            for column, line in enumerate(lines[start : start + _COLUMNS]):
                self._tile(_MARGIN + column * (_TILE_W + _GAP), line)
            self._y -= _TILE_H

    def counts(self, counts: Sequence[tuple[str, int]]) -> None:
        """Draw how many of each there are, in lines of running text."""
        lines = [""]
        for name, count in counts:
            piece = plain(f"{count} x {name}")
            longer = f"{lines[-1]},   {piece}" if lines[-1] else piece
            if self._canvas.stringWidth(longer, REGULAR, 8) > (_WIDTH - 2 * _MARGIN) * mm:
                lines.append(piece)
            else:
                lines[-1] = longer
        for line in lines:
            self._room(4)
            self._text(_MARGIN, self._y - 3, line, size=8)
            self._y -= 3.6
        self._y -= 3

    def _tile(self, x: float, line: Line) -> None:
        row, top = line.row, self._y
        self._picture(line, row.part or 0, (x, top - _PICTURE_H, _TILE_W, _PICTURE_H))
        y = top - _PICTURE_H - 3.8
        sure = "by hand" if row.corrected_by else percent(row.probability or 0.0)
        self._text(x, y, f"{line.number}  {row.name}", size=9, bold=True)
        self._text(x + _TILE_W, y, sure, size=7, colour=_QUIET, right=True)
        for text in measured_text(line):
            y -= 3.1
            self._text(x, y, text, size=7)
        self._wrapped(
            x, y - 3.0, _TILE_W, f"{row.id}  {row.photo}", lines=1, size=5.5, colour=_QUIET
        )

    def doubt(self, line: Line) -> None:
        """Draw a doubtful part over the whole width: what fits, what to do."""
        self._room(_DOUBT_H)
        row, top = line.row, self._y
        height = _DOUBT_H - _GAP
        self._picture(line, row.part or 0, (_MARGIN, top - height, _TILE_W, height))
        x, y = _MARGIN + _TILE_W + 4, top - 4
        width = _WIDTH - _MARGIN - x
        self._text(x, y, f"{line.number}  {row.status}", size=9, bold=True, colour=_DOUBT)
        self._text(x + width, y, row.id, size=7, colour=_QUIET, right=True)
        where = row.photo if row.part is None else f"{row.photo}, part {row.part}"
        y = self._wrapped(x, y - 4, width, where, lines=1, size=7, colour=_QUIET)
        figures = "; ".join(measured_text(line))
        for text, most in ((figures, 1), (candidates_words(row.candidates), 1), (row.next_step, 4)):
            if text:
                y = self._wrapped(x, y - 0.4, width, text, lines=most)
        self._y -= _DOUBT_H

    def overview(self, lines: Sequence[Line]) -> None:
        """Draw a photo of several parts with each part framed and numbered."""
        self._room(_OVERVIEW_H)
        first = lines[0]
        height = _OVERVIEW_H - 6
        frame = (_MARGIN, self._y - height, _WIDTH - 2 * _MARGIN, height)
        place = self._picture(first, 0, frame)
        entry = self._store.entry(first.row.id.split("-")[0])
        document = (entry.outcome.document if entry else None) or {}
        crowd = crowd_box(document)
        if place is not None and crowd is not None:
            self._numbers(place, crowd, document["parts"], lines)
        self._text(_MARGIN, self._y - height - 3.5, first.row.photo, size=7, colour=_QUIET)
        self._y -= _OVERVIEW_H

    def _numbers(
        self, place: Any, crowd: list[float], parts: Sequence[Any], lines: Sequence[Line]
    ) -> None:
        """Frame and number the parts on their picture, which shows the box ``crowd`` in px."""
        x, y, w, h = place
        across, down = w / (crowd[2] - crowd[0]), h / (crowd[3] - crowd[1])
        for part in parts:
            x0, x1 = (v - crowd[0] for v in part["box_px"][0::2])
            y0, y1 = (v - crowd[1] for v in part["box_px"][1::2])
            of_part = [line for line in lines if line.row.part == part["id"]]
            settled = all(line.row.settled for line in of_part)
            colour = (0.05, 0.40, 0.45) if settled else _DOUBT
            left, top = x + x0 * across, y + h - y0 * down
            self._canvas.setStrokeColorRGB(*colour)
            self._canvas.rect(
                left * mm, (y + h - y1 * down) * mm, (x1 - x0) * across * mm, (y1 - y0) * down * mm
            )
            text = ", ".join(str(line.number) for line in of_part)
            width = self._canvas.stringWidth(text, BOLD, 9) / mm + 1.6
            self._canvas.setFillColorRGB(*colour)
            self._canvas.rect(left * mm, top * mm, width * mm, 4 * mm, stroke=0, fill=1)
            self._text(left + 0.8, top + 0.9, text, size=9, bold=True, colour=(1, 1, 1))

    def finish(self) -> None:
        """Close the last page."""
        self._turn()
        self._canvas.save()
